from dataclasses import replace
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.intervals import day_in_words
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused
from shop.picklists import services as picklists
from shop.specs.models import KitMeasure, SheetStatus
from shop.specs.selectors import FoundSheet, Place, sheets_for
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.frozen import FrozenSheet
from shop.workorders.kit import freeze, oil_to_take
from shop.workorders.models import DamperJob, JobStatus, Moment, Reopening, SpecChange, WorkOrder
from shop.workorders.selectors import on_bench


@transaction.atomic
def take_present_sheet(*, job: DamperJob, why: str, by: User, at: datetime) -> SpecChange:
    """Hold an open job against the sheet that holds today; the one that it was given at check-in stays on record.

    Managers only, with a reason that prints with the rule. When a figure has been set already, the steps begin anew,
    zero pressure first: no reading of before is held against figures it was not set to.
    """
    if not by.may("override"):
        raise ValidationError("Only a manager can hold a damper against another sheet.", code="not_manager")
    # The order first, then the job and the pick list, as everybody takes them.
    order = WorkOrder.objects.select_for_update(of=("self",)).select_related("pick_list").get(pk=job.order_id)
    job = on_bench().select_for_update(of=("self",)).get(pk=job.pk)
    if job.status != JobStatus.OPEN:
        raise Conflict(f"Damper {job.tag} is {job.get_status_display()}: it keeps the sheet it has.", code="not_open")
    if not why.strip():
        raise refused("why", "Say why the damper is held against another sheet now.", "why_missing")
    kept, (found,) = job.sheet, sheets_for([Place.of(job.damper)])
    _check_takeable(job, kept, found)
    begins_anew = any(one.moment == Moment.SET and one.round == job.round for one in job.readings.all())
    instead = f"{found.sheet} in place of {_name(kept)}"
    if begins_anew:
        job.round += 1
        Reopening.objects.create(job=job, round=job.round, why=f"held against {instead}", by=by, at=at)
        job.save(update_fields=["round"])
    # The rule is told wherever the sheet is, on pages and papers alike.
    because = f"taken by {by} on {day_in_words(local_day(at))} in place of {_name(kept)}: {why.strip().rstrip('.')}"
    taken = replace(freeze(found), rule=f"{found.rule}; {because}")
    change = SpecChange(job=job, round=job.round, spec=taken.stored(), why=why.strip(), by=by, at=at)
    change.full_clean()
    change.save()
    _change_oil(order, job, kept, taken, at)
    note(who=by, kind="order", key=order.pk, what=f"damper {job.tag} is held against {instead}: {why.strip()}", at=at)
    return change


def _check_takeable(job: DamperJob, kept: FrozenSheet, found: FoundSheet) -> None:
    sheet = found.sheet
    if sheet is None or sheet.status != SheetStatus.VERIFIED:
        what = f"{sheet} is a draft" if sheet else found.rule.rstrip(".")
        raise ValidationError(
            f"{what}: only a verified sheet can be taken. Damper {job.tag} keeps {_name(kept)}.", code="not_verified"
        )
    if (sheet.code, sheet.version, True) == (kept.code, kept.version, kept.verified):
        raise Conflict(f"Damper {job.tag} is held against {sheet} already.", code="same_sheet")


def _name(sheet: FrozenSheet) -> str:
    return f"{sheet.code} version {sheet.version}" if sheet else "no sheet"


def _change_oil(order: WorkOrder, job: DamperJob, kept: FrozenSheet, taken: FrozenSheet, at: datetime) -> None:
    """Hold the oil that the present sheet asks for; everything else on the list stays as it is."""
    before, now = oil_to_take(kept), oil_to_take(taken)
    needs = picklists.asked(order.pick_list)

    def is_oil(need):
        return need.tag == job.tag and need.measure == KitMeasure.VOLUME and need.amount == before

    def anew(need):
        others = (replace(one, amount=now if one.amount == before else one.amount) for one in need.alternates)
        return replace(need, amount=now, from_draft=False, alternates=tuple(others))

    if before and now and any(is_oil(need) for need in needs):
        needs = [anew(need) if is_oil(need) else need for need in needs]
        picklists.fill(pick_list=order.pick_list, needs=needs, at=at)
