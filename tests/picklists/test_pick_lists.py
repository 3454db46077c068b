"""A pick list holds what is there, says what is short, and loses nothing when it is filled anew."""

import pytest

from shop.core.errors import Conflict
from shop.parts.selectors import stock_of
from shop.picklists.models import PickList
from shop.picklists.selectors import pick_sheet
from shop.picklists.services import Need, empty, fill, pick, top_up, unpick
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once


@pytest.fixture
def pick_list(db):
    return PickList.objects.create(title="LG-1001", made_at=NOON)


def need(part, amount=1, tag="1001-1"):
    return Need(tag, part.number, part.name, part.measure, amount)


def held(part):
    return stock_of([part])[part.pk].held


def test_filled_again_with_the_same_it_keeps_what_it_holds_and_what_was_picked(pick_list, desk):
    kit = make.make_part(on_hand=2)
    fill(pick_list=pick_list, needs=[need(kit)], at=NOON)
    line = pick(line=pick_list.lines.get(), by=desk, at=NOON)
    fill(pick_list=pick_list, needs=[need(kit)], at=NOON)
    assert pick_list.lines.get().reservation == line.reservation
    assert pick_list.lines.get().picked_by == desk
    assert (held(kit), pick_list.lines.get().issued, stock_of([kit])[kit.pk].on_hand) == (0, 1, 1)


def test_an_amount_that_grows_keeps_what_was_picked_and_the_rest_has_to_be_picked(pick_list, desk):
    kit = make.make_part(on_hand=5)
    fill(pick_list=pick_list, needs=[need(kit, 2)], at=NOON)
    pick(line=pick_list.lines.get(), by=desk, at=NOON)
    fill(pick_list=pick_list, needs=[need(kit, 4)], at=NOON)
    line = pick_list.lines.get()
    assert (line.amount, line.issued, line.held, line.picked_at) == (4, 2, 2, None)
    assert (held(kit), stock_of([kit])[kit.pk].on_hand) == (2, 3)
    line = pick(line=line, by=desk, at=NOON)
    assert (line.issued, line.held, line.picked_by) == (4, 0, desk)


def test_a_line_that_is_no_longer_needed_lets_go_of_what_it_held(pick_list):
    kit, oil = make.make_part(on_hand=1), make.make_part(on_hand=1)
    fill(pick_list=pick_list, needs=[need(kit), need(oil)], at=NOON)
    fill(pick_list=pick_list, needs=[need(oil)], at=NOON)
    assert [line.part for line in pick_list.lines.all()] == [oil]
    assert (held(kit), held(oil)) == (0, 1)


def test_two_lines_of_a_parts_list_that_name_one_part_become_one(pick_list):
    kit = make.make_part(on_hand=5)
    fill(pick_list=pick_list, needs=[need(kit, 1), need(kit, 2)], at=NOON)
    assert pick_list.lines.get().held == 3


def test_what_came_in_since_is_held_on_asking_and_not_before(pick_list):
    kit = make.make_part(on_hand=1)
    fill(pick_list=pick_list, needs=[need(kit, 3)], at=NOON)
    make.make_movement(kit, 5)
    assert pick_list.lines.get().short == 2
    top_up(pick_list=pick_list, at=NOON)
    assert (pick_list.lines.get().short, held(kit)) == (0, 3)


def test_a_short_line_cannot_be_picked_and_a_picked_one_can_be_put_back(pick_list, desk):
    kit = make.make_part(on_hand=1)
    fill(pick_list=pick_list, needs=[need(kit, 2, "1001-1"), need(kit, 1, "1001-2")], at=NOON)
    short = pick_list.lines.get(tag="1001-1")
    with pytest.raises(Conflict, match="short for 1001-1"):
        pick(line=short, by=desk, at=NOON)
    fill(pick_list=pick_list, needs=[need(kit, 1, "1001-1")], at=NOON)
    line = pick(line=pick_list.lines.get(), by=desk, at=NOON)
    assert unpick(line=line, by=desk, at=NOON).picked_at is None


def test_a_number_that_stock_measures_otherwise_or_does_not_know_is_short_and_says_so(pick_list):
    oil = make.make_part(measure="volume", on_hand=1_000_000)
    wrong = Need("1001-1", oil.number, "oil", "count", 1)
    stranger = Need("1001-1", "XX-1", "bushing", "count", 2)
    fill(pick_list=pick_list, needs=[wrong, stranger], at=NOON)
    assert {row.short_in_words for row in pick_sheet(pick_list).rows} == {
        f"1 short: {oil.number} is not in the stock list",
        "2 short: XX-1 is not in the stock list",
    }


def test_emptied_it_holds_nothing_and_can_still_be_read(pick_list):
    kit = make.make_part(on_hand=1)
    fill(pick_list=pick_list, needs=[need(kit)], at=NOON)
    empty(pick_list=pick_list, at=NOON)
    empty(pick_list=pick_list, at=NOON)
    assert held(kit) == 0
    assert pick_list.lines.get().held == 0


@pytest.mark.django_db(transaction=True)
def test_of_two_lists_that_want_the_last_kit_one_gets_it():
    kit = make.make_part(on_hand=1)
    lists = [PickList.objects.create(title=title, made_at=NOON) for title in ("LG-1001", "LG-1002")]
    at_once(*[lambda one=one: fill(pick_list=one, needs=[need(kit)], at=NOON) for one in lists])
    assert sorted(one.lines.get().held for one in lists) == [0, 1]
    assert held(kit) == 1


@pytest.mark.django_db(transaction=True)
def test_picking_while_the_list_is_topped_up_loses_neither():
    kit, user = make.make_part(on_hand=9), make.make_user("desk")
    for number in range(5):
        pick_list = make.make_pick_list(kit, 1, title=f"LG-{number}")
        line = pick_list.lines.get()
        at_once(
            lambda line=line: pick(line=line, by=user, at=NOON),
            lambda pick_list=pick_list: top_up(pick_list=pick_list, at=NOON),
        )
        assert pick_list.lines.get().picked_by == user
    assert (held(kit), stock_of([kit])[kit.pk].on_hand) == (0, 4)
