"""The answer for the telephone: state, what it waits for, when it will be ready."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.parts.arrivals import Arrival
from shop.staff.models import Role
from shop.workorders.models import WorkOrder
from shop.workorders.services import check_in, close_job
from shop.workorders.telephone import answer, answers, for_answers
from tests import factories as make
from tests.factories import NOON
from tests.workorders.test_bench_time import FRIDAY, MONDAY, THURSDAY, book_one, wall

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
    assert found.waits_in_words == "Waits for seal kit (SK-9), nothing is on order."
    assert found.ready == "When it will be ready hangs on the parts; promised today 17:00."
    assert found.when is None


def test_it_is_ready_once_the_parts_are_there(monkeypatch):
    order = book_short(promised_for=wall(THURSDAY, 17))
    when = Arrival(date(2026, 11, 28), "on order")  # a Saturday: the benches have them on Monday
    monkeypatch.setattr("shop.workorders.waiting.arrivals", lambda short, today: {part.pk: when for part in short})
    found = told(order)
    assert found.waits_in_words == "Waits for seal kit (SK-9), expected Saturday 28."
    assert found.ready == "Ready Monday 30 by 17:00, 4 days later than promised."


def test_bench_days_that_are_over_ask_for_new_ones():
    make.make_bench_hours()
    order = book_one(4, promised_for=wall(MONDAY, 17))
    check_in(order=order, meters=[], as_found=[], by=order.booked_by, at=NOON)
    assert (
        "Its bench days are over, plan new ones; promised Monday 30 17:00."
        in told(order, NOON + timedelta(days=2)).words
    )


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
