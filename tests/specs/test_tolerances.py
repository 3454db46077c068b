"""A tolerance as printed beside limits as typed: they agree, or nobody guesses which is right."""

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.tolerance import limits
from shop.calc.units import parse
from shop.dampers.measures import Measure
from shop.specs.tolerances import agreed_limits
from shop.web.manage.sheet_forms import allowed_in_words

TORQUE = Measure.SHAFT_NUT_TORQUE
VALUES, PERCENT = st.integers(10, 2000), st.integers(1, 30)


def torque(text):
    return parse(text, "torque", "lbf·ft")


@given(tenths=VALUES, percent=PERCENT)
def test_the_limits_that_a_tolerance_gives_may_be_typed_beside_it(tenths, percent):
    entered, printed = torque(str(tenths / 10)), f"± {percent} %"
    low, high = limits(entered, printed, "torque")
    assert agreed_limits(TORQUE, entered, printed, low, high) == (low, high)
    assert agreed_limits(TORQUE, entered, printed) == (low, high)


@given(tenths=VALUES, percent=PERCENT)
def test_limits_wider_than_the_tolerance_are_refused(tenths, percent):
    entered, printed = torque(str(tenths / 10)), f"± {percent} %"
    low, high = limits(entered, printed, "torque")
    for part, typed in (("low", torque(f"{low.value * 0.999:.6f}")), ("high", torque(f"{high.value * 1.001:.6f}"))):
        with pytest.raises(ValidationError) as refusal:
            agreed_limits(TORQUE, entered, printed, **{part: typed})
        assert list(refusal.value.error_dict) == [part]


@pytest.mark.parametrize(
    ("low", "agrees"),
    [("17.385", True), ("17.39", True), ("17.4", True), ("17.5", False), ("17.38", False), ("18", True), ("17", False)],
)
def test_a_typed_limit_may_be_rounded_inwards_in_its_last_figure(low, agrees):
    entered = torque("18.3")  # ± 5 % begins at 17.385
    if agrees:
        assert agreed_limits(TORQUE, entered, "± 5 %", torque(low))[0].figures == low
    else:
        with pytest.raises(ValidationError, match="Leave lowest and highest empty, or mend one of them"):
            agreed_limits(TORQUE, entered, "± 5 %", torque(low))


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [("3.37 mm", "3.43 mm", "3.37 to 3.43 mm"), ("1/3 in", "1 in", "0.334 to 1 in"), ("2 in", "1 in", "")],
)
def test_limits_are_said_exactly_as_long_as_that_is_short(low, high, said):
    ends = [parse(one, "length") for one in (low, high)]
    assert allowed_in_words(*ends, ends[0].unit) == said
