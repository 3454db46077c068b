"""Copies of sheets for other model years: the same figures, a source page of their own."""

from dataclasses import dataclass, replace
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.specs.models import SpecSheet
from shop.specs.services.rows import each_row
from shop.specs.services.sheets import enter_sheet, lock_sheets_of
from shop.specs.services.stored import reference_of, values_of
from shop.staff.models import User


@dataclass(frozen=True)
class Copy:
    """One copy that is asked for: of which sheet, under which code, for which model years and position."""

    sheet: SpecSheet
    code: str
    position: str
    year_from: int | None = None
    year_to: int | None = None


@transaction.atomic
def copy_sheets(
    *,
    copies: list[Copy],
    source_document: str = "",
    source_revision: str = "",
    source_page: str = "",
    sure: bool = False,
    keep_flagged: bool = False,
    by: User,
    at: datetime,
) -> list[SpecSheet]:
    """Enter a draft for every copy, or none of them; each says in its first edition what it is copied from.

    A source given here holds for all copies, an empty one is each sheet's own. A figure's page of its own goes when
    the copies get another document or page. Refusals name their row: "0-code".
    """
    if not copies:
        raise ValidationError("No sheet is chosen. Tick at least one.", code="empty")
    lock_sheets_of(*(one.sheet.damper_model for one in copies))
    elsewhere = bool(source_document.strip() or source_page.strip())
    source = {"source_document": source_document, "source_revision": source_revision, "source_page": source_page}

    def enter(one: Copy) -> SpecSheet:
        sheet = one.sheet
        values = values_of(sheet)
        return enter_sheet(
            code=one.code,
            damper_model=sheet.damper_model,
            vehicle_model=sheet.vehicle_model,
            position=one.position,
            year_from=one.year_from,
            year_to=one.year_to,
            note=sheet.note,
            values=[replace(value, page="") for value in values] if elsewhere else values,
            why=f"copied from {sheet}",
            sure=sure,
            keep_flagged=keep_flagged,
            by=by,
            at=at,
            **{name: given.strip() or getattr(sheet, name) for name, given in source.items()},
            **reference_of(sheet),
        )

    return each_row(copies, enter)
