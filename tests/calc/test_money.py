"""Rounding to the cent, half away from zero."""

import json
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.errors import OutOfRange
from shop.calc.money import round_to_cent

from .reference import FOLDER, rows

HALF_UP = [row for row in rows("money", "round_to_cent") if "ROUND_HALF_UP" in row.values[0].values()]


def test_the_table_has_rows_that_round_half_up():
    assert FOLDER.joinpath("money.csv").exists()
    assert len(HALF_UP) == 12


@pytest.mark.parametrize("row", HALF_UP)
def test_ties_go_away_from_zero(row):
    """Source: Streamlined Sales and Use Tax Agreement, s. 324; exact."""
    assert round_to_cent(Decimal(json.loads(row["inputs"])["value"])) == Decimal(row["expected"])


def _plain_invoices():
    """Invoices of whole positive numbers of things, without discounts."""
    for row in rows("money", "invoice"):
        lines = json.loads(row.values[0]["inputs"])["lines"]
        plain = all(Decimal(line["qty"]) > 0 and "discount" not in line for line in lines)
        if plain and "ROUND_HALF_UP" in row.values[0].values():
            yield row


@pytest.mark.parametrize("row", list(_plain_invoices()))
def test_line_nets_are_rounded_first_and_add_up(row):
    """Source: line nets to the cent first, as EN 16931 asks; re-done with exact fractions; exact."""
    lines = json.loads(row["inputs"])["lines"]
    nets = [round_to_cent(Decimal(line["qty"]) * Decimal(line["price"])) for line in lines]
    assert sum(nets) == Decimal(row["expected_subtotal"])


@given(st.decimals(-(10**9), 10**9, places=6))
def test_nothing_moves_by_more_than_half_a_cent(value):
    got = round_to_cent(value)
    assert abs(Fraction(got) - Fraction(value)) <= Fraction(1, 200)
    assert got.as_tuple().exponent == -2
    assert round_to_cent(-value) == -got


@pytest.mark.parametrize("value", [2.675, "2.675", True, None, Decimal("NaN"), Decimal("Infinity")])
def test_what_is_no_exact_sum_is_refused(value):
    with pytest.raises(OutOfRange):
        round_to_cent(value)
