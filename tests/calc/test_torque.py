"""Torque tools: ISO 6789 facts, extensions, range, calibration."""

import json
import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.calc import torque
from shop.calc.errors import OutOfRange
from shop.calc.units import to_si

from .ends import assert_ends
from .reference import rows


def lever(inputs):
    return inputs["wrench_mm"] / 1000, inputs["extension_mm"] / 1000, inputs["angle_deg"]


FACTS = {
    "default_recalibration_interval_months": torque.CALIBRATION_MONTHS,
    "default_recalibration_interval_cycles": torque.CALIBRATION_CYCLES,
    "overload_forces_recalibration_pct_of_max": torque.OVERLOAD_PERCENT,
}

ANSWERS = {
    "fact": lambda one: FACTS[one["name"]],
    "deviation_limit": lambda one: torque.permissible_deviation(one["type"], one["class"], one["max_torque_nm"]),
    "deviation_percent": lambda one: torque.deviation_percent(one["indicated_nm"], one["reference_nm"]),
    "within_limit": lambda one: torque.within_limit(
        one["indicated_nm"], one["reference_nm"], one["type"], one["class"], one["max_torque_nm"]
    ),
    "set_with_extension": lambda one: torque.wrench_setting(one["target_nm"], *lever(one)),
    "torque_at_fastener": lambda one: torque.torque_at_fastener(one["set_nm"], *lever(one)),
    "recalibration_due_date": lambda one: (
        torque.calibration(
            date.fromisoformat(one["last_calibration"]),
            0,
            date.fromisoformat(one["last_calibration"]),
            months=one["interval_months"],
        ).due_on
    ),
    "recalibration_overdue": lambda one: (
        torque.calibration(
            date.fromisoformat(one["last_calibration"]), one["cycles_since"], date.fromisoformat(one["today"])
        ).overdue
    ),
}


@pytest.mark.parametrize("row", rows("torque_tools"))
def test_torque_tools(row):
    """Sources per row: ISO 6789 (partly from memory, see the row), law of the lever; the row's tolerance."""
    got = ANSWERS[row["kind"]](json.loads(row["inputs"]))
    if row["unit"] == "bool":
        assert got is (row["expected"] == "true")
    elif row["unit"] == "date":
        assert got == date.fromisoformat(row["expected"])
    else:
        assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


@given(st.floats(1, 300), st.floats(0.1, 1), st.floats(-0.09, 0.5), st.floats(-180, 180))
def test_setting_and_torque_at_the_nut_are_inverse(target, wrench, extension, angle):
    if wrench + extension * math.cos(math.radians(angle)) <= 0.001:
        return
    setting = torque.wrench_setting(target, wrench, extension, angle)
    if setting <= 3000:
        assert torque.torque_at_fastener(setting, wrench, extension, angle) == pytest.approx(target, rel=1e-12)


def test_an_extension_straight_out_asks_for_less_and_square_for_the_same():
    assert torque.wrench_setting(90, 0.4, 0.05) == pytest.approx(80)
    assert torque.wrench_setting(90, 0.4, 0.05, 90) == pytest.approx(90)
    assert torque.wrench_setting(90, 0.4, -0.05) > 90
    assert torque.wrench_setting(90, 0.4, 0) == 90


@pytest.mark.parametrize(("args", "field"), [
    ((0, 0.4, 0.05), "torque_nm"), ((-5, 0.4, 0.05), "torque_nm"), ((math.nan, 0.4, 0.05), "torque_nm"),
    ((90, 0, 0.05), "wrench_m"),
    ((90, 400, 50), "wrench_m"), ((90, 0.4, -0.4), "extension_m"), ((90, 0.4, -0.5), "extension_m"),
    ((90, 0.4, 0.4, 180), "extension_m"),
    ((90, 0.4, math.inf), "extension_m"), ((90, 0.4, 0.05, 200), "angle_deg"), ((90, 0.4, 0.05, math.nan), "angle_deg"),
    ((90, 0.4, 50), "extension_m"), ((3001, 0.4, 0.05), "torque_nm"),
])  # fmt: skip
def test_a_lever_that_cannot_be_is_refused_by_name(args, field):
    with pytest.raises(OutOfRange) as caught:
        torque.wrench_setting(*args)
    assert caught.value.field == field


@pytest.mark.parametrize(("value", "status"), [
    (22, "low"), (9.9, "outside"), (10, "low"), (19.9, "low"), (20, "low"), (32, "good"), (80, "good"),
    (80.1, "outside"), (31.9, "low"),
    (15.9, "outside"), (16, "low"),
])  # fmt: skip
def test_a_wrench_covers_from_a_fifth_and_is_good_in_the_upper_part(value, status):
    """20 % from ISO 6789 (from memory); the upper part is common practice, no source. Wrench 10 to 80 lbf·ft."""
    low, high = to_si(10, "lbf·ft"), to_si(80, "lbf·ft")
    if value in (10, 9.9):
        high = to_si(40, "lbf·ft")
    fit = torque.wrench_fit(to_si(value, "lbf·ft"), low, high)
    assert fit.status == status
    assert fit.covers is (status != "outside")
    assert fit.words.startswith(f"{value} lbf·ft is ")


