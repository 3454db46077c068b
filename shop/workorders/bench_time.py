"""Which bench days an order gets: the first that fit, why not sooner, and what can be promised."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from shop.calc.bench_time import BenchDay, Planned, first_fit, hours, named, sentences, why_not
from shop.core.clock import local_day
from shop.dampers.models import Damper
from shop.specs.labour import labour_for
from shop.staff.bench_calendar import BenchCalendar
from shop.workorders.kit import needs
from shop.workorders.models import BenchPlan, DamperJob, WorkOrder
from shop.workorders.selectors import sheets_of
from shop.workorders.waiting import ShortPart, short_for, short_parts_of

HORIZON = timedelta(days=26 * 7)
DAYS_TOLD = 10  # of those that a job does not fit on; a customer on the telephone wants no more


@dataclass(frozen=True)
class Bench:
    """The bench days of a span as the calendar and the book say them, seen at a moment."""

    calendar: BenchCalendar
    days: list[BenchDay]
    today: date
    plans: list[BenchPlan]

    @classmethod
    def of(cls, first: date, last: date, now: datetime, without: WorkOrder | None = None) -> "Bench":
        """In five queries for any span. without leaves the minutes of an order out that is planned anew."""
        today, calendar, booked = local_day(now), BenchCalendar(min(first, local_day(now))), defaultdict(int)
        plans = BenchPlan.objects.filter(on__range=(first, last)).order_by("on", "order")
        if without is not None and without.pk:
            plans = plans.exclude(order=without)
        for row in plans:
            booked[row.on] += row.minutes
        return cls(calendar, [_day(calendar, on, booked, today, now) for on in _span(first, last)], today, list(plans))

    def from_day(self, on: date) -> list[BenchDay]:
        return [day for day in self.days if day.on >= on]

    def end_of(self, plan: list[Planned]) -> datetime | None:
        """The moment at which the last planned day's bench time ends."""
        return self.calendar.shift(plan[-1].on).end() if plan else None


def _span(first: date, last: date) -> Iterable[date]:
    return (first + timedelta(days=n) for n in range((last - first).days + 1))


def _day(calendar: BenchCalendar, on: date, booked: dict[date, int], today: date, now: datetime) -> BenchDay:
    shift = calendar.shift(on)
    left = None if on > today else shift.minutes_left(now) if on == today else 0
    return BenchDay(on, shift.minutes, booked.get(on, 0), left, shift.why_none)


@dataclass(frozen=True)
class Proposal:
    """Where an order would go on the benches, and in whole sentences why not sooner."""

    minutes: int
    minutes_words: str
    set_up: bool  # False: the shop has no bench hours yet, so nothing is proposed and nothing refused
    plan: list[Planned] = field(default_factory=list)
    promised_for: datetime | None = None
    why: list[str] = field(default_factory=list)
    short: list[ShortPart] = field(default_factory=list)
    today: date | None = None

    @property
    def first_day(self) -> date | None:
        return self.plan[0].on if self.plan else None

    @property
    def parts_on(self) -> date | None:
        """The day on which the last of the short parts is expected, as far as that is known."""
        return max((one.day for one in self.short if one.day), default=None)

    @property
    def parts_unknown(self) -> list[ShortPart]:
        return [one for one in self.short if one.day is None]

    @property
    def parts_late(self) -> list[ShortPart]:
        return [one for one in self.short if one.late]

    @property
    def days_in_words(self) -> str:
        """ "5.5 h on Monday 30", or each day of several."""
        return plan_in_words(self.plan, self.today)


def plan_in_words(plan: Iterable, today: date) -> str:
    """Planned days (on, minutes) in words: "14 h on Friday 27 and 2 h on Monday 30"."""
    told = [f"{hours(one.minutes)} on {named(one.on, today)}" for one in plan]
    return " and ".join(filter(None, [", ".join(told[:-1]), *told[-1:]]))


def propose(
    *,
    dampers: list[Damper],
    arrives_on: date,
    minutes: int | None = None,
    order: WorkOrder | None = None,
    now: datetime,
) -> Proposal:
    """The first bench days for a rebuild of these dampers from the day of arrival on; writes nothing.

    With an order it is planned anew: its own minutes count as free and its own parts as held.
    """
    labour = labour_for([damper.model for damper in dampers])
    words = labour.words if minutes is None else "set by hand"
    minutes = labour.minutes if minutes is None else minutes
    today = local_day(now)
    if order is None:
        short = short_for(_needs_of(dampers), today)
    else:
        short = short_parts_of([order], today).get(order.pk, [])
    return propose_for(minutes, words, short, arrives_on, now, order)


def propose_for(
    minutes: int, words: str, short: list[ShortPart], arrives_on: date, now: datetime, order: WorkOrder | None = None
) -> Proposal:
    today = local_day(now)
    begin = max(arrives_on, today)
    bench = Bench.of(begin, begin + HORIZON, now, without=order)
    if not bench.calendar.set_up or minutes < 1:
        return Proposal(minutes, words, bench.calendar.set_up, short=short, today=today)
    parts_on = max((one.day for one in short if one.day), default=begin)
    plan = first_fit(minutes, bench.from_day(parts_on)) or []
    why = _why_not_sooner(bench, minutes, plan, parts_on, short)
    return Proposal(minutes, words, True, plan, bench.end_of(plan), why, short, today)


def _needs_of(dampers: list[Damper]) -> list:
    """What the bags of these dampers would ask for, as if they were booked."""
    jobs = [DamperJob(pk=-n, order_id=0, index=n, damper=damper) for n, damper in enumerate(dampers, 1)]
    return [need for job, sheet in sheets_of(jobs).items() for need in needs(job, sheet)]


def _why_not_sooner(bench: Bench, minutes: int, plan: list[Planned], parts_on: date, short: list[ShortPart]):
    passed = [day for day in bench.days if not plan or day.on < plan[0].on]
    told = []
    for place, day in enumerate(passed):
        fit = first_fit(minutes, bench.days[place:]) if day.on < parts_on else None
        if not (fit and fit[0].on == day.on):  # else only the parts stand against it, and they are told below
            told.append((day.on, why_not(day, minutes)))
    said = sentences(told, bench.today)
    if len(said) > DAYS_TOLD:
        until = f"until {named(plan[0].on, bench.today)}" if plan else f"within {HORIZON.days // 7} weeks"
        said = [*said[:DAYS_TOLD], f"The days after that {until}: no room for {hours(minutes)} either."]
    for one in short:
        if one.day and one.day > bench.days[0].on:
            what = one.in_words(bench.today)
            if one.late:  # whom to ask is told beside it
                what = f"{one.name} ({one.number}), late at its supplier: not before {named(one.day, bench.today)}"
            said.append(f"{what[:1].upper()}{what[1:]}.")
    return said
