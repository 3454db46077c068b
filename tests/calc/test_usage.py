"""Rate of use and forecasts from meter readings."""

import json
import math
from datetime import date, timedelta

import pytest
import scipy.stats
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from shop.calc.errors import OutOfRange
from shop.calc.usage import Swap, date_of_reaching, estimate, theil_sen

from .reference import rows

FIRST = date(2026, 1, 1)


def monthly(*values, step=30):
    return [(FIRST + timedelta(days=step * i), value) for i, value in enumerate(values)]


def readings_of(row):
    """A row's readings and swaps, cut to those after the last drop where the row says so."""
    readings = [(date.fromisoformat(one["d"]), one["v"]) for one in json.loads(row["readings"])]
    swaps = [Swap(date.fromisoformat(s["date"]), s["old_final"], s["new_start"]) for s in json.loads(row["swaps"])]
    if row["drop_policy"] == "current_segment":
        drops = [i for i in range(1, len(readings)) if readings[i][1] < readings[i - 1][1]]
        readings = readings[drops[-1] :]
    return readings, swaps


@pytest.mark.parametrize("row", rows("usage_forecast"))
def test_rate_and_date_as_written(row):
    """Source: Theil-Sen (Sen 1968) computed with scipy; slope to the row's tolerance, dates exact.

    The date runs from the last reading (column expected_date_from_last_reading).
    """
    readings, swaps = readings_of(row)
    usage = estimate(readings, swaps, clean=False)
    reach = date_of_reaching(usage, float(row["target"]))
    assert len(usage.kept) == int(row["n_used"])
    if row["expected_slope_per_day"]:
        tolerance = float(row["tolerance_slope"])
        assert usage.rate == pytest.approx(float(row["expected_slope_per_day"]), abs=tolerance, rel=1e-9)
    else:
        assert usage.rate is None
    assert reach.status == row["status"].replace("insufficient", "not_enough_data")
    expected = row["expected_date_from_last_reading"]
    assert reach.on == (date.fromisoformat(expected) if expected else None)


@pytest.mark.parametrize("row", rows("usage_forecast"))
def test_what_goes_up_is_never_taken_for_a_typing_error(row):
    """Rows without a drop come out the same with and without cleaning."""
    readings, swaps = readings_of(row)
    as_written, cleaned = estimate(readings, swaps, clean=False), estimate(readings, swaps)
    if row["drop_detected"] == "false" or row["drop_policy"] == "current_segment":
        assert cleaned == as_written
    else:
        assert cleaned.ignored or cleaned.since > min(readings)[0]
        assert cleaned.notes


reading_lists = st.lists(
    st.tuples(st.integers(0, 900), st.integers(0, 20_000).map(lambda tenths: tenths / 10)), min_size=2, max_size=25
)


@pytest.mark.filterwarnings("ignore:invalid value encountered in sqrt:RuntimeWarning")
@settings(max_examples=300)
@given(reading_lists)
def test_slope_and_interval_agree_with_scipy(points):
    """Source: scipy.stats.theilslopes, live; relative 1e-12."""
    points = sorted(points)
    if len({x for x, _ in points}) < 2:
        assert theil_sen(points) is None
        return
    theirs = scipy.stats.theilslopes([y for _, y in points], [x for x, _ in points], alpha=0.95)
    slope, low, high = theil_sen(points)
    assert slope == pytest.approx(theirs.slope, rel=1e-12, abs=1e-12)
    if math.isnan(theirs.low_slope):
        assert low == high == slope  # nearly everything tied: scipy's variance turns negative
    else:
        assert (low, high) == pytest.approx((theirs.low_slope, theirs.high_slope), rel=1e-12, abs=1e-12)


def test_a_wild_high_reading_is_left_out_and_told():
    usage = estimate(monthly(100, 112, 1235, 135, 146.5, 159))
    assert usage.ignored == ((FIRST + timedelta(days=60), 1235),)
    assert usage.rate == pytest.approx(0.4, abs=0.02)
    assert usage.notes == ("The reading 1235 of 2 March 2026 does not fit the others and is left out: a typing error?",)


def test_a_missing_digit_is_left_out_and_told():
    usage = estimate(monthly(1000, 1040, 108, 1120, 1160))
    assert [value for _, value in usage.ignored] == [108]
    assert usage.rate == pytest.approx(40 / 30)


def test_a_low_last_reading_waits_for_another():
    usage = estimate(monthly(610, 640, 670, 12))
    assert (usage.last_value, [value for _, value in usage.ignored]) == (670, [12])
    assert "1 April 2026" in usage.notes[0]


