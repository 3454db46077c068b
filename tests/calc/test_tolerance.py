"""Tolerances as manuals print them. The arithmetic is its own check: value and step add up to the digit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.errors import OutOfRange, Unreadable
from shop.calc.tolerance import limits
from shop.calc.units import parse


@pytest.mark.parametrize(
    ("value", "quantity", "printed", "low", "high"),
    [
        ("18 lbf·ft", "torque", "± 1", "17 lbf·ft", "19 lbf·ft"),
        ("18 lbf·ft", "torque", "+- 5 %, the shop's own", "17.1 lbf·ft", "18.9 lbf·ft"),
        ("22 N·m", "torque", "+/− 1.5 N·m", "20.5 N·m", "23.5 N·m"),
        ("200 psi", "pressure", "+5/-0", "200 psi", "205 psi"),
        ("200 psi", "pressure", "+5 −10 psi (table 4)", "190 psi", "205 psi"),
        ("200 psi", "pressure", "195–205", "195 psi", "205 psi"),
        ("200 psi", "pressure", "195 to 205 psi", "195 psi", "205 psi"),
        ("200 psi", "pressure", "13.5 - 14 bar", "13.5 bar", "14 bar"),
        ("200 psi", "pressure", "± 2,5 percent", "195 psi", "205 psi"),
        ("2.4 in", "length", "±0.03 in", "2.37 in", "2.43 in"),
        ("2.4 in", "length", "±1/32", "2.36875 in", "2.43125 in"),
        ("60 mm", "length", "± 0.5", "59.5 mm", "60.5 mm"),
        ("60 mm", "length", "± 0.1 in", "57.46 mm", "62.54 mm"),
    ],
)
def test_the_limits_are_exact(value, quantity, printed, low, high):
    found = limits(parse(value, quantity), printed, quantity)
    assert tuple(map(str, found)) == (low, high)
    assert [one.si for one in found] == [parse(text, quantity).si for text in (low, high)]


@pytest.mark.parametrize("printed", ["", "5", "about 5", "± ", "± x", "±5 °C", "5 %", "-5", "± 5 ± 6", "±" + "9" * 90])
def test_what_is_no_tolerance_is_sent_back(printed):
    with pytest.raises(Unreadable):
        limits(parse("200 psi", "pressure"), printed, "pressure")


@pytest.mark.parametrize("printed", ["± 201", "± 101 %", "201 to 205", "190 to 199", "205 to 195"])
def test_a_range_that_leaves_the_value_outside_or_begins_below_zero_is_refused(printed):
    with pytest.raises(OutOfRange, match="a range around 200 psi"):
        limits(parse("200 psi", "pressure"), printed, "pressure")


@given(st.decimals(1, 500, places=2), st.decimals(0, 1, places=2))
def test_a_step_to_both_sides_is_as_wide_on_both(value, step):
    entered = parse(f"{value} psi", "pressure")
    low, high = limits(entered, f"± {step}", "pressure")
    assert low.value + high.value == pytest.approx(2 * entered.value, abs=1e-9)
    assert high.value - low.value == pytest.approx(2 * float(step), abs=1e-9)
