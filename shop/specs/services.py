from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max

from shop.calc.units import Entered, show, show_range
from shop.core.amounts import stock_amount
from shop.core.errors import Conflict, refused
from shop.core.rows import one_line, sharing_years
from shop.customers.models import Vehicle, VehicleModel
from shop.dampers.measures import MOST_SI, QUANTITY, Measure, in_a_sentence
from shop.dampers.models import Damper, DamperModel
from shop.specs.models import (
    MOST_AT_ONCE,
    REFERENCE_ALTITUDE_M,
    REFERENCE_K,
    KitLine,
    ServiceInterval,
    SheetStatus,
    SpecSheet,
    SpecValue,
    years_in_words,
)
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
    reference_temperature: Entered | None = None,
    reference_altitude: Entered | None = None,
    values: list[NewValue],
    replaces: SpecSheet | None = None,
    keep_flagged: bool = False,
    sure: bool = False,
    by: User,
    at: datetime,
) -> SpecSheet:
    """Enter a draft. With replaces it is the next version of that sheet, whose place it takes when it is verified.

    The charge is meant at the reference temperature and altitude, 20 °C and sea level unless the source says otherwise.
    Figures with which the IFP would hit the cap or the gas pass the limit are refused unless keep_flagged is set.
    Refused with "doubtful" when a figure is far from those on the model's other sheets; sure=True settles it.
    """
    _lock_sheets_of(damper_model)
    if replaces:
        replaces = SpecSheet.objects.get(pk=replaces.pk)
        if SpecSheet.objects.filter(replaces=replaces).exists():
            raise Conflict(f"{replaces} has a next version already. Change that one.", code="replaced")
        if replaces.damper_model_id != damper_model.pk:
            raise ValidationError({"replaces": f"{replaces} is a sheet of another damper model."})
        code = replaces.code
        _check_leaves_no_hole(replaces, vehicle_model, position, year_from, year_to)
    if not values:
        raise ValidationError({"values": "A sheet needs at least one figure."})
    for new in values:
        _check_figure(new)
    if not sure and (doubts := [doubt for new in values if (doubt := _doubt(damper_model, new))]):
        raise refused("values", doubts, "doubtful")
    sheet = SpecSheet(
        code=code.strip(),
        version=_next_version(code) if replaces else 1,
        damper_model=damper_model,
        vehicle_model=vehicle_model,
        position=position,
        year_from=year_from,
        year_to=year_to,
        source_document=source_document.strip(),
        source_revision=source_revision.strip(),
        source_page=source_page.strip(),
        note=note,
        reference_k=reference_temperature.si if reference_temperature else REFERENCE_K,
        reference_altitude_m=reference_altitude.si if reference_altitude else REFERENCE_ALTITUDE_M,
        entered_by=by,
        entered_at=at,
        replaces=replaces,
    )
    sheet.full_clean()
    sheet.save()
    for new in values:
        _add_value(sheet, new)
    found = sheet.flags()
    if found and not keep_flagged:
        question = "Did you mean other figures? Mend them, or tick that they stay."
        raise refused("keep_flagged", [*found, question], "flagged")
    audit(who=by, kind="sheet", key=sheet.pk, what=f"entered as draft: {sheet}", at=at)
    return sheet


def _next_version(code: str) -> int:
    """One more than the highest of this code, withdrawn ones included."""
    return SpecSheet.objects.filter(code=code).aggregate(highest=Max("version"))["highest"] + 1


def _check_figure(new: NewValue) -> None:
    """Refuse what no damper of this trade is set to, the limits of its tolerance included."""
    most = MOST_SI[QUANTITY[new.measure]]
    for one in (new.entered, new.high):
        if one.si > most:
            words = (
                f"{Measure(new.measure).label}: {one} is more than any damper of a side-by-side takes, at most "
                f"{show(most, one.unit)}. Check unit and figures."
            )
            raise refused("values", words, "too_much")


# More than so many times another sheet's figure, or less than that part of it, is asked about before it is believed.
# Two neighbouring model years may well differ by a factor of two. Common practice, no source.
DOUBTFUL_FACTOR = 2.5
# What two units that are taken for each other differ by, and the one that may be meant.
MISTAKEN = {
    "torque": [(12, "lbf·in"), (1.356, "N·m")],
    "pressure": [(14.5, "bar"), (6.9, "kPa"), (100, "kPa")],
    "length": [(25.4, "mm")],
    "volume": [(29.6, "fl oz")],
}
NEAR = 1.25  # how near a factor has to be to one of these


