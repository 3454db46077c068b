"""Bench time: what a day holds, which day a job fits on, and in words why not sooner.

Whole minutes throughout. Hours are hours on the wall, so a day on which the clocks change holds as much as any other;
only a promise is a moment, and moment() turns wall time into one.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from shop.calc.errors import OutOfRange

MINUTES_OF_A_DAY = 24 * 60
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
LAST = -1  # the last such weekday of a month


@dataclass(frozen=True)
class BenchDay:
    """A day's bench minutes: there are, booked, and of these still to be had; why there are none, in a few words."""

    on: date
    minutes: int
    booked: int = 0
    left: int | None = None  # of today some time is gone already; None: whatever is not booked
    why_none: str = ""

    @property
    def free(self) -> int:
        unbooked = max(0, self.minutes - self.booked)
        return unbooked if self.left is None else min(unbooked, max(0, self.left))

    @property
    def over(self) -> int:
        """Minutes that are booked beyond what there is."""
        return max(0, self.booked - self.minutes)


@dataclass(frozen=True)
class Planned:
    """So many minutes of a job on a day."""

    on: date
    minutes: int


def first_fit(minutes: int, days: Sequence[BenchDay]) -> list[Planned] | None:
    """The days of a job of so many minutes that begins on the first day on which it fits; None: on none of these.

    days are in order and without gaps. A job begins on a day and runs on over working days until benches that stood
    empty would have done it, a job of several days one day longer; it fits where so many minutes are free within that
    run, and then takes what is free, day by day. So what a whole day can hold goes onto one day, and a long job is not
    torn into crumbs over weeks.
    Raises OutOfRange unless minutes is at least 1. Source: the shop's own rule; nothing outside demands it.
    """
    check_minutes(minutes)
    working = [day for day in days if day.minutes]
    held, free = [0], [0]
    for day in working:
        held.append(held[-1] + day.minutes)
        free.append(free[-1] + day.free)
    for start, day in enumerate(working):
        end = bisect_left(held, held[start] + minutes)  # empty benches do it in working[start:end]
        if end == len(held):
            return None
        if end - start > 1:
            end = min(end + 1, len(working))
        if day.free and free[end] - free[start] >= minutes:
            return _take(minutes, [(one.on, one.free) for one in working[start:end]])
    return None


def run_from(minutes: int, days: Sequence[BenchDay]) -> list[Planned]:
    """The days of a job that is put onto the first of these days all the same, as if the benches stood empty.

    Raises OutOfRange unless the first day has bench time and the days hold the job.
    """
    check_minutes(minutes)
    if not days or not days[0].minutes:
        raise OutOfRange("first day", str(days[0].on) if days else "none", "a day with bench time")
    held = sum(day.minutes for day in days)
    if held < minutes:
        raise OutOfRange("minutes", str(minutes), f"at most the {held} min that these days hold")
    return _take(minutes, [(day.on, day.minutes) for day in days])


def _take(minutes: int, there: Iterable[tuple[date, int]]) -> list[Planned]:
    plan = []
    for on, free in there:
        if taken := min(minutes, free):
            plan.append(Planned(on, taken))
            minutes -= taken
    return plan


def check_minutes(minutes: int) -> None:
    """Raise OutOfRange unless it is a whole number of at least one minute."""
    if isinstance(minutes, bool) or not isinstance(minutes, int) or minutes < 1:
        raise OutOfRange("minutes", str(minutes), "a whole number, at least 1")


def yearly(year: int, month: int, day: int | None = None, weekday: int | None = None, nth: int | None = None):
    """The date of a yearly day: a day of a month, or its nth weekday (0 is Monday; nth 1 to 5, or LAST).

    None in a year that has no such day: 29 February, a fifth Thursday. Proleptic Gregorian calendar.
    Raises OutOfRange for a month, day, weekday or nth that no year has.
    """
    _check("month", month, 1, 12)
    if day is not None:
        _check("day", day, 1, 31)
        try:
            return date(year, month, day)
        except ValueError:
            return None
    _check("weekday", weekday, 0, 6)
    if nth == LAST:
        end = date(year + month // 12, month % 12 + 1, 1) - timedelta(days=1) if year < 9999 or month < 12 else None
        end = end or date(9999, 12, 31)
        return end - timedelta(days=(end.weekday() - weekday) % 7)
    _check("nth", nth, 1, 5)
    first = date(year, month, 1)
    found = first.day + (weekday - first.weekday()) % 7 + 7 * (nth - 1)
    try:
        return date(year, month, found)
    except ValueError:
        return None


def _check(field: str, value: int | None, low: int, high: int) -> None:
    if value is None or not low <= value <= high:
        raise OutOfRange(field, str(value), f"{low} to {high}")


def in_force(rows: Iterable[tuple[date, object]], on: date):
    """Of rows (from day, value) the value that holds on a day: the latest begun one; None when none has begun."""
    return max((row for row in rows if row[0] <= on), key=lambda row: row[0], default=(None, None))[1]


def minutes_between(opens: time, closes: time) -> int:
    """Minutes on the wall from one time of a day to a later one; 0 when it is not later."""
    return max(0, (closes.hour - opens.hour) * 60 + closes.minute - opens.minute)


def moment(on: date, at: time, zone: ZoneInfo) -> datetime:
    """The moment at which the shop's clock shows a time; PEP 495's first one when it comes twice, and for a time that
    is left out the one that the hour before the change would have given.
    """
    return datetime.combine(on, at, tzinfo=zone)


def hours(minutes: int) -> str:
    """Bench time as it is said: "45 min", "1.5 h", "14 h", "2 h 10 min"."""
    if minutes < 60:
        return f"{minutes} min"
    whole, rest = divmod(minutes, 60)
    if rest == 0:
        return f"{whole} h"
    return f"{whole}.5 h" if rest == 30 else f"{whole} h {rest} min"


def named(on: date, today: date | None = None) -> str:
    """A day as it is said on the telephone: "Friday 27"; with the month when it is another one than today's."""
    words = f"{WEEKDAYS[on.weekday()]} {on.day}"
    if today is None or (on.year, on.month) != (today.year, today.month):
        words += f" {on:%B}"
    if today is not None and on.year != today.year:
        words += f" {on.year}"
    return words


def why_not(day: BenchDay, minutes: int) -> str:
    """Why a job of so many minutes does not begin on a day: "1.5 h left of 14 h", "full", "closed, Thanksgiving"."""
    if not day.minutes:
        return day.why_none or "nobody is at the benches"
    if day.over:
        return f"full, {hours(day.over)} over its {hours(day.minutes)}"
    if not day.free:
        return "full" if day.booked >= day.minutes else "the day is over"
    words = f"{hours(day.free)} left of {hours(day.minutes)}"
    return words if minutes > day.free and minutes <= day.minutes else f"{words}, and too little on the days after it"


def sentences(days: Iterable[tuple[date, str]], today: date) -> list[str]:
    """Days with something to say of each, as sentences; days in a row of which the same is said share one."""
    runs = []
    for on, words in days:
        if runs and runs[-1][2] == words and runs[-1][1] + timedelta(days=1) == on:
            runs[-1][1] = on
        else:
            runs.append([on, on, words])
    return [
        f"{named(first, today)}{'' if first == last else f' to {named(last, today)}'}: {words}."
        for first, last, words in runs
    ]
