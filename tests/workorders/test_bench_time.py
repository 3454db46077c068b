"""Bench days of orders: the first that fit, refusals in words, and who was second."""

from datetime import date, datetime, time, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from shop.core.errors import Conflict
from shop.staff.models import Role
from shop.staff.services import add_absence, add_closed_day, set_bench_hours, set_working_hours
from shop.workorders.models import BenchPlan, WorkOrder
from shop.workorders.services import book, call_off, drop_damper
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

WEDNESDAY, THURSDAY, FRIDAY = date(2026, 11, 25), date(2026, 11, 26), date(2026, 11, 27)
MONDAY = date(2026, 11, 30)
pytestmark = [pytest.mark.django_db, pytest.mark.flow]


def wall(on, hour, minute=0):
    return timezone.make_aware(datetime.combine(on, time(hour, minute)))


def one_desk(count, **given):
    customer = make.make_customer()
    dampers = [make.make_damper(customer=customer) for _ in range(count)]
    who = {"customer": customer, "vehicle": None, "dampers": dampers, "by": make.make_user(Role.DESK)}
    return who | {"complaint": "leaks", "at": NOON} | given


def book_one(count=1, **given):
    return book(**one_desk(count, **{"arrives_on": WEDNESDAY} | given))


def days(order):
    return list(order.bench_plan.values_list("on", "minutes"))


def test_without_bench_hours_nothing_is_planned_and_a_promise_has_to_be_given():
    order = book_one(promised_for=wall(FRIDAY, 16))
    assert days(order) == []
    assert order.bench_minutes is None
    with pytest.raises(ValidationError, match="Give the day and the time"):
        book_one()


def test_the_first_day_that_fits_is_planned_and_promised_for_its_end():
    make.make_bench_hours()
    order = book_one(4)  # 4 × 75 + 30 = 330 min; today only five hours are left
    assert days(order) == [(THURSDAY, 330)]
    assert order.promised_for == wall(THURSDAY, 17)
    assert order.bench_minutes == 330
    assert days(book_one(2)) == [(WEDNESDAY, 180)]


def test_it_goes_round_closed_days_and_absences():
    make.make_bench_hours()
    add_closed_day(name="Thanksgiving Day", first_day=WEDNESDAY, month=11, weekday=3, nth=4, by="test", at=NOON)
    assert days(book_one(4)) == [(FRIDAY, 330)]
    person = make.make_user(Role.TECHNICIAN)
    make.make_bench_hours(person=person, minutes=60)
    add_absence(person=person, first_day=FRIDAY, last_day=FRIDAY, why="leave", by="test", at=NOON)
    assert days(book_one(4, arrives_on=THURSDAY)) == [(MONDAY, 330)]


def test_more_than_is_left_is_refused_with_the_first_day_that_fits():
    make.make_bench_hours()
    book_one(4)
    with pytest.raises(ValidationError) as refusal:
        book_one(4, bench_from=THURSDAY)
    assert not isinstance(refusal.value, Conflict)
    words = refusal.value.message_dict["bench_from"][0]
    assert "Thursday 26: 1.5 h left of 7 h" in words
    assert "The first day that fits is Friday 27." in words
    assert WorkOrder.objects.count() == 1


def test_all_the_same_needs_a_reason_and_is_kept():
    make.make_bench_hours()
    book_one(4)
    with pytest.raises(ValidationError, match="Say why it is booked all the same"):
        book_one(4, bench_from=THURSDAY, anyway=True)
    order = book_one(4, bench_from=THURSDAY, anyway=True, anyway_why="race on Sunday, Rosa stays longer")
    assert days(order) == [(THURSDAY, 330)]
    assert order.bench_over_why == "race on Sunday, Rosa stays longer"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"bench_from": date(2026, 11, 24)}, "Tuesday 24 is past"),
        ({"bench_from": THURSDAY, "arrives_on": FRIDAY}, "before the day of arrival, Friday 27"),
        ({"bench_from": date(2026, 11, 28), "anyway": True, "anyway_why": "x"}, "Saturday 28: not a working day"),
    ],
)
def test_a_first_day_that_cannot_be_is_refused(given, words):
    make.make_bench_hours()
    with pytest.raises(ValidationError, match=words):
        book_one(4, **given)