def _doubt(damper_model: DamperModel, new: NewValue) -> str:
    """A question about a figure that is far from the nearest one on the model's other sheets; empty when it is not."""
    others = SpecValue.objects.filter(sheet__damper_model=damper_model, measure=new.measure, value_si__gt=0).exclude(
        sheet__status=SheetStatus.WITHDRAWN
    )
    factors = (
        [
            (max(new.entered.si / one.value_si, one.value_si / new.entered.si), one)
            for one in others.select_related("sheet")
        ]
        if new.entered.si > 0
        else []
    )
    if not factors:
        return ""
    factor, nearest = min(factors, key=lambda pair: pair[0])
    if factor <= DOUBTFUL_FACTOR:
        return ""
    quantity = QUANTITY[new.measure]
    units = [unit for known, unit in MISTAKEN.get(quantity, []) if known / NEAR < factor < known * NEAR]
    way = "times" if new.entered.si > nearest.value_si else "times less than"
    return (
        f"{Measure(new.measure).label}: {new.entered} is about {factor:.2g} {way} the {nearest.figures} {nearest.unit} "
        f"of {nearest.sheet}. Look at the source once more{': is it in ' + units[0] + '?' if units else '.'} "
        f"If the {in_a_sentence(new.measure)} is right, say so below."
    )


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
def verify_sheet(*, sheet: SpecSheet, flag_reason: str = "", by: User, at: datetime) -> SpecSheet:
    """Confirm, as a second person with the source in hand, that a draft says what its source says.

    One whose gas is flagged needs a written reason, which is kept with the sheet.
    """
    _lock_sheets_of(sheet.damper_model)
    sheet = SpecSheet.objects.select_related("replaces").get(pk=sheet.pk)
    if sheet.status == SheetStatus.VERIFIED:
        return sheet
    if sheet.status == SheetStatus.WITHDRAWN:
        raise Conflict(f"{sheet} is withdrawn and cannot be verified. Enter a new one.", code="withdrawn")
    if sheet.entered_by_id == by.pk:
        raise ValidationError(
            f"You entered {sheet}, so a second person has to verify it against the source.", code="second_person"
        )
    found = sheet.flags()
    if found and not flag_reason.strip():
        raise refused("flag_reason", [*found, "Write down why the figures are right all the same."], "flagged")
    if sheet.replaces_id:
        _withdraw(sheet.replaces, f"replaced by {sheet}", by, at)
    if other := _rivals(sheet).first():
        raise ValidationError(
            f"{other} is verified already for {other.years()}, {other.get_position_display()}: two sheets would give "
            "two answers. Withdraw that one, or enter this one as its next version, or narrow the model years.",
            code="overlap",
        )
    sheet.status, sheet.verified_by, sheet.verified_at = SheetStatus.VERIFIED, by, at
    sheet.flag_reason = flag_reason.strip() if found else ""
    try:
        with transaction.atomic():
            sheet.save(update_fields=["status", "verified_by", "verified_at", "flag_reason"])
    except IntegrityError as error:
        raise Conflict(
            "Another sheet for the same model years was verified just now. Open the spec table again.", code="overlap"
        ) from error
    what = f"verified: {sheet}" + (f", although flagged: {sheet.flag_reason}" if found else "")
    audit(who=by, kind="sheet", key=sheet.pk, what=what, at=at)
    return sheet


@transaction.atomic
def withdraw_sheet(*, sheet: SpecSheet, why: str, by: User, at: datetime) -> SpecSheet:
    """Take a sheet out of use; jobs checked in before keep the figures they were given."""
    if not why.strip():
        raise ValidationError({"why": "Say why the sheet is withdrawn."})
    _lock_sheets_of(sheet.damper_model)
    sheet = SpecSheet.objects.get(pk=sheet.pk)
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
    return SpecSheet.objects.filter(
        sharing_years(sheet.year_from, sheet.year_to),
        status=SheetStatus.VERIFIED,
        damper_model=sheet.damper_model_id,
        vehicle_model=sheet.vehicle_model_id,
        position=sheet.position,
    ).exclude(pk=sheet.pk)


def _lock_sheets_of(damper_model: DamperModel) -> None:
    """One at a time over the sheets of a damper model, so that two people at once meet here and do not deadlock."""
    DamperModel.objects.select_for_update(no_key=True).get(pk=damper_model.pk)


def _check_leaves_no_hole(old: SpecSheet, vehicle_model, position: str, year_from, year_to) -> None:
    """A next version takes the whole place of the one before, or some damper would be left without a sheet."""
    if (old.vehicle_model, old.position) != (vehicle_model, position):
        where = f"{old.get_position_display()}, {old.vehicle_model or 'whatever vehicle it sits on'}"
        raise ValidationError(
            f"A next version of {old} holds for the same place ({where}). For another place enter a new sheet.",
            code="another_place",
        )
    covers = (year_from is None or (old.year_from is not None and year_from <= old.year_from)) and (
        year_to is None or (old.year_to is not None and old.year_to <= year_to)
    )
    if not covers:
        raise ValidationError(
            f"{old} holds for {old.years()}; a next version for fewer years would leave the others without a sheet. "
            "Keep the years, or withdraw it and enter a new sheet for each range.",
            code="hole",
        )


