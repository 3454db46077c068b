"""What is on the shelf, what of it may be taken, and from which containers."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db.models import BigIntegerField, BooleanField, OuterRef, QuerySet, Subquery, Sum, Value
from django.utils import timezone

from shop.calc import containers as calc
from shop.calc.intervals import day_in_words
from shop.core.amounts import stock_amount
from shop.core.clock import local_day
from shop.parts.models import Container, Lot, Movement, Part, Reservation, ReservationState
from shop.specs.models import KitMeasure

MANY = 1000  # beyond so many parts it is quicker to add up the whole ledger than to name them


@dataclass(frozen=True)
class ContainerStock:
    """What stands on the shelf of one size, of all lots: whole ones, and what is left in opened ones."""

    container: Container
    full: int
    opened: int


@dataclass(frozen=True)
class Portion:
    """What stands on the shelf of one size and one lot; either may be unknown. Base units."""

    part: Part
    container: Container | None
    lot: Lot | None
    amount: int
    full: int  # whole containers
    opened: int  # what is left in the opened one, or all of it where there are no containers
    past: str = ""  # why the whole ones may not be used any more; empty: they may
    opened_past: str = ""  # the same of the opened one

    @property
    def usable_full(self) -> int:
        return 0 if self.past else self.full

    @property
    def usable_opened(self) -> int:
        return 0 if self.opened_past else max(self.opened, 0)

    @property
    def expired(self) -> int:
        """Base units that are on hand and may not be used any more."""
        size = self.container.size if self.container else 0
        whole = self.full * size if self.past else 0
        return whole + (max(self.opened, 0) if self.opened_past else 0)

    @property
    def usable(self) -> int:
        return max(self.amount, 0) - self.expired

    @property
    def expired_in_words(self) -> str:
        """What of it may not be used any more, and why; empty when all may."""
        if not self.expired:
            return ""
        why = self.past or self.opened_past
        what = "the opened " if self.opened_past and not self.past else ""
        named = f"{what}{self.container}, {self.lot.name}" if self.container else self.lot.name
        return f"{stock_amount(self.expired, self.part.measure)} of {named}: {why}"

    def __str__(self):
        named = [str(one) for one in (self.container, self.lot) if one]
        return ", ".join(named) or ("loose" if self.part.measure != KitMeasure.COUNT else "pieces")


@dataclass(frozen=True)
class Stock:
    """Base units of the part. What is available is usable, and neither used nor held for somebody."""

    on_hand: int = 0
    held: int = 0
    containers: list[ContainerStock] = field(default_factory=list)
    portions: list[Portion] = field(default_factory=list)

    @property
    def expired(self) -> int:
        """On hand, but past its use-by, or opened for too long."""
        return sum(one.expired for one in self.portions)

    @property
    def usable(self) -> int:
        return self.on_hand - self.expired

    @property
    def available(self) -> int:
        return max(self.usable - self.held, 0)

    @property
    def expired_in_words(self) -> list[str]:
        """What stands there and may not be used, one sentence without its full stop for each lot."""
        return [one.expired_in_words for one in self.portions if one.expired]


def stock_of(parts: Iterable[Part], *, today: date | None = None) -> dict[int, Stock]:
    """Stock of each part by its primary key, in three queries for any number of parts.

    Of a size and lot there is at most one opened container: the rest of its on hand that fills no whole one.
    """
    today = today or local_day(timezone.now())
    known = {part.pk: part for part in parts}
    moved, held = dict.fromkeys(known, 0), dict.fromkeys(known, 0)
    standing = {key: {} for key in known}
    among = {} if len(known) > MANY else {"part__in": known}
    for key, container, lot, amount, is_held in _sums(among):
        if key not in known:
            continue
        if is_held:
            held[key] = amount
            continue
        moved[key] += amount
        standing[key][container, lot] = amount
    sizes = {one.pk: one for one in Container.objects.filter(**among).order_by("size") if one.part_id in known}
    lots = {one.pk: one for one in Lot.objects.filter(**among)}
    shelves = {key: [] for key in known}
    portions = {key: [] for key in known}
    for key, places in standing.items():
        for (container, lot), amount in places.items():
            if amount:
                portions[key].append(portion(known[key], sizes.get(container), lots.get(lot), amount, today))
    for size in sizes.values():
        own = [one for one in portions[size.part_id] if one.container == size]
        full, opened = sum(one.full for one in own), sum(one.opened for one in own)
        shelves[size.part_id].append(ContainerStock(size, full, opened))
    return {key: Stock(moved[key], held[key], shelves[key], sorted(portions[key], key=_first_to_take)) for key in known}


def _sums(among: dict) -> QuerySet:
    """Rows of (part, container, lot, base units, whether that is what is held): all at one moment, in one query."""
    nothing = Value(None, output_field=BigIntegerField())
    yes, no = (Value(held, output_field=BooleanField()) for held in (True, False))
    moved = Movement.objects.filter(**among).order_by().values_list("part", "container", "lot")
    held = Reservation.objects.filter(**among, state=ReservationState.HELD).order_by().values_list("part")
    return moved.annotate(sum=Sum("amount"), is_held=no).union(
        held.annotate(no_container=nothing, no_lot=nothing, sum=Sum("amount"), is_held=yes), all=True
    )


def on_hand_of(parts: Iterable[Part] | None = None) -> dict[int, int]:
    """The sum of all movements of each part by its key, of every part without parts; in one query.

    Parts that never moved are left out.
    """
    rows = Movement.objects.all() if parts is None else Movement.objects.filter(part__in=parts)
    return dict(rows.order_by().values_list("part").annotate(Sum("amount")))


def portion(part: Part, container: Container | None, lot: Lot | None, amount: int, today: date) -> Portion:
    """What stands of a size and lot, and whether it may still be used today."""
    full, opened = divmod(max(amount, 0), container.size) if container else (0, amount)
    past = f"past its use-by of {day_in_words(lot.use_by)}" if lot and lot.use_by and lot.use_by < today else ""
    opened_past = past
    if lot and container and opened and not past:
        until = lot.opened_until(part.keeps_days)
        if until and until < today:
            opened_past = f"opened on {day_in_words(lot.opened_on)}, it keeps {part.keeps_days} days"
    return Portion(part, container, lot, amount, full, opened, past, opened_past)


def _first_to_take(one: Portion):
    """What goes bad first is taken first; among equals what came first, and what nobody knows a date of last."""
    until = one.lot.opened_until(one.part.keeps_days if one.opened else None) if one.lot else None
    return (
        one.container is None,
        until or date.max,
        one.lot.pk if one.lot else 0,
        one.container.size if one.container else 0,
    )


@dataclass(frozen=True)
class Drawn:
    """So much of one size and lot; base units."""

    container: Container | None
    lot: Lot | None
    amount: int
    opened: bool = False  # out of the opened container


def draw_portions(stock: Stock, amount: int) -> list[Drawn]:
    """From which containers and lots an amount is taken, never from what is past its date.

    Opened containers first, the one that goes bad first before the others; then the cheapest whole ones that hold the
    rest, of each size those that go bad first. What no container holds comes last.
    """
    boxed = [one for one in stock.portions if one.container and one.usable > 0]
    reach = min(amount, sum(one.usable for one in boxed))
    taken = []
    if reach > 0:
        whole = {}
        for one in boxed:
            whole[one.container] = whole.get(one.container, 0) + one.usable_full
        found = calc.cover(
            reach,
            [calc.Container(size, size.size, cents(size), count) for size, count in whole.items()],
            [calc.Opened(place, one.usable_opened) for place, one in enumerate(boxed)],
        )
        taken = [Drawn(boxed[place].container, boxed[place].lot, part, True) for place, part in found.opened]
        left = reach - sum(one.amount for one in taken)
        for size, count in found.counts.items():
            for one in boxed:
                if one.container != size or not count or not left:
                    continue
                some = min(count, one.usable_full)
                if part := min(left, some * size.size):
                    taken.append(Drawn(size, one.lot, part))
                    count, left = count - some, left - part
    rest = amount - max(reach, 0)
    for one in stock.portions:
        if rest > 0 and one.container is None and one.usable > 0:
            part = min(rest, one.usable)
            taken.append(Drawn(None, one.lot, part))
            rest -= part
    if rest > 0:
        taken.append(Drawn(None, None, rest))
    return taken


def draw(stock: Stock, amount: int) -> list[tuple[Container | None, int]]:
    """From which containers an amount is taken, as draw_portions has it; what no container holds under None."""
    return [(one.container, one.amount) for one in draw_portions(stock, amount)]


def draw_in_words(stock: Stock, amount: int, measure: str) -> list[str]:
    """What to take off the shelf for an amount, container by container; lots are named where there are any."""
    words = []
    for one in draw_portions(stock, amount):
        of = f", {one.lot}" if one.lot else ""
        if one.container is None:
            if one.lot:
                words.append(f"{stock_amount(one.amount, measure)} of {one.lot}")
        elif one.opened:
            words.append(f"the opened {one.container.name}{of}: {stock_amount(one.amount, measure)}")
        else:
            words.append(f"{-(-one.amount // one.container.size)} × {one.container.name}{of}")
    return words


def to_buy(stock: Stock, amount: int) -> list[tuple[Container, int]]:
    """The cheapest whole containers that hold an amount that is short; empty when the part is bought by the piece."""
    if amount <= 0 or not stock.containers:
        return []
    by_key = {one.container.pk: one.container for one in stock.containers}
    found = calc.cover(amount, [calc.Container(key, one.size, cents(one)) for key, one in by_key.items()])
    return [(by_key[key], count) for key, count in found.counts.items()]


def cents(container: Container) -> int:
    return int(container.price * 100)


def movements_of(part: Part, *, kind: str = "", before: int | None = None) -> QuerySet[Movement]:
    """A part's movements, the latest first, each with what was on hand after it; before is the key of the last seen."""
    rows = part.movements.order_by("-pk")
    if kind:
        rows = rows.filter(kind=kind)
    if before:
        rows = rows.filter(pk__lt=before)
    until_then = Movement.objects.filter(part=OuterRef("part"), pk__lte=OuterRef("pk")).order_by().values("part")
    rows = rows.annotate(on_hand=Subquery(until_then.annotate(all=Sum("amount")).values("all")))
    return rows.select_related("container", "lot", "by", "reservation", "corrects")
