"""Rounding against tests/reference/money.csv, whose rows name their sources, and amounts as people type them."""

import csv
import json
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.errors import OutOfRange, Unreadable
from shop.calc.money import MOST, parse, to_cent, total

ROWS = list(csv.DictReader((Path(__file__).parent.parent / "reference/money.csv").open(encoding="utf-8")))
ROUNDED = [row for row in ROWS if row["kind"] == "round_to_cent" and row["rounding"] == "ROUND_HALF_UP"]
INVOICES = [row for row in ROWS if row["kind"] == "invoice" and row["rounding"] == "ROUND_HALF_UP"]


@pytest.mark.parametrize("row", ROUNDED, ids=lambda row: row["id"])
def test_half_a_cent_goes_away_from_zero(row):
    assert to_cent(Decimal(json.loads(row["inputs"])["value"])) == Decimal(row["expected"])


@pytest.mark.parametrize("row", INVOICES, ids=lambda row: row["id"])
def test_lines_add_up_to_the_cent(row):
    lines = json.loads(row["inputs"])["lines"]
    nets = [Decimal(one["qty"]) * Decimal(one["price"]) * (1 - Decimal(one.get("discount", "0"))) for one in lines]
    assert total(nets) == Decimal(row["expected_subtotal"])


@given(st.decimals(min_value=-(10**7), max_value=10**7, places=4))
def test_rounding_moves_an_amount_by_half_a_cent_at_most(amount):
    assert abs(to_cent(amount) - amount) <= Decimal("0.005")


@pytest.mark.parametrize("amount", [Decimal("NaN"), Decimal("Infinity"), 1.5, "1.50"])
def test_what_is_no_finite_amount_is_refused(amount):
    with pytest.raises(OutOfRange):
        to_cent(amount)


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("420", "420.00"),
        ("420.5", "420.50"),
        ("420,50", "420.50"),
        (" 1 420.50 ", "1420.50"),
        ("1'420", "1420.00"),
        ("0", "0.00"),
        ("1,234.56", "1234.56"),
        ("1.234,56", "1234.56"),
        ("1.234,5", "1234.50"),
        ("1,234,567.89", "1234567.89"),
        ("1.234.567,8", "1234567.80"),
    ],
)
def test_an_amount_is_read_as_typed(text, amount):
    assert parse(text) == Decimal(amount)
    assert parse(text).as_tuple().exponent == -2


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("1,234,56", "1234.56 if that is meant"),
        ("1,23.456", "123456 if that is meant"),
        ("1.234", "1234 if that is meant, or 1.23"),
        ("1,234", "1234 if that is meant, or 1.23"),
        ("1.234.567", "1234567 if that is meant"),
    ],
)
def test_a_sign_that_may_part_thousands_is_asked_about(text, asked):
    with pytest.raises(Unreadable, match="without a sign between the thousands") as refusal:
        parse(text, "up to")
    assert asked in str(refusal.value)
    assert f"“{text}”" in str(refusal.value)


@pytest.mark.parametrize("text", ["", "about 400", "-5", "12.3456", "4.2.0", "٣", "1e3", ",", "1..2", "9" * 400])
def test_what_is_no_amount_is_told(text):
    with pytest.raises(Unreadable, match=r"an amount like 420 or 420\.50|between the thousands"):
        parse(text)


def test_more_than_any_job_costs_is_refused():
    with pytest.raises(OutOfRange, match="at most"):
        parse(str(MOST + 1))


@pytest.mark.parametrize(
    ("text", "amount"),
    [("0.085", "0.085"), ("0,085", "0.085"), ("1.2340", "1.234"), ("1,234.5678", "1234.5678"), ("12,5", "12.50")],
)
def test_a_price_may_have_four_decimals(text, amount):
    assert parse(text, decimals=4) == Decimal(amount)


@pytest.mark.parametrize("text", ["1.234", "1,234"])
def test_three_figures_behind_one_sign_are_asked_about_for_prices_as_well(text):
    with pytest.raises(Unreadable, match=r"1234 if that is meant, or 1\.2340"):
        parse(text, decimals=4)


@given(st.decimals(min_value=1000, max_value=MOST, places=2))
def test_thousands_grouped_with_one_sign_and_cents_parted_by_the_other_are_plain(amount):
    english = f"{amount:,.2f}"  # as Python itself groups
    assert parse(english) == amount
    assert parse(english.translate(str.maketrans(",.", ".,"))) == amount


@given(st.decimals(min_value=0, max_value=MOST, places=2))
def test_what_is_written_is_read_back(amount):
    assert parse(str(amount)) == amount
