"""What a spec sheet said and says, as plain data, and the difference between two of them in words."""

from dataclasses import dataclass

from shop.calc.units import show_range
from shop.core.amounts import altitude, in_full
from shop.dampers.measures import SPECIFIED, Measure
from shop.specs.models import SheetPosition, SpecSheet, years_in_words


@dataclass(frozen=True)
class Difference:
    """One thing that two sheets, or two editions of one, say differently; empty where one says nothing."""

    what: str
    before: str
    after: str


def content_of(sheet: SpecSheet) -> dict:
    """Everything a sheet says, as JSON keeps it; its code, version and state are not part of it."""
    return {
        "damper_model": str(sheet.damper_model),
        "vehicle_model": str(sheet.vehicle_model or ""),
        "position": sheet.position,
        "year_from": sheet.year_from,
        "year_to": sheet.year_to,
        "source_document": sheet.source_document,
        "source_revision": sheet.source_revision,
        "source_page": sheet.source_page,
        "note": sheet.note,
        "reference_k": sheet.reference_k,
        "reference_altitude_m": sheet.reference_altitude_m,
        "values": {
            one.measure: {
                "figures": one.figures,
                "unit": one.unit,
                "value_si": one.value_si,
                "low_si": one.low_si,
                "high_si": one.high_si,
                "tolerance": one.tolerance,
                "page": one.page,
                "note": one.note,
            }
            for one in sheet.values.all()
        },
    }


def in_words(content: dict) -> dict[str, str]:
    """What a sheet says by the names that people call it, in the order of its page. Empty ones are left out."""
    says = {
        "Damper": content["damper_model"],
        "Vehicle": content["vehicle_model"] or "whatever vehicle it sits on",
        "Position": SheetPosition(content["position"]).label,
        "Model years": years_in_words(content["year_from"], content["year_to"]),
    }
    for measure in SPECIFIED:
        says |= _figure_in_words(measure, content["values"].get(measure))
    if content["values"].get(Measure.CHARGE):
        says["Charge meant at"] = (
            f"{in_full(content['reference_k'], 'temperature')}, {altitude(content['reference_altitude_m'])}"
        )
    says |= {
        "Document": content["source_document"],
        "Revision or date": content["source_revision"],
        "Page": content["source_page"],
        "Note": content["note"],
    }
    return {name: text for name, text in says.items() if text}


def _figure_in_words(measure: Measure, value: dict | None) -> dict[str, str]:
    if value is None:
        return {}
    label = measure.label
    return {
        label: f"{value['figures']} {value['unit']}",
        f"{label}, allowed": show_range(value["low_si"], value["high_si"], value["unit"]),
        f"{label}, tolerance as printed": value["tolerance"],
        f"{label}, page": value["page"],
        f"{label}, note": value["note"],
    }


def difference(before: dict, after: dict) -> list[Difference]:
    """What two contents say differently, in the order of a sheet's page."""
    old, new = in_words(before), in_words(after)
    names = list(new) + [name for name in old if name not in new]
    return [Difference(name, old.get(name, ""), new.get(name, "")) for name in names if old.get(name) != new.get(name)]


@dataclass(frozen=True)
class Entry:
    """One edition of a sheet: who, when, why, and what it changed. The first of a next version tells it by the old."""

    number: int
    by: str
    at: object
    why: str
    changed: list[Difference]


def editions_of(sheet: SpecSheet) -> list[Entry]:
    """How the sheet came to say what it says, the newest edition first."""
    entries, before = [], content_of(sheet.replaces) if sheet.replaces else None
    for one in sheet.editions.select_related("by").order_by("number"):
        changed = difference(before, one.content) if before else []
        entries.append(Entry(one.number, str(one.by), one.at, one.why, changed))
        before = one.content
    return entries[::-1]
