"""Labour times: how long a damper of a model, or any other, takes at the benches."""

from datetime import datetime

from django.db import transaction

from shop.calc.bench_time import hours
from shop.core.errors import Conflict, refused
from shop.core.rows import save_new
from shop.dampers.models import DamperModel
from shop.specs.labour import as_seen
from shop.specs.models import MOST_MINUTES, LabourTime
from shop.staff.models import User
from shop.staff.services import note


@transaction.atomic
def set_labour_time(
    *,
    damper_model: DamperModel | None = None,
    minutes: int,
    order_minutes: int | None = None,
    seen: str | None = None,
    by: User,
    at: datetime,
) -> LabourTime:
    """Say how long one damper takes; without a model it is the shop's default, which also says what each order adds.

    seen is as_seen of the row when it was read, "" when there was none; Conflict "stale" when it says something else.
    Orders that are booked keep the minutes that were frozen into them.
    """
    row = _locked(damper_model, seen) or LabourTime(damper_model=damper_model)
    if not 1 <= minutes <= MOST_MINUTES:
        raise refused("minutes", f"{minutes} min cannot be right. Give from 1 min to {hours(MOST_MINUTES)}.", "range")
    if damper_model is None and order_minutes is None:
        order_minutes = row.order_minutes or 0
    row.minutes, row.order_minutes = minutes, None if damper_model else order_minutes
    row.full_clean()
    row.save() if row.pk else save_new(row)
    extra = "" if damper_model else f", and {hours(row.order_minutes)} for the order"
    _tell(damper_model, f"labour time: {hours(minutes)} a damper{extra}", by, at)
    return LabourTime.objects.get(damper_model=damper_model)


@transaction.atomic
def remove_labour_time(*, damper_model: DamperModel, seen: str | None = None, by: User, at: datetime) -> None:
    """Take a model's own labour time away, so that the shop's default holds. Twice is as good as once."""
    if row := _locked(damper_model, seen):
        row.delete()
        _tell(damper_model, "labour time removed", by, at)


def _locked(damper_model: DamperModel | None, seen: str | None) -> LabourTime | None:
    if damper_model:
        DamperModel.objects.select_for_update(no_key=True).get(pk=damper_model.pk)
    row = LabourTime.objects.select_for_update(of=("self",)).filter(damper_model=damper_model).first()
    if seen is not None and as_seen(row) != seen:
        raise Conflict(
            "Somebody else has changed this labour time since you opened it. What you typed is still here: compare "
            "it with the labour time as it is now, then save again.",
            code="stale",
        )
    return row


def _tell(damper_model: DamperModel | None, what: str, by: User, at: datetime) -> None:
    kind, key = ("dampermodel", damper_model.pk) if damper_model else ("labour", "default")
    note(who=by, kind=kind, key=key, what=what, at=at)
