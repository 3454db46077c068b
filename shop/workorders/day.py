"""The day sheet: who comes, what is in hand, what waits, what is ready, what is late, and how full the benches are."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from django.db.models import Q
from django.utils import timezone

from shop.calc.bench_time import BenchDay, hours, moment
from shop.core.clock import local_day
from shop.dampers.models import Damper
from shop.workorders.bench_time import Bench
from shop.workorders.models import DamperJob, OrderStatus, WorkOrder
from shop.workorders.selectors import figures_changed_of
from shop.workorders.telephone import (
    Answer,
    answers,
    for_answers,
    kept,
    state_in_words,
    unfinished_in_words,
)
from shop.workorders.waiting import WaitKind

__all__ = ["Day", "DayRow", "Group", "Hours", "day", "running_orders", "state_in_words", "unfinished_in_words"]

DAYS_AHEAD = 14


@dataclass(frozen=True)
class DayRow:
    """One order on the day sheet: its telephone answer, and whether its promise is past."""

    order: WorkOrder
    answer: Answer
    late: bool
    jobs: list[DamperJob]
    minutes: int = 0  # planned for it on the day of the sheet
    not_serviced: list[Damper] = field(default_factory=list)  # their models were marked so since the booking
    sheet_changed: list[DamperJob] = field(default_factory=list)  # the spec table says otherwise now

    @property
    def words(self) -> str:
        return self.answer.state


@dataclass(frozen=True)
class Group:
    """Rows of which the desk does the same next."""

    key: str
    rows: list[DayRow]


@dataclass(frozen=True)
class Hours:
    """Bench hours of a day: booked against what there are, and the reasons of orders that were booked all the same."""

    day: BenchDay
    beyond: list[WorkOrder] = field(default_factory=list)

    @property
    def words(self) -> str:
        """ "5.5 h of 14 h booked", "closed, Thanksgiving Day", "15 h of 14 h booked, 1 h too many"."""
        day = self.day
        if not day.minutes and not day.booked:
            return day.why_none
        there = hours(day.minutes) if day.minutes else f"no bench hours ({day.why_none})"
        if not day.booked:
            return f"{hours(day.minutes)}, nothing booked yet"
        over = f", {hours(day.over)} too many" if day.over else ""
        full = ", full" if day.minutes and day.booked == day.minutes else ""
        return f"{hours(day.booked)} of {there} booked{over}{full}"


@dataclass(frozen=True)
class Day:
    on: date
    today: date
    groups: list[Group]
    hours: Hours | None  # None: the shop has no bench hours yet
    ahead: list[Hours] = field(default_factory=list)

    @property
    def is_today(self) -> bool:
        return self.on == self.today

    def rows(self, key: str) -> list[DayRow]:
        """The rows of a group: day.rows("arriving")."""
        return next(group.rows for group in self.groups if group.key == key)


def day(now: datetime, on: date | None = None) -> Day:
    """The sheet of today, with everything that is running grouped by what the desk does next, or of another day.

    A constant number of queries.
    """
    today = local_day(now)
    on = on or today
    bench = Bench.of(on, on + timedelta(days=DAYS_AHEAD), now)
    planned = [row.order_id for row in bench.plans if row.on == on]
    rows = _rows(list(running_orders() if on == today else orders_of(on, planned)), on, now, bench)
    groups = _groups_of_today(rows, today) if on == today else _groups_of(rows, on)
    told = _hours(bench) if bench.calendar.set_up else [None]
    return Day(on, today, groups, told[0], told[1:])


def running_orders():
    """Orders that are not over, with all that tells what they wait for, the earliest promise first."""
    return for_answers(WorkOrder.objects.running()).order_by("promised_for", "pk")


def orders_of(on: date, planned: Iterable[int]):
    """Orders that have to do with a day: they arrive, are planned on the benches, or are promised for it."""
    begins, ends = (moment(one, time(), timezone.get_default_timezone()) for one in (on, on + timedelta(days=1)))
    about = Q(arrives_on=on) | Q(pk__in=list(planned)) | Q(promised_for__gte=begins, promised_for__lt=ends)
    return for_answers(WorkOrder.objects.filter(about).exclude(status=OrderStatus.CALLED_OFF)).order_by(
        "promised_for", "pk"
    )


def _rows(orders: list[WorkOrder], on: date, now: datetime, bench: Bench) -> list[DayRow]:
    told = answers(orders, now, bench.calendar)
    changed = figures_changed_of([job for order in orders for job in order.jobs.all()])
    return [_day_row(order, told[order.pk], on, now, changed) for order in orders]


def _day_row(order: WorkOrder, answer: Answer, on: date, now: datetime, changed: dict[DamperJob, str]) -> DayRow:
    late = order.promised_for < now and order.status in (OrderStatus.BOOKED, OrderStatus.ON_BENCH)
    jobs = kept(order)
    dampers = [job.damper for job in jobs if order.status == OrderStatus.BOOKED and not job.damper.model.serviceable]
    return DayRow(
        order,
        answer,
        late,
        jobs,
        sum(row.minutes for row in order.bench_plan.all() if row.on == on),
        sorted(dampers, key=lambda one: one.model_id),
        [job for job in jobs if changed[job]],
    )


def _groups_of_today(rows: list[DayRow], today: date) -> list[Group]:
    groups = defaultdict(list)
    for row in rows:
        groups[_next(row, today)].append(row)
    return [Group(key, groups[key]) for key in ("late", "arriving", "on_bench", "waiting", "ready", "coming")]


def _next(row: DayRow, today: date) -> str:
    """What the desk does next with an order: the name of its group."""
    status = row.order.status
    if status == OrderStatus.BOOKED:
        return "arriving" if row.order.arrives_on <= today else "coming"
    if status == OrderStatus.READY:
        return "ready"
    if row.late:
        return "late"
    return "waiting" if any(wait.kind != WaitKind.COLLECT for wait in row.answer.waits) else "on_bench"


def _groups_of(rows: list[DayRow], on: date) -> list[Group]:
    return [
        Group("arriving", [row for row in rows if row.order.arrives_on == on]),
        Group("planned", [row for row in rows if row.minutes]),
        Group("promised", [row for row in rows if local_day(row.order.promised_for) == on]),
    ]


def _hours(bench: Bench) -> list[Hours]:
    """Each day's hours; a day that is booked beyond them names the orders that were booked all the same."""
    over = {day.on for day in bench.days if day.over}
    wanted = {row.order_id for row in bench.plans if row.on in over}
    orders = WorkOrder.objects.filter(pk__in=wanted, bench_over_why__isnull=False).in_bulk()
    return [
        Hours(day, [orders[row.order_id] for row in bench.plans if row.on == day.on and row.order_id in orders])
        if day.on in over
        else Hours(day)
        for day in bench.days
    ]
