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
