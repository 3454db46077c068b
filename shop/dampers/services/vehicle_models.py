"""What a vehicle model carries at its corners, and corrections that hang on it."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from shop.core.errors import Conflict, refused, renamed
from shop.core.rows import sharing_years, unchanged
from shop.customers import services as customers
from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel, Fitment, Position
from shop.dampers.selectors import why_kept
from shop.staff.models import AuditEntry, User
from shop.staff.services import note


@transaction.atomic
def set_fitment(
    *,
    vehicle_model: VehicleModel,
    position: str,
    damper_model: DamperModel,
    year_from: int | None = None,
    year_to: int | None = None,
    by: User,
    at: datetime,
) -> Fitment:
    """Say what a vehicle model carries at a corner; years left open are those in which it was built.

    Vehicles that are in the book keep the dampers that were entered for them.
    """
    vehicle_model = VehicleModel.objects.select_for_update(no_key=True).get(pk=vehicle_model.pk)
    fitment = Fitment(vehicle_model=vehicle_model)
    _place(fitment, position, damper_model, year_from, year_to)
    note(who=by, kind="vehiclemodel", key=vehicle_model.pk, what=_in_words(fitment), at=at)
    return fitment


@transaction.atomic
def set_fitments(
    *,
    vehicle_model: VehicleModel,
    positions: list[str],
    damper_model: DamperModel,
    year_from: int | None = None,
    year_to: int | None = None,
    by: User,
    at: datetime,
) -> Fitment:
    """Say that a vehicle model carries the same at several corners, all or none; the last entry is the answer."""
    if not positions:
        raise refused("positions", "Name at least one corner.", "no_corner")
    try:
        made = [
            set_fitment(
                vehicle_model=vehicle_model,
                position=position,
                damper_model=damper_model,
                year_from=year_from,
                year_to=year_to,
                by=by,
                at=at,
            )
            for position in positions
        ]
    except ValidationError as error:
        raise renamed(error, position="positions") from error
    return made[-1]


@transaction.atomic
def change_fitment(
    *,
    fitment: Fitment,
    version: int,
    position: str,
    damper_model: DamperModel,
    year_from: int | None = None,
    year_to: int | None = None,
    by: User,
    at: datetime,
) -> Fitment:
    """Correct an entry; vehicles that are in the book keep the dampers that were entered for them."""
    VehicleModel.objects.select_for_update(no_key=True).get(pk=fitment.vehicle_model_id)
    fitment = unchanged(Fitment.objects.select_related("vehicle_model", "damper_model"), fitment.pk, version)
    before = _in_words(fitment)
    fitment.version += 1
    _place(fitment, position, damper_model, year_from, year_to)
    what = f"changed: {before}; now {_in_words(fitment)}"
    note(who=by, kind="vehiclemodel", key=fitment.vehicle_model_id, what=what, at=at)
    return fitment


@transaction.atomic
def copy_fitment(*, fitment: Fitment, positions: list[str], by: User, at: datetime) -> Fitment:
    """Say that other corners carry the same in the same model years, all or none; the last entry is the answer."""
    return set_fitments(
        vehicle_model=fitment.vehicle_model,
        positions=positions,
        damper_model=fitment.damper_model,
        year_from=fitment.year_from,
        year_to=fitment.year_to,
        by=by,
        at=at,
    )


@transaction.atomic
def remove_fitment(*, fitment: Fitment, by: User, at: datetime) -> None:
    """Take an entry away that is wrong. Twice is as good as once; dampers on customers' vehicles stay as they are."""
    removed, _ = Fitment.objects.filter(pk=fitment.pk).delete()
    if removed:
        what = f"removed: {_in_words(fitment)}"
        note(who=by, kind="vehiclemodel", key=fitment.vehicle_model_id, what=what, at=at)


@transaction.atomic
def change_vehicle_model(
    *,
    vehicle_model: VehicleModel,
    version: int,
    maker: str,
    name: str,
    year_from: int,
    year_to: int | None = None,
    by: User,
    at: datetime,
) -> VehicleModel:
    """Correct a vehicle model's maker, name or years; version is the one the form was opened with, else Conflict.

    Years that leave a vehicle of the book, or an entry of a corner, outside are refused.
    """
    changed = customers.change_vehicle_model(
        vehicle_model=vehicle_model,
        version=version,
        maker=maker,
        name=name,
        year_from=year_from,
        year_to=year_to,
        by=by,
        at=at,
    )
    _check_fitments_inside(changed)
    return changed


@transaction.atomic
def remove_vehicle_model(*, vehicle_model: VehicleModel, by: User, at: datetime) -> AuditEntry:
    """Take a vehicle model that nothing hangs on out of the catalogue, with what was entered for its corners."""
    model = VehicleModel.objects.select_for_update().filter(pk=vehicle_model.pk).first()
    if model is None:
        raise Conflict(f"{vehicle_model} was removed already. Open the list again.", code="gone")
    if words := why_kept(model):
        raise ValidationError(words, code="in_use")
    what = f"removed: {model}, built {model.years()}"
    model.delete()
    return note(who=by, kind="vehiclemodel", key=vehicle_model.pk, what=what, at=at)


def _check_fitments_inside(model: VehicleModel) -> None:
    sides = {"year_from": Q(year_from__lt=model.year_from)}
    if model.year_to:
        sides["year_to"] = Q(year_from__gt=model.year_to) | Q(year_to__gt=model.year_to)
    for field, outside in sides.items():
        if rows := list(model.fitments.filter(outside).select_related("damper_model")):
            count = "An entry" if len(rows) == 1 else f"{len(rows)} entries"
            told = "; ".join(_in_words(row) for row in rows)
            words = f"{count} of its corners would be left outside these years: {told}. Correct what sits there first."
            raise refused(field, words, "fitments_outside")


def _place(fitment: Fitment, position: str, damper_model: DamperModel, year_from, year_to) -> None:
    """Write this over an entry and save it; refused for years without such a vehicle, and where another one sits."""
    model = fitment.vehicle_model
    year_from = model.year_from if year_from is None else year_from
    for name, year in (("year_from", year_from), ("year_to", year_to)):
        if year is not None and not model.year_from <= year <= (model.year_to or year):
            words = f"There is no {model} of model year {year}: it was built {model.years()}."
            raise refused(name, f"{words} Give one of these years.", "unknown_year")
    if year_to is not None and year_to < year_from:
        raise refused("year_to", f"{year_to} lies before the first model year, {year_from}.", "years_in_order")
    rivals = model.fitments.filter(sharing_years(year_from, year_to), position=position).exclude(pk=fitment.pk)
    if rival := rivals.select_related("damper_model").first():
        raise refused(
            "position",
            f"{_corner(rival)}: the {rival.damper_model} sits there {_years(rival)}. "
            "Change or remove that entry first, or give model years that it leaves free.",
            "taken",
        )
    fitment.position, fitment.damper_model = position, damper_model
    fitment.year_from, fitment.year_to = year_from, year_to
    fitment.full_clean()
    fitment.save()


def _in_words(fitment: Fitment) -> str:
    return f"{_corner(fitment)}: {fitment.damper_model}, {_years(fitment)}"


def _corner(fitment: Fitment) -> str:
    return Position(fitment.position).label.capitalize()


def _years(fitment: Fitment) -> str:
    return f"from {fitment.year_from}" + (f" to {fitment.year_to}" if fitment.year_to else " on")
