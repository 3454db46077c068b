from dataclasses import replace
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.intervals import day_in_words
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused
from shop.picklists import services as picklists
from shop.specs.models import SheetStatus
from shop.specs.parts_lists import kit_lines_for
from shop.specs.selectors import FoundSheet, Place, sheets_for
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.frozen import FrozenSheet
from shop.workorders.kit import freeze, needs
from shop.workorders.models import DamperJob, JobStatus, Moment, Reopening, SpecChange, WorkOrder
from shop.workorders.selectors import is_kept, on_bench


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
    _change_oil(order, job, taken, at)
    note(who=by, kind="order", key=order.pk, what=f"damper {job.tag} is held against {instead}: {why.strip()}", at=at)
    return change


def _check_takeable(job: DamperJob, kept: FrozenSheet, found: FoundSheet) -> None:
    sheet = found.sheet
    if sheet is None or sheet.status != SheetStatus.VERIFIED:
        what = f"{sheet} is a draft" if sheet else found.rule.rstrip(".")
        raise ValidationError(
            f"{what}: only a verified sheet can be taken. Damper {job.tag} keeps {_name(kept)}.", code="not_verified"
        )
    if is_kept(sheet, kept):
        raise Conflict(f"Damper {job.tag} is held against {sheet} already.", code="same_sheet")


def _name(sheet: FrozenSheet) -> str:
    return f"{sheet.code} version {sheet.version}" if sheet else "no sheet"


def _change_oil(order: WorkOrder, job: DamperJob, taken: FrozenSheet, at: datetime) -> None:
    """Ask for what the taken sheet gives the amount of, its oil; everything else on the list stays as it is.

    A sheet that gives no oil leaves the oil that is there: nobody knows better how much it takes.
    """
    lines = kit_lines_for(job.damper.model, job.damper.model_year)
    by_sheet = {line.part_number for line, others in lines if any(one.amount is None for one in (line, *others))}
    anew = [need for need in needs(job, taken) if need.part_number in by_sheet]
    replaced = {(need.tag, need.part_number) for need in anew}
    kept = [need for need in picklists.asked(order.pick_list) if (need.tag, need.part_number) not in replaced]
    if anew:
        picklists.fill(pick_list=order.pick_list, needs=[*kept, *anew], at=at)
