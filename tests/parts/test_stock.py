"""Stock adds up, and is never promised twice."""

import pytest
from django.core.exceptions import ValidationError
from django.db.models import Sum

from shop.parts.models import Movement
from shop.parts.selectors import draw, draw_in_words, stock_of, to_buy
from shop.parts.services import count, receive, use
from shop.workorders import services
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once


@pytest.fixture
def oil(db):
    """Two whole litres and 660 mL in an opened bottle, and a can that is cheaper by volume."""
    oil = make.make_part("TARN-5", measure="volume", name="Tarn No. 5")
    litre = make.make_container(oil, 1_000_000, "21.50", name="1 L bottle", full=3)
    make.make_container(oil, 5_000_000, "89.00", name="5 L can")
    make.make_movement(oil, -340_000, container=litre, kind="used")
    return oil


def test_on_hand_is_the_sum_of_the_movements_and_the_rest_of_a_container_is_the_opened_one(oil):
    stock = stock_of([oil])[oil.pk]
    assert stock.on_hand == Movement.objects.filter(part=oil).aggregate(all=Sum("amount"))["all"] == 2_660_000
    assert [(one.container.name, one.full, one.opened) for one in stock.containers] == [
        ("1 L bottle", 2, 660_000),
        ("5 L can", 0, 0),
    ]


def test_the_opened_container_is_emptied_first(oil):
    stock = stock_of([oil])[oil.pk]
    assert [(str(container), amount) for container, amount in draw(stock, 1_342_000)] == [
        ("1 L bottle", 660_000),
        ("1 L bottle", 682_000),
    ]
    assert draw_in_words(stock, 1_342_000, "volume") == ["the opened 1 L bottle: 660 mL", "1 × 1 L bottle"]


def test_what_is_short_is_bought_in_the_cheapest_whole_containers(oil):
    stock = stock_of([oil])[oil.pk]
    # 4 × 21.50 = 86.00 is less than one can for 89.00; five bottles would be more.
    assert [(str(c), n) for c, n in to_buy(stock, 3_900_000)] == [("1 L bottle", 4)]
    assert [(str(c), n) for c, n in to_buy(stock, 4_100_000)] == [("5 L can", 1)]


def test_use_takes_from_the_reservation_and_ends_it(oil, desk):
    held = make.make_pick_list(oil, 1_000_000).lines.get().reservation
    use(part=oil, amount=1_342_000, reservation=held, by=desk, at=NOON)
    stock = stock_of([oil])[oil.pk]
    assert (stock.on_hand, stock.held) == (1_318_000, 0)
    assert [(one.full, one.opened) for one in stock.containers] == [(1, 318_000), (0, 0)]


def test_what_is_held_for_another_job_cannot_be_used(oil, desk):
    make.make_pick_list(oil, 2_500_000)
    with pytest.raises(ValidationError, match="170 mL used, but the book has 160 mL that is not held"):
        use(part=oil, amount=170_000, reservation=None, by=desk, at=NOON)
    assert use(part=oil, amount=160_000, reservation=None, by=desk, at=NOON)


@pytest.mark.parametrize("amount", [0, -1])
def test_receiving_nothing_or_less_is_refused(oil, desk, amount):
    with pytest.raises(ValidationError, match="more than zero"):
        receive(part=oil, amount=amount, by=desk, at=NOON)


def test_half_a_bottle_cannot_be_received(oil, desk):
    litre = oil.containers.get(name="1 L bottle")
    with pytest.raises(ValidationError, match="whole number of them"):
        receive(part=oil, amount=1_500_000, container=litre, by=desk, at=NOON)


@pytest.mark.django_db(transaction=True)
def test_two_desks_booking_the_last_kit_at_once_hold_it_once():
    model = make.make_damper_model()
    make.make_kit_line(model, "SK-1")
    kit = make.make_part("SK-1", on_hand=1)
    dampers = [make.make_damper(model=model) for _ in range(2)]
    user = make.make_user("desk")

    def book(damper):
        return lambda: make.make_order(by=user, dampers=[damper])

    orders = at_once(book(dampers[0]), book(dampers[1]))
    held = [order.pick_list.lines.get().held for order in orders]
    assert sorted(held) == [0, 1]
    assert stock_of([kit])[kit.pk].held == 1


