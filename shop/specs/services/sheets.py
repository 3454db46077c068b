"""Spec sheets: entered by one person, verified by another, withdrawn with a reason."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max

from shop.calc.units import Entered
from shop.core.errors import Conflict, refused
from shop.core.rows import one_line
from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel
from shop.specs.history import content_of, difference
from shop.specs.models import REFERENCE_ALTITUDE_M, REFERENCE_K, SheetEdition, SheetStatus, SpecSheet
from shop.specs.search import rival_of
from shop.specs.services.figures import NewValue, add_value, check_figure, doubts
from shop.staff.models import User
from shop.staff.services import note as audit


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
    why: str = "",
    keep_flagged: bool = False,
    sure: bool = False,
    by: User,
    at: datetime,
) -> SpecSheet:
    """Enter a draft. With replaces it is the next version of that sheet, whose place it takes when it is verified.

    A code is given once; only one whose drafts were all discarded may be given again, for any place. A next version
    says why there is one. The charge is meant at the reference temperature and altitude, 20 °C and sea level unless
    the source says otherwise.
    Figures with which the IFP would hit the cap or the gas pass the limit are refused unless keep_flagged is set.
    Refused with "doubtful" when a figure is unusual for the damper model; sure=True settles it.
    """
    lock_sheets_of(damper_model)
    if replaces:
        replaces = SpecSheet.objects.get(pk=replaces.pk)
        if replaces.next_versions.exclude(status=SheetStatus.WITHDRAWN).exists():
            raise Conflict(f"{replaces} has a next version already. Change that one.", code="replaced")
        if replaces.damper_model_id != damper_model.pk:
            raise ValidationError({"replaces": f"{replaces} is a sheet of another damper model."})
        if not why.strip():
            words = f"Say why there is a next version of {replaces}: a new revision of the manual, a misread figure."
            raise refused("why", words, "why")
        code = replaces.code
        _check_leaves_no_hole(replaces, vehicle_model, position, year_from, year_to)
    sheet = SpecSheet(
        code=code.strip(),
        version=_next_version(code) if replaces else _first_version(code.strip()),
        damper_model=damper_model,
        entered_by=by,
        entered_at=at,
        replaces=replaces,
    )
    says = _says(
        vehicle_model, position, year_from, year_to, source_document, source_revision, source_page, note,
        reference_temperature, reference_altitude,
    )  # fmt: skip
    _say(sheet, says, values, keep_flagged, sure)
    _keep_edition(sheet, why, by, at)
    audit(who=by, kind="sheet", key=sheet.pk, what=f"entered as draft: {sheet}", at=at)
    return sheet


@transaction.atomic
def change_draft(
    *,
    sheet: SpecSheet,
    edition: int,
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
    why: str,
    keep_flagged: bool = False,
    sure: bool = False,
    by: User,
    at: datetime,
) -> SpecSheet:
    """Say anew all that a draft says; edition is the one that was looked at meanwhile. Its damper and code stay.

    What it said before stays readable. Whoever changes a draft cannot verify it either. Nothing different: no edition.
    """
    lock_sheets_of(sheet.damper_model)
    sheet = SpecSheet.objects.select_related("damper_model", "replaces").get(pk=sheet.pk)
    if sheet.status != SheetStatus.DRAFT:
        words = f"{sheet} is {sheet.get_status_display()}: what was verified stays as it is. Enter its next version."
        raise Conflict(words, code="not_a_draft")
    _check_edition(sheet, edition)
    if not why.strip():
        raise refused("why", "Say why the draft is changed: a misread figure, a better source.", "why")
    if sheet.replaces:
        _check_leaves_no_hole(sheet.replaces, vehicle_model, position, year_from, year_to)
    before = content_of(sheet)
    says = _says(
        vehicle_model, position, year_from, year_to, source_document, source_revision, source_page, note,
        reference_temperature, reference_altitude,
    )  # fmt: skip
    sheet.edition += 1
    _say(sheet, says, values, keep_flagged, sure)
    if changed := difference(before, content_of(sheet)):
        _answer_note(sheet)
        _keep_edition(sheet, why, by, at)
        words = "; ".join(f"{one.what}: {one.before or 'nothing'}, now {one.after or 'nothing'}" for one in changed)
        audit(who=by, kind="sheet", key=sheet.pk, what=f"draft changed, {why.strip()}: {words}", at=at)
    else:
        sheet.edition -= 1
        sheet.save(update_fields=["edition"])
    return sheet


def _says(
    vehicle_model, position, year_from, year_to, document, revision, page, note, temperature, altitude
) -> dict:  # fmt: skip
    """What a draft says besides its figures, as the columns of a sheet."""
    return {
        "vehicle_model": vehicle_model,
        "position": position,
        "year_from": year_from,
        "year_to": year_to,
        "source_document": document.strip(),
        "source_revision": revision.strip(),
        "source_page": page.strip(),
        "note": note,
        "reference_k": temperature.si if temperature else REFERENCE_K,
        "reference_altitude_m": altitude.si if altitude else REFERENCE_ALTITUDE_M,
    }


def _say(sheet: SpecSheet, says: dict, values: list[NewValue], keep_flagged: bool, sure: bool) -> None:
    """Write what a draft says, its figures and all, in the place of what it said; or refuse."""
    if not values:
        raise ValidationError({"values": "A sheet needs at least one figure."})
    for new in values:
        check_figure(new)
    own = sheet if sheet.pk else None
    doubtful = [] if sure else [question for new in values for question in doubts(new, sheet.damper_model, own)]
    for name, value in says.items():
        setattr(sheet, name, value)
    sheet.full_clean()
    sheet.save()
    sheet.values.all().delete()
    for new in values:
        add_value(sheet, new)
    found = [] if keep_flagged else sheet.flags()
    asked = {"values": [ValidationError(one, code="doubtful") for one in doubtful]} if doubtful else {}
    if found:  # both questions at once, so that nobody answers one only to meet the other
        found.append("Did you mean other figures? Mend them, or tick that they stay.")
        asked["keep_flagged"] = [ValidationError(one, code="flagged") for one in found]
    if asked:
        raise ValidationError(asked)


def _answer_note(sheet: SpecSheet) -> None:
    """Whoever changes or verifies a draft that was sent back has answered the note; the history keeps it."""
    sheet.sent_back_why = sheet.sent_back_by = None
    sheet.save(update_fields=["sent_back_why", "sent_back_by"])


def _keep_edition(sheet: SpecSheet, why: str, by: User, at: datetime) -> None:
    SheetEdition.objects.create(
        sheet=sheet, number=sheet.edition, by=by, at=at, why=one_line(why), content=content_of(sheet)
    )


def _check_edition(sheet: SpecSheet, edition: int) -> None:
    if edition != sheet.edition:
        last = sheet.editions.select_related("by").last()
        raise Conflict(
            f"{last.by} has changed {sheet} since you opened it: {last.why}. Look at what it says now.",
            code="changed_meanwhile",
        )


def _first_version(code: str) -> int:
    """The version of a new sheet. A code under which nothing but discarded drafts was entered is free again."""
    taken = SpecSheet.objects.filter(code=code).exclude(status=SheetStatus.WITHDRAWN, verified_by=None)
    if other := taken.order_by("-version").first():
        where = f"{other.damper_model}, {other.years()}, {other.get_position_display()}"
        draft = other.status == SheetStatus.DRAFT
        words = (
            f"{other} ({other.get_status_display()}) has this code already, for {where}. "
            f"{'Change that draft' if draft else 'Enter its next version'}, or give another code."
        )
        raise refused("code", words, "taken")
    return _next_version(code) if SpecSheet.objects.filter(code=code).exists() else 1


def _next_version(code: str) -> int:
    """One more than the highest of this code, withdrawn ones included."""
    return SpecSheet.objects.filter(code=code).aggregate(highest=Max("version"))["highest"] + 1


@transaction.atomic
def verify_sheet(*, sheet: SpecSheet, edition: int, flag_reason: str = "", by: User, at: datetime) -> SpecSheet:
    """Confirm, as a second person with the source in hand, that a draft says what its source says.

    edition is the one that was compared: a draft that was changed meanwhile is refused, and so is everybody who has
    entered or changed it. One whose gas is flagged needs a written reason, which is kept with the sheet.
    """
    lock_sheets_of(sheet.damper_model)
    sheet = SpecSheet.objects.select_related("replaces").get(pk=sheet.pk)
    if sheet.status == SheetStatus.VERIFIED:
        return sheet
    if sheet.status == SheetStatus.WITHDRAWN:
        raise Conflict(f"{sheet} is withdrawn and cannot be verified. Enter a new one.", code="withdrawn")
    if sheet.edition_by(by):
        raise ValidationError(
            f"You entered or changed {sheet}, so a second person has to verify it against the source.",
            code="second_person",
        )
    _check_edition(sheet, edition)
    found = sheet.flags()
    if found and not flag_reason.strip():
        raise refused("flag_reason", [*found, "Write down why the figures are right all the same."], "flagged")
    if sheet.replaces_id:
        _withdraw(sheet.replaces, f"replaced by {sheet}", by, at)
    if other := rival_of(sheet):
        raise ValidationError(
            f"{other} is verified already for {other.years()}, {other.get_position_display()}: two sheets would give "
            "two answers. Withdraw that one, or enter this one as its next version, or narrow the model years.",
            code="overlap",
        )
    _answer_note(sheet)
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
def send_back(*, sheet: SpecSheet, edition: int, why: str, by: User, at: datetime) -> SpecSheet:
    """Tell whoever entered a draft what differs from its source. It stays a draft, with the note until it is changed.

    edition is the one that was compared. Who has entered or changed it mends it and sends nothing back.
    """
    lock_sheets_of(sheet.damper_model)
    sheet = SpecSheet.objects.get(pk=sheet.pk)
    if sheet.status != SheetStatus.DRAFT:
        words = f"{sheet} is {sheet.get_status_display()}: only a draft is sent back. Open it to see its present state."
        raise Conflict(words, code="not_a_draft")
    if sheet.edition_by(by):
        words = f"You entered or changed {sheet} yourself: change the draft instead of sending it back."
        raise ValidationError(words, code="second_person")
    _check_edition(sheet, edition)
    if not why.strip():
        raise refused("why", "Say what differs from the source: which figure, and what the source prints.", "why")
    sheet.sent_back_why, sheet.sent_back_by = one_line(why), by
    sheet.full_clean()
    sheet.save(update_fields=["sent_back_why", "sent_back_by"])
    audit(who=by, kind="sheet", key=sheet.pk, what=f"sent back: {sheet}: {sheet.sent_back_why}", at=at)
    return sheet


@transaction.atomic
def withdraw_sheet(*, sheet: SpecSheet, why: str, by: User, at: datetime) -> SpecSheet:
    """Take a sheet out of use; jobs checked in before keep the figures they were given."""
    if not why.strip():
        raise ValidationError({"why": "Say why the sheet is withdrawn."})
    lock_sheets_of(sheet.damper_model)
    sheet = SpecSheet.objects.get(pk=sheet.pk)
    _withdraw(sheet, why.strip(), by, at)
    return sheet


def _withdraw(sheet: SpecSheet, why: str, by: User, at: datetime) -> None:
    if sheet.status == SheetStatus.WITHDRAWN:
        return
    sheet.status = SheetStatus.WITHDRAWN
    sheet.save(update_fields=["status"])
    audit(who=by, kind="sheet", key=sheet.pk, what=f"withdrawn: {sheet}: {why}", at=at)


def lock_sheets_of(*damper_models: DamperModel) -> None:
    """One at a time over the sheets of a damper model, so that two people at once meet here and do not deadlock.

    Whoever writes sheets of several models takes all of these first, in the order of their keys.
    """
    keys = {one.pk for one in damper_models}
    list(DamperModel.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk"))


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
