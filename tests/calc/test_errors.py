"""What a refused value says."""

import math
import pickle

import pytest

from shop.calc.containers import NotEnough
from shop.calc.errors import CalcError, OutOfRange, Unreadable, require


def test_a_refusal_is_two_sentences_with_field_value_unit_and_what_is_allowed():
    error = OutOfRange("charge_pa", -5.0, "a pressure above zero")
    assert str(error) == "Charge cannot be -5 Pa. Give a pressure above zero."
    assert (error.field, error.value, error.allowed) == ("charge_pa", -5.0, "a pressure above zero")


def test_every_refusal_is_a_value_error_and_a_calc_error():
    for kind in (OutOfRange, Unreadable):
        assert issubclass(kind, CalcError)
        assert issubclass(kind, ValueError)


def test_unreadable_text_is_quoted_and_empty_text_is_called_empty():
    assert str(Unreadable("torque", "abc", "a number")) == "Torque: “abc” cannot be read. Give a number."
    assert str(Unreadable("torque", "  ", "a number")) == "Torque is empty. Give a number."


def test_ten_megabytes_of_text_make_a_short_sentence():
    assert len(str(Unreadable("torque", "9" * 10_000_000, "a number"))) < 150


@pytest.mark.parametrize(("length", "shown"), [(60, "x" * 60), (61, "x" * 59 + "…"), (600, "x" * 59 + "…")])
def test_a_long_value_is_shown_as_far_as_sixty_characters(length, shown):
    assert str(OutOfRange("plate", "x" * length, "less")) == f"Plate cannot be {shown}. Give less."


@pytest.mark.parametrize("error", [OutOfRange("a", 1, "b"), Unreadable("a", "1", "b"), NotEnough(5, 3)])
def test_a_refusal_survives_the_way_through_a_queue(error):
    again = pickle.loads(pickle.dumps(error))
    assert (type(again), str(again), vars(again)) == (type(error), str(error), vars(error))


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 0, 10.1, True, "5", b"5", None, [], 10**400])
def test_require_refuses_what_is_no_finite_number_in_range(value):
    with pytest.raises(OutOfRange):
        require("bore_m", value, 0, 10, allowed="a length above 0 and up to 10 m", above=True)


@pytest.mark.parametrize(("above", "below", "value", "passes"), [
    (False, False, 0, True), (False, False, 10, True), (True, False, 0, False), (False, True, 10, False),
    (True, True, 5, True),
])  # fmt: skip
def test_require_takes_the_ends_of_the_range_unless_told_otherwise(above, below, value, passes):
    if passes:
        assert require("bore_m", value, 0, 10, allowed="that", above=above, below=below) == value
    else:
        with pytest.raises(OutOfRange):
            require("bore_m", value, 0, 10, allowed="that", above=above, below=below)


def test_require_without_ends_takes_every_finite_number():
    assert [require("x", value, allowed="a number") for value in (-1e308, 0, 1e308)] == [-1e308, 0, 1e308]
    with pytest.raises(OutOfRange):
        require("x", -math.inf, allowed="a number")


def test_require_leaves_no_end_out_of_itself():
    assert (require("x", 0, 0, 1, allowed="0 to 1"), require("x", 1, 0, 1, allowed="0 to 1")) == (0, 1)
