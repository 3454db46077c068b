"""The answer for the telephone: state, what it waits for, when it will be ready."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.parts.models import Part
from shop.staff.models import Role
from shop.workorders.bench_time import propose
from shop.workorders.day import day
from shop.workorders.models import WorkOrder
from shop.workorders.purchases import to_buy, waiting
from shop.workorders.services import check_in, close_job, hold_parts, pick_part
from shop.workorders.telephone import answer, answers, for_answers
from tests import factories as make
from tests.factories import NOON
from tests.workorders.test_bench_time import FRIDAY, MONDAY, THURSDAY, WEDNESDAY, book_one, wall

pytestmark = [pytest.mark.django_db, pytest.mark.flow]


def told(order, now=NOON):
    return answer(for_answers(WorkOrder.objects.all()).get(pk=order.pk), now)


def book_short(**given):
    make.make_bench_hours()
    model = make.make_damper_model()
    make.make_kit_line(model, "SK-9")
    make.make_part("SK-9")
    customer = make.make_customer()
    damper = make.make_damper(customer=customer, model=model)
    return book_one(customer=customer, dampers=[damper], **given)


def test_it_is_ready_as_promised():
    make.make_bench_hours()
    order = book_one(4)
    assert told(order).words == (
        "Rebuild of 4 dampers. No parts list for these dampers. Ready Thursday 26 by 17:00, as promised."
    )


def test_a_promise_that_will_not_be_kept_is_told_before_it_is_past():
    make.make_bench_hours()
    order = book_one(4, arrives_on=FRIDAY, promised_for=wall(FRIDAY, 12), promise_anyway=True)
    found = told(order)
    assert found.ready == "Ready Friday 27 by 17:00, 5 h later than promised."
    assert found.late
    order.bench_plan.update(on=MONDAY)
    assert told(order).ready == "Ready Monday 30 by 17:00, 3 days later than promised."


def test_parts_that_nobody_has_ordered_leave_it_open():
    found = told(book_short())
    assert found.waits_in_words == "Waits for seal kit (SK-9), not ordered, and no supplier is known for SK-9."
    assert found.ready == "When it will be ready hangs on the parts; promised today 17:00."
    assert found.when is None


SATURDAY = date(2026, 11, 28)
DAYS_AGO = NOON - timedelta(days=5)


def ordered(expected_on, units=1, lead_days=5):
    """The seal kit on order with a supplier who said a day."""
    supplier = make.make_supplier(name="Ferrisgate Supply", lead_days=lead_days)
    item = make.make_item(Part.objects.get(number="SK-9"), supplier, at=DAYS_AGO)
    return make.make_purchase((item, units), expected_on=expected_on, at=DAYS_AGO)


def test_it_is_ready_once_the_parts_are_there():
    order = book_short(promised_for=wall(THURSDAY, 17))
    ordered(SATURDAY)  # the benches have them on Monday
    found = told(order)
    assert found.waits_in_words == "Waits for seal kit (SK-9), expected Saturday 28."
    assert found.ready == "Ready Monday 30 by 17:00, 4 days later than promised."


def test_a_part_that_has_to_be_ordered_first_says_so():
    order = book_short()
    make.make_item(Part.objects.get(number="SK-9"), make.make_supplier(name="Ferrisgate Supply", lead_days=2))
    assert told(order).waits_in_words == (
        "Waits for seal kit (SK-9), not ordered; Ferrisgate Supply delivers in 2 working days: "
        "Friday 27 November if ordered today."
    )


def test_nobody_promises_by_a_supplier_who_is_late():
    order = book_short(promised_for=wall(FRIDAY, 17))
    purchase = ordered(date(2026, 11, 23), units=2)
    found = told(order)
    assert found.waits_in_words == (
        f"Waits for seal kit (SK-9), on order, {purchase}; Ferrisgate Supply is late since Monday 23 November: "
        "ask them."
    )
    assert found.ready == "When it will be ready hangs on the parts; promised Friday 27 17:00."
    proposal = propose(dampers=[job.damper for job in order.jobs.all()], arrives_on=WEDNESDAY, now=NOON)
    assert [one.number for one in proposal.parts_late] == ["SK-9"]
    assert proposal.why[-1].endswith(" (SK-9), late at its supplier: not before Thursday 26.")
    assert proposal.first_day == THURSDAY


def test_a_part_that_went_back_to_the_shelf_waits_to_be_held():
    order = book_short()
    part = Part.objects.get(number="SK-9")
    make.make_movement(part, 1)
    assert told(order).waits_in_words == "Waits for seal kit (SK-9), on the shelf, not held for it yet."
    assert [row.waits[0].words for row in to_buy(now=NOON).covered] == [
        f"{order} promised Wednesday 25 November; on the shelf, not held for it yet: in time"
    ]
    hold_parts(order=order, by=order.booked_by, at=NOON)
    assert told(order).state == "Rebuild of 1 damper. All parts are held for it."


def test_what_is_in_the_bags_is_not_short_anywhere():
    make.make_bench_hours()
    model = make.make_damper_model()
    for number in ("SK-8", "SK-9"):
        make.make_kit_line(model, number)
        make.make_part(number, on_hand=1)
    customer = make.make_customer()
    order = book_one(customer=customer, dampers=[make.make_damper(customer=customer, model=model)])
    assert told(order).state == "Rebuild of 1 damper. All parts are held for it."
    pick_part(order=order, part_number="SK-8", by=order.booked_by, at=NOON)
    assert told(order).state == "Rebuild of 1 damper. All parts are held for it, some are in its bags."
    pick_part(order=order, part_number="SK-9", by=order.booked_by, at=NOON)
    line = order.pick_list.lines.get(part_number="SK-9")
    assert (line.held, line.issued, line.short) == (0, 1, 0)
    found = told(order)
    assert found.words == ("Rebuild of 1 damper. All parts are in its bags. Ready today by 17:00, as promised.")
    assert day(NOON).rows("arriving")[0].answer == found
    assert not waiting()
    dampers = [job.damper for job in order.jobs.all()]
    assert not propose(dampers=dampers, arrives_on=WEDNESDAY, order=order, now=NOON).short
    other = propose(dampers=dampers, arrives_on=WEDNESDAY, now=NOON)  # the next one of the kind finds the shelf empty
    assert sorted(one.number for one in other.short) == ["SK-8", "SK-9"]


def test_bench_days_that_are_over_ask_for_new_ones():
    make.make_bench_hours()
    order = book_one(4, promised_for=wall(MONDAY, 17))
    check_in(order=order, meters=[], as_found=[], by=order.booked_by, at=NOON)
    assert (
        "Its bench days are over, plan new ones; promised Monday 30 17:00."
        in told(order, NOON + timedelta(days=2)).words
    )


def test_a_day_that_lost_its_hours_is_told_until_it_is_planned_anew():
    person = make.make_bench_hours()
    order = book_one(4)
    make.make_absence(person, first_day=THURSDAY, last_day=THURSDAY)
    found = told(order)
    assert found.late
    assert "Thursday 26 has no bench hours any more, and" in found.ready
    assert "are planned on it, plan it anew; promised" in found.ready
    order.bench_plan.update(on=FRIDAY)
    assert told(order).ready.startswith("Ready Friday 27")


def test_who_was_booked_within_the_hours_is_not_blamed_for_who_was_booked_beyond_them():
    make.make_bench_hours()
    order = book_one(4)
    book_one(4, bench_from=THURSDAY, anyway=True, anyway_why="race on Sunday")
    assert told(order).ready == "Ready Thursday 26 by 17:00, as promised."


def test_how_far_it_is_stands_first():
    make.make_bench_hours()
    order = book_one(2, arrives_on=THURSDAY)
    check_in(order=order, meters=[], as_found=[], by=order.booked_by, at=NOON)
    close_job(job=order.jobs.first(), override_reason="test", by=make.make_user(Role.MANAGER), at=NOON)
    assert told(order).words.startswith("1 of 2 dampers closed.")


def test_many_answers_take_as_many_queries_as_few(django_assert_num_queries):
    make.make_bench_hours()
    for _ in range(3):
        book_one(2)

    def ask():
        return answers(for_answers(WorkOrder.objects.all()), NOON)

    with CaptureQueriesContext(connection) as few:
        ask()
    for _ in range(5):
        book_one(2)
    with django_assert_num_queries(len(few)):
        assert len(ask()) == 8
