from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Q

from shop.calc.units import Entered, show_range
from shop.core.errors import Conflict
from shop.customers.models import VehicleModel
from shop.dampers.measures import Measure
from shop.dampers.models import DamperModel
from shop.specs.models import SheetStatus, SpecSheet, SpecValue
from shop.staff.models import User
from shop.staff.services import note as audit


@dataclass(frozen=True)
class NewValue:
    """One figure as somebody copies it from the source, with the limits that still count as in tolerance."""

    measure: str
    entered: Entered
    low: Entered
    high: Entered
    tolerance: str = ""
    page: str = ""
    note: str = ""


@transaction.atomic
def enter_sheet(
    *,
    code: str,
    damper_model: DamperModel,
    vehicle_model: VehicleModel | None = None,
    position: str,
    year_from: int | None = None,
    year_to: int | None = None,
    source_document: str,
    source_revision: str,
    source_page: str,
    note: str = "",
    values: list[NewValue],
    replaces: SpecSheet | None = None,
    by: User,
    at: datetime,
) -> SpecSheet:
    """Enter a draft. With replaces it is the next version of that sheet, whose place it takes when it is verified."""
    if replaces:
        replaces = SpecSheet.objects.select_for_update().get(pk=replaces.pk)
        if SpecSheet.objects.filter(replaces=replaces).exists():
            raise Conflict(f"{replaces} has a next version already. Change that one.", code="replaced")
        if replaces.damper_model_id != damper_model.pk:
            raise ValidationError({"replaces": f"{replaces} is a sheet of another damper model."})
        code = replaces.code
    if not values:
        raise ValidationError({"values": "A sheet needs at least one figure."})
    sheet = SpecSheet(
        code=code.strip(),
        version=replaces.version + 1 if replaces else 1,
        damper_model=damper_model,
        vehicle_model=vehicle_model,
        position=position,
        year_from=year_from,
        year_to=year_to,
        source_document=source_document.strip(),
        source_revision=source_revision.strip(),
        source_page=source_page.strip(),
        note=note,
        entered_by=by,
        entered_at=at,
        replaces=replaces,
    )
    sheet.full_clean()
    sheet.save()
    for new in values:
        _add_value(sheet, new)
    audit(who=by, kind="sheet", key=sheet.pk, what=f"entered as draft: {sheet}", at=at)
    return sheet


def _add_value(sheet: SpecSheet, new: NewValue) -> None:
    name = Measure(new.measure).label
    if new.low.si > new.entered.si or new.entered.si > new.high.si:
        allowed = show_range(new.low.si, new.high.si, new.entered.unit) if new.low.si <= new.high.si else "nothing"
        raise ValidationError(
            {"values": f"{name}: {new.entered} lies outside its own tolerance ({allowed}). Check unit and figures."}
        )
    value = SpecValue(
        sheet=sheet,
        measure=new.measure,
        value_si=new.entered.si,
        low_si=new.low.si,
        high_si=new.high.si,
        figures=new.entered.figures,
        unit=new.entered.unit,
        tolerance=new.tolerance,
        page=new.page,
        note=new.note,
    )
    value.full_clean()
    value.save()


@transaction.atomic
def verify_sheet(*, sheet: SpecSheet, by: User, at: datetime) -> SpecSheet:
    """Confirm, as a second person with the source in hand, that a draft says what its source says."""
    sheet = SpecSheet.objects.select_for_update().get(pk=sheet.pk)
    if sheet.status == SheetStatus.VERIFIED:
        return sheet
    if sheet.status == SheetStatus.WITHDRAWN:
        raise Conflict(f"{sheet} is withdrawn and cannot be verified. Enter a new one.", code="withdrawn")
    if sheet.entered_by_id == by.pk:
        raise ValidationError(
            f"You entered {sheet}, so a second person has to verify it against the source.", code="second_person"
        )
    if sheet.replaces_id:
        _withdraw(sheet.replaces, f"replaced by {sheet}", by, at)
    # Neighbours are locked in one order: two managers verifying at once meet here and not in the constraint.
    list(SpecSheet.objects.select_for_update().filter(damper_model=sheet.damper_model_id).order_by("pk"))
    if other := _rivals(sheet).first():
        raise ValidationError(
            f"{other} is verified already for {other.years()}, {other.get_position_display()}: two sheets would give "
            "two answers. Withdraw that one, or enter this one as its next version, or narrow the model years.",
            code="overlap",
        )
    sheet.status, sheet.verified_by, sheet.verified_at = SheetStatus.VERIFIED, by, at
    try:
        with transaction.atomic():
            sheet.save(update_fields=["status", "verified_by", "verified_at"])
    except IntegrityError as error:
        raise Conflict(
            "Another sheet for the same model years was verified just now. Open the spec table again.", code="overlap"
        ) from error
    audit(who=by, kind="sheet", key=sheet.pk, what=f"verified: {sheet}", at=at)
    return sheet


@transaction.atomic
def withdraw_sheet(*, sheet: SpecSheet, why: str, by: User, at: datetime) -> SpecSheet:
    """Take a sheet out of use; jobs checked in before keep the figures they were given."""
    if not why.strip():
        raise ValidationError({"why": "Say why the sheet is withdrawn."})
    sheet = SpecSheet.objects.select_for_update().get(pk=sheet.pk)
    _withdraw(sheet, why.strip(), by, at)
    return sheet


def _withdraw(sheet: SpecSheet, why: str, by: User, at: datetime) -> None:
    if sheet.status == SheetStatus.WITHDRAWN:
        return
    sheet.status = SheetStatus.WITHDRAWN
    sheet.save(update_fields=["status"])
    audit(who=by, kind="sheet", key=sheet.pk, what=f"withdrawn: {sheet}: {why}", at=at)


def _rivals(sheet: SpecSheet):
    """Verified sheets of the same rank that share a model year with this one."""
    same = SpecSheet.objects.filter(
        status=SheetStatus.VERIFIED,
        damper_model=sheet.damper_model_id,
        vehicle_model=sheet.vehicle_model_id,
        position=sheet.position,
    ).exclude(pk=sheet.pk)
    if sheet.year_to is not None:
        same = same.filter(Q(year_from=None) | Q(year_from__lte=sheet.year_to))
    if sheet.year_from is not None:
        same = same.filter(Q(year_to=None) | Q(year_to__gte=sheet.year_from))
    return same