def test_a_job_that_not_even_empty_benches_do_is_refused_in_words():
    make.make_bench_hours(minutes=1)
    with pytest.raises(ValidationError, match=r"No day within 26 weeks has room for 5\.5 h"):
        book_one(4)
    with pytest.raises(ValidationError, match=r"Not even empty benches do 5\.5 h within 26 weeks"):
        book_one(4, bench_from=THURSDAY, anyway=True, anyway_why="x")


def test_what_was_proposed_and_is_gone_is_a_conflict():
    make.make_bench_hours()
    book_one(4)
    with pytest.raises(Conflict, match=r"1\.5 h left of 7 h"):
        book_one(4, bench_from=THURSDAY, proposed=THURSDAY)
    with pytest.raises(Conflict, match="The first day that fits is now Friday 27, no longer Thursday 26"):
        book_one(4, proposed=THURSDAY)


def test_a_promise_before_the_benches_are_done_asks():
    make.make_bench_hours()
    with pytest.raises(ValidationError, match="The benches finish with it on Thursday 26 at 17:00"):
        book_one(4, promised_for=wall(THURSDAY, 12))
    assert book_one(4, promised_for=wall(THURSDAY, 12), promise_anyway=True).promised_for == wall(THURSDAY, 12)
    with pytest.raises(ValidationError, match="Saturday 28: not a working day"):
        book_one(1, promised_for=wall(date(2026, 11, 28), 12))


def test_what_is_called_off_or_taken_off_is_free_again():
    make.make_bench_hours()
    order = book_one(5)
    assert days(order) == [(THURSDAY, 405)]
    drop_damper(job=order.jobs.last(), why="sold", by=order.booked_by, at=NOON)
    assert days(order) == [(THURSDAY, 330)]
    call_off(order=order, why="sold", by=order.booked_by, at=NOON)
    assert days(order) == []
    assert days(book_one(5)) == [(THURSDAY, 405)]


@pytest.mark.parametrize("proposed", [None, THURSDAY])
@pytest.mark.django_db(transaction=True)
def test_of_two_desks_that_book_the_last_bench_hour_one_gets_it_and_the_other_is_told(proposed):
    make.make_bench_hours(minutes=435)
    book_one(4, bench_from=THURSDAY)  # leaves what one damper takes, 105 minutes
    desks = [one_desk(1, arrives_on=WEDNESDAY, bench_from=THURSDAY, proposed=proposed) for _ in range(2)]
    outcomes = at_once(*(lambda given=given: book(**given) for given in desks))
    told = [one for one in outcomes if isinstance(one, ValidationError)]
    assert len(told) == 1, outcomes
    assert isinstance(told[0], Conflict) is (proposed is not None)
    assert "Thursday 26: full" in str(told[0])
    assert sum(BenchPlan.objects.filter(on=THURSDAY).values_list("minutes", flat=True)) == 435
    assert WorkOrder.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_many_desks_at_once_never_plan_more_than_a_day_holds():
    make.make_bench_hours()
    desks = [one_desk(2, arrives_on=THURSDAY) for _ in range(6)]
    outcomes = at_once(*(lambda given=given: book(**given) for given in desks))
    assert all(isinstance(one, WorkOrder) for one in outcomes), outcomes
    by_day = {}
    for row in BenchPlan.objects.all():
        by_day[row.on] = by_day.get(row.on, 0) + row.minutes
    assert by_day == {THURSDAY: 360, FRIDAY: 360, MONDAY: 360}


def test_hours_from_a_day_on_leave_what_was_before():
    person = make.make_bench_hours()
    set_bench_hours(person=person, from_day=MONDAY, week=[60] * 5 + [0, 0], by="test", at=NOON)
    set_working_hours(from_day=MONDAY, week=[(time(7), time(12))] * 5 + [None, None], by="test", at=NOON)
    assert days(book_one(4)) == [(THURSDAY, 330)]
    order = book_one(1, arrives_on=MONDAY)
    assert days(order) == [(MONDAY, 60), (MONDAY + timedelta(days=1), 45)]
    assert order.promised_for == wall(date(2026, 12, 1), 12)
