"""Changing a booking: arrival, promise, complaint, dampers, bench days; on the benches only promise and bench days."""

from datetime import date, datetime

from django.db import transaction

from shop.calc.bench_time import hours
from shop.calc.intervals import day_in_words
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused
from shop.core.rows import unchanged
from shop.dampers.models import Damper
from shop.picklists import services as picklists
from shop.specs.labour import labour_for
from shop.specs.models import MOST_MINUTES
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.bench_time import Bench, plan_in_words
from shop.workorders.models import DamperJob, JobStatus, OrderStatus, WorkOrder
from shop.workorders.services.agreements import withdraw_waiting
from shop.workorders.services.bench_time import check_promise, labour_of, plan_days, wall
from shop.workorders.services.booking import check_dampers, fill_anew, lock_dampers

MOST_DAMPERS = 50


@transaction.atomic
def change_booking(
    *,
    order: WorkOrder,
    version: int,
    arrives_on: date | None = None,
    promised_for: datetime | None = None,
    complaint: str | None = None,
    dampers: list[Damper] | None = None,
    minutes: int | None = None,
    bench_from: date | None = None,
    proposed: date | None = None,
    anyway: bool = False,
    anyway_why: str = "",
    promise_anyway: bool = False,
    why: str = "",
    by: User,
    at: datetime,
) -> WorkOrder:
    """Change what was booked, as long as nobody else has changed it since (version); None leaves a thing as it is.

    minutes are bench minutes set by hand: of the whole order while it is booked, of what is still to do later. Days are
    planned anew when minutes, dampers or arrival ask for it, or bench_from names another first day. why is asked for
    when a promise moves later than the customer was told, and for minutes by hand.
    """
    order = unchanged(WorkOrder.objects.select_related("customer", "vehicle__model", "pick_list"), order.pk, version)
    _check_state(order, arrives_on, complaint, dampers)
    why, told = why.strip(), []
    if complaint is not None and complaint.strip() != order.complaint:
        order.complaint = complaint.strip()
        told.append("complaint")
    if arrives_on and arrives_on != order.arrives_on:
        if arrives_on < local_day(at):
            raise refused("arrives_on", f"{day_in_words(arrives_on)} is past. Give today or a later day.", "past")
        told.append(f"arrives {day_in_words(arrives_on)} instead of {day_in_words(order.arrives_on)}")
        order.arrives_on = arrives_on
    if dampers is not None:
        told += _change_dampers(order, dampers, by, at)
    dampers_changed = any("damper" in one for one in told)
    to_plan = _minutes(order, minutes, dampers_changed, why, told, at)
    ends = None
    if _has_to_move(order, to_plan, bench_from, at):
        before = plan_in_words(order.bench_plan.all(), local_day(at))
        ends = plan_days(
            order=order, minutes=to_plan, bench_from=bench_from, proposed=proposed, anyway=anyway,
            anyway_why=anyway_why, at=at,
        )  # fmt: skip
        if ends:
            order.bench_minutes = sum(order.bench_plan.values_list("minutes", flat=True))
            after = plan_in_words(order.bench_plan.all(), local_day(at))
            told += [f"bench time {after}{f' instead of {before}' if before else ''}"] if after != before else []
            if order.bench_over_why:
                told.append(f"booked all the same: {order.bench_over_why}")
    _promise(order, promised_for, ends, promise_anyway, why, told, at)
    if local_day(order.promised_for) < order.arrives_on:
        raise refused("promised_for", "The promise lies before the day of arrival.", "before_arrival")
    if not told:
        return order
    order.version += 1
    order.full_clean()
    order.save()
    reason = f" ({why})" if why else ""
    note(who=by, kind="order", key=order.pk, what=f"booking changed: {'; '.join(told)}{reason}", at=at)
    return order


def _check_state(order: WorkOrder, arrives_on, complaint, dampers) -> None:
    if order.status not in (OrderStatus.BOOKED, OrderStatus.ON_BENCH):
        raise Conflict(
            f"{order} is {order.get_status_display()}: its booking cannot be changed any more.", code="not_running"
        )
    if order.status == OrderStatus.BOOKED:
        return
    kept = set(order.jobs.kept().values_list("damper", flat=True)) if dampers is not None else None
    if (
        (arrives_on and arrives_on != order.arrives_on)
        or (complaint is not None and complaint.strip() != order.complaint)
        or (dampers is not None and {one.pk for one in dampers} != kept)
    ):
        raise Conflict(
            f"{order} is checked in: only its promise and its bench days can be changed now. Open the page again.",
            code="checked_in",
        )


