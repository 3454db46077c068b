"""Which day a job fits on, against brute force; yearly days, against python-dateutil's rrule; moments, against
tests/reference/calendar.csv (IANA time zone database, PEP 495).
"""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from dateutil import rrule
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.bench_time import (
    LAST,
    BenchDay,
    Planned,
    first_fit,
    hours,
    in_force,
    minutes_between,
    moment,
    named,
    run_from,
    sentences,
    why_not,
    yearly,
)
from shop.calc.errors import OutOfRange
from tests.calc.reference import rows

WEDNESDAY = date(2026, 11, 25)
DAYS = st.lists(st.tuples(st.sampled_from([0, 0, 240, 420, 840]), st.integers(0, 900)), min_size=1, max_size=30)


def days(pairs):
    return [BenchDay(WEDNESDAY + timedelta(days=n), there, booked) for n, (there, booked) in enumerate(pairs)]


def by_trying(minutes, there):
    """The same rule the long way: from each day on, empty benches run until they have done it."""
    for start, day in enumerate(there):
        if not day.free or not day.minutes:
            continue
        empty, run = 0, []
        for one in there[start:]:
            if empty >= minutes:
                break
            empty += one.minutes
            run.append(one)
        if empty < minutes:
            continue
        later = [one for one in there if one.on > run[-1].on and one.minutes]
        if sum(1 for one in run if one.minutes) > 1:
            run += later[:1]
        if sum(one.free for one in run if one.minutes) >= minutes:
            return day.on
    return None


@given(DAYS, st.integers(1, 2500))
def test_the_first_day_is_the_first_that_brute_force_finds(pairs, minutes):
    there = days(pairs)
    plan = first_fit(minutes, there)
    assert (plan[0].on if plan else None) == by_trying(minutes, there)


@given(DAYS, st.integers(1, 2500))
def test_never_more_than_is_free_never_on_a_closed_day_and_the_whole_job(pairs, minutes):
    there = {day.on: day for day in days(pairs)}
    plan = first_fit(minutes, list(there.values()))
    if plan:
        assert sum(one.minutes for one in plan) == minutes
        assert all(0 < one.minutes <= there[one.on].free and there[one.on].minutes for one in plan)
        assert all(one.on < two.on for one, two in pairwise(plan))


@given(DAYS, st.lists(st.integers(1, 900), max_size=8))
def test_jobs_one_after_the_other_never_fill_a_day_beyond_what_it_holds(pairs, jobs):
    there = days([(minutes, 0) for minutes, _ in pairs])
    for job in jobs:
        taken = {one.on: one.minutes for one in first_fit(job, there) or []}
        there = [BenchDay(day.on, day.minutes, day.booked + taken.get(day.on, 0)) for day in there]
    assert all(day.booked <= day.minutes for day in there)


@given(DAYS, st.integers(1, 840), st.integers(1, 840))
def test_a_shorter_job_of_one_day_is_never_later_than_a_longer_one(pairs, one, other):
    there = [day for day in days(pairs) if day.minutes == 840]
    short, long = sorted((one, other))
    if plan := first_fit(long, there):
        assert first_fit(short, there)[0].on <= plan[0].on


def test_what_one_day_can_hold_is_not_torn_apart():
    there = days([(840, 750), (0, 0), (840, 0)])
    assert first_fit(300, there) == [Planned(date(2026, 11, 27), 300)]
    assert first_fit(90, there) == [Planned(WEDNESDAY, 90)]


def test_a_long_job_is_spread_over_working_days_and_skips_the_closed_one():
    plan = first_fit(1000, days([(840, 100), (0, 0), (840, 800), (840, 0)]))
    assert plan == [Planned(WEDNESDAY, 740), Planned(date(2026, 11, 27), 40), Planned(date(2026, 11, 28), 220)]
    assert first_fit(1700, days([(840, 100), (0, 0), (840, 800), (840, 0)])) is None


def test_of_today_only_what_is_left_counts():
    today = BenchDay(WEDNESDAY, 840, 100, left=60)
    assert today.free == 60
    assert first_fit(61, [today]) is None
    assert first_fit(60, [today]) == [Planned(WEDNESDAY, 60)]


@pytest.mark.parametrize("minutes", [0, -1, 1.5, True, float("nan")])
def test_a_job_takes_at_least_a_whole_minute(minutes):
    with pytest.raises(OutOfRange):
        first_fit(minutes, days([(840, 0)]))


def test_all_the_same_still_asks_for_a_day_with_bench_time():
    with pytest.raises(OutOfRange, match="a day with bench time"):
        run_from(60, days([(0, 0), (840, 0)]))
    with pytest.raises(OutOfRange, match="840 min"):
        run_from(900, days([(840, 0)]))
    assert run_from(900, days([(840, 840), (0, 0), (840, 0)])) == [
        Planned(WEDNESDAY, 840),
        Planned(date(2026, 11, 27), 60),
    ]


