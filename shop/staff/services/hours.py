"""The working calendar: hours of the shop and of each person from a day on, absences, closed days.

What lies behind stays as it was: hours begin today or later, and what has begun is ended, not taken away.
"""

from datetime import date, datetime, time, timedelta

from django.db import transaction

from shop.calc.bench_time import WEEKDAYS, hours, yearly
from shop.calc.errors import CalcError
from shop.calc.intervals import day_in_words
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused
from shop.core.rows import one_line
from shop.staff.models import Absence, BenchHours, ClosedDay, User, WorkingHours
from shop.staff.services.people import note

FARTHEST = 366 * 5  # a calendar day farther away than this is a slip of the finger


@transaction.atomic
def set_working_hours(
    *, from_day: date, week: list[tuple[time, time] | None], by: User | str, at: datetime
) -> WorkingHours:
    """Say from when to when the shop works on the seven weekdays from a day on; None: it does not on that day."""
    _check_from(from_day, at, "from_day")
    rows = []
    for weekday, span in enumerate(week):
        opens, closes = span or (None, None)
        if span and closes <= opens:
            words = f"{WEEKDAYS[weekday]} cannot end at {closes:%H:%M} when it begins at {opens:%H:%M}."
            raise refused(f"closes_{weekday}", words, "in_order")
        rows.append(WorkingHours(from_day=from_day, weekday=weekday, opens=opens, closes=closes))
    WorkingHours.objects.filter(from_day=from_day).delete()
    rows = WorkingHours.objects.bulk_create(rows)
    told = ", ".join(f"{WEEKDAYS[n][:3]} {_span(one)}" for n, one in enumerate(week) if one)
    what = f"the shop works from {day_in_words(from_day)} on: {told or 'on no weekday'}"
    note(who=by, kind="calendar", key="shop", what=what, at=at)
    return rows[0]


def _span(span: tuple[time, time]) -> str:
    return f"{span[0]:%H:%M} to {span[1]:%H:%M}"


@transaction.atomic
def set_bench_hours(*, person: User, from_day: date, week: list[int], by: User | str, at: datetime) -> BenchHours:
    """Say how many minutes a person is at the benches on the seven weekdays, from a day on."""
    _check_from(from_day, at, "from_day")
    person = User.objects.select_for_update(no_key=True).get(pk=person.pk)
    if not person.is_active and any(week):
        raise Conflict(f"{person} does not work here any more. Take them back first.", code="let_go")
    rows = [
        BenchHours(person=person, from_day=from_day, weekday=weekday, minutes=minutes)
        for weekday, minutes in enumerate(week)
    ]
    for row in rows:
        row.full_clean(validate_unique=False, validate_constraints=False)
        if row.minutes > 24 * 60:
            raise refused(f"minutes_{row.weekday}", f"{row.get_weekday_display()} has 24 hours.", "within_a_day")
    BenchHours.objects.filter(person=person, from_day=from_day).delete()
    rows = BenchHours.objects.bulk_create(rows)
    told = ", ".join(f"{WEEKDAYS[n][:3]} {hours(minutes)}" for n, minutes in enumerate(week) if minutes)
    what = f"at the benches from {day_in_words(from_day)} on: {told or 'never'}"
    note(who=by, kind="user", key=person.pk, what=what, at=at)
    return rows[0]


@transaction.atomic
def add_absence(
    *, person: User, first_day: date, last_day: date, minutes_left: int = 0, why: str, by: User | str, at: datetime
) -> Absence:
    """A person is not at the benches on these days, or only for so many minutes of each."""
    _check_far(last_day, at, "last_day")
    if last_day < local_day(at):
        raise refused("last_day", f"{day_in_words(last_day)} is past. Enter leave that is still to come.", "past")
    absence = Absence(
        person=person, first_day=first_day, last_day=last_day, minutes_left=minutes_left, why=one_line(why)
    )
    _check_order(first_day, last_day)
    absence.full_clean()
    absence.save()
    left = f", {hours(minutes_left)} a day left" if minutes_left else ""
    note(who=by, kind="user", key=person.pk, what=f"absent {absence.span()}: {absence.why}{left}", at=at)
    return absence


@transaction.atomic
def end_absence(*, absence: Absence, by: User | str, at: datetime) -> None:
    """The person is back from today on, or never leaves. Twice is as good as once."""
    if _end(Absence, absence, at):
        note(who=by, kind="user", key=absence.person_id, what=f"not absent any more: {absence.why}", at=at)


@transaction.atomic
def add_closed_day(
    *,
    name: str,
    first_day: date,
    last_day: date | None = None,
    month: int | None = None,
    day: int | None = None,
    weekday: int | None = None,
    nth: int | None = None,
    by: User | str,
    at: datetime,
) -> ClosedDay:
    """The shop is closed: from first_day to last_day, or yearly from first_day on by month and day, or nth weekday."""
    if month is None:
        if last_day is None:
            last_day = first_day
        _check_far(last_day, at, "last_day")
        _check_order(first_day, last_day)
        if last_day < local_day(at):
            raise refused("last_day", f"{day_in_words(last_day)} is past. Give today or a later day.", "past")
    else:
        _check_from(first_day, at, "first_day")
        try:
            some_day = day is None or any(yearly(year, month, day) for year in (2027, 2028))
        except CalcError as error:
            raise refused("day", str(error), "no_such_day") from error
        if not some_day:
            raise refused("day", "No year has such a day. Give a day that the month has.", "no_such_day")
    closed = ClosedDay(
        name=one_line(name), first_day=first_day, last_day=last_day, month=month, day=day, weekday=weekday, nth=nth
    )
    closed.full_clean()
    closed.save()
    note(who=by, kind="calendar", key="closed", what=f"closed, {closed}", at=at)
    return closed


@transaction.atomic
def end_closed_day(*, closed_day: ClosedDay, by: User | str, at: datetime) -> None:
    """The shop works on these days after all, from today on. Twice is as good as once."""
    if _end(ClosedDay, closed_day, at):
        note(who=by, kind="calendar", key="closed", what=f"not closed any more, {closed_day}", at=at)


def _end(table, row, at: datetime) -> bool:
    """Take a row away that has not begun; let one that has end yesterday. Whether there was anything to do."""
    row = table.objects.select_for_update(of=("self",)).filter(pk=row.pk).first()
    today = local_day(at)
    if row is None or (row.last_day is not None and row.last_day < today):
        return False
    if row.first_day >= today:
        row.delete()
    else:
        row.last_day = today - timedelta(days=1)
        row.save(update_fields=["last_day"])
    return True


def _check_from(day: date, at: datetime, field: str) -> None:
    if day < local_day(at):
        words = f"{day_in_words(day)} is past, and what was worked then stays as it is. Give today or a later day."
        raise refused(field, words, "past")
    _check_far(day, at, field)


def _check_far(day: date, at: datetime, field: str) -> None:
    if (day - local_day(at)).days > FARTHEST:
        raise refused(field, f"{day_in_words(day)} is more than five years away. Give a nearer day.", "far")


def _check_order(first_day: date, last_day: date) -> None:
    if last_day < first_day:
        words = f"The last day, {day_in_words(last_day)}, lies before the first, {day_in_words(first_day)}."
        raise refused("last_day", words, "in_order")
