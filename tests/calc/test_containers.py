"""Whole containers: exact, opened ones first. Prices and sizes are made up."""

import json
import time
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from shop.calc.containers import Container, Cover, NotEnough, Opened, _overshoot, _reachable, cover
from shop.calc.errors import CalcError, OutOfRange

from .reference import rows

SHELF = (Container("250", 250, 690), Container("500", 500, 1190), Container("1000", 1000, 1990))


@pytest.mark.parametrize("row", rows("inventory", "container_cover"))
def test_cover_is_one_of_the_optimal_sets(row):
    """Source: integer covering problem, enumerated and re-solved as integer programs; exact."""
    given_ = json.loads(row["inputs"])
    containers = [Container(i, c["ml"], c["price_cents"], c["stock_limit"]) for i, c in enumerate(given_["containers"])]
    objective = given_["objective"].removeprefix("min_")
    if row["expected"] == "infeasible":
        with pytest.raises(NotEnough):
            cover(given_["need_ml"], containers, objective=objective)
        return
    got = cover(given_["need_ml"], containers, objective=objective)
    assert [got.counts.get(i, 0) for i in range(len(containers))] in json.loads(row["expected"])
    expected = tuple(int(row[f"expected_{name}"]) for name in ("cost_cents", "waste_ml", "count"))
    assert (got.cost, got.waste, got.count) == expected


