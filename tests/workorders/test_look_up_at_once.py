"""The sheets of all dampers of an order are looked up together: for eight of them it costs what it costs for one."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.documents.services import DIGITS_IN_QR, card_state, job_card
from shop.workorders.models import WorkOrder
from shop.workorders.selectors import figures_changed_of, on_bench
from shop.workorders.services import check_in
from tests import factories as make
from tests.documents.orders import make_booked, make_checked_in, make_family
from tests.factories import NOON
from tests.web.conftest import logged_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    family = make_family()
    make.make_sheet(family)  # loose dampers find it too
    return family


def statements(call, about=""):
    with CaptureQueriesContext(connection) as queries:
        call()
    return len([query for query in queries if about in query["sql"]])


def test_booking_and_check_in_ask_the_spec_table_as_often_for_eight_dampers_as_for_one(model, desk):
    def of(dampers):
        def whole():
            order = make_booked(model=model, loose=dampers)
            check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)

        return statements(whole, "specs_spec")

    assert of(1) == of(8) == 4  # sheets and their figures, at the booking and at the check-in


@pytest.mark.parametrize(("page", "maker"), [("desk:order", make_checked_in), ("desk:check_in", make_booked)])
def test_the_pages_of_an_order_take_as_many_queries_for_eight_dampers_as_for_one(model, desk, page, maker):
    client = logged_in(desk)

    def of(dampers):
        address = reverse(page, args=[maker(model=model, loose=dampers).pk])
        assert client.get(address).status_code == 200
        return statements(lambda: client.get(address))

    assert of(1) == of(8)


def test_a_scanned_card_takes_as_many_queries_for_eight_dampers_as_for_one(model):
    def of(dampers):
        order = WorkOrder.objects.get(pk=make_checked_in(model=model, loose=dampers).pk)
        paper = job_card(order=order, at=NOON)
        asked = {"order": order, "revision": paper.revision, "digest": paper.digest[:DIGITS_IN_QR]}
        assert card_state(**asked).current
        return statements(lambda: card_state(**asked))

    assert of(1) == of(8)


def test_whether_figures_changed_is_asked_at_once_for_the_jobs_of_fifty_orders(model):
    def of(orders):
        for _ in range(orders):
            make_checked_in(model=model, corners=["front_left"])
        jobs = list(on_bench())
        return len(jobs), statements(lambda: figures_changed_of(jobs))

    (few, of_few), (many, of_many) = of(5), of(45)
    assert (few, many) == (5, 50)
    assert of_few == of_many == 3  # sheets, their figures, their people