def _change_dampers(order: WorkOrder, dampers: list[Damper], by: User, at: datetime) -> list[str]:
    """Add and take off, and fill the pick list anew; what was done, in words."""
    jobs = {job.damper_id: job for job in order.jobs.select_for_update(of=("self",)).kept().select_related("damper")}
    wanted = {one.pk for one in dampers}
    if not wanted:
        raise refused("dampers", "Keep at least one damper, or call the order off instead.", "last_damper")
    if len(wanted) > MOST_DAMPERS:
        raise refused("dampers", f"An order has at most {MOST_DAMPERS} dampers. Book the others by themselves.", "many")
    added, told = lock_dampers([one for one in dampers if one.pk not in jobs]), []
    if added:
        check_dampers(order.customer, order.vehicle, added)
    index = max(order.jobs.values_list("index", flat=True))
    off = [job for key, job in jobs.items() if key not in wanted]
    picklists.refuse_picked(pick_list=order.pick_list, tags=[job.tag for job in off])
    for job in off:
        job.status = JobStatus.CALLED_OFF
        job.save(update_fields=["status"])
        withdraw_waiting(order=order, job=job, why="the damper is taken off the order", by=by, at=at)
        told.append(f"damper {job.tag} is taken off")
    for index, damper in enumerate(added, index + 1):  # noqa: B020
        job = DamperJob(order=order, damper=damper, index=index)
        job.full_clean()
        job.save()
        told.append(f"damper {job.tag} is added, {damper.where()}")
    if told:
        fill_anew(order=order, anew=[job.tag for job in off], at=at)
    return told


def _minutes(order, minutes, dampers_changed, why, told, at) -> int:
    """What is to be planned: by hand if it is given, else what was frozen, reckoned anew when the dampers changed."""
    left = minutes_ahead(order=order, at=at)
    if minutes is not None and minutes != left:
        if not 1 <= minutes <= 10 * MOST_MINUTES:
            words = f"Bench time cannot be {minutes} min. Give from 1 min to {hours(10 * MOST_MINUTES)}."
            raise refused("minutes", words, "range")
        if not why:
            raise refused("why", "Say why the bench time is another than the labour times give.", "why_missing")
        order.bench_minutes_why = why
        told.append(f"bench time {hours(minutes)} instead of {hours(left)}, by hand")
        return minutes
    if dampers_changed and not order.bench_minutes_why:
        return labour_of(order)
    return left


def minutes_ahead(*, order: WorkOrder, at: datetime) -> int:
    """Minutes still to do: all of a booked order; on the benches what is planned from today on, else its open jobs."""
    if order.status == OrderStatus.BOOKED:
        return order.bench_minutes or labour_of(order)
    ahead = sum(order.bench_plan.filter(on__gte=local_day(at)).values_list("minutes", flat=True))
    if ahead:
        return ahead
    open_jobs = order.jobs.filter(status=JobStatus.OPEN).select_related("damper__model")
    return labour_for([job.damper.model for job in open_jobs]).minutes


def _has_to_move(order: WorkOrder, to_plan: int, bench_from: date | None, at: datetime) -> bool:
    if to_plan < 1:
        return False
    ahead = order.bench_plan.all()
    if order.status == OrderStatus.ON_BENCH:
        ahead = ahead.filter(on__gte=local_day(at))
    rows = list(ahead)
    if not rows:
        return order.status == OrderStatus.BOOKED or bench_from is not None
    first = rows[0].on
    moved = bench_from is not None and bench_from != first
    if order.status == OrderStatus.BOOKED and first < max(order.arrives_on, local_day(at)):
        return True
    return moved or sum(row.minutes for row in rows) != to_plan


def _promise(order, promised_for, ends, promise_anyway, why, told, at) -> None:
    new = promised_for or order.promised_for
    moved = new.replace(second=0, microsecond=0) != order.promised_for.replace(second=0, microsecond=0)
    if not moved and ends is None:
        return
    check_promise(new, ends or _ends(order, at), promise_anyway, at)
    if not moved:
        return
    if new > order.promised_for and not why:
        words = f"The customer was told {_moment(order.promised_for)}. Say why it becomes later: they will ask."
        raise refused("why", words, "why_missing")
    told.append(f"promised {_moment(new)} instead of {_moment(order.promised_for)}")
    order.promised_for = new


def _ends(order: WorkOrder, at: datetime) -> datetime | None:
    last = order.bench_plan.order_by("on").last()
    return Bench.of(last.on, last.on, at).calendar.shift(last.on).end() if last else None


def _moment(at: datetime) -> str:
    local = wall(at)
    return f"{day_in_words(local.date())} {local:%H:%M}"
