"""What the working calendar says of each day: bench minutes there are, from when to when, and why there are none."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time

from django.db.models import Q
from django.utils import timezone

from shop.calc.bench_time import in_force, minutes_between, moment
from shop.staff.models import Absence, BenchHours, ClosedDay, WorkingHours


@dataclass(frozen=True)
class AtBench:
    """One person on one day; words say why it is less than usual."""

    person_id: int
    name: str
    minutes: int
    words: str = ""


@dataclass(frozen=True)
class Shift:
    """One day of the shop."""

    on: date
    opens: time | None
    closes: time | None
    people: tuple[AtBench, ...]
    why_none: str

    @property
    def minutes(self) -> int:
        return 0 if self.why_none else sum(one.minutes for one in self.people)

    def minutes_left(self, now: datetime) -> int:
        """Of today: nobody gives more minutes than are left until the shop closes."""
        local = timezone.localtime(now, timezone.get_default_timezone())
        if self.why_none or self.closes is None:
            return 0
        till_close = minutes_between(max(local.time().replace(second=0, microsecond=0), self.opens), self.closes)
        return sum(min(one.minutes, till_close) for one in self.people)

    def end(self) -> datetime | None:
        """The moment at which bench time ends."""
        return moment(self.on, self.closes, timezone.get_default_timezone()) if self.closes else None


class BenchCalendar:
    """The calendar from a day on, read in four queries."""

    def __init__(self, first: date):
        self._week, self._people, self._names = defaultdict(list), defaultdict(lambda: defaultdict(list)), {}
        for row in WorkingHours.objects.all():
            self._week[row.weekday].append(row)
        for row in BenchHours.objects.select_related("person"):
            self._people[row.person_id][row.weekday].append(row)
            self._names[row.person_id] = str(row.person)
        self._absences = defaultdict(list)
        for row in Absence.objects.filter(last_day__gte=first):
            self._absences[row.person_id].append(row)
        self._closed = list(ClosedDay.objects.filter(Q(last_day=None) | Q(last_day__gte=first)))

    @property
    def set_up(self) -> bool:
        """Whether the shop has entered its hours and somebody's; before, nothing can be reckoned or refused."""
        return bool(self._week) and bool(self._people)

    def usual(self, weekday: int, on: date) -> WorkingHours | None:
        """The shop's hours on a weekday as they hold on a day."""
        return _in_force(self._week[weekday], on)

    def usual_minutes(self, person: int, weekday: int, on: date) -> int:
        """A person's minutes at the benches on a weekday as they hold on a day, without absences."""
        row = _in_force(self._people[person][weekday], on) if person in self._people else None
        return row.minutes if row else 0

    def shift(self, on: date) -> Shift:
        hours = self.usual(on.weekday(), on)
        if closed := next((one for one in self._closed if one.holds(on)), None):
            return Shift(on, None, None, (), f"closed, {closed.name}")
        if hours is None or hours.opens is None:
            return Shift(on, None, None, (), "not a working day")
        people = tuple(filter(None, (self._person(key, on, hours) for key in self._people)))
        return Shift(on, hours.opens, hours.closes, people, "" if any(p.minutes for p in people) else _nobody(people))

    def _person(self, key: int, on: date, hours: WorkingHours) -> AtBench | None:
        row = _in_force(self._people[key][on.weekday()], on)
        if row is None or not row.minutes:
            return None
        minutes, words = min(row.minutes, minutes_between(hours.opens, hours.closes)), ""
        for absence in self._absences[key]:
            if absence.first_day <= on <= absence.last_day and absence.minutes_left < minutes:
                minutes, words = absence.minutes_left, absence.why
        return AtBench(key, self._names[key], minutes, words)


def _nobody(people: tuple[AtBench, ...]) -> str:
    away = ", ".join(f"{one.name}: {one.words}" for one in people)
    return f"nobody is at the benches{f' ({away})' if away else ''}"


def _in_force(rows: list, on: date):
    return in_force(((row.from_day, row) for row in rows), on)
