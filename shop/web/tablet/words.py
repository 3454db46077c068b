"""How the bench reads a figure, its source and what was recorded."""

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.formats import date_format

from shop.core.amounts import in_full, in_other_unit, in_shop_unit, shop_unit, span
from shop.core.clock import local_day
from shop.documents.selectors.words import as_entered, source
from shop.workorders.frozen import FrozenSheet, FrozenValue
from shop.workorders.models import Reading


@dataclass(frozen=True)
class Aim:
    """The number that the hands need, in the shop's unit, with all that belongs beside it."""

    label: str
    figures: str
    unit: str
    allowed: str
    other: str
    note: str
    printed: str  # as the source prints it, where that reads differently
    source: str
    draft: bool


def aim(sheet: FrozenSheet, value: FrozenValue) -> Aim:
    unit = shop_unit(value.quantity)
    return Aim(
        label=value.label,
        # The source's own figures are rounded by nobody.
        figures=value.figures if value.unit == unit else in_shop_unit(value.value_si, value.quantity),
        unit=unit,
        allowed=span(value.low_si, value.high_si, value.quantity),
        other=in_other_unit(value.value_si, value.quantity),
        note=value.note,
        printed="" if value.unit == unit else f"{value.figures} {value.unit}",
        source=source(sheet.document, sheet.revision, value.page or sheet.page),
        draft=not sheet.verified,
    )


def aims(sheet: FrozenSheet) -> list[Aim]:
    return [aim(sheet, value) for value in sheet.values.values()]


def recorded(reading: Reading) -> str:
    """A reading with the tool, the bench temperature and who took it: one line of a list."""
    parts = [as_entered(reading)]
    if reading.bench_temperature_k is not None:
        parts.append(f"bench at {in_full(reading.bench_temperature_k, 'temperature')}")
    if reading.tool:
        parts.append(f"with {reading.tool}")
    return f"{', '.join(parts)}: {signed(reading)}"


def signed(row) -> str:
    """Who and when, of anything with by and at."""
    return f"{row.by}, {clock(row.at)}"


def clock(at: datetime) -> str:
    """Time of day at the shop, with the day unless it is today."""
    today = local_day(at) == local_day(timezone.now())
    return date_format(timezone.localtime(at), "H:i" if today else "j M Y, H:i")
