from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.clock import local_day
from shop.core.errors import Conflict, refused
from shop.customers.services import mark_forecast_stale
from shop.parts import services as parts
from shop.picklists.models import PickLine, PickList
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.agreed import refuse_while_asked
from shop.workorders.models import DamperJob, JobStatus, OrderStatus, WorkOrder
from shop.workorders.selectors import missing, on_bench


@transaction.atomic
def close_job(*, job: DamperJob, override_reason: str = "", by: User, at: datetime) -> DamperJob:
    """Close a damper's job that lacks nothing, else raise one sentence for each lacking thing.

    A manager may close it all the same with a reason, which prints on the service record. Twice is as good as once.
    """
    job = on_bench().select_for_update(of=("self",)).get(pk=job.pk)
    if job.status == JobStatus.CLOSED:
        return job
    if job.status != JobStatus.OPEN:
        raise Conflict(f"Damper {job.tag} is {job.get_status_display()}: check it in first.", code="not_open")
    refuse_while_asked(job)
    lacking = missing(job)
    reason = override_reason.strip()
    if lacking and not reason:
        raise ValidationError([ValidationError(one.text, code="missing") for one in lacking])
    if lacking and not by.may("override"):
        raise refused("override_reason", "Only a manager can close a job that lacks something.", "not_manager")
    if lacking:
        job.override_reason = reason
        what = f"closed damper {job.tag} with a manager's reason: {reason} (lacking: {len(lacking)})"
        note(who=by, kind="order", key=job.order_id, what=what, at=at)
    job.status, job.closed_by, job.closed_at = JobStatus.CLOSED, by, at
    job.full_clean(exclude=["order", "damper", "procedure"])
    job.save(update_fields=["status", "closed_by", "closed_at", "override_reason"])
    return job


@transaction.atomic
def close_order(*, order: WorkOrder, used: list[tuple[PickLine, int]], by: User, at: datetime) -> WorkOrder:
    """All dampers are done: book the parts that were used, end what was held, and begin the next service cycle.

    used gives base units per line; a line that is not named used what it asks for. What was picked and not used goes
    back to the shelf; what was not picked is taken from it now.
    """
    order = WorkOrder.objects.select_for_update(of=("self",)).select_related("vehicle", "pick_list").get(pk=order.pk)
    if order.status in (OrderStatus.READY, OrderStatus.HANDED_BACK):
        return order
    if order.status != OrderStatus.ON_BENCH:
        raise Conflict(f"{order} is {order.get_status_display()}: it is not on the benches.", code="not_on_bench")
    if open_jobs := [job for job in order.jobs.kept().select_related("damper") if job.status != JobStatus.CLOSED]:
        raise ValidationError([f"Damper {job.tag}, {job.damper.where()}, is not closed yet." for job in open_jobs])
    if waiting := order.questions.waiting().first():
        words = f"{order} {waiting.waits_for()}: {waiting.what.rstrip('.')}. Close it when that is settled."
        raise ValidationError(words, code="asked")
    if order.vehicle:  # before the parts, as check-in does, so that the two never wait for each other in a circle
        mark_forecast_stale(vehicle=order.vehicle)
    PickList.objects.select_for_update().get(pk=order.pick_list_id)
    lines = list(order.pick_list.lines.select_related("part", "reservation"))
    amounts = {line.pk: amount for line, amount in used}
    if strangers := set(amounts) - {line.pk for line in lines}:
        raise ValidationError({"used": f"{len(strangers)} lines are not on the pick list of {order}."})
    if any(amount < 0 for amount in amounts.values()):
        raise ValidationError({"used": "A used amount is zero or more."})
    parts.lock([line.part for line in lines if line.part])
    refusals = []
    for line in lines:
        line.used = amounts.get(line.pk, line.asks_for)
        try:
            if line.part:
                reason = f"{order}, {line.tag}"
                parts.use(part=line.part, amount=line.used, reservation=line.reservation, by=by, at=at, reason=reason)
        except ValidationError as error:
            refusals += [f"{line.tag}: {message}" for message in error.messages]
        line.save(update_fields=["used"])
    if refusals:
        raise ValidationError({"used": refusals})
    order.status, order.closed_by, order.closed_at = OrderStatus.READY, by, at
    order.save(update_fields=["status", "closed_by", "closed_at"])
    order.bench_plan.filter(on__gt=local_day(at)).delete()  # done sooner than planned: those hours are free again
    note(who=by, kind="order", key=order.pk, what="closed, ready to hand back", at=at)
    return order
