"""The answer for the telephone: what state an order is in, what it waits for, and when it will be ready."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Sum
from django.utils import timezone

from shop.calc.bench_time import hours, named
from shop.core.clock import local_day
from shop.staff.bench_calendar import BenchCalendar
from shop.workorders.agreed import ASKED
from shop.workorders.models import BenchPlan, DamperJob, JobStatus, OrderStatus, WorkOrder
from shop.workorders.selectors import next_step
from shop.workorders.waiting import Wait, WaitKind, waits_of

RUNNING = (OrderStatus.BOOKED, OrderStatus.ON_BENCH)
LOOK_AHEAD = timedelta(days=62)  # for the working day after which parts come


@dataclass(frozen=True)
class Answer:
    """Whole sentences each; ready is empty when no bench days are planned or the order is done."""

    state: str
    waits: list[Wait]
    ready: str = ""
    when: datetime | None = None  # None: nobody can say
    late: bool = False  # its promise is past, or will be

    @property
    def waits_in_words(self) -> str:
        told = [one.words for one in self.waits if one.kind != WaitKind.COLLECT]
        return f"Waits for {'; '.join(told)}." if told else ""

    @property
    def words(self) -> str:
        """The whole answer in one line."""
        return " ".join(filter(None, (self.state, self.waits_in_words, self.ready)))


def for_answers(orders):
    """A queryset of orders with all that their answers tell, in a constant number of queries."""
    return orders.with_names().prefetch_related(
        "pick_list__lines__reservation",
        "bench_plan",
        ASKED,
        "jobs__damper__model",
        "jobs__damper__vehicle__model",
        "jobs__procedure__steps",
        "jobs__readings__by",
        "jobs__steps_done__by",
        "jobs__second_checks__by",
        "jobs__spec_changes",
    )


def answer(order: WorkOrder, now: datetime) -> Answer:
    """The telephone answer of one order."""
    return answers([order], now)[order.pk]


def answers(orders: Iterable[WorkOrder], now: datetime, calendar: BenchCalendar | None = None) -> dict[int, Answer]:
    """The telephone answers of many orders that for_answers has read, by their keys."""
    orders, today = list(orders), local_day(now)
    waits = waits_of(orders, today)
    if calendar is None and any(order.status in RUNNING and order.bench_plan.all() for order in orders):
        calendar = BenchCalendar(today)
    booked = _booked_from(today) if calendar else {}
    return {order.pk: _answer(order, waits[order.pk], calendar, booked, now) for order in orders}


def _booked_from(today: date) -> dict[date, int]:
    """Minutes that are planned on each day from today on, less those of orders that were booked beyond the hours."""
    rows = BenchPlan.objects.filter(on__gte=today, order__bench_over_why=None).order_by().values_list("on")
    return dict(rows.annotate(Sum("minutes")))


def _answer(
    order: WorkOrder, waits: list[Wait], calendar: BenchCalendar | None, booked: dict[date, int], now: datetime
) -> Answer:
    state, rows = state_in_words(order), list(order.bench_plan.all())
    late = order.promised_for < now and order.status in RUNNING
    if order.status not in RUNNING or not rows:
        return Answer(state, waits, late=late)
    if order.status == OrderStatus.ON_BENCH and _all_closed(order):
        return Answer(state, waits, when=now, late=late)
    today, promised = local_day(now), f"promised {_moment(order.promised_for, local_day(now))}"
    if any(wait.kind == WaitKind.ANSWER for wait in waits):
        return Answer(state, waits, f"When it will be ready hangs on the customer's answer; {promised}.", late=late)
    parts = [wait for wait in waits if wait.kind == WaitKind.PARTS]
    if any(wait.until is None for wait in parts):
        return Answer(state, waits, f"When it will be ready hangs on the parts; {promised}.", late=late)
    if order.bench_over_why is None and (over := _overbooked(rows, calendar, booked, today)):
        return Answer(state, waits, f"{over}, plan it anew; {promised}.", late=True)
    last = max(row.on for row in rows)
    parts_on = max((wait.until for wait in parts), default=last)
    when = _end_from(calendar, max(last, parts_on))
    if when is None or when < now:
        return Answer(state, waits, f"Its bench days are over, plan new ones; {promised}.", late=late)
    if when <= order.promised_for:
        said = f"Ready {_moment(order.promised_for, today, 'by')}, as promised."
        return Answer(state, waits, said, when, late)
    said = f"Ready {_moment(when, today, 'by')}, {_later(when, order.promised_for)} later than promised."
    return Answer(state, waits, said, when, True)


def _overbooked(rows: list[BenchPlan], calendar: BenchCalendar, booked: dict[date, int], today: date) -> str:
    """A day of the plan that lost bench hours since it was planned, in words; empty when there is none."""
    for row in rows:
        there = calendar.shift(row.on).minutes
        if row.on >= today and booked[row.on] > there:
            has = hours(there) if there else "no bench hours any more"
            return f"{named(row.on, today)} has {has}, and {hours(booked[row.on])} are planned on it"
    return ""


def _all_closed(order: WorkOrder) -> bool:
    return all(job.status == JobStatus.CLOSED for job in kept(order))


def _end_from(calendar: BenchCalendar, on: date) -> datetime | None:
    """The end of bench time on a day, or on the first working day after it."""
    for n in range(LOOK_AHEAD.days):
        shift = calendar.shift(on + timedelta(days=n))
        if shift.minutes:
            return shift.end()
    return None


def _later(when: datetime, promised: datetime) -> str:
    days = (local_day(when) - local_day(promised)).days
    if days:
        return "a day" if days == 1 else f"{days} days"
    minutes = int((when - promised).total_seconds() // 60)
    return f"{minutes // 60} h" if minutes >= 60 else f"{minutes} min"


def _moment(at: datetime, today: date, between: str = "") -> str:
    local = timezone.localtime(at, timezone.get_default_timezone())
    day = "today" if local.date() == today else named(local.date(), today)
    return " ".join(filter(None, (day, between, f"{local:%H:%M}")))


def kept(order: WorkOrder) -> list[DamperJob]:
    return [job for job in order.jobs.all() if job.status != JobStatus.CALLED_OFF]


def state_in_words(order: WorkOrder) -> str:
    """How far an order is, as the desk says it on the telephone."""
    jobs = kept(order)
    count = f"{len(jobs)} damper{'s' if len(jobs) != 1 else ''}"
    if order.status == OrderStatus.BOOKED:
        return f"Rebuild of {count}. {_parts_in_words(order)}".rstrip()
    unfinished = unfinished_in_words(jobs)
    if order.status == OrderStatus.READY:
        return f"{unfinished or f'{count} done.'} Waits for the customer."
    if order.status == OrderStatus.HANDED_BACK:
        return f"{count} handed back{f': {unfinished}' if unfinished else '.'}"
    if order.status == OrderStatus.CALLED_OFF:
        return f"Called off: {order.called_off_why}"
    closed = sum(job.status == JobStatus.CLOSED for job in jobs)
    if closed == len(jobs):
        return f"All {count} closed. Waits for the used parts to be booked."
    first = next(job for job in jobs if job.status != JobStatus.CLOSED)
    state = next_step(first)
    where = first.damper.where()
    what = f"{state.step.title}: {state.words}" if state else "waits to be closed"
    return f"{closed} of {count} closed. {where[:1].upper()}{where[1:]}: {what}."


def unfinished_in_words(jobs: list[DamperJob]) -> str:
    """What was closed although something lacks, with the manager's reasons; empty when nothing was."""
    overridden = [job for job in jobs if job.override_reason]
    if not overridden:
        return ""
    reasons = "; ".join(f"{job.damper.where()}: {job.override_reason.rstrip('.')}" for job in overridden)
    return f"{len(jobs) - len(overridden)} done, {len(overridden)} closed unfinished: {reasons}."


def _parts_in_words(order: WorkOrder) -> str:
    """Nothing of parts that are short: the answer says that it waits for them."""
    lines = [line for line in order.pick_list.lines.all() if line.asks_for]
    if not lines:
        return "No parts list for these dampers."
    if any(line.short for line in lines):
        return ""
    if not any(line.held for line in lines):
        return "All parts are in its bags."
    return f"All parts are held for it{', some are in its bags' if any(line.issued for line in lines) else ''}."