def brute_force(need, containers, objective):
    """Best (cost, waste, number) or (waste, cost, number) over every combination; None when nothing reaches."""
    most = [-(-need // one.size) if one.stock is None else min(one.stock, -(-need // one.size)) for one in containers]
    keys = []
    for counts in product(*(range(number + 1) for number in most)):
        total = sum(n * one.size for n, one in zip(counts, containers, strict=True))
        if total >= need:
            cost = sum(n * one.cost for n, one in zip(counts, containers, strict=True))
            pair = (cost, total - need) if objective == "cost" else (total - need, cost)
            keys.append((*pair, sum(counts)))
    return min(keys, default=None)


small_shelf = st.lists(
    st.tuples(st.integers(1, 30), st.integers(0, 40), st.none() | st.integers(0, 4)), min_size=1, max_size=4
).map(lambda many: [Container(i, *one) for i, one in enumerate(many)])


@settings(max_examples=400, deadline=None)
@given(st.integers(1, 60), small_shelf, st.sampled_from(["cost", "waste"]))
def test_no_combination_beats_the_cover(need, containers, objective):
    best = brute_force(need, [one for one in containers if one.size * 12 >= need], objective)
    containers = [one for one in containers if one.size * 12 >= need]
    if not containers:
        return
    if best is None:
        with pytest.raises(NotEnough) as caught:
            cover(need, containers, objective=objective)
        assert caught.value.short == need - sum(one.size * one.stock for one in containers) > 0
        return
    got = cover(need, containers, objective=objective)
    assert best == ((got.cost, got.waste, got.count) if objective == "cost" else (got.waste, got.cost, got.count))
    assert sum(one.size * got.counts.get(one.key, 0) for one in containers) - need == got.waste
    assert all(got.counts.get(one.key, 0) <= (one.stock if one.stock is not None else need) for one in containers)


eight = st.lists(st.integers(200, 20_000), min_size=8, max_size=8, unique=True)


@settings(max_examples=40, deadline=None)
@given(st.integers(50_000, 60_000), eight, st.lists(st.integers(90, 110), min_size=8, max_size=8), st.booleans())
def test_sixty_litres_out_of_eight_sizes_cost_what_an_integer_program_finds(need, sizes, percents, limited):
    """Second road: integer program (HiGHS through scipy), live; least cost exact."""
    prices = [size * percent // 100 for size, percent in zip(sizes, percents, strict=True)]
    stock = [3] * 8 if limited else [None] * 8
    containers = [Container(i, *one) for i, one in enumerate(zip(sizes, prices, stock, strict=True))]
    bounds = (np.zeros(8), np.array([3 if limited else np.inf] * 8))
    if limited and 3 * sum(sizes) < need:
        with pytest.raises(NotEnough):
            cover(need, containers)
        return
    answer = milp(
        np.array(prices, float), constraints=LinearConstraint(np.array([sizes], float), need), integrality=np.ones(8),
        bounds=Bounds(*bounds), options={"mip_rel_gap": 0},
    )  # fmt: skip
    assert cover(need, containers).cost == round(answer.fun)


@pytest.mark.parametrize("objective", ["cost", "waste"])
@pytest.mark.parametrize(
    "price", [lambda size: size, lambda size: size // 1000, lambda size: 0], ids=["even", "rounded", "free"]
)
def test_a_stubborn_shelf_is_settled_in_reasonable_time(objective, price):
    """Equal prices per unit and sizes without a common measure: the hardest shelf for a search."""
    sizes = [250_000, 500_037, 946_074, 1_000_111, 3_785_148, 4_000_185, 10_000_222, 20_000_259]
    start = time.perf_counter()
    got = cover(59_311_000, [Container(size, size, price(size)) for size in sizes], objective=objective)
    assert time.perf_counter() - start < 20
    assert sum(size * n for size, n in got.counts.items()) - got.waste == 59_311_000


def test_a_price_too_large_for_a_float_is_still_exact():
    huge = 10**17
    got = cover(2, [Container("a", 1, huge), Container("b", 2, 2 * huge - 1)])
    assert (got.counts, got.cost) == ({"b": 1}, 2 * huge - 1)
    got = cover(2, [Container("a", 1, huge), Container("b", 2, 2 * huge + 1)])
    assert (got.counts, got.cost) == ({"a": 2}, 2 * huge)


def test_least_cost_then_least_waste_then_fewest():
    assert cover(600, SHELF) == Cover((), {"250": 1, "500": 1}, 1880, 150, 2)
    same_price = [Container("a", 700, 1000), Container("b", 650, 1000)]
    assert cover(600, same_price).counts == {"b": 1}
    assert cover(600, [Container("one", 600, 1000), Container("half", 300, 500)]).counts == {"one": 1}


def test_a_bottle_short_by_twenty_millilitres_is_not_enough():
    assert cover(966, [Container("qt", 946, 1690)]).counts == {"qt": 2}
    assert cover(946, [Container("qt", 946, 1690)]).counts == {"qt": 1}


def test_opened_containers_are_emptied_first_in_the_order_given():
    got = cover(900, SHELF, [Opened("old", 120), Opened("empty", 0), Opened("new", 400)])
    assert got == Cover((("old", 120), ("new", 400)), {"500": 1}, 1190, 120, 1)


def test_opened_containers_may_be_enough():
    assert cover(500, SHELF, [Opened("a", 300), Opened("b", 900)]) == Cover((("a", 300), ("b", 200)), {}, 0, 0, 0)
    assert cover(300, [], [Opened("a", 300), Opened("b", 1)]) == Cover((("a", 300),), {}, 0, 0, 0)


def test_a_stock_that_does_not_reach_says_how_much_is_missing():
    with pytest.raises(NotEnough) as caught:
        cover(3000, [Container("a", 1000, 1890, 2), Container("b", 500, 1190, 1)], [Opened("c", 100)])
    assert (caught.value.available, caught.value.short) == (2600, 400)
    assert caught.value.field == "need"
    assert "2600" in str(caught.value)


def test_a_size_out_of_stock_is_not_taken():
    assert cover(900, [Container("big", 1000, 1, 0), Container("small", 500, 900)]).counts == {"small": 2}
    with pytest.raises(NotEnough):
        cover(1, [Container("big", 1000, 1, 0)])


@pytest.mark.parametrize(("need", "container", "field"), [
    (0, SHELF[0], "need"), (-1, SHELF[0], "need"), (1.5, SHELF[0], "need"), (True, SHELF[0], "need"),
    (None, SHELF[0], "need"),
    (float("nan"), SHELF[0], "need"), (1, Container("a", 0, 1), "size"), (1, Container("a", -250, 1), "size"),
    (1, Container("a", 2.5, 1), "size"), (1, Container("a", 1, -1), "cost"), (1, Container("a", 1, 1.5), "cost"),
    (1, Container("a", 1, 1, -1), "stock"), (1, Container("a", 1, 1, 0.5), "stock"),
])  # fmt: skip
def test_amounts_that_are_no_amounts_are_refused_by_name(need, container, field):
    with pytest.raises(OutOfRange) as caught:
        cover(need, [container])
    assert caught.value.field == field


def test_an_opened_container_cannot_hold_less_than_nothing():
    with pytest.raises(OutOfRange, match="Opened"):
        cover(1, SHELF, [Opened("a", -1)])


@pytest.mark.parametrize("call", [
    lambda: cover(1, []), lambda: cover(1, SHELF, objective="speed"), lambda: cover(1, [SHELF[0], SHELF[0]]),
])  # fmt: skip
def test_a_question_without_an_answer_is_refused(call):
    with pytest.raises(CalcError):
        call()


def test_fewest_is_found_behind_a_larger_set_of_equal_price():
    """7 + 1 + 1 is met first; 5 + 4 costs the same, wastes the same, and is one bottle less."""
    got = cover(9, [Container(size, size, size) for size in (7, 5, 4, 1)])
    assert (got.counts, got.count) == ({5: 1, 4: 1}, 2)


@settings(max_examples=150, deadline=None)
@given(st.integers(1, 90), st.lists(st.tuples(st.integers(1, 25), st.integers(0, 6)), min_size=1, max_size=4))
def test_the_table_of_totals_holds_exactly_what_the_sizes_can_make(target, shelf):
    sizes, stock = ([one[i] for one in shelf] for i in (0, 1))
    for i, table in enumerate(_reachable(sizes, stock, target)):
        made = {
            sum(size * n for size, n in zip(sizes[i:], counts, strict=True))
            for counts in product(*(range(number + 1) for number in stock[i:]))
        }
        for amount in range(1, target + 1):
            enough = [total - amount for total in made if total >= amount]
            assert _overshoot(table, amount) == min(enough, default=None)
