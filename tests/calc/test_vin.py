"""The check character of a vehicle number warns and never blocks."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.vin import VALUES, check

from .reference import rows


@pytest.mark.parametrize("row", rows("vin_check_digit"))
def test_check_character(row):
    """Source: 49 CFR 565.15(c), published numbers and examples; exact."""
    got = check(row["raw_input"])
    assert got.number == row["normalised"]
    assert got.ok is (row["expected"] == "true")
    assert got.expected == row["expected_check_char"]
    assert got.reason == row["reason"]
    assert bool(got.words) is not got.ok


@given(st.text(alphabet=sorted(VALUES), min_size=17, max_size=17))
def test_check_character_agrees_with_the_half_byte_rule(number):
    """Second road: a letter's value is the low half of its EBCDIC code (Python's cp037 codec)."""
    weights = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2]
    rest = sum((one.encode("cp037")[0] & 0x0F) * weight for one, weight in zip(number, weights, strict=True)) % 11
    assert check(number).expected == "0123456789X"[rest]


@given(st.text(max_size=40))
def test_any_text_is_judged_and_none_refused(text):
    got = check(text)
    assert got.reason in {"ok", "wrong_length", "illegal_character", "letter_in_position_9", "check_digit_mismatch"}
    assert got.ok is (got.reason == "ok")


def test_an_off_road_number_is_called_that_and_kept():
    words = check("ZZZAB12CME0001234").words
    assert words == "The ninth character is the letter M: an off-road number, it seems. No check is possible."


def test_a_mistyped_number_names_what_is_there_and_what_is_asked_for():
    words = check("11111111211111111").words
    assert words == "The ninth character is 2, the rest asks for 1. Compare it with the plate; kept as typed."
    assert check("1111").words == "A road vehicle's number has 17 characters; this one has 4. Kept as typed."
    assert "has no O, Q" in check("1111111O1111111Q1").words
