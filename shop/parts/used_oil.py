"""What the drums hold, and the used-oil log of a day, a month or a year, so that it adds up to the last microlitre."""

from calendar import monthrange
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Sum

from shop.calc.units import show, unit
from shop.core.amounts import shop_unit
from shop.parts.models import Drum, OilEntry, OilEntryKind

NEARLY_FULL = 80  # per cent of a drum; from there on its row says so
PERIODS = ("day", "month", "year")
CAUTION = (
    "Used oil is kept in sound, closed containers that are marked “Used Oil”, apart from solvent and water, and handed "
    "over as the local rules ask; the safety data sheet and those rules prevail. A spill is stopped, contained and "
    "cleaned up at once."
)


def exact_ml(amount: int) -> str:
    """Millilitres to the last microlitre, so that a column adds up as it stands: "340", "1892.706"."""
    whole, rest = divmod(abs(amount), 1000)
    text = f"{whole}.{rest:03d}".rstrip("0").rstrip(".") if rest else str(whole)
    return f"-{text}" if amount < 0 else text


def in_words(amount: int) -> str:
    """A volume as one speaks of it: "340 mL", "12.6 L"; of a shop that reads fluid ounces "11.4 fl oz", "3.34 gal"."""
    small = shop_unit("volume")
    large, from_ul = ("gal", 3_785_412) if small in ("fl oz", "pt", "qt", "gal") else ("L", 1_000_000)
    si = float(amount * Decimal("1e-9"))
    if abs(amount) >= from_ul or unit(small).symbol == large:
        return show(si, large, 2)
    return show(si, small)


@dataclass(frozen=True)
class DrumState:
    """A drum and what it holds, µL."""

    drum: Drum
    held: int

    @property
    def percent(self) -> int:
        return max(self.held, 0) * 100 // self.drum.capacity

    @property
    def room(self) -> int:
        return self.drum.capacity - self.held

    @property
    def words(self) -> str:
        return f"{in_words(self.held)} of {in_words(self.drum.capacity)}, {self.percent} %"

    @property
    def warning(self) -> str:
        """A sentence when it nears its capacity; else empty."""
        if self.room < 0:
            return f"Over its capacity by {in_words(-self.room)}: pour nothing more in, and have it emptied now."
        if self.percent >= NEARLY_FULL:
            return f"Nearly full: room for {in_words(self.room)} more. Call the hauler."
        return ""


def drum_states(drums: Iterable[Drum] | None = None) -> list[DrumState]:
    """What each drum holds, in two queries; without drums those that are in use."""
    drums = list(Drum.objects.filter(retired_at=None) if drums is None else drums)
    held = dict(
        OilEntry.objects.standing().filter(drum__in=drums).order_by().values_list("drum").annotate(Sum("amount"))
    )
    return [DrumState(drum, held.get(drum.pk, 0)) for drum in drums]


def held_by(drum: Drum) -> int:
    """µL in a drum by the book."""
    return drum_states([drum])[0].held


def span_of(period: str, on: date) -> tuple[date, date]:
    """First and last day of the day, month or year in which a day lies."""
    if period == "day":
        return on, on
    if period == "month":
        return on.replace(day=1), on.replace(day=monthrange(on.year, on.month)[1])
    return date(on.year, 1, 1), date(on.year, 12, 31)


@dataclass(frozen=True)
class OilLine:
    """An entry as the log shows it; one that was corrected counts no more."""

    entry: OilEntry
    counts: bool
    words: str
    note: str

    @property
    def poured(self) -> int:
        return self.entry.amount if self.counts and self.entry.kind == OilEntryKind.IN else 0

    @property
    def handed_over(self) -> int:
        return -self.entry.amount if self.counts and self.entry.kind == OilEntryKind.OUT else 0

    @property
    def difference(self) -> int:
        return self.entry.amount if self.counts and self.entry.kind == OilEntryKind.FOUND else 0


@dataclass(frozen=True)
class DrumLog:
    """One drum over a span of days, µL: opening + poured - handed_over + difference = closing."""

    drum: Drum
    opening: int
    lines: list[OilLine]

    @property
    def poured(self) -> int:
        return sum(line.poured for line in self.lines)

    @property
    def handed_over(self) -> int:
        return sum(line.handed_over for line in self.lines)

    @property
    def difference(self) -> int:
        return sum(line.difference for line in self.lines)

    @property
    def closing(self) -> int:
        return self.opening + self.poured - self.handed_over + self.difference


@dataclass(frozen=True)
class OilLog:
    first: date
    last: date
    drums: list[DrumLog]

    def total(self, what: str) -> int:
        return sum(getattr(one, what) for one in self.drums)


def oil_log(first: date, last: date) -> OilLog:
    """Every drum that was in use in these days, with its entries and papers; four queries for any number."""
    opening = dict(
        OilEntry.objects.standing().filter(on__lt=first).order_by().values_list("drum").annotate(Sum("amount"))
    )
    rows: dict[int, list[OilLine]] = {}
    entries = OilEntry.objects.filter(on__gte=first, on__lt=last + timedelta(days=1))
    for entry in (
        entries.select_related("by", "corrected_by", "movement").prefetch_related("papers").order_by("on", "pk")
    ):
        rows.setdefault(entry.drum_id, []).append(_line(entry))
    drums = [
        DrumLog(drum, opening.get(drum.pk, 0), rows.get(drum.pk, []))
        for drum in Drum.objects.order_by("name")
        if drum.retired_at is None or drum.pk in rows or opening.get(drum.pk)
    ]
    return OilLog(first, last, drums)


def _line(entry: OilEntry) -> OilLine:
    later = getattr(entry, "corrected_by", None)
    note = f"corrected by no. {later.pk}: {later.why}" if later else ""
    if entry.corrects_id:
        struck = "strikes out" if not entry.amount else "corrects"
        note = f"{struck} no. {entry.corrects_id}: {entry.why}" + (f"; {note}" if note else "")
    return OilLine(entry, later is None, words_of(entry), note)


def words_of(entry: OilEntry) -> str:
    """What an entry says, as a person would: "used oil, dark, from 1042-3 rear left, estimated"."""
    if entry.kind == OilEntryKind.OUT:
        document = f", {entry.document}" if entry.document else ""
        return f"handed over to {entry.hauler}{document}" + (", drum emptied" if entry.emptied else "")
    if entry.kind == OilEntryKind.FOUND:
        more = "more" if entry.amount >= 0 else "less"
        return (
            f"{more} in the drum than the book had, found at handing over no. {entry.difference_of_id or ''}".rstrip()
        )
    told = [entry.get_fluid_display()]
    if entry.look:
        told.append(entry.look)
    if entry.source:
        told.append(f"from {entry.source}")
    if entry.movement_id:
        told.append(f"written off as entry {entry.movement_id} of the stock")
    if entry.estimated:
        told.append("estimated")
    return ", ".join(told)