# --- yearly days


@given(st.integers(1, 12), st.integers(0, 6), st.sampled_from([1, 2, 3, 4, 5, LAST]), st.integers(1970, 2100))
def test_the_nth_weekday_of_a_month_is_the_one_of_dateutil(month, weekday, nth, year):
    """python-dateutil's rrule (RFC 5545, BYDAY with a number)."""
    rule = rrule.rrule(
        rrule.YEARLY,
        bymonth=month,
        byweekday=rrule.weekday(weekday)(nth),
        dtstart=datetime(year, 1, 1),
        until=datetime(year, 12, 31),
    )
    assert yearly(year, month, weekday=weekday, nth=nth) == next((one.date() for one in rule), None)


@given(st.integers(1, 12), st.integers(1, 31), st.integers(1970, 2100))
def test_a_day_of_a_month_is_the_one_of_dateutil(month, day, year):
    start, end = datetime(year, 1, 1), datetime(year, 12, 31)
    rule = rrule.rrule(rrule.YEARLY, bymonth=month, bymonthday=day, dtstart=start, until=end)
    assert yearly(year, month, day) == next((one.date() for one in rule), None)


def test_days_that_everybody_knows():
    """Thanksgiving of 2026 and the last Monday of May 2027: 5 U.S.C. 6103, from memory."""
    assert yearly(2026, 11, weekday=3, nth=4) == date(2026, 11, 26)
    assert yearly(2027, 5, weekday=0, nth=LAST) == date(2027, 5, 31)
    assert yearly(2027, 2, 29) is None
    assert yearly(2028, 2, 29) == date(2028, 2, 29)
    assert yearly(9999, 12, weekday=4, nth=LAST) == date(9999, 12, 31)


@pytest.mark.parametrize("given", [(13, 1), (0, 1), (1, 32), (1, None, 7, 1), (1, None, 0, 6), (1, None, 0, None)])
def test_a_yearly_day_that_no_year_has_is_refused(given):
    with pytest.raises(OutOfRange):
        yearly(2026, *given)


# --- hours, moments, words


def test_hours_hold_from_a_day_on_and_history_stays_true():
    told = [(WEDNESDAY, 240), (date(2026, 1, 1), 420)]
    assert in_force(told, date(2026, 11, 24)) == 420
    assert in_force(told, WEDNESDAY) == 240
    assert in_force(told, date(2025, 12, 31)) is None


@pytest.mark.parametrize("row", rows("calendar", "local_to_utc"))
def test_wall_time_becomes_the_moment_of_the_time_zone_database(row):
    wall = datetime.fromisoformat(row["input"]).replace(fold=int(row["fold"]))
    found = moment(wall.date(), wall.time(), ZoneInfo(row["zone"]))
    assert found.astimezone(UTC) == datetime.fromisoformat(row["expected"].replace("Z", "+00:00"))


def test_a_day_on_which_the_clocks_change_holds_as_much_as_any_other():
    assert minutes_between(time(8), time(17)) == 540
    assert minutes_between(time(1), time(4)) == 180  # also on 8 March 2026, when the clock shows no 02:30
    assert minutes_between(time(17), time(8)) == 0


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(0, "0 min"), (45, "45 min"), (60, "1 h"), (90, "1.5 h"), (840, "14 h"), (130, "2 h 10 min")],
)
def test_bench_time_as_it_is_said(minutes, words):
    assert hours(minutes) == words


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (BenchDay(WEDNESDAY, 840, 750), "1.5 h left of 14 h"),
        (BenchDay(WEDNESDAY, 240, 60), "3 h left of 4 h, and too little on the days after it"),
        (BenchDay(WEDNESDAY, 0, why_none="closed, Thanksgiving Day"), "closed, Thanksgiving Day"),
        (BenchDay(WEDNESDAY, 0), "nobody is at the benches"),
        (BenchDay(WEDNESDAY, 840, 840), "full"),
        (BenchDay(WEDNESDAY, 840, 900), "full, 1 h over its 14 h"),
        (BenchDay(WEDNESDAY, 840, 100, left=0), "the day is over"),
    ],
)
def test_why_not_sooner_is_said_in_words(day, words):
    assert why_not(day, 300) == words


def test_days_in_a_row_of_which_the_same_is_said_share_a_sentence():
    told = [
        (WEDNESDAY, "full"),
        (date(2026, 11, 26), "closed"),
        (date(2026, 11, 27), "full"),
        (date(2026, 11, 28), "full"),
    ]
    assert sentences(told, WEDNESDAY) == [
        "Wednesday 25: full.",
        "Thursday 26: closed.",
        "Friday 27 to Saturday 28: full.",
    ]
    assert named(date(2026, 12, 1), WEDNESDAY) == "Tuesday 1 December"
    assert named(date(2027, 1, 4), WEDNESDAY) == "Monday 4 January 2027"
