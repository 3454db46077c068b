"""What running orders wait for, what to buy for it, whether a promise is at risk, and who gets what came."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop.parts.arrivals import arrivals
from shop.parts.models import SupplierItem
from shop.parts.packs import cover
from shop.parts.selectors import stock_of
from shop.parts.services import Arrived, Wanted, add_item, fix_reorder, receive, receive_delivery, start_order
from shop.workorders.purchases import late_deliveries, reorder_list, to_buy, waited_for, waiting
from shop.workorders.services import call_off, hold_for_waiting
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db
TODAY = NOON.date()


def order_for(part, dampers=1, promised_in=5, amount=1):
    """A booked order whose dampers each take so much of a part."""
    model = make.make_damper_model()
    make.make_kit_line(model, part.number, amount=amount, measure=part.measure, name=part.name)
    customer = make.make_customer()
    return make.make_order(
        dampers=[make.make_damper(model=model, customer=customer) for _ in range(dampers)],
        promised_for=NOON + timedelta(days=promised_in),
    )


@pytest.fixture
def ferrisgate(db):
    return make.make_supplier(name="Ferrisgate Supply", lead_days=5)


def one_row(found):
    ((row,),) = [one.rows for one in found.suppliers]
    return row


def test_short_lines_become_a_suggestion_with_the_promise_at_risk(ferrisgate):
    kit = make.make_part("KIT-1", name="seal kit", on_hand=1)
    make.make_item(kit, ferrisgate, price="18.50", pack=4)
    late, in_time = order_for(kit, 3, promised_in=5), order_for(kit, 2, promised_in=9)
    found = to_buy(now=NOON)
    row = one_row(found)
    assert (row.need, [(one.units, one.net) for one in row.buys]) == (4, [(4, Decimal("74.00"))])
    assert [one.words for one in row.waits] == [
        f"{late} promised Monday 30 November; not ordered; Ferrisgate Supply delivers in 5 working days: "
        "Wednesday 2 December if ordered today: 2 days late",
        f"{in_time} promised Friday 4 December; not ordered; Ferrisgate Supply delivers in 5 working days: "
        "Wednesday 2 December if ordered today: in time",
    ]
    assert [one.at_risk for one in row.waits] == [True, False]
    assert found.suppliers[0].total == Decimal("74.00")


def test_what_is_on_its_way_goes_to_the_earliest_promise_and_only_the_rest_is_bought(ferrisgate):
    kit = make.make_part("KIT-1")
    item = make.make_item(kit, ferrisgate)
    first, second = order_for(kit, 2, promised_in=6), order_for(kit, 2, promised_in=8)
    purchase = make.make_purchase((item, 3), expected_on=date(2026, 12, 1))
    row = one_row(to_buy(now=NOON))
    assert (row.need, row.buys[0].units) == (1, 1)
    assert row.waits[0].words == (
        f"{first} promised Tuesday 1 December; on order, {purchase}; "
        "Ferrisgate Supply delivers on Tuesday 1 December: in time"
    )
    assert row.waits[1].words.startswith(f"{second} promised Thursday 3 December; 1 not ordered; Ferrisgate Supply")
    # As a booking asks: what others wait for comes first, if it was promised earlier.
    before = waited_for([kit], promised_before=second.promised_for)
    assert before == {kit.pk: 2}
    assert arrivals({kit: 1}, today=TODAY, before=before)[kit.pk].day == date(2026, 12, 1)
    assert not arrivals({kit: 2}, today=TODAY, before=before)[kit.pk].ordered
    assert waited_for([kit]) == {kit.pk: 4}


def test_what_stands_in_a_draft_is_not_suggested_again(ferrisgate):
    kit = make.make_part("KIT-1")
    item = make.make_item(kit, ferrisgate)
    order_for(kit, 2)
    row = one_row(to_buy(now=NOON))
    wanted = [Wanted(one.item, one.units) for one in row.buys]
    start_order(supplier=ferrisgate, wanted=wanted, by=make.make_user(), at=NOON)
    found = to_buy(now=NOON)
    assert found.suppliers == []
    assert [(one.drafted, one.need) for one in found.covered] == [(2, 0)]
    assert item.lines.get().units == 2


def test_who_keeps_the_promise_is_asked_before_who_is_cheap(ferrisgate):
    kit = make.make_part("KIT-1")
    make.make_item(kit, ferrisgate, price="15.00")
    sooner = make.make_supplier(name="Ondreval Trade", lead_days=2)
    make.make_item(kit, sooner, price="19.00")
    order = order_for(kit, 2, promised_in=5)
    row = one_row(to_buy(now=NOON))
    assert row.buys[0].item.supplier == sooner
    assert row.instead == (
        "Ferrisgate Supply asks 8.00 less, delivers on Wednesday 2 December and keeps fewer promises"
    )
    call_off(order=order, why="sold it", by=make.make_user(), at=NOON)
    order_for(kit, 2, promised_in=20)
    row = one_row(to_buy(now=NOON))
    assert row.buys[0].item.supplier == ferrisgate
    assert row.instead == "Ondreval Trade delivers sooner, on Friday 27 November for 8.00 more"


def test_what_is_at_its_reorder_point_is_suggested_beside_what_is_short(ferrisgate, manager):
    kit, shelf = make.make_part("KIT-1"), make.make_part("KIT-2", on_hand=2)
    for part in (kit, shelf):
        make.make_item(part, ferrisgate)
    fix_reorder(part=shelf, point=2, amount=5, why="season", by=manager, at=NOON)
    fix_reorder(part=kit, point=1, amount=6, why="season", by=manager, at=NOON)
    order_for(kit, 3)
    (supplier,) = to_buy(now=NOON).suppliers
    assert [(row.part, row.need, len(row.waits)) for row in supplier.rows] == [(kit, 6, 1), (shelf, 5, 0)]
    assert [one.part for one in reorder_list(now=NOON)] == [kit, shelf]


def test_what_nobody_sells_or_is_no_stock_item_is_told(ferrisgate):
    kit, ghost = make.make_part("KIT-1"), make.make_part("KIT-9")
    order = order_for(kit)
    order_for(ghost)
    type(ghost).objects.filter(pk=ghost.pk).update(number="KIT-8")
    found = to_buy(now=NOON)
    assert {row.part.number for row in found.unsold} == {"KIT-1", "KIT-8"}
    row = next(one for one in found.unsold if one.part == kit)
    assert row.waits[0].words == (
        f"{order} promised Monday 30 November; not ordered, and no supplier is known for KIT-1: nobody can say when"
    )
    assert row.at_risk
    model = make.make_damper_model()
    make.make_kit_line(model, "NEVER-1")
    make.make_order(dampers=[make.make_damper(model=model)])
    assert [one.part_number for one in to_buy(now=NOON).unlisted] == ["NEVER-1"]


def test_what_lies_on_the_shelf_is_not_bought_but_told_to_be_held(ferrisgate):
    kit = make.make_part("KIT-1")
    make.make_item(kit, ferrisgate)
    order = order_for(kit, 2)
    make.make_movement(kit, 2)
    found = to_buy(now=NOON)
    assert found.suppliers == []
    assert found.covered[0].waits[0].words == (
        f"{order} promised Monday 30 November; on the shelf, not held for it yet: in time"
    )


def test_the_page_takes_as_many_queries_for_many_orders_as_for_few(ferrisgate, django_assert_num_queries):
    def fill(count):
        for _ in range(count):
            kit = make.make_part()
            make.make_purchase((make.make_item(kit, ferrisgate), 1))
            make.make_purchase((make.make_item(kit), 1), sent=False)
            order_for(kit, 3)
            order_for(kit, 1)

    fill(2)
    with django_assert_num_queries(13):
        to_buy(now=NOON)
    fill(6)
    with django_assert_num_queries(13):
        found = to_buy(now=NOON)
    assert sum(len(one.rows) for one in found.suppliers) == 8


def test_late_deliveries_come_the_longest_late_first(ferrisgate):
    item, earlier = make.make_item(make.make_part(), ferrisgate), NOON - timedelta(days=20)
    for day in (24, 20, 26):
        make.make_purchase((item, 1), expected_on=date(2026, 11, day), at=earlier)
    assert [one.due_on.day for one in late_deliveries(TODAY)] == [20, 24]


# --- the cheapest whole packs


def sold(size, price, pack=1, minimum=1):
    return {"size": size, "price": price, "pack": pack, "minimum": minimum}


def items_of(part, rows, supplier):
    for row in rows:
        container = make.make_container(part, row["size"]) if row["size"] > 1 else None
        price = None if row["price"] is None else Decimal(row["price"])
        add_item(
            supplier=supplier, part=part, container=container, pack=row["pack"], minimum=row["minimum"], price=price,
            by=make.make_user(), at=NOON,
        )  # fmt: skip
    return list(SupplierItem.objects.priced(TODAY).filter(part=part).select_related("container", "part", "supplier"))


@pytest.mark.parametrize(
    ("need", "rows", "bought"),
    [
        (3_900, [sold(1_000, "21.50"), sold(5_000, "89.00")], [(1_000, 4)]),
        (4_100, [sold(1_000, "21.50"), sold(5_000, "89.00")], [(5_000, 1)]),
        (5_100, [sold(1_000, "21.50"), sold(5_000, "89.00")], [(1_000, 1), (5_000, 1)]),
        # A case of six costs more than the can.
        (1_000, [sold(1_000, "21.50", pack=6), sold(5_000, "89.00")], [(5_000, 1)]),
        (1_000, [sold(1_000, "21.50", minimum=6), sold(5_000, "89.00")], [(5_000, 1)]),
        (7, [sold(1, "2.00", pack=5, minimum=12)], [(1, 15)]),
        (7, [sold(1, None, pack=5)], [(1, 10)]),
        (900, [sold(1_000, None), sold(5_000, None)], [(1_000, 1)]),
        (900, [sold(1_000, None), sold(5_000, "1.00")], [(5_000, 1)]),
    ],
)
def test_the_cheapest_whole_packs_hold_what_is_needed(ferrisgate, need, rows, bought):
    measure = "volume" if rows[0]["size"] > 1 else "count"
    buys = cover(need, items_of(make.make_part(measure=measure), rows, ferrisgate))
    assert sorted((one.item.size, one.units) for one in buys) == bought


packs = st.builds(
    sold,
    st.sampled_from([1, 100, 250, 1_000]),
    st.one_of(st.none(), st.decimals(0, 100, places=2)),
    st.integers(1, 12),
    st.integers(1, 30),
)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(1, 20_000), st.lists(packs, min_size=1, max_size=3, unique_by=lambda one: one["size"]))
def test_what_is_suggested_covers_what_is_short_in_whole_packs(db, need, rows):
    part = make.make_part(measure="count")
    items = items_of(part, rows, make.make_supplier())
    buys = cover(need, items)
    assert sum(one.amount for one in buys) >= need
    for one in buys:
        assert one.units % one.item.pack == 0
        assert one.units >= one.item.minimum
    priced = [one for one in items if one.price is not None]
    if priced:
        cost = sum(one.item.price * one.units for one in buys)
        for item in priced:
            alone = max(-(-need // item.size), item.minimum)
            assert cost <= item.price * (-(-alone // item.pack) * item.pack)


# --- holding what came


@pytest.mark.flow
def test_what_came_is_held_for_the_orders_that_wait_in_the_order_of_their_promises(ferrisgate, desk):
    kit = make.make_part("KIT-1", name="seal kit")
    purchase = make.make_purchase((make.make_item(kit, ferrisgate), 3))
    last, first = order_for(kit, 2, promised_in=9), order_for(kit, 2, promised_in=3)
    receive_delivery(order=purchase, delivery_note="1", arrived=[Arrived(purchase.lines.get(), 3)], by=desk, at=NOON)
    got = hold_for_waiting(parts=[kit], by=desk, at=NOON)
    assert [one.words for one in got] == [
        f"2 of KIT-1 seal kit for {first}",
        f"1 of KIT-1 seal kit for {last}, still lacks 1",
    ]
    assert hold_for_waiting(parts=[kit], by=desk, at=NOON) == []
    assert [(one.order, one.amount) for one in waiting()] == [(last, 1)]
    assert stock_of([kit])[kit.pk].available == 0


@pytest.mark.django_db(transaction=True)
def test_two_people_holding_at_once_and_a_booking_beside_it_promise_nothing_twice():
    kits = [make.make_part(f"KIT-{n}") for n in (1, 2)]
    models = [make.make_damper_model() for _ in range(2)]
    for model, order in zip(models, (kits, kits[::-1]), strict=True):
        for kit in order:
            make.make_kit_line(model, kit.number, amount=2)
    for model in models * 2:
        make.make_order(dampers=[make.make_damper(model=model)], promised_for=NOON + timedelta(days=3))
    by, late = make.make_user("desk"), make.make_damper(model=models[0])
    for kit in kits:
        receive(part=kit, amount=5, by=by, at=NOON)
    outcomes = at_once(
        lambda: hold_for_waiting(parts=kits, by=by, at=NOON),
        lambda: hold_for_waiting(parts=kits[::-1], by=by, at=NOON),
        lambda: make.make_order(dampers=[late], by=by),
    )
    assert not [one for one in outcomes if isinstance(one, Exception)], outcomes
    for kit in kits:
        stock = stock_of([kit])[kit.pk]
        assert (stock.held, stock.on_hand) == (5, 5)
