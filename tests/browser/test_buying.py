"""Buying in a real browser: every page without a fault, and a delivery taken in with the scanner and the keyboard."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from shop.parts.selectors import stock_of
from shop.workorders.purchases import waiting
from tests import factories as make
from tests.browser.conftest import UPRIGHT
from tests.browser.test_desk import WIDE, problems_on

pytestmark = [pytest.mark.browser, pytest.mark.serial, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def shop(transactional_db, manager):
    """Two suppliers, an order in each state, one that is late, orders that wait, parts to be bought."""
    supplier = make.make_supplier(name="Ferrisgate Supply", lead_days=5, phone="555-0161", address="3 Gate\nLarkspur")
    part = make.make_part("KIT-1", name="seal kit H2", on_hand=1)
    item = make.make_item(part, supplier, price="18.50", their_number="FG-1", pack=2)
    now = timezone.now()
    late = make.make_purchase(
        (make.make_item(make.make_part("TL-M", name="thread-locker"), supplier), 2),
        expected_on=date(2020, 1, 2), at=now.replace(year=2020, month=1, day=1), by=manager,
    )  # fmt: skip
    soon = timezone.localdate(now) + timedelta(days=3)
    coming = make.make_purchase((item, 4), expected_on=soon, at=now, by=manager)
    received = make.make_delivery(manager)
    draft = make.make_purchase((item, 2), sent=False, at=now, by=manager)
    oil = make.make_part("TARN-5", name="damper oil Tarn No. 5", measure="volume")
    model, customer = make.make_damper_model(), make.make_customer()
    for one in (part, make.make_part("KIT-9", name="seal kit nobody sells"), oil):
        amount = 300_000 if one == oil else 2
        make.make_kit_line(model, one.number, name=one.name, measure=one.measure, amount=amount)
    make.make_kit_line(model, "NEVER-1", name="clip")
    bottle = make.make_container(oil, 1_000_000, name="1 L bottle")
    make.make_item(oil, supplier, container=bottle, price="21.50")
    dampers = [make.make_damper(model=model, customer=customer) for _ in range(4)]
    order = make.make_order(
        dampers=dampers, at=now, promised_for=now + timedelta(days=2), arrives_on=timezone.localdate(now)
    )
    return {
        "supplier": supplier, "item": item, "part": part, "late": late, "coming": coming, "received": received.order,
        "row": received.lines.get(), "draft": draft, "order": order,
    }  # fmt: skip


@pytest.mark.parametrize(("viewport", "scheme"), [(WIDE, "light"), (UPRIGHT, "dark")], ids=["wide", "narrow"])
def test_axe_finds_nothing_and_nothing_is_wider_than_the_screen(open_browser, shop, manager, viewport, scheme):
    def at(name, *args, ask=""):
        return reverse(f"manage:{name}", args=args) + ask

    supplier, item = shop["supplier"].pk, shop["item"].pk
    orders = [shop[name].pk for name in ("late", "coming", "received", "draft")]
    addresses = [
        at("buying"), at("purchases"), at("purchases", ask="?q=nothing"), *(at("purchase", pk) for pk in orders),
        at("purchase_new", ask=f"?supplier={supplier}"), at("purchase_receive", shop["coming"].pk),
        at("purchase_receive", shop["draft"].pk), at("purchase_call_off", shop["coming"].pk),
        at("purchase_line", shop["coming"].pk, ask=f"?item={item}"), at("receipt_correct", shop["row"].pk),
        at("suppliers"), at("supplier_new"), at("supplier", supplier), at("supplier_change", supplier),
        at("item_new", supplier), at("item_new", supplier, ask=f"?part={shop['part'].pk}"), at("supplier_item", item),
        at("item_change", item), at("reorder_points"), at("reorder_part", shop["part"].pk),
    ]  # fmt: skip
    page = open_browser(manager, viewport=viewport, color_scheme=scheme)
    found = {}
    for address in addresses:
        page.goto(address)
        found |= problems_on(page)
    # And as it looks when more came than was ordered.
    page.goto(at("purchase_receive", shop["coming"].pk))
    page.get_by_label("Delivery note").fill("8817")
    page.get_by_label("Came now of KIT-1 seal kit H2, piece").fill("9")
    page.get_by_role("button", name="Put it on the shelf").click()
    expect(page.get_by_label("Why more than ordered is kept")).to_be_visible()
    found |= problems_on(page)
    assert found == {}


def test_a_delivery_is_scanned_put_on_the_shelf_and_held_with_the_keyboard_alone(open_browser, shop, desk):
    page = open_browser(desk, viewport=WIDE)
    page.goto(reverse("manage:purchase_receive", args=[shop["coming"].pk]))
    keys = page.keyboard
    keys.type("8817")  # the note has the focus
    keys.press("Enter")
    for number in ("KIT-1", "fg-1", "KIT-1", "KIT-404"):
        keys.type(number)
        keys.press("Enter")
    expect(page.get_by_role("main").get_by_role("status")).to_contain_text("“KIT-404” is on no line of this order.")
    expect(page.get_by_label("Came now of KIT-1 seal kit H2, piece")).to_have_value("3")
    page.get_by_role("button", name="Put it on the shelf").focus()
    keys.press("Enter")
    page.wait_for_url(f"**{shop['coming'].get_absolute_url()}")
    assert stock_of([shop["part"]])[shop["part"].pk].on_hand == 4
    page.get_by_role("button", name="Hold it for the orders that wait").focus()
    keys.press("Enter")
    expect(page.get_by_text("Held: 3 of KIT-1 seal kit H2 for")).to_be_visible()
    lacks = {one.part_number: one.amount for one in waiting()}
    assert lacks["KIT-1"] == 4


def test_an_order_goes_out_in_two_clicks_without_javascript(open_browser, shop, desk):
    page = open_browser(desk, viewport=WIDE, java_script_enabled=False)
    page.goto(reverse("manage:buying"))
    page.get_by_role("button", name="Draft this order to Ferrisgate Supply").click()
    page.get_by_role("button", name="It is sent").click()
    expect(page.get_by_text("is on its way to Ferrisgate Supply.")).to_be_visible()
