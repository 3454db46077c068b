"""Corrections to a damper model while some of its dampers are booked or on the benches."""

from datetime import datetime

from django.db import transaction

from shop.core.errors import refused
from shop.dampers import services as dampers
from shop.dampers.models import DamperModel
from shop.staff.models import User
from shop.workorders.models import DamperJob, JobStatus, WorkOrder

# The steps of a job are those that its damper has, so neither may change under somebody's hands.
STEPS_HANG_ON = {"construction": "construction", "cap_style": "cap style"}


@transaction.atomic
def change_damper_model(
    *,
    damper_model: DamperModel,
    version: int,
    maker: str,
    name: str,
    construction: str,
    serviceable: bool,
    why_not: str = "",
    cap_style: str = "",
    by: User,
    at: datetime,
) -> DamperModel:
    """Correct what a damper model is; version is the one the form was opened with, else Conflict.

    Construction and cap style are refused while one is on the benches. What is booked stays booked when the model is
    not serviced any more: selectors.booked_in_vain tells whom to call.
    """
    running = DamperJob.objects.filter(damper__model=damper_model, status__in=[JobStatus.BOOKED, JobStatus.OPEN])
    list(WorkOrder.objects.select_for_update(of=("self",)).filter(pk__in=running.values("order")).order_by("pk"))
    before = DamperModel.objects.get(pk=damper_model.pk)
    changed = dampers.change_damper_model(
        damper_model=damper_model,
        version=version,
        maker=maker,
        name=name,
        construction=construction,
        serviceable=serviceable,
        why_not=why_not,
        cap_style=cap_style,
        by=by,
        at=at,
    )
    at_work = running.filter(status=JobStatus.OPEN).select_related("order").order_by("order", "index")
    for field, label in STEPS_HANG_ON.items():
        if getattr(before, field) != getattr(changed, field) and (jobs := list(at_work)):
            orders = ", ".join(dict.fromkeys(str(job.order) for job in jobs))
            raise refused(
                field,
                f"{before} is on the benches in {orders}, with steps that hang on its {label}: it cannot be changed "
                "now. Change it when these dampers are closed. If it is wrong, stop the work on them.",
                "on_bench",
            )
    return changed
