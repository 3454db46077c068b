"""When to order again and how many: check table, and live against scipy's normal distribution. Demand is made up."""

import json
import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.stats import norm

from shop.calc.errors import OutOfRange
from shop.calc.inventory import (
    demand,
    order_quantity,
    order_quantity_cost,
    reorder_point,
    safety_stock,
    service_factor,
    whole_packs,
)

from .ends import assert_ends
from .reference import rows


def close(got, row):
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def of(row, *names):
    inputs = json.loads(row["inputs"])
    return [inputs[name] for name in names]


EOQ = ("demand_per_year", "order_cost", "holding_cost_per_unit_year")
LEAD = ("demand_per_day", "demand_sd_per_day", "lead_days", "lead_sd_days", "cycle_service_level")


@pytest.mark.parametrize("row", rows("inventory", "eoq", "eoq_published_rounded"))
def test_order_quantity(row):
    """Source: Harris 1913; Hopp & Spearman and Hillier & Lieberman, worked examples as published (rounded)."""
    close(order_quantity(*of(row, *EOQ)), row)


@pytest.mark.parametrize("row", rows("inventory", "eoq_cost_per_year"))
def test_what_the_order_quantity_costs_a_year(row):
    """Source: Harris 1913."""
    close(order_quantity_cost(*of(row, *EOQ)), row)


@pytest.mark.parametrize("row", rows("inventory", "reorder_point_no_safety"))
def test_reorder_point_of_a_steady_demand_is_what_goes_during_the_lead_time(row):
    """Source: product."""
    per_day, lead = of(row, "demand_per_day", "lead_days")
    close(reorder_point(per_day, 0, lead, 0, 0.95), row)
    close(reorder_point(per_day, 3, lead, 2, 0.5), row)


@pytest.mark.parametrize("row", rows("inventory", "safety_stock"))
def test_safety_stock(row):
    """Source: normal lead-time demand, standard textbooks of inventory."""
    close(safety_stock(*of(row, *LEAD)), row)


@pytest.mark.parametrize("row", rows("inventory", "reorder_point"))
def test_reorder_point(row):
    """Source: normal lead-time demand, standard textbooks of inventory."""
    close(reorder_point(*of(row, *LEAD)), row)


amounts = st.floats(0, 1e6, allow_subnormal=False)
levels = st.floats(0.5, 0.9999)


@given(amounts, amounts, st.floats(0, 365), st.floats(0, 90), levels)
def test_reorder_point_is_the_quantile_of_the_lead_time_demand(per_day, spread, lead, lead_spread, level):
    """Live against scipy.stats.norm: mean d L, variance L s² + d² s_L²."""
    deviation = math.sqrt(lead * spread**2 + per_day**2 * lead_spread**2)
    expected = norm.ppf(level, loc=per_day * lead, scale=deviation) if deviation else per_day * lead
    assert reorder_point(per_day, spread, lead, lead_spread, level) == pytest.approx(expected, rel=1e-9, abs=1e-6)


@given(st.floats(1, 1e5), st.floats(0.5, 500), st.floats(0.01, 500))
def test_no_other_quantity_costs_less(per_year, order_cost, keeping):
    """Live against scipy's minimiser of D K / q + h q / 2."""
    got = order_quantity(per_year, order_cost, keeping)
    total = lambda q: per_year * order_cost / q + keeping * q / 2  # noqa: E731
    found = minimize_scalar(total, bounds=(got / 50, got * 50), method="bounded", options={"xatol": got * 1e-6})
    assert total(got) <= found.fun * (1 + 1e-9)
    assert total(got) == pytest.approx(order_quantity_cost(per_year, order_cost, keeping))


@given(levels)
def test_service_factor_is_the_normal_quantile(level):
    """Live against scipy.stats.norm."""
    assert service_factor(level) == pytest.approx(norm.ppf(level), abs=1e-9)


def test_service_levels_of_the_tables():
    """Source: table of the standard normal distribution (from memory): 90 %, 95 %, 97.5 %, 99 %."""
    assert [round(service_factor(one), 3) for one in (0.9, 0.95, 0.975, 0.99)] == [1.282, 1.645, 1.960, 2.326]


@given(st.lists(st.tuples(st.integers(-20, 220), st.integers(0, 40)), max_size=40), st.integers(0, 200))
def test_demand_is_mean_and_sample_deviation_of_the_days(taken, length):
    """Live against numpy, days without use counting as zero."""
    first = date(2026, 1, 1)
    daily = np.zeros(length + 1)
    inside = [(at, amount) for at, amount in taken if 0 <= at <= length]
    for at, amount in inside:
        daily[at] += amount
    got = demand([(first + timedelta(days=at), n) for at, n in taken], first, first + timedelta(days=length))
    assert (got.total, got.days) == (daily.sum(), length + 1)
    assert got.mean == pytest.approx(daily.mean(), abs=1e-12)
    assert got.deviation == pytest.approx(daily.std(ddof=1) if length else 0, abs=1e-9)
    assert got.occasions == np.count_nonzero(daily)
    assert got.largest == max((n for _, n in inside), default=0)


def test_what_is_no_span_or_no_amount_is_refused():
    with pytest.raises(OutOfRange, match="Last cannot be 2025-12-31"):
        demand([], date(2026, 1, 1), date(2025, 12, 31))
    with pytest.raises(OutOfRange, match="Amount cannot be -1"):
        demand([(date(2026, 1, 1), -1)], date(2026, 1, 1), date(2026, 1, 2))


def test_the_ends_of_what_is_allowed():
    assert_ends(service_factor, 0.5, 1, below=True)
    for name in ("demand_per_day", "demand_deviation_per_day", "lead_days", "lead_deviation_days"):
        given_ = dict(zip(("demand_per_day", "demand_deviation_per_day", "lead_days", "lead_deviation_days",
                           "service_level"), (1, 1, 1, 1, 0.9), strict=True))  # fmt: skip
        for bad in (-0.001, math.nan, math.inf, True, "3"):
            with pytest.raises(OutOfRange):
                reorder_point(**given_ | {name: bad})
    for bad in ((-1, 1, 1), (1, -1, 1), (1, 1, 0), (1, 1, math.inf)):
        with pytest.raises(OutOfRange):
            order_quantity(*bad)


@given(st.integers(0, 10**6), st.integers(1, 1000), st.integers(1, 30), st.integers(1, 100))
def test_whole_packs_hold_the_amount_and_no_pack_less_would(amount, unit, pack, minimum):
    units = whole_packs(amount, unit, pack, minimum)
    assert units * unit >= amount
    assert units % pack == 0
    fewer = units - pack
    assert units == 0 or fewer * unit < amount or fewer < minimum
    assert (units == 0) is (amount == 0)


@pytest.mark.parametrize(
    "bad", [(-1, 1, 1, 1), (1, 0, 1, 1), (1, 1, 0, 1), (1, 1, 1, 0), (1.5, 1, 1, 1), (True, 1, 1, 1)]
)
def test_packs_of_nothing_are_refused(bad):
    with pytest.raises(OutOfRange):
        whole_packs(*bad)