@pytest.mark.django_db(transaction=True)
def test_a_damper_booked_by_two_desks_at_once_is_booked_once():
    damper, user = make.make_damper(), make.make_user("desk")
    outcomes = at_once(*[lambda: make.make_order(by=user, dampers=[damper])] * 2)
    refused = [outcome for outcome in outcomes if isinstance(outcome, ValidationError)]
    assert len(refused) == 1
    assert "booked" in refused[0].messages[0]
    assert damper.jobs.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_same_reading_recorded_by_two_at_once_stands_once():
    from shop.calc.units import parse

    job, by = make.make_open_job(), [make.make_user("technician") for _ in range(2)]
    entered = parse("9", "count", "clicks")

    def left(user):
        return lambda: services.record_reading(
            job=job, measure="rebound_clicks", moment="left", entered=entered, by=user, at=NOON
        )

    make.open_the_gate(job, *by)
    outcomes = at_once(left(by[0]), left(by[1]))
    assert sum(isinstance(outcome, ValidationError) for outcome in outcomes) == 1
    assert job.readings.filter(moment="left").count() == 1


# --- counting


def counted(part, found, by, **given):
    return count(part=part, found=found, by=by, at=NOON, **{"reason": "yearly count"} | given)


def test_a_count_writes_the_difference_and_who_found_it(oil, desk):
    litre = oil.containers.get(name="1 L bottle")
    made = counted(oil, 2_000_000, desk, container=litre)
    assert (made.amount, made.kind, made.container, made.by, made.reason) == (
        -660_000, "counted", litre, desk, "yearly count"
    )  # fmt: skip
    assert counted(oil, 5_000_000, desk, container=oil.containers.get(name="5 L can")).amount == 5_000_000
    assert stock_of([oil])[oil.pk].on_hand == 7_000_000


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"found": -1}, "found"),
        ({"found": 10**10 + 1}, "found"),
        ({"found": 2_660_000}, "found"),
        ({"reason": "  "}, "reason"),
    ],
)
def test_a_count_that_says_nothing_or_nonsense_is_refused(oil, desk, given, field):
    litre = oil.containers.get(name="1 L bottle")
    with pytest.raises(ValidationError) as refused:
        counted(**{"part": oil, "found": 1_000_000, "container": litre, "by": desk} | given)
    assert set(refused.value.message_dict) == {field}


def test_a_container_of_another_part_is_not_counted_here(oil, desk):
    other = make.make_container(make.make_part(measure="volume"), 1_000_000)
    with pytest.raises(ValidationError, match="is not a container of"):
        counted(oil, 1_000_000, desk, container=other)


def test_a_count_never_takes_what_is_held_and_says_for_whom(oil, desk):
    held = make.make_pick_list(oil, 2_000_000).lines.get().reservation
    litre = oil.containers.get(name="1 L bottle")
    with pytest.raises(ValidationError) as refused:
        counted(oil, 1_999_999, desk, container=litre)
    assert f"2000 mL for {held.purpose}" in str(refused.value)
    counted(oil, 2_000_000, desk, container=litre)
    assert stock_of([oil])[oil.pk].available == 0


@pytest.mark.django_db(transaction=True)
def test_a_count_and_a_booking_at_once_never_promise_more_than_is_there():
    part, by = make.make_part(on_hand=3), make.make_user("desk")
    outcomes = at_once(
        lambda: counted(part, 1, by),
        lambda: make.make_pick_list(part, 3),
    )
    stock = stock_of([part])[part.pk]
    assert stock.held <= stock.on_hand, outcomes
    assert not any(isinstance(one, Exception) and not isinstance(one, ValidationError) for one in outcomes)
