"""Which sheet and procedure hold for a damper."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Prefetch, prefetch_related_objects

from shop.customers.models import VehicleModel
from shop.dampers.models import Damper, DamperModel
from shop.specs.models import Procedure, SheetPosition, SheetStatus, SpecSheet, SpecValue
from shop.specs.parts_lists import covers
from shop.staff.models import User


@dataclass(frozen=True)
class Place:
    """What a sheet is looked up for. Where the damper sits may be unknown: an empty position, no vehicle model."""

    damper_model: DamperModel
    model_year: int
    position: str = ""
    vehicle_model: VehicleModel | None = None

    @classmethod
    def of(cls, damper: Damper) -> "Place":
        vehicle_model = damper.vehicle.model if damper.vehicle else None
        return cls(damper.model, damper.model_year, damper.position, vehicle_model)

    def __str__(self):
        where = f", {self.position.replace('_', ' ')}" if self.position else ""
        return f"{self.damper_model}, model year {self.model_year}{where}"


@dataclass(frozen=True)
class FoundSheet:
    """The sheet that holds, or None, and in words the rule that chose it."""

    sheet: SpecSheet | None
    rule: str


def sheet_for(
    damper_model: DamperModel, model_year: int, position: str, vehicle_model: VehicleModel | None = None
) -> FoundSheet:
    """The sheet that holds at one place, see sheets_for."""
    return sheets_for([Place(damper_model, model_year, position, vehicle_model)])[0]


def sheets_for(places: list[Place]) -> list[FoundSheet]:
    """The most specific verified sheet of each place; failing that the newest draft, and the rule says so; or none.

    A sheet for one vehicle model goes before one for any; then the finer position before the coarser. Two of equal
    rank cannot both be verified for a model year: the database refuses that. Three queries for any number of places.
    """
    if not places:
        return []
    sheets: dict[int, list[SpecSheet]] = {}
    for sheet in _near(places):
        sheets.setdefault(sheet.damper_model_id, []).append(sheet)
    found = [
        _found(place, [one for one in sheets.get(place.damper_model.pk, []) if holds_at(one, place)])
        for place in places
    ]
    _complete([one.sheet for one in found if one.sheet])
    return found


# Written out, because it is asked everywhere and always in this form: to put it together from conditions takes Django
# longer than PostgreSQL needs to answer it.
NEAR = """
    SELECT * FROM specs_specsheet
    WHERE status <> 'withdrawn' AND damper_model_id IN ({models}) AND position IN ({positions})
        AND (vehicle_model_id IS NULL OR vehicle_model_id IN ({vehicle_models}))
        AND (year_from IS NULL OR year_from <= %s) AND (year_to IS NULL OR year_to >= %s)
"""


def _near(places: list[Place]) -> Iterable[SpecSheet]:
    """Sheets in use of which any may hold at one of the places; of a single place just those that do."""
    asked = {
        "models": {place.damper_model.pk for place in places},
        "positions": {position for place in places for position in covering(place.position)},
        "vehicle_models": {place.vehicle_model.pk for place in places if place.vehicle_model} or {None},
    }
    years = [place.model_year for place in places]
    marks = {name: ", ".join(["%s"] * len(keys)) for name, keys in asked.items()}
    values = [key for keys in asked.values() for key in keys]
    return SpecSheet.objects.raw(NEAR.format(**marks), [*values, max(years), min(years)])


def _complete(sheets: list[SpecSheet]) -> None:
    """Read what a found sheet shows, its figures and its people; those that were not found need none of it."""
    prefetch_related_objects(sheets, Prefetch("values", SpecValue.objects.order_by("pk")))
    people = User.objects.in_bulk({key for one in sheets for key in (one.entered_by_id, one.verified_by_id) if key})
    for sheet in sheets:
        sheet.entered_by, sheet.verified_by = people[sheet.entered_by_id], people.get(sheet.verified_by_id)


def _found(place: Place, sheets: list[SpecSheet]) -> FoundSheet:
    if verified := [sheet for sheet in sheets if sheet.status == SheetStatus.VERIFIED]:
        sheet = _at(place, max(verified, key=rank))
        return FoundSheet(sheet, _rule(sheet))
    if sheets:
        sheet = _at(place, max(sheets, key=lambda one: (rank(one), one.entered_at, one.pk)))
        return FoundSheet(sheet, f"DRAFT, nobody has verified it yet; {_rule(sheet)}")
    return FoundSheet(None, f"No sheet covers {place}.")


def _at(place: Place, sheet: SpecSheet) -> SpecSheet:
    """The sheet with the models it holds for, which the place knows already: no need to read them once more."""
    sheet.damper_model = place.damper_model
    sheet.vehicle_model = place.vehicle_model if sheet.vehicle_model_id else None
    return sheet


def holds_at(sheet: SpecSheet, place: Place) -> bool:
    """Whether damper model, model year, position and vehicle model of the place are among those of the sheet."""
    return (
        sheet.damper_model_id == place.damper_model.pk
        and covers(sheet, place.model_year)
        and sheet.position in covering(place.position)
        and (
            sheet.vehicle_model_id is None or (place.vehicle_model and sheet.vehicle_model_id == place.vehicle_model.pk)
        )
    )


def current_procedure() -> Procedure | None:
    return Procedure.objects.filter(current=True).first()


def covering(position: str) -> list[str]:
    """Sheet positions that hold at a corner; a damper of unknown position takes only sheets for any."""
    positions = [SheetPosition.ANY.value]
    if position:
        positions += [position, position.split("_")[0]]
    return positions


def rank(sheet: SpecSheet) -> tuple[bool, int]:
    """How specific a sheet is, for comparing: the vehicle model first, then the position."""
    fineness = {SheetPosition.ANY: 0, SheetPosition.FRONT: 1, SheetPosition.REAR: 1}
    return sheet.vehicle_model_id is not None, fineness.get(SheetPosition(sheet.position), 2)


def _rule(sheet: SpecSheet) -> str:
    vehicle = f"on {sheet.vehicle_model}" if sheet.vehicle_model else "any vehicle"
    return f"{sheet.years()}, {sheet.get_position_display()}, {vehicle}"
