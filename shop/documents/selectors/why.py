"""Why a figure is what it is: the sheet that gives it, the rule that chose it, its source, and who says so."""

from collections.abc import Iterable
from dataclasses import dataclass

from shop.dampers.measures import Measure
from shop.documents.selectors import words
from shop.picklists.models import PickLine
from shop.workorders.frozen import FrozenSheet, FrozenValue
from shop.workorders.kit import is_sheets_oil
from shop.workorders.models import DamperJob


@dataclass(frozen=True)
class Why:
    title: str
    rule: str
    source: str
    note: str
    entered_by: str
    verified: str  # by whom and when; empty: a draft


def why(sheet: FrozenSheet, value: FrozenValue | None = None) -> Why:
    """Of a whole sheet, or of one of its figures, which may stand on a page of its own."""
    return Why(
        title=f"{sheet.code} version {sheet.version}",
        rule=sheet.rule,
        source=words.source(sheet.document, sheet.revision, (value and value.page) or sheet.page),
        note=_sentence(value.note) if value else sheet.note,
        entered_by=sheet.entered_by,
        verified=f"{sheet.verified_by}, {words.day(sheet.verified_on)}" if sheet.verified else "",
    )


def _sentence(text: str) -> str:
    return f"{text.rstrip('.')}." if text else ""


def why_oil(lines: Iterable[PickLine], sheets: dict[DamperJob, FrozenSheet]) -> list[Why]:
    """The sheets from which lines of a pick list take their oil; none for a part whose amount its parts list gives."""
    by_tag = {job.tag: sheet for job, sheet in sheets.items()}
    chosen = [by_tag[line.tag] for line in lines if line.tag in by_tag and is_sheets_oil(line, by_tag[line.tag])]
    figures = [(sheet, sheet.values.get(Measure.OIL_VOLUME)) for sheet in chosen]
    return list(dict.fromkeys(why(sheet, value) for sheet, value in figures if value))