@pytest.mark.parametrize("args", [(10, -1, 50), (10, 50, 50), (10, 60, 50), (0, 5, 50), (10, 5, 0), (math.nan, 5, 50)])
def test_a_wrench_without_a_scale_is_refused(args):
    with pytest.raises(OutOfRange):
        torque.wrench_fit(*args)


def test_a_tolerance_band_lies_either_side():
    """18 lbf·ft ±5 %; 18 lbf·ft is common practice, no source."""
    band = torque.tolerance_band(to_si(18, "lbf·ft"), 5)
    assert band == pytest.approx((to_si(17.1, "lbf·ft"), to_si(18.9, "lbf·ft")))
    assert torque.tolerance_band(10, 0) == (10, 10)


@pytest.mark.parametrize("call", [
    lambda: torque.tolerance_band(10, -1), lambda: torque.tolerance_band(10, 100), lambda: torque.tolerance_band(0, 5),
    lambda: torque.deviation_percent(10, 0), lambda: torque.deviation_percent(0, 10),
    lambda: torque.permissible_deviation("III", "A", 10),
    lambda: torque.permissible_deviation("I", "F", 10), lambda: torque.permissible_deviation("II", "H", 10),
    lambda: torque.permissible_deviation("II", "", 10), lambda: torque.permissible_deviation("II", "AB", 10),
    lambda: torque.permissible_deviation("II", None, 10), lambda: torque.permissible_deviation("II", "A", -1),
])  # fmt: skip
def test_values_no_tool_has_are_refused(call):
    with pytest.raises(OutOfRange):
        call()


TODAY = date(2026, 7, 1)


def test_a_tool_in_calibration_says_what_is_left():
    state = torque.calibration(date(2026, 6, 1), 1200, TODAY)
    assert (state.overdue, state.reasons, state.cycles_left, state.due_on) == (False, (), 3800, date(2027, 6, 1))


def test_every_reason_for_calibration_is_told():
    state = torque.calibration(date(2025, 6, 1), 5200, TODAY, largest_load_percent=140)
    assert state.reasons == (
        "Calibration was due on 1 June 2026.",
        "The tool has done 5200 cycles since its calibration; 5000 are the most.",
        "The tool was loaded to 140 % of its scale: have it checked.",
    )
    assert state.cycles_left == 0


def test_a_load_up_to_the_limit_is_no_overload():
    assert not torque.calibration(TODAY, 0, TODAY, largest_load_percent=125).overdue
    assert torque.calibration(TODAY, 0, TODAY, largest_load_percent=125.1).overdue


def test_the_owners_own_procedure_goes_first():
    assert torque.calibration(TODAY - timedelta(days=100), 900, TODAY, months=3).overdue
    assert torque.calibration(TODAY, 900, TODAY, cycles=900).overdue
    assert not torque.calibration(TODAY, 899, TODAY, cycles=900).overdue


@pytest.mark.parametrize(("change", "field"), [
    ({"cycles_since": -1}, "cycles_since"), ({"cycles_since": 1.5}, "cycles_since"),
    ({"cycles_since": True}, "cycles_since"),
    ({"last_on": TODAY + timedelta(days=1)}, "last_on"), ({"months": 0}, "months"), ({"cycles": 0}, "cycles"),
    ({"largest_load_percent": math.nan}, "largest_load_percent"),
])  # fmt: skip
def test_a_calibration_that_cannot_be_is_refused_by_name(change, field):
    with pytest.raises(OutOfRange) as caught:
        torque.calibration(**({"last_on": TODAY, "cycles_since": 0, "today": TODAY} | change))
    assert caught.value.field == field


def test_below_the_first_fifth_the_words_name_the_fifth():
    fit = torque.wrench_fit(to_si(12, "lbf·ft"), to_si(10, "lbf·ft"), to_si(80, "lbf·ft"))
    assert fit.words == (
        "12 lbf·ft is below 16 lbf·ft, the first fifth of 10 lbf·ft to 80 lbf·ft. Take a smaller wrench."
    )


def test_fine_classes_hold_four_percent_above_ten_newton_metres():
    assert [torque.permissible_deviation("II", "A", high) for high in (10, 10.5)] == [6, 4]


@pytest.mark.parametrize(("call", "low", "high"), [
    (lambda value: torque.wrench_setting(10, 0.4, 0.05, value), -180, 180),
    (lambda value: torque.wrench_setting(10, 0.4, 0.05, -value), -180, 180),
    (lambda value: torque.calibration(TODAY, 0, TODAY, largest_load_percent=value), 0, 10_000),
])  # fmt: skip
def test_the_range_told_is_the_range_kept(call, low, high):
    assert_ends(call, low, high)


def test_ends_of_ranges_that_leave_their_start_out():
    assert_ends(lambda value: torque.tolerance_band(value, 5), 0, 3000, above=True)
    assert_ends(lambda value: torque.tolerance_band(10, value), 0, 100, below=True)
    assert_ends(lambda value: torque.wrench_setting(10, value, 0), 0, 3, above=True)
    assert_ends(lambda value: torque.wrench_setting(10, 3, value), -3, 3, above=True)
    assert_ends(lambda value: torque.wrench_fit(50, value, 60), 0, 60, below=True)


def test_cycles_and_months_start_at_one():
    assert torque.calibration(TODAY, 0, TODAY, months=1, cycles=1).cycles_left == 1
