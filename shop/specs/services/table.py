"""Many drafts written at once, as they stand in a table."""

from dataclasses import dataclass, replace
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.errors import refused
from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel
from shop.specs.models import SpecSheet
from shop.specs.services.figures import NewValue
from shop.specs.services.rows import each_row
from shop.specs.services.sheets import change_draft, enter_sheet, lock_sheets_of
from shop.specs.services.stored import reference_of, values_of
from shop.staff.models import User


@dataclass(frozen=True)
class DraftRow:
    """One row: a new sheet, or what a draft says from now on; edition is the one of the draft that was looked at."""

    damper_model: DamperModel
    code: str
    position: str
    source_document: str
    source_revision: str
    source_page: str
    values: list[NewValue]
    vehicle_model: VehicleModel | None = None
    year_from: int | None = None
    year_to: int | None = None
    sheet: SpecSheet | None = None
    edition: int = 0


@transaction.atomic
def write_drafts(
    *, rows: list[DraftRow], why: str, sure: bool = False, keep_flagged: bool = False, by: User, at: datetime
) -> list[SpecSheet]:
    """Enter the new sheets and change the drafts, all of them or none, with one reason for the whole change.

    What a table has no column for stays as the draft has it: its note, the page and note of a figure, the conditions
    at which its charge is meant. Refusals name their row: "2-code", "0-values".
    """
    if not rows:
        raise ValidationError("Nothing in the table is new or different. Type into a cell first.", code="nothing")
    if not why.strip():
        raise refused("why", "Say why: what these figures were copied from, or what was misread.", "why")

    lock_sheets_of(*(row.damper_model for row in rows))

    def write(row: DraftRow) -> SpecSheet:
        says = {
            "vehicle_model": row.vehicle_model,
            "position": row.position,
            "year_from": row.year_from,
            "year_to": row.year_to,
            "source_document": row.source_document,
            "source_revision": row.source_revision,
            "source_page": row.source_page,
            "why": why,
            "sure": sure,
            "keep_flagged": keep_flagged,
            "by": by,
            "at": at,
        }
        if row.sheet is None:
            return enter_sheet(code=row.code, damper_model=row.damper_model, values=row.values, **says)
        return change_draft(
            sheet=row.sheet,
            edition=row.edition,
            values=_with_what_was_noted(row.sheet, row.values),
            note=row.sheet.note,
            **reference_of(row.sheet),
            **says,
        )

    return each_row(rows, write)


def _with_what_was_noted(sheet: SpecSheet, values: list[NewValue]) -> list[NewValue]:
    noted = {one.measure: one for one in values_of(sheet)}
    return [
        replace(one, page=noted[one.measure].page, note=noted[one.measure].note) if one.measure in noted else one
        for one in values
    ]