def test_two_low_readings_are_a_swapped_meter():
    usage = estimate(monthly(610, 640, 670, 12, 42))
    assert (usage.last_value, usage.rate, usage.since) == (42, 1, FIRST + timedelta(days=90))
    assert "swapped" in usage.notes[0]
    assert "670 on 2 March 2026 to 12 on 1 April 2026" in usage.notes[0]


def test_a_declared_swap_runs_on():
    swaps = [Swap(FIRST + timedelta(days=45), 380.0)]
    usage = estimate(monthly(320, 350, 15, 45), swaps)
    assert [value for _, value in usage.kept] == [320, 350, 395, 425]
    assert usage.running(FIRST, 320) == 320
    assert usage.running(FIRST + timedelta(days=90), 45) == 425
    assert usage.notes == ()


def test_on_the_day_of_the_swap_the_figure_tells_which_meter_was_read():
    day = FIRST + timedelta(days=30)
    for value in (380.0, 379.0):
        assert estimate([(FIRST, 350), (day, value)], [Swap(day, 380, 0)]).last_value == value
    assert estimate([(FIRST, 350), (day, 0.5)], [Swap(day, 380, 0)]).last_value == 380.5


def test_a_last_reading_with_a_digit_too_many_waits_for_another():
    usage = estimate(monthly(100, 111, 122, 133, 144, 1555))
    assert (usage.last_value, [value for _, value in usage.ignored]) == (144, [1555])
    assert "until another reading confirms it" in usage.notes[0]
    confirmed = estimate(monthly(100, 111, 122, 133, 144, 1555, 1560))
    assert (confirmed.last_value, confirmed.ignored) == (1560, ())


def test_a_long_trip_is_believed():
    assert estimate(monthly(1000, 1010, 1020, 1030, 1040, 1900)).last_value == 1900


def test_more_than_a_day_holds_is_a_typing_error():
    readings = [*monthly(100, 111, 122), (FIRST + timedelta(days=61), 2000)]
    assert estimate(readings, most_per_day=24).last_value == 122
    assert estimate(readings, most_per_day=1880).last_value == 2000
    assert estimate([(FIRST, 100), (FIRST, 124)], most_per_day=24).ignored == ()


def test_the_order_of_readings_does_not_matter():
    readings = monthly(100, 112, 1235, 135, 146.5, 159)
    assert estimate(readings[::-1]) == estimate(readings)


@pytest.mark.parametrize(("readings", "status"), [
    ([], "not_enough_data"), (monthly(20), "not_enough_data"), (monthly(20, 21, 22, step=0), "not_enough_data"),
    (monthly(640, 12), "not_enough_data"), (monthly(655.5, 655.5, 655.5), "no_usage"), (monthly(0, 0), "no_usage"),
])  # fmt: skip
def test_no_rate_is_stated_in_words(readings, status):
    usage = estimate(readings)
    reach = date_of_reaching(usage, 700)
    assert usage.status == reach.status == status
    assert reach.on is reach.earliest is reach.latest is None
    assert reach.words == usage.notes[-1]
    assert reach.words.endswith(".")


def test_a_target_behind_the_meter_is_already_reached_even_without_a_rate():
    for readings in (monthly(230, 256), monthly(256), monthly(256, 256)):
        reach = date_of_reaching(estimate(readings), 256)
        assert (reach.status, reach.on) == ("already_reached", None)
        assert "256" in reach.words


def test_the_date_is_the_first_whole_day_on_which_the_target_is_reached():
    usage = estimate(monthly(0, 3))
    assert date_of_reaching(usage, 4).on == FIRST + timedelta(days=40)
    assert date_of_reaching(usage, 4.01).on == FIRST + timedelta(days=41)
    assert date_of_reaching(usage, 3.0001).on == FIRST + timedelta(days=31)


def test_the_interval_encloses_the_date_and_an_open_end_is_none():
    reach = date_of_reaching(estimate(monthly(0, 10, 24, 30, 45, 50)), 100)
    assert reach.earliest < reach.on < reach.latest
    assert date_of_reaching(estimate(monthly(0, 100, 100, 100, 110)), 200).latest is None


def test_a_target_beyond_the_calendar_is_no_date():
    reach = date_of_reaching(estimate(monthly(0, 0.001)), 1e9)
    assert (reach.status, reach.on) == ("no_usage", None)
    assert "not reached" in reach.words


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1, True, "12", None])
def test_values_that_are_no_reading_are_refused(bad):
    with pytest.raises(OutOfRange, match="Reading"):
        estimate([(FIRST, bad)])
    with pytest.raises(OutOfRange, match="Target"):
        date_of_reaching(estimate(monthly(1, 2)), bad)


