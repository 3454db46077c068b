"""Why a sheet holds at a place, and why each of the others does not."""

from dataclasses import dataclass

from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel, Position
from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.parts_lists import covers
from shop.specs.selectors import Place, covering, rank, sheet_for


@dataclass(frozen=True)
class Candidate:
    """A sheet of the damper model. why: the rule that chose it, or what speaks against it here."""

    sheet: SpecSheet
    holds: bool
    why: str


def explain(
    damper_model: DamperModel, model_year: int, position: str, vehicle_model: VehicleModel | None = None
) -> list[Candidate]:
    """Every sheet of a damper model, the one that holds first, then the others by how close they come.

    Withdrawn ones come last. None of them holds when there is none in use that covers the place.
    """
    place = Place(damper_model, model_year, position, vehicle_model)
    found = sheet_for(damper_model, model_year, position, vehicle_model)
    sheets = SpecSheet.objects.filter(damper_model=damper_model).select_related("damper_model", "vehicle_model")
    sheets = sheets.prefetch_related("next_versions")
    told = [
        Candidate(
            one, holds=one == found.sheet, why=found.rule if one == found.sheet else _against(one, place, found.sheet)
        )
        for one in sheets
    ]
    return sorted(told, key=lambda one: _closeness(one, place), reverse=True)


def _closeness(one: Candidate, place: Place) -> tuple:
    sheet = one.sheet
    return (
        one.holds,
        sheet.status != SheetStatus.WITHDRAWN,
        -len(_misfits(sheet, place)),
        sheet.status == SheetStatus.VERIFIED,
        rank(sheet),
        sheet.entered_at,
        sheet.pk,
    )


def _against(sheet: SpecSheet, place: Place, chosen: SpecSheet | None) -> str:
    reasons = _misfits(sheet, place)
    if sheet.status == SheetStatus.WITHDRAWN:
        next_version = sheet.replaced_by
        took_over = next_version and next_version.status != SheetStatus.DRAFT
        return "; ".join([f"withdrawn, {next_version} took its place" if took_over else "withdrawn", *reasons])
    if sheet.status == SheetStatus.DRAFT and (reasons or chosen.status == SheetStatus.VERIFIED):
        return "; ".join(["draft: nobody has verified it yet", *reasons])
    return "; ".join(reasons) or _outranked(sheet, chosen)


def _misfits(sheet: SpecSheet, place: Place) -> list[str]:
    """What of the place the sheet does not cover, in words."""
    reasons = []
    if not covers(sheet, place.model_year):
        reasons.append(f"{sheet.years()}, not {place.model_year}")
    if sheet.position not in covering(place.position):
        asked = Position(place.position).label if place.position else "an unknown position"
        reasons.append(f"{sheet.get_position_display()}, not {asked}")
    if sheet.vehicle_model and sheet.vehicle_model != place.vehicle_model:
        reasons.append(f"only on {sheet.vehicle_model}")
    return reasons


def _outranked(sheet: SpecSheet, chosen: SpecSheet) -> str:
    if rank(sheet) == rank(chosen):
        return f"an older draft: {chosen} was entered later"
    if chosen.vehicle_model and not sheet.vehicle_model:
        return f"any vehicle: a sheet for {chosen.vehicle_model} goes before it"
    return f"{sheet.get_position_display()}: a sheet for {chosen.get_position_display()} goes before it"
