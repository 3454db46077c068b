"""Buying by the API: suppliers and prices, what to buy, orders, deliveries, reorder points."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.parts.models import Movement
from shop.parts.selectors import stock_of
from shop.specs.models import KitMeasure
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import make_booked, make_family

SUPPLIER = {"name": "Ferrisgate Supply", "lead_days": 5, "order_days": "024", "email": "orders@example.com"}


@pytest.fixture
def kit(db):
    return make.make_part("KIT-1", name="seal kit")


@pytest.fixture
def order(kit):
    return make.make_purchase((make.make_item(kit, price="18.50"), 12))


def lines_of(order, units, **more):
    return {"delivery_note": "8817", "lines": [{"line": order.lines.get().pk, "units": units, **more}]}


@pytest.mark.flow
def test_from_a_supplier_to_parts_on_the_shelf(at_desk, as_manager, kit):
    supplier = as_manager.made("suppliers/", SUPPLIER)
    sold = as_manager.made(f"suppliers/{supplier['id']}/sells/", {"part": kit.pk, "price": "18.50", "pack": 4})
    assert (sold["price"], sold["holds"]["figures"]) == ("18.5000", "1")
    lines = [{"item": sold["id"], "units": 12}]
    drafted = at_desk.made("purchase-orders/", {"supplier": supplier["id"], "lines": lines})
    assert (drafted["status"], drafted["lines"][0]["net"]) == ("draft", "222.00")
    path = f"purchase-orders/{drafted['id']}/"
    sent = at_desk.made(f"{path}send/", {"how": "email", "expected_on": "2026-12-02"})
    assert (sent["status"], sent["lines"][0]["expected_on"], sent["late"]) == ("sent", "2026-12-02", False)
    line = sent["lines"][0]["id"]
    came = at_desk.made(f"{path}deliveries/", {"delivery_note": "8817", "lines": [{"line": line, "units": 8}]})
    assert (came["status"], came["lines"][0]["to_come"]) == ("in_part", 4)
    assert stock_of([kit])[kit.pk].on_hand == 8
    assert came["receipts"][0]["lines"][0]["movement"] == Movement.objects.get().pk
    text = at_desk.get(f"{path}text/").json()["text"]
    assert "- 12 × piece: seal kit (our KIT-1), at 18.50 USD = 222.00 USD" in text
    assert at_desk.get(f"{path}paper/").content.startswith(b"%PDF")
    over = at_desk.made(f"{path}call-off/", {"why": "they cannot deliver"})
    assert (over["status"], over["lines"][0]["called_off"]) == ("closed", 4)
    assert [one["number"] for one in at_desk.get("purchase-orders/", status="closed").json()["results"]] == [
        over["number"]
    ]


def test_the_same_delivery_under_one_key_is_entered_once_and_another_person_is_told(at_desk, as_manager, order):
    path = f"purchase-orders/{order.pk}/deliveries/"
    for _ in range(2):
        assert at_desk.post(path, lines_of(order, 8), key="k-1").status_code == 201
    assert "was entered by" in refused(as_manager.post(path, lines_of(order, 8)), 409, code="received")
    assert Movement.objects.count() == 1


def test_more_than_ordered_is_asked_about_under_its_line(at_desk, order):
    path, line = f"purchase-orders/{order.pk}/deliveries/", order.lines.get()
    answer = at_desk.post(path, lines_of(order, 13))
    refused(answer, 400, field=f"units_{line.pk}", code="more_than_ordered")
    assert at_desk.post(path, lines_of(order, 13, why="a gift")).status_code == 201


def test_a_line_is_changed_and_a_delivery_put_right(at_desk, order):
    line = order.lines.get()
    change = {"item": line.item_id, "units": 10, "price": "18.50", "expected_on": "2026-12-09"}
    refused(at_desk.post(f"purchase-orders/{order.pk}/lines/", change), 400, field="why")
    told = at_desk.made(f"purchase-orders/{order.pk}/lines/", change | {"why": "two are out of stock"})
    assert (told["lines"][0]["units"], told["lines"][0]["expected_on"]) == (10, "2026-12-09")
    came = at_desk.made(f"purchase-orders/{order.pk}/deliveries/", lines_of(order, 10))
    row = came["receipts"][0]["lines"][0]["id"]
    told = at_desk.made(f"delivery-lines/{row}/correct/", {"units": 1, "why": "misread"})
    assert (told["status"], told["lines"][0]["received"]) == ("in_part", 1)
    assert [one["units"] for one in told["receipts"][0]["lines"]] == [10, -9]


def test_what_to_buy_tells_the_promise_at_risk_and_what_came_is_held(at_desk, at_bench):
    family = make_family()
    kit = family["kit"]
    make.make_movement(kit, -5, kind="used")
    item = make.make_item(kit, make.make_supplier(name="Ferrisgate Supply"), price="18.50")
    booked = make_booked(at_desk, family)
    told = at_bench.get("to-buy/").json()
    row = next(row for one in told["suppliers"] for row in one["rows"] if row["part"]["id"] == kit.pk)
    assert row["waits"][0]["order"]["id"] == booked["id"]
    assert row["waits"][0]["at_risk"] is True
    assert "not ordered; Ferrisgate Supply delivers in 5 working days" in row["waits"][0]["words"]
    assert row["buy"][0]["units"] >= 4
    order = make.make_purchase((item, 4))
    at_desk.made(f"purchase-orders/{order.pk}/deliveries/", lines_of(order, 4))
    (got,) = at_bench.made(f"purchase-orders/{order.pk}/hold/", key="h-1")["held"]
    assert (got["order"]["id"], got["amount"]["figures"], got["lacks"]["figures"]) == (booked["id"], "4", "0")
    assert at_bench.made(f"purchase-orders/{order.pk}/hold/", key="h-1") == {"held": []}


def test_a_new_price_is_a_new_row_and_a_change_needs_the_version(as_manager, order):
    item = order.lines.get().item
    path = f"supplier-items/{item.pk}/"
    as_manager.made(f"{path}prices/", {"price": "19.25", "from_day": "2026-11-01"})
    as_manager.made(f"{path}prices/", {"price": "19.75", "from_day": "2026-12-01"})
    prices = as_manager.get(f"{path}prices/").json()["results"]
    assert [one["price"] for one in prices] == ["19.7500", "18.5000", "19.2500"]
    assert as_manager.get(path).json()["price"] == "18.5000"
    assert as_manager.patch(path, {"version": 1, "pack": 6}).json()["pack"] == 6
    refused(as_manager.patch(path, {"version": 1, "pack": 8}), 409, code="stale")
    supplier = f"suppliers/{item.supplier_id}/"
    assert as_manager.patch(supplier, {"version": 1, "lead_days": 9}).json()["lead_days"] == 9


def test_a_reorder_point_is_read_and_fixed_in_the_unit_of_the_part(as_manager, at_desk):
    oil = make.make_part("TARN-5", measure=KitMeasure.VOLUME)
    make.make_movement(oil, 3_000_000)
    path = f"parts/{oil.pk}/reorder/"
    assert at_desk.get(path).json()["point"] is None
    told = as_manager.made(path, {"point": "3 L", "amount": "5 L", "why": "season"})
    assert (told["point"]["figures"], told["to_order"]["figures"], told["by_hand"]) == ("3000", "5000", True)
    assert at_desk.get("reorder/").json()["results"][0]["part"]["id"] == oil.pk
    refused(as_manager.post(path, {"point": "3 pcs", "amount": "5 L", "why": "x"}), 400, field="point")
    assert as_manager.made(f"{path}as-reckoned/")["by_hand"] is False


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"name": ""}, "name"),
        ({"lead_days": -1}, "lead_days"),
        ({"order_days": "9"}, "order_days"),
        ({"email": "x"}, "email"),
        ({"fax": "1"}, "fax"),
    ],
)
def test_a_supplier_of_nonsense_is_refused(as_manager, body, field):
    refused(as_manager.post("suppliers/", SUPPLIER | body), 400, field=field)


@pytest.mark.parametrize(
    "path", ["purchase-orders/", "suppliers/", "suppliers/{supplier}/sells/", "reorder/", "to-buy/"]
)
def test_lists_take_as_many_queries_for_many_as_for_few(at_desk, path):
    supplier = make.make_supplier()

    def fill(count):
        for _ in range(count):
            part = make.make_part(on_hand=5)
            make.make_movement(part, -1, kind="used")
            make.make_purchase((make.make_item(part, supplier), 2))

    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert at_desk.get(path.format(supplier=supplier.pk)).status_code == 200
        return len(queries)

    fill(2)
    few = asked()
    fill(5)
    assert asked() == few
