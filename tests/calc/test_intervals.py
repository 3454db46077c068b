"""Month arithmetic and whichever comes first."""

import json
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from shop.calc import intervals
from shop.calc.errors import OutOfRange
from shop.calc.intervals import add_months, first_due

from .reference import rows

SERVICED = date(2026, 3, 14)


@pytest.mark.parametrize("row", rows("calendar", "add_months", "add_months_in_steps"))
def test_months_are_added_with_month_ends(row):
    """Source: proleptic Gregorian calendar, month-end clipping; exact."""
    columns = list(row.values())
    day, steps = date.fromisoformat(columns[2]), json.loads(columns[3])
    for months in steps if isinstance(steps, list) else [steps]:
        day = add_months(day, months)
    assert day == date.fromisoformat(row["expected"])


@given(st.dates(date(1900, 1, 1), date(2200, 1, 1)), st.integers(-1200, 1200))
def test_adding_months_agrees_with_dateutil(day, months):
    """Source: dateutil.relativedelta, live; exact."""
    assert add_months(day, months) == day + relativedelta(months=months)


@pytest.mark.parametrize(("day", "months"), [
    (date(9999, 12, 1), 1), (date(1, 1, 1), -1), (SERVICED, 10**30), (SERVICED, 1.5), (SERVICED, True),
    (SERVICED, "12"), (SERVICED, None),
])  # fmt: skip
def test_months_that_leave_the_calendar_are_refused(day, months):
    with pytest.raises(OutOfRange, match="Months"):
        add_months(day, months)


def test_the_calendars_ends_are_reached():
    assert add_months(date(9999, 11, 30), 1) == date(9999, 12, 30)
    assert add_months(date(1, 2, 1), -1) == date(1, 1, 1)


@pytest.mark.parametrize(("distance", "hours", "on", "rule"), [
    (None, None, date(2027, 3, 14), "months"),
    (date(2026, 9, 1), None, date(2026, 9, 1), "distance"),
    (date(2028, 9, 1), None, date(2027, 3, 14), "months"),
    (date(2026, 9, 1), date(2026, 8, 31), date(2026, 8, 31), "hours"),
    (None, date(2026, 8, 31), date(2026, 8, 31), "hours"),
])  # fmt: skip
def test_whichever_comes_first_decides_and_is_named(distance, hours, on, rule):
    """12 months is common practice, no source."""
    due = first_due(SERVICED, 12, distance, hours)
    assert (due.on, due.rule) == (on, rule)
    assert due.by_rule["months"] == date(2027, 3, 14)


def test_two_rules_on_one_day_are_both_named():
    due = first_due(SERVICED, 12, date(2027, 3, 14))
    assert (due.rule, due.rules) == ("months", ("months", "distance"))


def test_without_months_the_meter_alone_decides():
    assert first_due(SERVICED, distance_due_on=date(2026, 5, 1)).rules == ("distance",)


def test_no_rule_no_date():
    assert first_due(SERVICED) is None


@pytest.mark.parametrize("months", [0, -12, 1.5, True, "12"])
def test_an_interval_is_a_month_or_more(months):
    with pytest.raises(OutOfRange, match="Months"):
        first_due(SERVICED, months)


@given(
    st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.integers(1, 60), st.integers(-400, 4000), st.integers(-400, 4000)
)
def test_the_due_day_is_never_later_than_any_rule(last, months, distance, hours):
    days = last + timedelta(days=distance), last + timedelta(days=hours)
    due = first_due(last, months, *days)
    assert due.on == min(add_months(last, months), *days) == due.by_rule[due.rule]


def test_a_day_is_written_without_zeros_in_front():
    assert intervals.day_in_words(date(2026, 10, 1)) == "1 October 2026"
    assert intervals.day_in_words(date(2026, 12, 31)) == "31 December 2026"
