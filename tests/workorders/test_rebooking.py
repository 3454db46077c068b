"""Changing a booking, and who was second."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.staff.models import AuditEntry
from shop.workorders.models import BenchPlan, JobStatus, QuestionState
from shop.workorders.services import book, change_booking, check_in
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once
from tests.workorders.test_bench_time import FRIDAY, MONDAY, THURSDAY, WEDNESDAY, book_one, days, one_desk, wall

pytestmark = [pytest.mark.django_db, pytest.mark.flow]


def change(order, **given):
    return change_booking(order=order, version=order.version, **{"by": order.booked_by, "at": NOON} | given)


def history(order):
    return AuditEntry.objects.filter(kind="order", key=str(order.pk)).first().what


def test_an_earlier_promise_needs_no_reason_a_later_one_does():
    order = book_one(promised_for=wall(FRIDAY, 16))
    order = change(order, promised_for=wall(THURSDAY, 16))
    with pytest.raises(ValidationError, match="The customer was told 26 November 2026 16:00"):
        change(order, promised_for=wall(MONDAY, 12))
    order = change(order, promised_for=wall(MONDAY, 12), why="shaft has to be ordered")
    assert order.promised_for == wall(MONDAY, 12)
    assert "promised 30 November 2026 12:00 instead of 26 November 2026 16:00 (shaft has to be ordered)" in history(
        order
    )
    assert order.version == 3


def test_a_later_arrival_plans_the_days_anew_and_asks_about_the_promise():
    make.make_bench_hours()
    order = book_one(4)
    with pytest.raises(ValidationError, match="The benches finish with it on Monday 30 at 17:00"):
        change(order, arrives_on=MONDAY)
    order = change(order, arrives_on=MONDAY, promised_for=wall(MONDAY, 17), why="customer is away")
    assert days(order) == [(MONDAY, 330)]
    assert "arrives 30 November 2026 instead of 25 November 2026" in history(order)


def test_dampers_are_added_and_taken_off_with_their_bench_time_and_their_parts():
    make.make_bench_hours()
    model = make.make_damper_model()
    make.make_kit_line(model, "SK-9")
    make.make_part("SK-9", on_hand=2)
    order = book_one(2, arrives_on=THURSDAY)
    new = make.make_damper(customer=order.customer, model=model)
    kept = order.jobs.first()
    order = change(order, dampers=[kept.damper, new])
    assert [(job.index, job.status) for job in order.jobs.all()] == [
        (1, JobStatus.BOOKED), (2, JobStatus.CALLED_OFF), (3, JobStatus.BOOKED)
    ]  # fmt: skip
    assert [line.tag for line in order.pick_list.lines.all()] == [f"{1000 + order.pk}-3"]
    assert order.bench_minutes == 180
    more = make.make_damper(customer=order.customer)
    order = change(order, dampers=[kept.damper, new, more])
    assert (order.bench_minutes, days(order)) == (255, [(THURSDAY, 255)])


def test_what_is_asked_about_a_damper_that_is_taken_off_is_asked_no_more():
    order = book_one(2, promised_for=wall(FRIDAY, 16))
    kept, off = order.jobs.all()
    about_all, about_one = make.make_question(order), make.make_question(order, off)
    change(order, dampers=[kept.damper])
    about_all.refresh_from_db()
    about_one.refresh_from_db()
    assert (about_all.state, about_one.state) == (QuestionState.OPEN, QuestionState.WITHDRAWN)


def test_a_damper_that_another_order_has_is_refused_and_nothing_is_written():
    order, other = book_one(1, promised_for=wall(FRIDAY, 16)), book_one(1, promised_for=wall(FRIDAY, 16))
    theirs = other.jobs.get().damper
    with pytest.raises(ValidationError, match="belongs to another customer"):
        change(order, dampers=[order.jobs.get().damper, theirs])
    with pytest.raises(ValidationError, match="Keep at least one damper"):
        change(order, dampers=[])
    assert order.jobs.count() == 1


def test_bench_time_by_hand_needs_a_reason_and_stays_when_dampers_change():
    make.make_bench_hours()
    order = book_one(2, arrives_on=THURSDAY)
    with pytest.raises(ValidationError, match="Say why the bench time is another"):
        change(order, minutes=300)
    order = change(order, minutes=300, why="seized seal heads")
    assert (order.bench_minutes, days(order)) == (300, [(THURSDAY, 300)])
    order = change(order, dampers=[order.jobs.first().damper])
    assert order.bench_minutes == 300


def test_on_the_benches_only_promise_and_days_can_be_changed():
    make.make_bench_hours()
    order = book_one(4)
    check_in(order=order, meters=[], as_found=[], by=order.booked_by, at=NOON)
    for given in ({"arrives_on": FRIDAY}, {"complaint": "other"}, {"dampers": [make.make_damper()]}):
        with pytest.raises(Conflict, match="only its promise and its bench days"):
            change(order, **given)
    order = change(order, bench_from=FRIDAY, promised_for=wall(FRIDAY, 17), why="Rosa is ill")
    assert days(order) == [(FRIDAY, 330)]


def test_minutes_that_are_done_stay_when_the_rest_is_planned_anew():
    make.make_bench_hours()
    order = book_one(10, arrives_on=WEDNESDAY, bench_from=THURSDAY)  # 780 min over two days
    check_in(order=order, meters=[], as_found=[], by=order.booked_by, at=NOON)
    assert days(order) == [(THURSDAY, 420), (FRIDAY, 360)]
    order = change(
        order, bench_from=MONDAY, promised_for=wall(MONDAY, 17), why="waits for a shaft", at=NOON + timedelta(days=2)
    )
    assert days(order) == [(THURSDAY, 420), (MONDAY, 360)]


def test_who_was_second_is_told():
    order = book_one(promised_for=wall(FRIDAY, 16))
    change(order, complaint="leaks a lot")
    with pytest.raises(Conflict, match="Somebody else has changed this"):
        change(order, complaint="knocks")


@pytest.mark.django_db(transaction=True)
def test_of_two_desks_that_change_one_booking_at_once_one_is_told():
    make.make_bench_hours()
    order = book_one(4)
    later = {"promised_for": wall(FRIDAY, 17), "why": "asked for"}
    outcomes = at_once(lambda: change(order, **later), lambda: change(order, complaint="knocks"))
    assert sum(isinstance(one, Conflict) for one in outcomes) == 1, outcomes


@pytest.mark.django_db(transaction=True)
def test_a_booking_and_a_change_that_want_the_same_hours_do_not_both_get_them():
    make.make_bench_hours()
    moved = book_one(4, arrives_on=MONDAY)
    new = one_desk(4, arrives_on=THURSDAY, bench_from=THURSDAY)
    outcomes = at_once(
        lambda: change(moved, arrives_on=THURSDAY, bench_from=THURSDAY),
        lambda: book(**new),
    )
    assert sum(isinstance(one, ValidationError) for one in outcomes) == 1, outcomes
    assert sum(BenchPlan.objects.filter(on=THURSDAY).values_list("minutes", flat=True)) == 330
