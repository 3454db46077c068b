"""The shop's and its suppliers' working days: one rule, asked wherever a lead time is turned into a day."""

from collections.abc import Collection
from datetime import date, timedelta

SATURDAY = 5
WORKING_DAYS_A_WEEK = 5
CALENDAR_DAYS_A_WORKING_DAY = 7 / WORKING_DAYS_A_WEEK


def is_working_day(day: date) -> bool:
    """Monday to Friday."""
    return day.weekday() < SATURDAY


def add_working_days(day: date, days: int) -> date:
    """The working day so many working days after a day: 1 is the next one."""
    while days > 0:
        day += timedelta(days=1)
        days -= is_working_day(day)
    return day


def next_order_day(day: date, weekdays: Collection[int] = ()) -> date:
    """The first working day from a day on that is one of the weekdays (0 is Monday); none named: any working day.

    Only the weekend is named: the first working day, since nothing would ever be ordered otherwise.
    """
    allowed = [one for one in weekdays if one < SATURDAY] or range(SATURDAY)
    while not (is_working_day(day) and day.weekday() in allowed):
        day += timedelta(days=1)
    return day


def delivery_day(ordered: date, lead_days: int, weekdays: Collection[int] = ()) -> date:
    """When a delivery comes that is ordered on a day: the supplier's next order day, and its lead time from there."""
    return add_working_days(next_order_day(ordered, weekdays), lead_days)


def day_name(day: date) -> str:
    """A day not far away, as people say it: Thursday 3 December."""
    return f"{day:%A} {day.day} {day:%B}"


def working_days_between(first: date, last: date) -> int:
    """Working days after first, up to and with last; 0 when last is not later."""
    return sum(is_working_day(first + timedelta(days=n)) for n in range(1, (last - first).days + 1))