@pytest.mark.parametrize("swap", [Swap(FIRST, math.nan), Swap(FIRST, -1), Swap(FIRST, 1, math.inf)])
def test_a_swap_with_values_that_are_no_reading_is_refused(swap):
    with pytest.raises(OutOfRange, match="Swap"):
        estimate(monthly(1, 2), [swap])


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_the_most_per_day_is_a_real_amount(bad):
    with pytest.raises(OutOfRange, match="Most per day"):
        estimate(monthly(1, 2), most_per_day=bad)


rising = st.lists(st.tuples(st.integers(0, 120), st.integers(0, 5000)), min_size=2, max_size=9)


def running_meter(steps):
    day, value, readings = FIRST, 0.0, []
    for days, tenths in steps:
        day, value = day + timedelta(days=days), value + tenths / 10
        readings.append((day, value))
    return readings


@settings(max_examples=400)
@given(rising, st.lists(st.integers(0, 90), min_size=1, max_size=4), st.integers(1, 10_000))
def test_a_meter_that_stands_still_never_moves_the_forecast_backwards(steps, waits, togo):
    readings = running_meter(steps)
    usage = estimate(readings)
    assume(not usage.ignored)
    target = readings[-1][1] + togo
    for wait in waits:
        before = date_of_reaching(usage, target)
        readings = [*readings, (readings[-1][0] + timedelta(days=wait), readings[-1][1])]
        usage = estimate(readings)
        after = date_of_reaching(usage, target)
        if before.status == "ok" and after.status == "ok":
            assert after.on >= before.on
            assert after.earliest >= before.earliest
        elif before.status == "no_usage":
            assert after.status == "no_usage"


def test_a_burst_followed_by_standstill_does_not_pull_the_date_forward():
    """The plain estimator would: the new pairs are faster than the median of the old ones."""
    slow_then_fast = [
        (FIRST + timedelta(days=day), value) for day, value in ((0, 100), (10, 101), (20, 102), (30, 103), (40, 150))
    ]
    still = (FIRST + timedelta(days=41), 150)
    before, after = (date_of_reaching(estimate(many), 200) for many in (slow_then_fast, [*slow_then_fast, still]))
    assert theil_sen([((day - FIRST).days, value) for day, value in [*slow_then_fast, still]])[0] > 1
    assert after.on > before.on


@settings(max_examples=200)
@given(rising, st.floats(0, 20_000))
def test_a_forecast_lies_at_or_after_the_last_reading_and_within_its_interval(steps, target):
    usage = estimate(running_meter(steps))
    reach = date_of_reaching(usage, target)
    if reach.status == "ok":
        assert usage.last_on <= reach.earliest <= reach.on
        assert reach.latest is None or reach.latest >= reach.on
        days = (reach.on - usage.last_on).days
        assert usage.last_value + usage.rate * days >= target - 1e-6
        assert usage.last_value + usage.rate * (days - 1) < target + 1e-6


@settings(max_examples=100)
@given(st.lists(st.tuples(st.dates(date(2020, 1, 1), date(2026, 1, 1)), st.floats(0, 1e6)), max_size=12))
def test_any_readings_give_a_rate_or_a_reason_and_never_nan(readings):
    usage = estimate(readings, most_per_day=500)
    assert sorted(usage.kept + usage.ignored) == sorted(readings)
    if usage.rate is None:
        assert usage.status == "not_enough_data"
        assert usage.notes
    else:
        assert math.isfinite(usage.rate)
        assert usage.rate_low <= usage.rate <= usage.rate_high
        assert all(a[1] <= b[1] for a, b in zip(usage.kept, usage.kept[1:], strict=False))


def test_doubt_needs_a_jump_in_rate_and_in_total():
    assert estimate(monthly(1, 2, 3, 4, 5, 12)).last_value == 12  # total more than doubled, rate seven times
    assert estimate(monthly(10, 11, 12, 13, 14, 28)).last_value == 28  # rate fourteen times, total doubled
    assert estimate(monthly(10, 11, 12, 13, 14, 35)).last_value == 14  # both
    assert estimate(monthly(11, 12, 13, 14, 35)).last_value == 14
    assert estimate(monthly(12, 13, 14, 35)).last_value == 35  # too few to doubt it


def test_a_vehicle_that_was_parked_may_start_moving():
    assert estimate(monthly(100, 100, 100, 100, 100, 250)).last_value == 250


def test_a_meter_may_be_swapped_at_zero():
    assert estimate(monthly(0, 5), [Swap(FIRST, 0, 0)]).last_value == 5


def test_any_amount_above_zero_may_be_the_most_of_a_day():
    readings = monthly(100, 103, 106)
    assert estimate(readings, most_per_day=0.5).last_value == 106
    for most in (0, -1, math.inf, math.nan):
        with pytest.raises(OutOfRange):
            estimate(readings, most_per_day=most)
