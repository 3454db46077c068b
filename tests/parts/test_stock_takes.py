"""A stock take corrects the book by what was found, whatever moved meanwhile, all or nothing."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.parts.models import Movement, StockTake
from shop.parts.selectors import stock_of
from shop.parts.services import count, enter_counts, finish_take, give_up_take, receive, start_take, use
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def kit(db):
    return make.make_part("SK-1", on_hand=5, bin="A-2")


def on_hand(part):
    return stock_of([part])[part.pk].on_hand


def entered(take, *found, by, **given):
    return enter_counts(take=take, figures=list(zip(take.rows.all(), found, strict=True)), by=by, at=NOON, **given)


@pytest.mark.flow
def test_what_moved_between_start_and_count_and_after_it_is_taken_into_account(kit, desk, technician):
    take = start_take(parts=[kit], by=desk, at=NOON)
    use(part=kit, amount=2, reservation=None, by=desk, at=NOON)  # the book has 3 when the row is counted
    entered(take, 2, by=technician)
    receive(part=kit, amount=10, by=desk, at=NOON)
    finish_take(take=take, reason="yearly count", by=desk, at=NOON)
    row = take.rows.get()
    assert (row.expected, row.last.in_book, row.last.found, row.movement.amount) == (5, 3, 2, -1)
    assert row.movement.reason == f"{take}: yearly count"
    assert on_hand(kit) == 12
    assert finish_take(take=take, reason="twice", by=desk, at=NOON).pk == take.pk
    assert on_hand(kit) == 12


def test_places_are_sizes_and_lots_in_the_order_of_the_bins(desk):
    oil = make.make_part("TARN-5", measure="volume", bin="A-10")
    litre = make.make_container(oil, 1_000_000, name="1 L bottle", full=1)
    make.make_container(oil, 5_000_000, name="5 L can")
    receive(part=oil, amount=1_000_000, container=litre, lot_code="A1", by=desk, at=NOON)
    make.make_part("SK-2", bin="A-9", on_hand=1)
    make.make_part("SK-3", bin="")
    take = start_take(by=desk, at=NOON)
    assert take.title == "the whole stock"
    rows = [(row.part.number, str(row.container), row.lot and row.lot.code, row.expected) for row in take.rows.all()]
    assert rows == [
        ("SK-2", "None", None, 1),
        ("TARN-5", "1 L bottle", None, 1_000_000),
        ("TARN-5", "1 L bottle", "A1", 1_000_000),
        ("TARN-5", "5 L can", None, 0),
        ("SK-3", "None", None, 0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("first", "last", "counted"),
    [("A-2", "A-10", {"A-2", "A-10"}), ("A", "A", {"A-2", "A-10"}), ("B-1", "", {"B-1"}), ("", "A-9", {"A-2"})],
)
def test_a_range_of_bins_is_walked_by_their_numbers(desk, first, last, counted):
    for one in ("A-2", "A-10", "B-1", "B-10", ""):
        make.make_part(bin=one)
    take = start_take(bin_from=first, bin_to=last, by=desk, at=NOON)
    assert {row.part.bin for row in take.rows.all()} == counted


def test_a_range_that_runs_backwards_or_holds_nothing_is_refused(kit, desk):
    with pytest.raises(ValidationError, match="comes before"):
        start_take(bin_from="B", bin_to="A", by=desk, at=NOON)
    with pytest.raises(ValidationError, match="No stock item is there"):
        start_take(bin_from="X", by=desk, at=NOON)


def test_a_second_take_of_the_same_part_is_told_of_the_first_and_so_is_a_single_count(kit, desk, technician):
    take = start_take(parts=[kit], by=desk, at=NOON)
    other = make.make_part("SK-9", on_hand=1)
    with pytest.raises(
        Conflict, match=rf"SK-1 is being counted already in {take} \(SK-1\), which Dora Achterberg began"
    ):
        start_take(parts=[kit, other], by=technician, at=NOON)
    assert start_take(parts=[other], by=technician, at=NOON)
    with pytest.raises(Conflict, match=f"is being counted in {take}"):
        count(part=kit, found=1, reason="count", by=desk, at=NOON)
    give_up_take(take=take, by=desk, at=NOON)
    assert count(part=kit, found=1, reason="count", by=desk, at=NOON)
    assert start_take(parts=[kit], by=technician, at=NOON)


def test_a_place_counted_by_another_is_not_overwritten_but_counted_again_on_purpose(kit, desk, technician):
    take = start_take(parts=[kit], by=desk, at=NOON)
    entered(take, 4, by=technician)
    entered(take, 4, by=desk)  # the same once more is no news
    with pytest.raises(Conflict, match="Tobias Nkemelu counted 4 of SK-1"):
        entered(take, 5, by=desk)
    entered(take, 5, by=desk, recount=True)
    assert [one.found for one in take.rows.get().tallies.all()] == [4, 5]
    finish_take(take=take, by=desk, at=NOON)  # no difference, so no reason is asked for
    assert Movement.objects.filter(kind="counted").count() == 0


def test_uncounted_places_and_differences_without_reason_are_named(kit, desk):
    other = make.make_part("SK-9", on_hand=1)
    take = start_take(parts=[kit, other], by=desk, at=NOON)
    with pytest.raises(ValidationError, match="Nothing is counted yet"):
        finish_take(take=take, reason="count", by=desk, at=NOON)
    enter_counts(take=take, figures=[(take.rows.get(part=kit), 4)], by=desk, at=NOON)
    with pytest.raises(ValidationError, match="1 of 2 places are not counted: SK-9"):
        finish_take(take=take, reason="count", by=desk, at=NOON)
    with pytest.raises(ValidationError, match="Say why the book is corrected"):
        finish_take(take=take, leave_uncounted=True, by=desk, at=NOON)
    reasons = [(take.rows.get(part=kit), "one was torn")]
    finish_take(take=take, reasons=reasons, leave_uncounted=True, by=desk, at=NOON)
    assert Movement.objects.get(kind="counted").reason == f"{take}: one was torn"
    with pytest.raises(Conflict, match="is posted"):
        entered(take, 4, 4, by=desk)


def test_what_is_held_is_named_and_nothing_is_posted_until_somebody_loses_it(kit, desk):
    other = make.make_part("SK-9", on_hand=1)
    line = make.make_pick_list(kit, 3).lines.get()
    take = start_take(parts=[kit, other], by=desk, at=NOON)
    entered(take, 2, 7, by=desk)
    with pytest.raises(ValidationError, match=r"That leaves 2 of SK-1 .* 3 for LG-1001, 1001-1"):
        finish_take(take=take, reason="count", by=desk, at=NOON)
    assert (on_hand(kit), on_hand(other)) == (5, 1)
    finish_take(take=take, reason="count", loses=[line.reservation], by=desk, at=NOON)
    line.refresh_from_db()
    assert (on_hand(kit), on_hand(other), line.short) == (2, 7, 3)


def test_what_left_the_shelf_since_it_was_counted_is_not_taken_off_twice(kit, desk):
    take = start_take(parts=[kit], by=desk, at=NOON)
    entered(take, 1, by=desk)
    use(part=kit, amount=3, reservation=None, by=desk, at=NOON)
    with pytest.raises(ValidationError, match="more left the shelf since it was counted"):
        finish_take(take=take, reason="count", by=desk, at=NOON + timedelta(hours=1))
    assert on_hand(kit) == 2


@pytest.mark.django_db(transaction=True)
def test_of_two_stock_takes_begun_at_once_over_one_part_one_is_told():
    kit, people = make.make_part(on_hand=5), [make.make_user("desk") for _ in range(2)]
    outcomes = at_once(*[lambda by=by: start_take(parts=[kit], by=by, at=NOON) for by in people])
    (told,) = [one for one in outcomes if isinstance(one, Exception)]
    assert isinstance(told, Conflict)
    assert StockTake.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_people_who_enter_one_place_at_once_leave_one_figure():
    kit, people = make.make_part(on_hand=5), [make.make_user("desk") for _ in range(2)]
    take = start_take(parts=[kit], by=people[0], at=NOON)
    outcomes = at_once(*[lambda by=by, n=n: entered(take, n, by=by) for n, by in enumerate(people)])
    assert sum(isinstance(one, Conflict) for one in outcomes) == 1
    assert take.rows.get().tallies.count() == 1


@pytest.mark.django_db(transaction=True)
def test_posting_while_parts_are_used_keeps_both():
    kit, by = make.make_part(on_hand=5), make.make_user("desk")
    take = start_take(parts=[kit], by=by, at=NOON)
    entered(take, 4, by=by)
    at_once(
        lambda: finish_take(take=take, reason="count", by=by, at=NOON),
        lambda: use(part=kit, amount=2, reservation=None, by=by, at=NOON),
    )
    assert on_hand(kit) == 2
