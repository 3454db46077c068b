"""When a part is ordered again, how many at a time, and the reason in words; when what is short can be there."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.inventory import demand, order_quantity, reorder_point
from shop.parts.arrivals import arrivals
from shop.parts.reorder import reorder
from shop.parts.services import fix_reorder, receive_delivery, unfix_reorder, use
from shop.parts.services.buying import Arrived, call_off_rest
from shop.parts.workdays import add_working_days, delivery_day, next_order_day, working_days_between
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db
TODAY = NOON.date()


def known(part=None, on_hand=100, **given):
    """A part that has been in stock for more than a year."""
    part = part or make.make_part(**given)
    make.make_movement(part, on_hand, at=NOON - timedelta(days=500))
    return part


def take(part, *days, amount=1):
    for one in days:
        make.make_movement(part, -amount, kind="used", at=NOON - timedelta(days=one))


def of(part, **more):
    return reorder([part], now=NOON, **more)[part.pk]


def test_the_point_is_what_goes_during_the_lead_time_and_a_safety_stock():
    supplier = make.make_supplier(lead_days=5, lead_deviation_days=2)
    part = known(on_hand=30)
    make.make_item(part, supplier, price="18.50")
    days = [3, 15, 28, 40, 55, 66, 80, 93, 105, 118, 130, 144, 155, 170]
    take(part, *days)
    got = of(part)
    use = demand([(TODAY - timedelta(days=one), 1) for one in days], TODAY - timedelta(days=179), TODAY)
    point = reorder_point(use.mean, use.deviation, 5 * 7 / 5, 2 * 7 / 5, 0.95)
    assert (got.point, round(point, 3)) == (2, 1.767)
    # 28.4 a year, 8 for an order, 20 % of 18.50 to keep one: 11.1
    assert order_quantity(use.mean * 365, 8, 3.7) == pytest.approx(11.08, abs=0.01)
    assert got.amount == 12
    assert got.why == (
        "Used 14 in 180 days, on 14 days; lead time 5 working days ± 2, 95 %: order when 2 are left, 12 at a time."
    )
    assert not got.at_or_under


def test_what_is_taken_three_times_a_year_keeps_what_the_largest_order_took():
    part = known(on_hand=10)
    make.make_item(part, price="4.00")
    take(part, 20, 200)
    take(part, 300, amount=4)
    got = of(part)
    assert (got.point, got.use.days, got.use.occasions) == (4, 365, 3)
    assert "at least the 4 that went at one time: order when 4 are left" in got.why
    assert got.position == 4
    assert got.at_or_under
    assert got.amount == 6  # never more than a year's use, however cheap keeping it is


def test_what_was_not_used_in_a_year_is_not_ordered_again():
    part = known(on_hand=1)
    take(part, 400)
    got = of(part)
    assert (got.point, got.amount, got.at_or_under, got.to_order) == (None, 0, False, 0)
    assert got.why == "Nothing was used in 365 days: it is not ordered again by itself."


def test_a_part_that_nobody_sells_says_so():
    part = known()
    take(part, *range(1, 50, 5))
    assert "nobody is known to sell it, lead time taken as 10 working days" in of(part).why


def test_a_fluid_is_ordered_in_whole_containers_and_packs():
    oil = known(on_hand=8_000_000, measure="volume", name="Tarn No. 5")
    bottle = make.make_container(oil, 1_000_000)
    make.make_item(oil, container=bottle, price="21.50", pack=6)
    take(oil, *range(1, 180, 20), amount=340_000)
    got = of(oil)
    assert got.amount == 6_000_000
    assert got.point >= 340_000
    assert "6000 mL at a time" in got.why


def test_what_is_held_short_and_on_order_counts():
    part = known(on_hand=12)
    item = make.make_item(part)
    take(part, *range(1, 100, 10))
    assert of(part).position == 2
    make.make_pick_list(part, 1)
    order = make.make_purchase((item, 10))
    got = of(part, short={part.pk: 3})
    assert (got.stock.held, got.on_order, got.position) == (1, 10, 2 - 1 - 3 + 10)
    call_off_rest(order=order, why="not needed", by=make.make_user(), at=NOON)
    got = of(part, short={part.pk: 3})
    assert (got.on_order, got.position) == (0, -2)
    assert got.to_order >= 3


def test_a_manager_fixes_it_by_hand_and_it_says_so(manager):
    part = known(on_hand=5)
    fix_reorder(part=part, point=6, amount=10, why="the season begins", by=manager, at=NOON)
    got = of(part)
    assert (got.point, got.amount, got.to_order) == (6, 10, 10)
    assert got.why == f"Set by hand by {manager}: the season begins. Order when 6 are left, 10 at a time."
    fix_reorder(part=part, point=0, amount=0, why="no longer fitted", by=manager, at=NOON)
    assert (of(part).to_order, of(part).why.endswith("It is not ordered again.")) == (0, True)
    for _ in range(2):
        unfix_reorder(part=part, by=manager, at=NOON)
    assert of(part).fix is None
    told = [one.what for one in AuditEntry.objects.filter(kind="part", key=str(part.pk)).order_by("pk")]
    assert told == [
        "reordered by hand: 10 at 6 (the season begins)",
        "reordered by hand: no more (no longer fitted)",
        "reordered as reckoned again",
    ]


@pytest.mark.parametrize(
    ("given", "field"), [({"point": -1}, "point"), ({"amount": -1}, "amount"), ({"why": " "}, "why"),
                         ({"point": 10**12}, "point")]
)  # fmt: skip
def test_a_point_of_nonsense_is_refused(manager, given, field):
    with pytest.raises(ValidationError) as refused:
        fix_reorder(part=make.make_part(), **{"point": 1, "amount": 1, "why": "x"} | given, by=manager, at=NOON)
    assert set(refused.value.message_dict) == {field}


def test_it_takes_as_many_queries_for_thirty_parts_as_for_three(django_assert_num_queries):
    supplier, by = make.make_supplier(), make.make_user()
    parts = []
    for _ in range(30):
        part = known()
        take(part, 1, 20)
        make.make_purchase((make.make_item(part, supplier), 3))
        fix_reorder(part=part, point=1, amount=1, why="x", by=by, at=NOON)
        parts.append(part)
    for some in (parts[:3], parts):
        with django_assert_num_queries(8):
            reorder(some, now=NOON)
        with django_assert_num_queries(2):
            arrivals(dict.fromkeys(some, 5), today=TODAY)


# --- when what is short can be there


def test_what_is_on_order_comes_on_its_day_after_what_others_wait_for():
    part = make.make_part()
    item = make.make_item(part, make.make_supplier(name="Ferrisgate Supply"))
    first = make.make_purchase((item, 4), expected_on=date(2026, 12, 1))
    second = make.make_purchase((item, 6), expected_on=date(2026, 12, 8))

    def when(amount, before=0):
        return arrivals({part: amount}, today=TODAY, before={part.pk: before})[part.pk]

    assert (when(4).day, when(4).ordered) == (date(2026, 12, 1), True)
    assert when(4).words == f"on order, {first}; Ferrisgate Supply delivers on Tuesday 1 December"
    assert when(5).day == when(4, before=1).day == date(2026, 12, 8)
    receive_delivery(
        order=first, delivery_note="1", arrived=[Arrived(first.lines.get(), 4)], by=make.make_user(), at=NOON
    )
    assert when(6).day == second.expected_on
    over = when(8)
    assert (over.day, over.ordered) == (date(2026, 12, 8), False)
    assert over.words == (
        "2 not ordered; Ferrisgate Supply delivers in 5 working days: Wednesday 2 December if ordered today"
    )


def test_what_is_not_ordered_takes_the_lead_time_of_the_soonest_supplier():
    part = make.make_part()
    make.make_item(part, make.make_supplier(lead_days=9), price="1.00")
    make.make_item(part, make.make_supplier(name="Ferrisgate Supply", lead_days=5, order_days="4"), price="2.00")
    got = arrivals({part: 1}, today=TODAY)[part.pk]
    # They take orders on Fridays: the 27th, and five working days from there.
    assert got.day == date(2026, 12, 4)
    assert got.words == "not ordered; Ferrisgate Supply delivers in 5 working days: Friday 4 December if ordered today"


def test_a_late_delivery_is_told_and_counts_from_the_next_working_day():
    part = make.make_part()
    item = make.make_item(part, make.make_supplier(name="Ferrisgate Supply"))
    earlier = NOON - timedelta(days=10)
    order = make.make_purchase((item, 2), expected_on=date(2026, 11, 20), at=earlier)
    got = arrivals({part: 2}, today=TODAY)[part.pk]
    assert got.day == date(2026, 11, 26)
    assert got.words == f"on order, {order}; Ferrisgate Supply is late since Friday 20 November: ask them"


def test_a_draft_is_no_order_and_nobody_can_say_without_a_supplier():
    part, unknown = make.make_part(), make.make_part("KIT-9")
    make.make_purchase((make.make_item(part), 5), sent=False)
    got = arrivals({part: 1, unknown: 1}, today=TODAY)
    assert got[part.pk].words.startswith("not ordered; ")
    assert got[unknown.pk].day is None
    assert got[unknown.pk].words == "not ordered, and no supplier is known for KIT-9"


# --- working days


def test_working_days_leave_out_the_weekend():
    friday = date(2026, 11, 27)
    assert add_working_days(friday, 1) == date(2026, 11, 30)
    assert add_working_days(date(2026, 11, 28), 1) == date(2026, 11, 30)
    assert delivery_day(date(2026, 11, 28), 0) == date(2026, 11, 30)
    assert next_order_day(friday, [0]) == date(2026, 11, 30)
    assert next_order_day(date(2026, 11, 28), [5, 6]) == date(2026, 11, 30)


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.integers(0, 60))
def test_counting_working_days_is_the_way_back(day, days):
    assert working_days_between(day, add_working_days(day, days)) == days


def test_what_a_job_uses_counts_as_demand(desk):
    part = known(on_hand=5)
    use(part=part, amount=2, reservation=None, by=desk, at=NOON)
    assert of(part).use.total == 2
    assert of(part).use.largest == Decimal(2)
