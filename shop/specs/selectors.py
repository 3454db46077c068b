"""Which sheet and procedure hold for a damper."""

from dataclasses import dataclass

from django.db.models import Q

from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel
from shop.specs.models import Procedure, SheetPosition, SheetStatus, SpecSheet


@dataclass(frozen=True)
class FoundSheet:
    """The sheet that holds, or None, and in words the rule that chose it."""

    sheet: SpecSheet | None
    rule: str


def sheet_for(
    damper_model: DamperModel, model_year: int, position: str, vehicle_model: VehicleModel | None = None
) -> FoundSheet:
    """The most specific verified sheet; failing that the newest draft, and the rule says so; failing that none.

    A sheet for one vehicle model goes before one for any; then the finer position before the coarser. Two of equal
    rank cannot both be verified for a model year: the database refuses that.
    """
    found = list(
        SpecSheet.objects.filter(
            Q(vehicle_model=None) | Q(vehicle_model=vehicle_model),
            Q(year_from=None) | Q(year_from__lte=model_year),
            Q(year_to=None) | Q(year_to__gte=model_year),
            damper_model=damper_model,
            position__in=_covering(position),
        )
        .exclude(status=SheetStatus.WITHDRAWN)
        .select_related("damper_model", "vehicle_model", "entered_by", "verified_by")
        .prefetch_related("values")
    )
    verified = [sheet for sheet in found if sheet.status == SheetStatus.VERIFIED]
    if verified:
        sheet = max(verified, key=_rank)
        return FoundSheet(sheet, _rule(sheet))
    if found:
        sheet = max(found, key=lambda one: (_rank(one), one.entered_at))
        return FoundSheet(sheet, f"DRAFT, nobody has verified it yet; {_rule(sheet)}")
    where = f", {position.replace('_', ' ')}" if position else ""
    return FoundSheet(None, f"No sheet covers {damper_model}, model year {model_year}{where}.")


def current_procedure() -> Procedure | None:
    return Procedure.objects.filter(current=True).first()


def _covering(position: str) -> list[str]:
    """Sheet positions that hold at a corner; a damper of unknown position takes only sheets for any."""
    positions = [SheetPosition.ANY.value]
    if position:
        positions += [position, position.split("_")[0]]
    return positions


def _rank(sheet: SpecSheet) -> tuple[bool, int]:
    fineness = {SheetPosition.ANY: 0, SheetPosition.FRONT: 1, SheetPosition.REAR: 1}
    return sheet.vehicle_model_id is not None, fineness.get(SheetPosition(sheet.position), 2)


def _rule(sheet: SpecSheet) -> str:
    vehicle = f"on {sheet.vehicle_model}" if sheet.vehicle_model else "any vehicle"
    return f"{sheet.years()}, {sheet.get_position_display()}, {vehicle}"
