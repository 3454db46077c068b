"""Where something is short, the pages say how it comes and lead to Buying whoever may order it."""

from datetime import date

import pytest
from django.urls import reverse

from shop.parts.services import Wanted, send_order, start_order
from tests import factories as make
from tests.factories import NOON
from tests.web.people import words

pytestmark = [pytest.mark.django_db, pytest.mark.flow, pytest.mark.usefixtures("at_noon")]
DAY = "?day=2026-12-31"
NOT_ORDERED = "Not ordered; Ferrisgate Supply delivers in 5 working days: Wednesday 2 December if ordered today."


@pytest.fixture
def kit():
    kit = make.make_part("KIT-1", name="seal kit", on_hand=0)
    supplier = make.make_supplier(name="Ferrisgate Supply", lead_days=5, email="orders@example.com")
    make.make_item(kit, supplier, price="18.50")
    return kit


@pytest.fixture
def order(kit):
    model = make.make_damper_model()
    make.make_kit_line(model, kit.number, amount=1, measure=kit.measure, name=kit.name)
    return make.make_order(dampers=[make.make_damper(model=model)])


def pages(order):
    return [reverse("desk:pick_list", args=[order.pk]), order.get_absolute_url(), reverse("desk:picks") + DAY]


def test_what_is_short_and_not_ordered_leads_to_buying(at_desk, at_bench, order):
    link = f'href="{reverse("manage:buying")}">Order it'
    for address in pages(order):
        page = at_desk.get(address)
        assert NOT_ORDERED in words(page), address
        assert link in page.content.decode(), address
        page = at_bench.get(address)  # who orders nothing is told when it comes, and led nowhere
        assert NOT_ORDERED in words(page)
        assert link not in page.content.decode()


def test_what_is_on_its_way_says_by_which_order_and_when(at_desk, order, kit, desk):
    item = kit.sold_as.get()
    bought = start_order(supplier=item.supplier, wanted=[Wanted(item, 3)], by=desk, at=NOON)
    send_order(order=bought, how="email", expected_on=date(2026, 12, 2), by=desk, at=NOON)
    for address in pages(order):
        page = at_desk.get(address)
        assert f"On order, {bought}; Ferrisgate Supply delivers on Wednesday 2 December." in words(page), address
        assert "Order it" not in words(page), address
        assert "buy 1" not in words(page), address


def test_what_the_stock_list_does_not_know_leads_to_buying(at_desk):
    model = make.make_damper_model()
    make.make_kit_line(model, "XX-1", amount=1, name="bushing")
    order = make.make_order(dampers=[make.make_damper(model=model)])
    for address in pages(order):
        assert "Order it" in words(at_desk.get(address)), address


def test_nothing_is_said_where_nothing_is_short(at_desk, order, kit):
    make.make_movement(kit, 5)
    at_desk.post(reverse("desk:pick_hold", args=[order.pk]))
    for address in pages(order):
        assert "Order it" not in words(at_desk.get(address))
