from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.utils import timezone
from django.utils.formats import date_format

from shop.parts.used_oil import CAUTION, DrumLog, exact_ml, in_words, oil_log


@dataclass(frozen=True)
class OilRow:
    number: str
    day: str
    words: str
    note: str
    entered: str
    poured: str
    handed_over: str
    difference: str
    by: str
    counts: bool


@dataclass(frozen=True)
class OilDrum:
    name: str
    holds: str
    capacity: str
    opening: str
    poured: str
    handed_over: str
    difference: str
    closing: str
    closing_in_words: str
    rows: list[OilRow]


@dataclass(frozen=True)
class OilSheet:
    shop: str
    address: str
    words: str
    first: str
    last: str
    caution: str
    drums: list[OilDrum]
    poured: str
    handed_over: str


def oil_sheet(first: date, last: date, words: str) -> OilSheet:
    """The used-oil log of a span of days, drum by drum, with sums that add up as they are printed."""
    found = oil_log(first, last)
    return OilSheet(
        shop=settings.SHOP["name"],
        address=", ".join(filter(None, (settings.SHOP["address"].replace("\n", ", "), settings.SHOP["phone"]))),
        words=words,
        first=date_format(first, "j M Y"),
        last=date_format(last, "j M Y"),
        caution=CAUTION,
        drums=[_drum(one) for one in found.drums],
        poured=in_words(found.total("poured")),
        handed_over=in_words(found.total("handed_over")),
    )


def _drum(one: DrumLog) -> OilDrum:
    return OilDrum(
        name=str(one.drum),
        holds=one.drum.get_holds_display(),
        capacity=in_words(one.drum.capacity),
        opening=exact_ml(one.opening),
        poured=exact_ml(one.poured),
        handed_over=exact_ml(one.handed_over),
        difference=exact_ml(one.difference),
        closing=exact_ml(one.closing),
        closing_in_words=in_words(one.closing),
        rows=[_row(line) for line in one.lines],
    )


def _row(line) -> OilRow:
    entry = line.entry
    noted = date_format(timezone.localtime(entry.at, timezone.get_default_timezone()), "j M, H:i")
    return OilRow(
        number=str(entry.pk),
        day=date_format(entry.on, "j M Y"),
        words=line.words,
        note=line.note,
        entered=f"{entry.figures} {entry.unit}",
        poured=exact_ml(line.poured) if line.poured else "",
        handed_over=exact_ml(line.handed_over) if line.handed_over else "",
        difference=exact_ml(line.difference) if line.difference else "",
        by=f"{entry.by}, {noted}",
        counts=line.counts,
    )