@transaction.atomic
def add_kit_line(
    *,
    damper_model: DamperModel,
    part_number: str,
    name: str,
    measure: str,
    amount: int | None,
    year_from: int | None = None,
    year_to: int | None = None,
    by: User,
    at: datetime,
) -> KitLine:
    """Add a part or fluid to what a rebuild of one such damper takes; orders take it up when they are checked in.

    amount in base units; None for a volume means the oil volume of the spec sheet.
    """
    damper_model = DamperModel.objects.select_for_update(no_key=True).get(pk=damper_model.pk)
    if amount is not None and amount <= 0:
        raise ValidationError({"amount": f"No damper takes {stock_amount(amount, measure)}. Give more than zero."})
    most = MOST_AT_ONCE.get(measure)  # a measure that there is none of is refused below, with the row
    if amount is not None and most is not None and amount > most:
        words = f"{stock_amount(amount, measure)} for one damper is a slip; at most {stock_amount(most, measure)}."
        raise refused("amount", words, "too_much")
    if year_from is not None and year_to is not None and year_to < year_from:
        raise ValidationError({"year_to": f"{year_to} lies before the first model year, {year_from}."})
    line = KitLine(
        damper_model=damper_model,
        part_number=part_number.strip(),
        name=one_line(name),
        measure=measure,
        amount=amount,
        year_from=year_from,
        year_to=year_to,
    )
    rivals = damper_model.kit_lines.filter(sharing_years(year_from, year_to), part_number__iexact=line.part_number)
    if rival := rivals.first():
        raise ValidationError(
            {
                "part_number": f"{_kit_line_in_words(rival)} is in this parts list already. "
                "Remove that line first, or give model years that it leaves free."
            },
            code="known",
        )
    line.full_clean()
    line.save()
    what = f"parts list: {_kit_line_in_words(line)}"
    audit(who=by, kind="dampermodel", key=damper_model.pk, what=what, at=at)
    return line


@transaction.atomic
def remove_kit_line(*, line: KitLine, by: User, at: datetime) -> None:
    """Take a line off a parts list. Twice is as good as once; jobs on the bench keep what was picked for them."""
    removed, _ = KitLine.objects.filter(pk=line.pk).delete()
    if removed:
        what = f"off the parts list: {_kit_line_in_words(line)}"
        audit(who=by, kind="dampermodel", key=line.damper_model_id, what=what, at=at)


def _kit_line_in_words(line: KitLine) -> str:
    amount = "oil volume of the spec sheet" if line.amount is None else stock_amount(line.amount, line.measure)
    return f"{line}, {amount}, {years_in_words(line.year_from, line.year_to)}"


@transaction.atomic
def set_interval(
    *,
    damper_model: DamperModel,
    months: int | None = None,
    distance: Entered | None = None,
    hours: Entered | None = None,
    source: str,
    by: User,
    at: datetime,
) -> ServiceInterval:
    """Say when such dampers are due, whichever comes first, in the place of what was said before.

    Marks the forecasts of the vehicles that carry one as stale.
    """
    damper_model = DamperModel.objects.select_for_update(no_key=True).get(pk=damper_model.pk)
    given = {"months": months, "distance": distance and distance.si, "hours": hours and hours.si}
    for name, value in given.items():
        if value is not None and value <= 0:
            raise ValidationError({name: "Service cannot be due after zero. Give more, or leave it empty."})
    if not source.strip():
        raise ValidationError({"source": "Say where the interval comes from: document and page, or the shop's own."})
    interval = ServiceInterval.objects.filter(damper_model=damper_model).first()
    interval = interval or ServiceInterval(damper_model=damper_model)
    interval.months, interval.distance_m, interval.hours_s = given.values()
    interval.source = one_line(source)
    interval.full_clean()
    interval.save()
    # Locked in one order, like the forecasts that are computed meanwhile.
    carriers = Damper.objects.filter(model=damper_model).values("vehicle")
    stale = Vehicle.objects.filter(pk__in=carriers).order_by("pk").select_for_update(no_key=True)
    Vehicle.objects.filter(pk__in=list(stale.values_list("pk", flat=True))).update(forecast_stale=True)
    rules = [f"{months} months" if months else "", str(distance or ""), str(hours or "")]
    what = f"service interval: {' or '.join(filter(None, rules))} ({interval.source})"
    audit(who=by, kind="dampermodel", key=damper_model.pk, what=what, at=at)
    return interval
