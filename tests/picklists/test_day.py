"""One plan for all lists of a day: it covers the sum exactly, names what is there, costs no more than one by one."""

from math import ceil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from shop.parts.models import Container, Part
from shop.parts.selectors import ContainerStock, Stock, draw, portion, stock_of
from shop.picklists.codes import damper_in, part_numbers_in
from shop.picklists.day import gather_rows
from shop.picklists.models import PickList
from shop.picklists.services import Need, fill, pick
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def oil():
    """One whole litre, and 400 mL in an opened bottle."""
    oil = make.make_part("TARN-5", measure="volume", name="Tarn No. 5", bin="F-2")
    bottle = make.make_container(oil, 1_000_000, "21.50", name="1 L bottle", full=2)
    make.make_movement(oil, -600_000, container=bottle, kind="used")
    return oil


def lists_of(part, *amounts, draft=False):
    made = []
    for number, amount in enumerate(amounts, 1):
        one = PickList.objects.create(title=f"LG-{number}", made_at=NOON)
        fill(pick_list=one, needs=[Need(f"{number}-1", part.number, part.name, part.measure, amount, draft)], at=NOON)
        made.append(one.pk)
    return made


@pytest.mark.flow
def test_two_orders_do_not_both_name_the_same_opened_bottle(oil):
    (row,) = gather_rows(lists_of(oil, 340_000, 340_000))
    assert (row.needed, row.picked, row.to_take, row.short) == (680_000, 0, 680_000, 0)
    assert row.plan == ["the opened 1 L bottle: 400 mL", "1 × 1 L bottle"]


def test_what_lies_in_a_bag_is_planned_no_more(oil, desk):
    lists = lists_of(oil, 300_000, 100_000)
    pick(line=PickList.objects.get(pk=lists[0]).lines.get(), by=desk, at=NOON)
    (row,) = gather_rows(lists)
    assert (row.needed, row.picked, row.to_take) == (400_000, 300_000, 100_000)
    assert [line.tag for line in row.waiting] == ["2-1"]


def test_what_is_short_is_told_with_what_to_buy(oil):
    (row,) = gather_rows(lists_of(oil, 1_200_000, 900_000))
    assert (row.to_take, row.short) == (1_400_000, 700_000)
    assert [(str(container), count) for container, count in row.buy] == [("1 L bottle", 1)]
    assert [line.tag for line in row.lacking] == ["2-1"]


def test_a_draft_amount_marks_the_row(oil):
    assert gather_rows(lists_of(oil, 1000, draft=True))[0].from_draft


def test_rows_stand_in_walking_order_and_those_without_a_bin_last(manager):
    from shop.parts.services import set_walking_order

    parts = [make.make_part(bin=place, on_hand=9) for place in ("", "B-12", "B-7", "F-1")]
    lists = [one for part in parts for one in lists_of(part, 1)]
    assert [row.bin for row in gather_rows(lists)] == ["B-7", "B-12", "F-1", ""]
    set_walking_order(prefixes=["F"], by=manager, at=NOON)
    assert [row.bin for row in gather_rows(lists)] == ["F-1", "B-7", "B-12", ""]


def test_bags_of_an_order_stand_by_number_not_by_letter():
    kit = make.make_part(on_hand=20)
    made = PickList.objects.create(title="LG-1", made_at=NOON)
    needs = [Need(f"1001-{n}", kit.number, kit.name, kit.measure, 1) for n in range(1, 12)]
    fill(pick_list=made, needs=needs, at=NOON)
    (row,) = gather_rows([made.pk])
    assert [line.tag for line in row.lines] == [f"1001-{n}" for n in range(1, 12)]
    assert row.each == 1


def opened_price(stock, taken):
    """Cents of the whole containers that are opened for what draw() takes."""
    opened = {one.container.pk: one.opened for one in stock.containers}
    total: dict = {}
    for container, amount in taken:
        if container:
            total[container] = total.get(container, 0) + amount
    return sum(ceil(max(amount - opened[one.pk], 0) / one.size) * int(one.price * 100) for one, amount in total.items())


def after(stock, taken):
    """The shelf once that was taken."""
    left = {one.container: one.full * one.container.size + one.opened for one in stock.containers}
    for container, amount in taken:
        left[container] -= amount
    shelves = [ContainerStock(one, *divmod(amount, one.size)) for one, amount in left.items()]
    part, today = stock.portions[0].part, NOON.date()
    portions = [portion(part, one, None, amount, today) for one, amount in left.items() if amount]
    return Stock(sum(left.values()), 0, shelves, portions)


SHELVES = st.lists(
    st.tuples(st.integers(1, 60), st.integers(1, 5000), st.integers(0, 6)),
    min_size=1,
    max_size=4,
    unique_by=lambda one: one[0],
)


@pytest.mark.flow
class TestPlan(TestCase):
    @settings(max_examples=60, deadline=None)
    @given(
        shelves=SHELVES,
        opened=st.lists(st.integers(0, 59), min_size=4, max_size=4),
        wanted=st.lists(st.integers(1, 80), min_size=1, max_size=6),
    )
    def test_the_plan_covers_the_sum_and_never_costs_more_than_one_order_after_the_other(self, shelves, opened, wanted):
        part = Part.objects.create(number="OIL", name="oil", measure="volume", bin="")
        for (size, cents, full), left in zip(shelves, opened, strict=False):
            container = Container.objects.create(part=part, size=size, name=f"{size}", price=f"{cents / 100:.2f}")
            there = full * size + left % size
            if there:
                make.make_movement(part, there, container=container, by=self.user())
        lists = lists_of(part, *wanted)
        stock = stock_of([part])[part.pk]
        (row,) = gather_rows(lists)
        assert row.needed == sum(wanted) == row.to_take + row.short
        assert row.to_take == min(sum(wanted), stock.on_hand)
        if not row.to_take:
            return
        plan = draw(stock, row.to_take)
        assert sum(amount for _, amount in plan) == row.to_take
        for one in stock.containers:
            named = sum(amount for container, amount in plan if container == one.container)
            assert named <= one.full * one.container.size + one.opened
        one_by_one, shelf = 0, stock
        for line in row.lines:
            amount = line.amount - line.short
            if amount:
                taken = draw(shelf, amount)
                one_by_one += opened_price(shelf, taken)
                shelf = after(shelf, taken)
        assert opened_price(stock, plan) <= one_by_one

    def user(self):
        from shop.staff.models import User

        return User.objects.first() or make.make_user("desk")


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("SK-20", "SK-20"),
        ("  SK-20\r", "SK-20"),
        ("]Q1SK-20", "SK-20"),
        ("PSK-20", "SK-20"),
        ("1PSK-20", "SK-20"),
        ("[)>\x1e06\x1d1PSK-20\x1dQ4\x1e\x04", "SK-20"),
        ("(01)09501101530003(241)SK-20", "SK-20"),
        ("240SK-20", "SK-20"),
    ],
)
def test_a_number_is_found_in_what_a_scanner_types(text, number):
    """ISO/IEC 15418 and 15434 and the GS1 identifiers 240 and 241, from memory."""
    assert number in part_numbers_in(text)


def test_a_number_that_looks_wrapped_is_first_taken_as_it_is():
    assert part_numbers_in("P40-KIT")[0] == "P40-KIT"
    assert part_numbers_in(" \x1d ") == []


def test_the_code_of_a_bag_is_told_from_a_part_number():
    assert damper_in("https://shop.example/bench/17/") == 17
    assert damper_in("SK-20") is None
