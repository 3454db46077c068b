"""Buying on the screen: what to buy, an order in two clicks, deliveries, suppliers and prices, reorder points."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.parts.models import Movement, PurchaseOrder, Supplier, SupplierItem
from shop.parts.selectors import stock_of
from shop.parts.services import fix_reorder
from tests import factories as make
from tests.factories import NOON
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
BUYING = reverse("manage:buying")


@pytest.fixture
def ferrisgate(db):
    return make.make_supplier(name="Ferrisgate Supply", lead_days=5, phone="555-0161")


@pytest.fixture
def kit(db):
    return make.make_part("KIT-1", name="seal kit H2")


@pytest.fixture
def order(kit, ferrisgate):
    return make.make_purchase((make.make_item(kit, ferrisgate, price="18.50", their_number="FG-1"), 12))


def waits(part, dampers=2):
    """A booked order, promised in five days, whose dampers take one each."""
    model, customer = make.make_damper_model(), make.make_customer()
    make.make_kit_line(model, part.number, name=part.name)
    dampers = [make.make_damper(model=model, customer=customer) for _ in range(dampers)]
    return make.make_order(dampers=dampers, promised_for=NOON + timedelta(days=5))


def page_of(name, *args):
    return reverse(f"manage:{name}", args=args)


def on_hand(part):
    return stock_of([part])[part.pk].on_hand


# --- what to buy


@pytest.mark.flow
def test_an_order_is_made_from_what_is_short_in_two_clicks(at_desk, kit, ferrisgate):
    make.make_item(kit, ferrisgate, price="18.50")
    waiting = waits(kit)
    page = at_desk.get(BUYING)
    assert (
        f"{waiting} promised Monday 30 November; not ordered; Ferrisgate Supply delivers in 5 working days: "
        "Wednesday 2 December if ordered today: 2 days late" in words(page)
    )
    assert "Sum as suggested 37.00" in words(page)
    drafted = at_desk.post(page_of("purchase_new") + f"?supplier={ferrisgate.pk}", form(page, "orders/new"))
    assert drafted.status_code == 302
    page = at_desk.get(drafted.url)
    assert "Draft: nothing is ordered yet." in words(page)
    order = PurchaseOrder.objects.get()
    sent = form(page, "send")
    assert (sent["how"], sent["expected_on"]) == ("email", "2026-12-02")
    at_desk.post(page_of("purchase_send", order.pk), sent)
    assert "Sent by e-mail on 25 November 2026 by Dora Achterberg. Expected Wednesday 2 December." in words(
        at_desk.get(drafted.url)
    )
    page = words(at_desk.get(BUYING))
    assert "Nothing has to be bought now." in page
    assert f"on order, {order}; Ferrisgate Supply delivers on Wednesday 2 December: 2 days late" in page


def test_the_page_tells_what_is_late_unsold_and_no_stock_item(at_bench, kit, ferrisgate):
    item = make.make_item(kit, ferrisgate)
    late = make.make_purchase((item, 2), expected_on=date(2026, 11, 20), at=NOON - timedelta(days=9))
    ghost = make.make_part("KIT-7", name="seal kit E5")
    waits(ghost)
    model = make.make_damper_model()
    make.make_kit_line(model, "NEVER-1", name="clip")
    make.make_order(dampers=[make.make_damper(model=model)])
    page = words(at_bench.get(BUYING))
    assert f"{late} Ferrisgate Supply 555-0161 Expected Friday 20 November: 2 × KIT-1 seal kit H2, piece" in page
    assert "KIT-7 seal kit E5 2 to buy. Enter who sells it" in page
    assert "NEVER-1 clip 1 for" in page
    assert "Draft this order" not in page


def test_the_page_takes_as_many_queries_for_many_as_for_few(at_desk, ferrisgate):
    def fill(count):
        for _ in range(count):
            part = make.make_part()
            make.make_purchase((make.make_item(part, ferrisgate), 1), expected_on=date(2026, 11, 26))
            waits(part, 3)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert at_desk.get(BUYING).status_code == 200
        return len(queries)

    fill(2)
    few = asked()
    fill(4)
    assert asked() == few <= 22


def test_an_order_of_nothing_or_of_half_a_pack_is_refused_with_what_was_typed(at_desk, kit, ferrisgate):
    item = make.make_item(kit, ferrisgate, pack=10)
    url = f"{page_of('purchase_new')}?supplier={ferrisgate.pk}"
    assert "Nothing is chosen" in words(send(at_desk, url, note="soon please"))
    answer = send(at_desk, url, **{f"units_{item.pk}": "7", "note": "soon please"})
    assert answer.status_code == 422
    assert "Give 10" in words(answer)
    assert form(answer)["note"] == "soon please"
    assert not PurchaseOrder.objects.exists()


@pytest.mark.parametrize("asked", ["?supplier=4711", "?supplier=x", "?supplier="])
def test_an_order_to_nobody_has_no_page(at_desk, asked):
    assert at_desk.get(page_of("purchase_new") + asked).status_code == 404


# --- deliveries


@pytest.mark.flow
def test_what_comes_is_put_on_the_shelf_and_held_for_who_waits(at_desk, kit, order):
    waiting = waits(kit)
    line, url = order.lines.get(), page_of("purchase_receive", order.pk)
    answer = send(at_desk, url, **{"delivery_note": "8817", f"units_{line.pk}": "8", f"price_{line.pk}": "18,75"})
    page = words(at_desk.get(answer.url))
    assert "Delivery note 8817 is entered" in page
    assert "8 × KIT-1 seal kit H2, piece, paid 18.75 for one" in page
    assert on_hand(kit) == 8
    assert "Orders wait for what came." in page
    page = words(at_desk.post(page_of("purchase_hold", order.pk), follow=True))
    assert f"Held: 2 of KIT-1 seal kit H2 for {waiting}." in page
    assert "Orders wait for what came." not in page
    page = words(at_desk.post(page_of("purchase_hold", order.pk), follow=True))
    assert "Nothing was held" in page


def test_more_than_ordered_is_asked_about_and_kept_with_a_reason(at_desk, kit, order):
    line, url = order.lines.get(), page_of("purchase_receive", order.pk)
    answer = send(at_desk, url, **{"delivery_note": "8817", f"units_{line.pk}": "14"})
    assert answer.status_code == 422
    assert "12 of KIT-1 seal kit H2, piece were ordered: 12 still to come, not 14" in words(answer)
    filled = form(answer)
    assert (filled["delivery_note"], filled[f"units_{line.pk}"]) == ("8817", "14")
    assert not Movement.objects.exists()
    at_desk.post(url, filled | {f"why_{line.pk}": "a gift"})
    assert "More than ordered: a gift." in words(at_desk.get(order.get_absolute_url()))
    assert on_hand(kit) == 14


def test_the_second_who_enters_a_delivery_note_is_told(at_desk, as_manager, kit, order):
    line, url = order.lines.get(), page_of("purchase_receive", order.pk)
    typed = {"delivery_note": "8817", f"units_{line.pk}": "8"}
    send(at_desk, url, **typed)
    answer = send(as_manager, url, **typed)
    assert answer.status_code == 409
    assert "Delivery note 8817 of" in words(answer)
    assert "was entered by Dora Achterberg already" in words(answer)
    assert on_hand(kit) == 8


def test_the_same_delivery_sent_twice_is_one(at_desk, kit, order):
    line, url = order.lines.get(), page_of("purchase_receive", order.pk)
    filled = form(at_desk.get(url)) | {"delivery_note": "8817", f"units_{line.pk}": "8"}
    for _ in range(2):
        assert at_desk.post(url, filled).status_code == 302
    assert on_hand(kit) == 8


@pytest.mark.parametrize("typed", ["-1", "x", "2.5", "9" * 30, "", "100001"])
def test_a_delivery_of_no_sensible_number_is_refused(at_desk, order, typed):
    line, url = order.lines.get(), page_of("purchase_receive", order.pk)
    answer = send(at_desk, url, **{"delivery_note": "8817", f"units_{line.pk}": typed})
    assert answer.status_code == 422
    assert form(answer)["delivery_note"] == "8817"
    assert not Movement.objects.exists()


def test_a_delivery_is_put_right_and_the_rest_called_off(at_desk, kit, order):
    line = order.lines.get()
    send(at_desk, page_of("purchase_receive", order.pk), **{"delivery_note": "8817", f"units_{line.pk}": "8"})
    row = line.receipt_lines.get()
    send(at_desk, page_of("receipt_correct", row.pk), units="3", why="misread")
    page = words(at_desk.get(order.get_absolute_url()))
    assert "Corrected by Dora Achterberg: 3 came. misread" in page
    assert on_hand(kit) == 3
    send(at_desk, page_of("purchase_call_off", order.pk), why="they cannot deliver")
    page = words(at_desk.get(order.get_absolute_url()))
    assert "Closed. Rest called off: they cannot deliver" in page
    assert "Nothing is received for it now." in words(at_desk.get(page_of("purchase_receive", order.pk)))


def test_a_line_of_a_sent_order_takes_another_day_with_a_reason(at_desk, order):
    item = order.lines.get().item
    url = f"{page_of('purchase_line', order.pk)}?item={item.pk}"
    assert send(at_desk, url, expected_on="2026-12-09", why="").status_code == 422
    send(at_desk, url, expected_on="2026-12-09", why="they called")
    page = words(at_desk.get(order.get_absolute_url()))
    assert "Expected Wednesday 9 December." in page
    assert "expected: 2026-12-09 (they called)" in page
    stranger = make.make_item()
    assert at_desk.get(f"{page_of('purchase_line', order.pk)}?item={stranger.pk}").status_code == 404


def test_an_order_prints_and_reads_as_plain_text(at_bench, order):
    assert at_bench.get(page_of("purchase_paper", order.pk)).content.startswith(b"%PDF")
    text = at_bench.get(page_of("purchase_text", order.pk)).content.decode()
    assert "- 12 × piece: FG-1, seal kit H2 (our KIT-1), at 18.50 USD = 222.00 USD" in text
    assert max(map(len, text.splitlines())) <= 78
    assert "mailto:orders@example.com?subject=Order%20" in at_bench.get(order.get_absolute_url()).content.decode()


def test_orders_are_found_by_supplier_part_and_number(at_bench, order):
    stranger = make.make_supplier(name="Ondreval Trade")
    other = make.make_purchase((make.make_item(make.make_part("E5-9"), stranger), 1))
    for text in ("ferrisgate", "KIT-1", order.number, order.number[-4:]):
        page = words(at_bench.get(page_of("purchases"), {"q": text}))
        assert order.number in page, text
        assert other.number not in page, text
    assert "No such purchase order." in words(at_bench.get(page_of("purchases"), {"q": "nothing"}))


def test_lists_of_orders_and_suppliers_take_as_many_queries_for_many_as_for_few(at_desk, ferrisgate):
    def fill(count):
        for _ in range(count):
            make.make_purchase((make.make_item(make.make_part(), ferrisgate), 1))
            make.make_supplier()

    def asked(url):
        with CaptureQueriesContext(connection) as queries:
            assert at_desk.get(url).status_code == 200
        return len(queries)

    urls = [page_of("purchases"), page_of("suppliers"), ferrisgate.get_absolute_url(), page_of("reorder_points")]
    fill(2)
    few = [asked(url) for url in urls]
    fill(6)
    assert [asked(url) for url in urls] == few


# --- suppliers and prices


def test_a_supplier_what_they_sell_and_a_price_are_entered(as_manager, kit):
    answer = send(as_manager, page_of("supplier_new"), name="Ferrisgate Supply", lead_days="5", order_days=["0", "3"])
    page = words(as_manager.get(answer.url))
    assert "Takes orders on Monday, Thursday" in page
    supplier = Supplier.objects.get()
    asked = send(as_manager, page_of("item_new", supplier.pk), number="kit-1")
    assert asked.url.endswith(f"?part={kit.pk}")
    send(as_manager, asked.url, price="18,50", their_number="FG-1")
    item = SupplierItem.objects.get()
    assert item.price_on(NOON.date()) == Decimal("18.50")
    send(as_manager, item.get_absolute_url(), "price", to=page_of("item_price", item.pk), price="0.085")
    page = words(as_manager.get(item.get_absolute_url()))
    assert "Price of one today 0.085 USD since 25 November 2026" in page
    assert "18.50 USD" in page


def test_a_part_that_is_no_stock_item_is_told(as_manager, ferrisgate):
    answer = send(as_manager, page_of("item_new", ferrisgate.pk), number="KIT-404")
    assert answer.status_code == 422
    assert "“KIT-404” is no stock item." in words(answer)


def test_the_second_manager_who_changes_a_supplier_sees_what_the_first_wrote(as_manager, ferrisgate):
    url = page_of("supplier_change", ferrisgate.pk)
    stale = form(as_manager.get(url)) | {"lead_days": "9"}
    send(as_manager, url, lead_days="7", order_days=["0", "4"])
    answer = as_manager.post(url, stale)
    assert answer.status_code == 409
    assert "Lead time in working days 7" in words(answer)
    assert "Takes orders on Monday, Friday" in words(answer)
    ferrisgate.refresh_from_db()
    assert ferrisgate.lead_days == 7


def test_what_is_sold_is_changed_and_taken_out_of_use(as_manager, kit, ferrisgate):
    item = make.make_item(kit, ferrisgate)
    filled = form(as_manager.get(page_of("item_change", item.pk)))
    filled.pop("in_use")
    as_manager.post(page_of("item_change", item.pk), filled | {"pack": "6"})
    page = words(as_manager.get(item.get_absolute_url()))
    assert "Not in use" in page
    assert "whole packs of 6" in page
    assert "Nothing is known that they sell." in words(
        as_manager.get(f"{page_of('purchase_new')}?supplier={ferrisgate.pk}")
    )


# --- reorder points


def test_reorder_points_tell_why_and_a_manager_sets_one_by_hand(as_manager, manager, kit, ferrisgate):
    make.make_movement(kit, 3)
    make.make_item(kit, ferrisgate)
    url = page_of("reorder_part", kit.pk)
    assert "it is not ordered again by itself" in words(as_manager.get(url))
    send(as_manager, url, "by-hand", to=page_of("reorder_fix", kit.pk), point="4", amount="6", why="season")
    page = words(as_manager.get(page_of("reorder_points")))
    assert (
        f"order again 3 4 6 3 on hand, 0 held, 0 short, 0 on order. By hand. Set by hand by {manager}: season." in page
    )
    as_manager.post(page_of("reorder_fix", kit.pk), {"back": "1"})
    assert "it is not ordered again by itself" in words(as_manager.get(url))


@pytest.mark.parametrize("typed", [{"point": "-1"}, {"amount": "2.5"}, {"why": ""}, {"point": "4 mL"}])
def test_a_reorder_point_of_nonsense_is_refused(as_manager, kit, typed):
    url = page_of("reorder_part", kit.pk)
    given = {"point": "4", "amount": "6", "why": "season"} | typed
    answer = send(as_manager, url, "by-hand", to=page_of("reorder_fix", kit.pk), **given)
    assert answer.status_code == 422
    assert not hasattr(kit, "reorder_fix")


def test_the_front_desk_reads_a_reorder_point_and_does_not_set_it(at_desk, manager, kit):
    fix_reorder(part=kit, point=4, amount=6, why="season", by=manager, at=NOON)
    page = words(at_desk.get(page_of("reorder_part", kit.pk)))
    assert "Set by hand by" in page
    assert "Why" not in page
