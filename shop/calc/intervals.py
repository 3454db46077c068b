"""Service intervals: whichever comes first of months, distance and engine hours."""

import calendar
import math
from dataclasses import dataclass
from datetime import date

from shop.calc.errors import OutOfRange

RULES = ("months", "distance", "hours")


@dataclass(frozen=True, slots=True)
class Due:
    """When a service falls due and why: rules are all that fall on that day, rule the first of them.

    by_rule holds the day each rule gives by itself, for those that give one.
    """

    on: date
    rules: tuple[str, ...]
    by_rule: dict[str, date]

    @property
    def rule(self) -> str:
        return self.rules[0]


def day_in_words(day: date) -> str:
    """A day as people write it: 1 October 2026."""
    return f"{day.day} {day:%B} {day.year}"


def add_months(day: date, months: int) -> date:
    """The same day of the month, months later (or earlier); the month's last day where it has no such day.

    Steps do not add up (31 Jan + 1 + 1 month = 28 Mar, + 2 months = 31 Mar): count from the anchor date.
    Proleptic Gregorian calendar. Raises OutOfRange outside the years 1 to 9999 or unless months is a whole number.
    """
    if isinstance(months, bool) or not isinstance(months, int):
        raise OutOfRange("months", months, "a whole number of months")
    years, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if not 1 <= years <= 9999:
        raise OutOfRange("months", months, "a number of months that stays within the years 1 to 9999")
    return day.replace(year=years, month=month + 1, day=min(day.day, calendar.monthrange(years, month + 1)[1]))


def shortened(months: int, factor: float) -> int:
    """What a factor leaves of whole months: rounded down, but at least one month.

    floor(months * factor), and a product that a binary fraction puts just below a whole number counts as that number.
    Raises OutOfRange unless months is 1 or more and 0 < factor <= 1. Source: rule of the shop.
    """
    if isinstance(months, bool) or not isinstance(months, int) or months < 1:
        raise OutOfRange("months", months, "a whole number of months, 1 or more")
    if not 0 < factor <= 1:
        raise OutOfRange("factor", factor, "more than 0 and at most 1")
    return max(1, math.floor(round(months * factor, 9)))


def first_due(
    last_on: date,
    months: int | None = None,
    distance_due_on: date | None = None,
    hours_due_on: date | None = None,
) -> Due | None:
    """Which of the rules falls due first, counted from the last service; None when no rule gives a day.

    distance_due_on and hours_due_on come from usage.date_of_reaching. Raises OutOfRange unless months is 1 or more.
    """
    if months is not None and (isinstance(months, bool) or not isinstance(months, int) or months < 1):
        raise OutOfRange("months", months, "a whole number of months, 1 or more")
    by_months = None if months is None else add_months(last_on, months)
    days = dict(zip(RULES, (by_months, distance_due_on, hours_due_on), strict=True))
    days = {rule: day for rule, day in days.items() if day is not None}
    if not days:
        return None
    on = min(days.values())
    return Due(on, tuple(rule for rule, day in days.items() if day == on), days)
