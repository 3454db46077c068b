"""What the day sheet and the telephone say of an order."""

from dataclasses import dataclass
from datetime import date, datetime

from shop.core.clock import local_day
from shop.dampers.models import Damper
from shop.workorders.agreed import ASKED, question_in_words
from shop.workorders.models import (
    DamperJob,
    JobStatus,
    OrderStatus,
    WorkOrder,
)
from shop.workorders.selectors import figures_changed_of, next_step


@dataclass(frozen=True)
class DayRow:
    """One order on the day sheet: what it waits for, and whether its promise is past."""

    order: WorkOrder
    words: str
    late: bool
    jobs: list[DamperJob]
    not_serviced: list[Damper]  # booked before their models were marked so, a model after the other
    sheet_changed: list[DamperJob]  # for which the spec table says otherwise now


@dataclass(frozen=True)
class Day:
    on: date
    arriving: list[DayRow]
    coming: list[DayRow]
    on_bench: list[DayRow]
    ready: list[DayRow]


def day(now: datetime) -> Day:
    """Everything that is running, grouped by what the desk does next; constant number of queries."""
    orders = list(running_orders())
    changed = figures_changed_of([job for order in orders for job in order.jobs.all()])
    rows = [_day_row(order, now, changed) for order in orders]
    today = local_day(now)

    def having(status):
        return [row for row in rows if row.order.status == status]

    booked = having(OrderStatus.BOOKED)
    return Day(
        on=today,
        arriving=[row for row in booked if row.order.arrives_on <= today],
        coming=[row for row in booked if row.order.arrives_on > today],
        on_bench=having(OrderStatus.ON_BENCH),
        ready=having(OrderStatus.READY),
    )


def running_orders():
    """Orders that are not over, with all that tells what they wait for, the earliest promise first."""
    return (
        WorkOrder.objects.running()
        .with_names()
        .prefetch_related(
            "pick_list__lines__reservation",
            "jobs__damper__model",
            "jobs__damper__vehicle__model",
            "jobs__procedure__steps",
            "jobs__readings__by",
            "jobs__steps_done__by",
            "jobs__second_checks__by",
            "jobs__spec_changes",
            ASKED,
        )
        .order_by("promised_for", "pk")
    )


def _day_row(order: WorkOrder, now: datetime, changed: dict[DamperJob, str]) -> DayRow:
    late = order.promised_for < now and order.status in (OrderStatus.BOOKED, OrderStatus.ON_BENCH)
    jobs = _kept(order)
    dampers = [job.damper for job in jobs if order.status == OrderStatus.BOOKED and not job.damper.model.serviceable]
    return DayRow(
        order,
        state_in_words(order),
        late,
        jobs,
        sorted(dampers, key=lambda one: one.model_id),
        [job for job in jobs if changed[job]],
    )


def _kept(order: WorkOrder) -> list[DamperJob]:
    return [job for job in order.jobs.all() if job.status != JobStatus.CALLED_OFF]


def state_in_words(order: WorkOrder) -> str:
    """What an order waits for, as the desk says it on the telephone."""
    jobs = _kept(order)
    count = f"{len(jobs)} damper{'s' if len(jobs) != 1 else ''}"
    if asked := question_in_words(order):
        return f"{count}. {asked}"
    if order.status == OrderStatus.BOOKED:
        return f"Rebuild of {count}. {_parts_in_words(order)}"
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
    lines = list(order.pick_list.lines.all())
    short = sorted({line.part_number for line in lines if line.short})
    if not lines:
        return "No parts list for these dampers."
    return f"Short: {', '.join(short)}." if short else "All parts are held for it."
