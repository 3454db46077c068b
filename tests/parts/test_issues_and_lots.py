"""What is picked leaves the shelf, what is not used comes back, and nothing past its date is poured."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.parts.models import Movement, ReservationState
from shop.parts.selectors import draw_in_words, movements_of, stock_of
from shop.parts.services import correct, count, put_back, receive, set_keeping, use, write_off
from shop.picklists.selectors import used_against_picked
from shop.picklists.services import Need, fill, pick, put_all_back, top_up, unpick
from shop.workorders import services
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db
DAY = NOON.date()


@pytest.fixture
def oil(db):
    return make.make_part("TARN-5", measure="volume", name="Tarn No. 5", keeps_days=90)


@pytest.fixture
def litre(oil):
    return make.make_container(oil, 1_000_000, "21.50", name="1 L bottle")


def stock(part, at=NOON):
    return stock_of([part], today=at.date())[part.pk]


def story(part):
    return list(part.movements.values_list("kind", "amount"))


@pytest.mark.flow
def test_what_is_picked_leaves_the_shelf_and_what_is_not_used_comes_back_to_the_opened_bottle(oil, litre, desk):
    receive(part=oil, amount=2_000_000, container=litre, by=desk, at=NOON)
    pick_list = make.make_pick_list(oil, 700_000)
    assert (stock(oil).on_hand, stock(oil).held) == (2_000_000, 700_000)
    line = pick(line=pick_list.lines.get(), by=desk, at=NOON)
    assert (stock(oil).on_hand, stock(oil).held, line.issued, line.held) == (1_300_000, 0, 700_000, 0)
    use(part=oil, amount=640_000, reservation=line.reservation, by=desk, at=NOON, reason="LG-1001, 1001-1")
    (shelf,) = stock(oil).containers
    assert (shelf.full, shelf.opened) == (1, 360_000)
    assert story(oil) == [("received", 2_000_000), ("issued", -700_000), ("returned", 60_000)]
    assert oil.movements.last().reason == "LG-1001, 1001-1: not used"
    line.refresh_from_db()
    assert (line.reservation.state, line.reservation.issued) == (ReservationState.USED, 640_000)


def test_used_beyond_what_was_picked_is_drawn_and_refused_when_it_is_not_there(desk):
    kit = make.make_part(on_hand=3)
    line = pick(line=make.make_pick_list(kit, 2).lines.get(), by=desk, at=NOON)
    with pytest.raises(ValidationError, match="4 used, but 2 of it was picked and the book has 1"):
        use(part=kit, amount=4, reservation=line.reservation, by=desk, at=NOON)
    use(part=kit, amount=3, reservation=line.reservation, by=desk, at=NOON, reason="LG-1001")
    assert story(kit)[1:] == [("issued", -2), ("used", -1)]
    assert kit.movements.last().reason == "LG-1001: more was used than was picked"


def test_a_line_that_was_never_picked_is_taken_at_closing_and_says_so(desk):
    kit = make.make_part(on_hand=3)
    line = make.make_pick_list(kit, 2).lines.get()
    use(part=kit, amount=2, reservation=line.reservation, by=desk, at=NOON, reason="LG-1001")
    assert story(kit)[1:] == [("used", -2)]
    assert kit.movements.last().reason == "LG-1001: used without being picked before"


def test_put_back_it_is_on_the_shelf_and_still_held_for_its_order(desk):
    kit = make.make_part(on_hand=2)
    line = pick(line=make.make_pick_list(kit, 2).lines.get(), by=desk, at=NOON)
    line = unpick(line=line, by=desk, at=NOON)
    assert (line.picked_at, line.held, line.issued) == (None, 2, 0)
    assert (stock(kit).on_hand, stock(kit).available) == (2, 0)
    assert pick(line=line, by=desk, at=NOON).issued == 2


def test_what_nothing_asks_for_any_more_stays_on_the_list_until_it_is_put_back(desk):
    kit = make.make_part(on_hand=2)
    pick_list = make.make_pick_list(kit, 2)
    pick(line=pick_list.lines.get(), by=desk, at=NOON)
    fill(pick_list=pick_list, needs=[], at=NOON)
    line = pick_list.lines.get()
    assert (line.not_asked, line.over, line.short, stock(kit).on_hand) == (True, 2, 0, 0)
    top_up(pick_list=pick_list, at=NOON)
    assert pick_list.lines.get().not_asked
    (back,) = put_all_back(pick_list=pick_list, by=desk, at=NOON)
    assert (back.part_number, pick_list.lines.count()) == (kit.number, 0)
    assert (stock(kit).on_hand, stock(kit).held) == (2, 0)


def test_asked_for_again_it_counts_as_picked(desk):
    kit = make.make_part(on_hand=2)
    pick_list = make.make_pick_list(kit, 2)
    pick(line=pick_list.lines.get(), by=desk, at=NOON)
    fill(pick_list=pick_list, needs=[], at=NOON)
    fill(pick_list=pick_list, needs=[Need("1001-1", kit.number, kit.name, kit.measure, 1)], at=NOON)
    line = pick_list.lines.get()
    assert (line.not_asked, line.over, line.picked_by) == (False, 1, desk)
    line = unpick(line=line, amount=1, by=desk, at=NOON)
    assert (line.issued, line.over, line.picked_by, stock(kit).available) == (1, 0, desk, 1)


def test_more_than_was_taken_cannot_be_put_back(desk):
    kit = make.make_part(on_hand=2)
    line = pick(line=make.make_pick_list(kit, 1).lines.get(), by=desk, at=NOON)
    with pytest.raises(ValidationError, match="2 cannot be put back: 1 was taken for LG-1001, 1001-1"):
        put_back(reservation=line.reservation, amount=2, by=desk, at=NOON)


def test_used_against_picked_is_told_for_each_line(oil, litre, desk, django_assert_num_queries):
    receive(part=oil, amount=2_000_000, container=litre, by=desk, at=NOON)
    pick_list = make.make_pick_list(oil, 700_000)
    line = pick(line=pick_list.lines.get(), by=desk, at=NOON)
    line.used = 640_000
    use(part=oil, amount=line.used, reservation=line.reservation, by=desk, at=NOON)
    line.save()
    with django_assert_num_queries(2):
        (told,) = used_against_picked(pick_list)
    assert (told.issued, told.returned, told.straight, told.used) == (700_000, 60_000, 0, 640_000)
    assert told.difference == -60_000
    assert told.in_words == "700 mL picked, 640 mL used: 60 mL went back"


# --- lots


@pytest.mark.flow
def test_the_opened_bottle_goes_first_then_what_expires_first_and_never_what_is_past(oil, litre, desk):
    late, soon, past = DAY + timedelta(days=300), DAY + timedelta(days=20), DAY + timedelta(days=5)
    for code, use_by in (("A1", late), ("B2", soon), ("C3", past)):
        receive(part=oil, amount=1_000_000, container=litre, lot_code=code, use_by=use_by, by=desk, at=NOON)
    after = NOON + timedelta(days=10)
    found = stock(oil, after)
    assert (found.on_hand, found.expired, found.available) == (3_000_000, 1_000_000, 2_000_000)
    assert "lot C3" in found.expired_in_words[0]
    use(part=oil, amount=300_000, reservation=None, by=desk, at=after)
    assert oil.movements.last().lot.code == "B2"
    assert oil.movements.last().lot.opened_on == after.date()
    words = draw_in_words(stock(oil, after), 900_000, "volume")
    assert [one.split(",")[0] for one in words] == ["the opened 1 L bottle", "1 × 1 L bottle"]
    with pytest.raises(ValidationError, match="past its use-by of"):
        use(part=oil, amount=1_800_000, reservation=None, by=desk, at=after)


def test_an_opened_bottle_keeps_its_days_and_the_whole_ones_of_its_lot_longer(oil, litre, desk):
    receive(part=oil, amount=2_000_000, container=litre, lot_code="A1", by=desk, at=NOON)
    use(part=oil, amount=300_000, reservation=None, by=desk, at=NOON)
    later = NOON + timedelta(days=91)
    assert (stock(oil, later).expired, stock(oil, later).available) == (700_000, 1_000_000)
    use(part=oil, amount=200_000, reservation=None, by=desk, at=later)  # out of the other bottle, opened today
    assert (stock(oil, later).expired, stock(oil, later).available) == (700_000, 800_000)
    assert sorted(one.opened for one in stock(oil, later).portions) == [700_000, 800_000]
    set_keeping(part=oil, days=400, by=desk, at=later)
    oil.refresh_from_db()
    assert stock(oil, later).expired == 0


def test_what_is_held_and_went_past_its_date_is_not_picked(oil, litre, desk):
    until = DAY + timedelta(days=5)
    receive(part=oil, amount=1_000_000, container=litre, use_by=until, by=desk, at=NOON)
    line = make.make_pick_list(oil, 500_000).lines.get()
    with pytest.raises(Conflict, match="only 0 mL may be used"):
        pick(line=line, by=desk, at=NOON + timedelta(days=6))


def test_a_delivery_past_its_date_is_not_received(oil, litre, desk):
    with pytest.raises(ValidationError, match="is past"):
        receive(part=oil, amount=1_000_000, container=litre, use_by=DAY - timedelta(days=1), by=desk, at=NOON)


def test_a_manager_writes_off_what_is_past_and_says_who_goes_without(oil, litre, desk, manager):
    receive(part=oil, amount=1_000_000, container=litre, lot_code="A1", by=desk, at=NOON)
    line = make.make_pick_list(oil, 500_000).lines.get()
    given = {
        "part": oil,
        "amount": 1_000_000,
        "container": litre,
        "lot": oil.lots.get(),
        "reason": "cloudy",
        "elsewhere": "back to the supplier",
        "at": NOON,
    }
    with pytest.raises(ValidationError, match="Only a manager"):
        write_off(**given, by=desk)
    with pytest.raises(ValidationError, match="500 mL for LG-1001, 1001-1"):
        write_off(**given, by=manager)
    made = write_off(**given, by=manager, loses=[line.reservation])
    line.refresh_from_db()
    assert (made.kind, line.held, line.short, stock(oil).on_hand) == ("wasted", 0, 500_000, 0)
    assert made.reason == "cloudy; not into a drum: back to the supplier"
    assert not made.oil_entries.exists()


# --- corrections


def test_a_wrong_entry_is_corrected_by_another_that_names_it(desk):
    kit = make.make_part()
    wrong = receive(part=kit, amount=30, by=desk, at=NOON)
    made = correct(movement=wrong, right=3, reason="a zero too many", by=desk, at=NOON)
    assert (made.amount, made.corrects, stock(kit).on_hand) == (-27, wrong, 3)
    assert correct(movement=wrong, right=4, reason="four after all", by=desk, at=NOON).amount == 1
    for right, words in ((4, "says that already"), (-4, "cannot have gone"), (10**10, "is a slip")):
        with pytest.raises(ValidationError, match=words):
            correct(movement=wrong, right=right, reason="again", by=desk, at=NOON)
    use(part=kit, amount=3, reservation=None, by=desk, at=NOON)
    with pytest.raises(ValidationError, match="only 1 of it is still there"):
        correct(movement=wrong, right=0, reason="never came", by=desk, at=NOON)


def test_the_page_of_movements_tells_what_was_on_hand_after_each(desk, django_assert_num_queries):
    kit = make.make_part(on_hand=5)
    use(part=kit, amount=2, reservation=None, by=desk, at=NOON)
    count(part=kit, found=4, reason="found one", by=desk, at=NOON)
    with django_assert_num_queries(1):
        rows = [(one.kind, one.amount, one.on_hand) for one in movements_of(kit)]
    assert rows == [("counted", 1, 4), ("used", -2, 3), ("received", 5, 5)]
    assert [one.on_hand for one in movements_of(kit, kind="received")] == [5]
    assert [one.kind for one in movements_of(kit, before=movements_of(kit)[0].pk)] == ["used", "received"]


# --- at once, on connections of their own


@pytest.mark.django_db(transaction=True)
def test_the_last_kit_is_taken_by_one_of_two_pickers_and_the_other_is_told_who_has_it():
    kit = make.make_part(on_hand=1)
    line, pickers = make.make_pick_list(kit, 1).lines.get(), [make.make_user("technician") for _ in range(2)]
    outcomes = at_once(*[lambda by=by: pick(line=line, by=by, at=NOON) for by in pickers])
    (told,) = [one for one in outcomes if isinstance(one, Exception)]
    line.refresh_from_db()
    assert isinstance(told, Conflict)
    assert f"is in the bag 1001-1 already: {line.picked_by} took it" in told.messages[0]
    assert story(kit) == [("received", 1), ("issued", -1)]


@pytest.mark.django_db(transaction=True)
def test_of_two_orders_that_pick_the_last_kit_one_gets_it_and_the_other_is_told_that_it_is_short():
    kit, by = make.make_part(on_hand=1), make.make_user("technician")
    lists = [make.make_pick_list(kit, 1, title=title) for title in ("LG-1001", "LG-1002")]
    outcomes = at_once(*[lambda one=one: pick(line=one.lines.get(), by=by, at=NOON) for one in lists])
    (told,) = [one for one in outcomes if isinstance(one, Exception)]
    assert "is short for" in told.messages[0]
    assert (stock(kit).on_hand, stock(kit).held) == (0, 0)


@pytest.mark.django_db(transaction=True)
def test_closing_while_somebody_picks_moves_the_part_once():
    kit, by = make.make_part(on_hand=5), make.make_user("technician")
    for number in range(4):
        line = make.make_pick_list(kit, 1, title=f"LG-{number}").lines.get()
        outcomes = at_once(
            lambda line=line: pick(line=line, by=by, at=NOON),
            lambda line=line: use(part=kit, amount=1, reservation=line.reservation, by=by, at=NOON),
        )
        assert all(not isinstance(one, Exception) or isinstance(one, ValidationError) for one in outcomes), outcomes
        assert stock(kit).on_hand == 4 - number
        line.reservation.refresh_from_db()
        assert line.reservation.issued == 1


@pytest.mark.django_db(transaction=True)
def test_a_delivery_while_somebody_counts_is_neither_lost_nor_doubled():
    kit, by = make.make_part(on_hand=5), make.make_user("desk")
    for _ in range(4):
        before = stock(kit).on_hand
        at_once(
            lambda: receive(part=kit, amount=10, by=by, at=NOON),
            lambda before=before: count(part=kit, found=before - 1, reason="one broken", by=by, at=NOON),
        )
        assert stock(kit).on_hand in (before + 9, before - 1)  # counted before it came, or all of it after
        assert stock(kit).on_hand == sum(Movement.objects.values_list("amount", flat=True))


@pytest.mark.django_db(transaction=True)
def test_closing_an_order_while_its_part_is_picked_ends_with_the_part_used_once(manager):
    kit = make.make_part("SK-1", on_hand=3)
    model = make.make_damper_model()
    make.make_kit_line(model, "SK-1")
    job = make.make_open_job(by=manager, damper=make.make_damper(model=model))
    services.close_job(job=job, override_reason="test", by=manager, at=NOON)
    outcomes = at_once(
        lambda: services.pick_part(order=job.order, part_number="SK-1", by=manager, at=NOON),
        lambda: services.close_order(order=job.order, used=[], by=manager, at=NOON),
    )
    assert all(not isinstance(one, Exception) or isinstance(one, Conflict) for one in outcomes), outcomes
    assert (stock(kit).on_hand, stock(kit).held) == (2, 0)
    (told,) = used_against_picked(job.order.pick_list)
    assert told.used == told.issued - told.returned + told.straight == 1
