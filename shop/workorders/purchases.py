"""What running orders wait for, what to buy for it and for the shelf, and whether a promise is at risk; reads only."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Exists, OuterRef, Q

from shop.core.clock import local_day
from shop.parts.arrivals import ON_SHELF, Arrival, Coming, arrival, coming_of
from shop.parts.models import (
    Movement,
    Part,
    PurchaseLine,
    PurchaseOrder,
    PurchaseStatus,
    ReorderFix,
    Supplier,
    SupplierItem,
)
from shop.parts.packs import Buy, cover
from shop.parts.reorder import TAKEN, YEAR_AGO, Reorder, reorder, usual_items
from shop.parts.selectors import stock_of
from shop.parts.workdays import day_name, delivery_day
from shop.picklists.models import PickLine
from shop.workorders.models import OrderStatus, WorkOrder

GATHERING = (OrderStatus.BOOKED, OrderStatus.ON_BENCH)


@dataclass(frozen=True)
class Short:
    """What one running order lacks of one part, over its bags; part None: the number is not in the stock list."""

    order: WorkOrder
    part: Part | None
    part_number: str
    name: str
    measure: str
    amount: int


@dataclass(frozen=True)
class Wait:
    """One order that waits for a part: when it was promised, when the part can be there, and what that means."""

    short: Short
    promised: date
    arrival: Arrival
    says: str

    @property
    def order(self) -> WorkOrder:
        return self.short.order

    @property
    def words(self) -> str:
        """The whole sentence: LG-1042 promised Monday 30 November; …: 2 days late."""
        return f"{self.order} {self.says}"

    @property
    def late_by(self) -> int:
        """Calendar days after the promise; 0 when it can be kept, or nobody can say."""
        return max((self.arrival.day - self.promised).days, 0) if self.arrival.day else 0

    @property
    def at_risk(self) -> bool:
        return self.arrival.day is None or self.late_by > 0


@dataclass(frozen=True)
class Suggestion:
    """What to buy of one part from one supplier, for which orders, and why."""

    part: Part
    reorder: Reorder
    need: int  # base units, without what drafts hold already
    drafted: int
    buys: list[Buy]
    waits: list[Wait]
    instead: str  # another supplier who is cheaper or sooner; empty when none is

    @property
    def net(self) -> Decimal | None:
        nets = [one.net for one in self.buys]
        return None if None in nets else sum(nets, Decimal(0))

    @property
    def at_risk(self) -> bool:
        return any(one.at_risk for one in self.waits)


@dataclass(frozen=True)
class FromSupplier:
    """All that is to be bought from one supplier."""

    supplier: Supplier
    delivers_on: date
    rows: list[Suggestion]

    @property
    def total(self) -> Decimal:
        """Of the lines whose price is known."""
        return sum((row.net for row in self.rows if row.net is not None), Decimal(0))

    @property
    def without_price(self) -> int:
        return sum(row.net is None for row in self.rows)


@dataclass(frozen=True)
class ToBuy:
    """suppliers: what to order now; unsold: what is needed and nobody sells; unlisted: not in the stock list at all;
    covered: orders that wait for what is on its way, in a draft, or on the shelf already."""

    suppliers: list[FromSupplier]
    unsold: list[Suggestion]
    unlisted: list[Short]
    covered: list[Suggestion]


def waiting(parts: Iterable[Part] | None = None) -> list[Short]:
    """What running orders lack, the earliest promise first; of some parts or of all; one query."""
    lines = PickLine.objects.filter(pick_list__order__status__in=GATHERING, used=None).select_related(
        "reservation", "part", "pick_list__order"
    )
    if parts is not None:
        lines = lines.filter(part__in=[part.pk for part in parts])
    grouped: dict[tuple, list[PickLine]] = {}
    for line in lines.order_by("pick_list__order__promised_for", "pick_list__order__pk", "part_number"):
        if line.short:
            grouped.setdefault((line.pick_list_id, line.part_number, line.part_id), []).append(line)
    return [
        Short(
            order=lines[0].pick_list.order,
            part=lines[0].part,
            part_number=lines[0].part_number,
            name=lines[0].name,
            measure=lines[0].measure,
            amount=sum(line.short for line in lines),
        )
        for lines in grouped.values()
    ]


def waited_for(parts: Iterable[Part], *, promised_before: datetime | None = None) -> dict[int, int]:
    """Base units of each part that running orders lack, by its key: of all, or of those promised before a moment.

    For arrivals(before=...): what a new promise has to stand behind. One query.
    """
    found: dict[int, int] = {}
    for short in waiting(parts):
        if promised_before is None or short.order.promised_for < promised_before:
            found[short.part.pk] = found.get(short.part.pk, 0) + short.amount
    return found


def supplies(parts: Iterable[Part], *, today: date) -> dict[tuple[int, int], Arrival]:
    """How what running orders lack of some parts gets to the shelf, by the keys of order and part; none: no query.

    The earliest promise is served first, as where it is bought. A constant number of queries.
    """
    parts = {part.pk: part for part in parts}
    if not parts:
        return {}
    by_part: dict[int, list[Short]] = {}
    for short in waiting(parts.values()):
        by_part.setdefault(short.part.pk, []).append(short)
    stock, sold, coming = stock_of(parts.values()), usual_items(parts.values(), today), coming_of(parts.values(), today)
    return {
        (short.order.pk, key): found
        for key, shorts in by_part.items()
        for short, found in _served(
            parts[key], stock[key].available, shorts, sold.get(key, []), coming.get(key, []), today
        )
    }


@dataclass(frozen=True)
class HowItComes:
    """How what is short gets here, a phrase for each way; ordered: nothing of it is left to be ordered."""

    words: list[str]
    ordered: bool


def coming_in_words(found: Iterable[Arrival | None]) -> HowItComes:
    """What some arrivals say, each phrase once; None stands for what no stock list knows: it says nothing."""
    found = list(found)
    words = list(dict.fromkeys(one.words for one in found if one))
    return HowItComes(words, all(one is not None and one.ordered for one in found))


def lacks(order: WorkOrder, today: date) -> list[tuple[PickLine, HowItComes]]:
    """What one running order lacks, a line for each part, and how that gets here; its pick list may be prefetched."""
    if order.status not in GATHERING:
        return []
    short = {line.part_number: line for line in order.pick_list.lines.all() if line.short}
    found = supplies(
        Part.objects.filter(pk__in=[line.part_id for line in short.values()]) if short else (), today=today
    )
    return [(line, coming_in_words([found.get((order.pk, line.part_id))])) for line in short.values()]


def to_buy(*, now: datetime) -> ToBuy:
    """What to order now and from whom: for the orders that wait, and for what is at or under its reorder point.

    Of each part one supplier is asked: who keeps the most promises, of those the cheapest, then the soonest. A constant
    number of queries.
    """
    today, shorts = local_day(now), waiting()
    by_part: dict[Part, list[Short]] = {}
    for short in shorts:
        if short.part:
            by_part.setdefault(short.part, []).append(short)
    parts = _candidates(by_part, now)
    figures = reorder(
        parts, now=now, short={part.pk: sum(one.amount for one in by_part.get(part, [])) for part in parts}
    )
    items, coming, drafted = usual_items(parts, today), coming_of(parts, today), _drafted(parts)
    suppliers: dict[Supplier, list[Suggestion]] = {}
    unsold, covered = [], []
    for part in parts:
        found = _suggestion(
            figures[part.pk], by_part.get(part, []), items.get(part.pk, []), coming.get(part.pk, []),
            drafted.get(part.pk, 0), today,
        )  # fmt: skip
        if found.buys:
            suppliers.setdefault(found.buys[0].item.supplier, []).append(found)
        elif found.need:
            unsold.append(found)
        elif found.waits:
            covered.append(found)
    return ToBuy(
        suppliers=[
            FromSupplier(supplier, delivery_day(today, supplier.lead_days, supplier.takes_orders_on), rows)
            for supplier, rows in sorted(suppliers.items(), key=lambda one: one[0].name)
        ],
        unsold=unsold,
        unlisted=[one for one in shorts if one.part is None],
        covered=covered,
    )


def _candidates(by_part: dict[Part, list[Short]], now: datetime) -> list[Part]:
    """Parts that may have to be bought: orders wait for them, something was taken in a year, or a point was fixed."""
    taken = Movement.objects.filter(part=OuterRef("pk"), kind__in=TAKEN, at__gte=now - YEAR_AGO)
    fixed = ReorderFix.objects.filter(part=OuterRef("pk"))
    wanted = Q(pk__in=[part.pk for part in by_part]) | Exists(taken) | Exists(fixed)
    return list(Part.objects.filter(wanted).order_by("number"))


def _drafted(parts: Iterable[Part]) -> dict[int, int]:
    """Base units that stand in drafts, by the part's key; one query."""
    rows = PurchaseLine.objects.filter(
        order__status=PurchaseStatus.DRAFT, part__in=[part.pk for part in parts]
    ).select_related("item__container")
    found: dict[int, int] = {}
    for line in rows:
        found[line.part_id] = found.get(line.part_id, 0) + line.units * line.item.size
    return found


def reorder_list(*, now: datetime) -> list[Reorder]:
    """Every part that was taken in a year, is short or has a point set by hand: those to be ordered again first."""
    by_part: dict[Part, list[Short]] = {}
    for short in waiting():
        if short.part:
            by_part.setdefault(short.part, []).append(short)
    parts = _candidates(by_part, now)
    short = {part.pk: sum(one.amount for one in rows) for part, rows in by_part.items()}
    found = reorder(parts, now=now, short=short).values()
    return sorted(found, key=lambda one: (not one.to_order, one.part.number))


def _suggestion(
    figures: Reorder, shorts: list[Short], items: list[SupplierItem], coming: list[Coming], drafted: int, today: date
) -> Suggestion:
    need = max(figures.to_order - drafted, 0)
    options = []
    for supplier in dict.fromkeys(item.supplier for item in items):
        sold = [item for item in items if item.supplier == supplier]
        waits = _waits(figures, shorts, sold, coming, today)
        buys = cover(need, sold) if need else []
        options.append((sum(one.at_risk for one in waits), sold, waits, buys))
    if not options:
        waits = _waits(figures, shorts, [], coming, today)
        return Suggestion(figures.part, figures, need, drafted, [], waits, "")
    options.sort(key=lambda one: (one[0], _cost(one[3]), _delivers(one[1][0], today), one[1][0].supplier.name))
    _, sold, waits, buys = options[0]
    return Suggestion(figures.part, figures, need, drafted, buys, waits, _instead(options, today) if buys else "")


def _waits(
    figures: Reorder, shorts: list[Short], sold: list[SupplierItem], coming: list[Coming], today: date
) -> list[Wait]:
    """The orders that wait, in the order of their promises, and what that means for each."""
    waits = []
    for short, found in _served(figures.part, figures.stock.available, shorts, sold, coming, today):
        promised = local_day(short.order.promised_for)
        waits.append(Wait(short, promised, found, _in_words(promised, found)))
    return waits


def _served(
    part: Part, free: int, shorts: list[Short], sold: list[SupplierItem], coming: list[Coming], today: date
) -> Iterator[tuple[Short, Arrival]]:
    """What orders lack, in the order of their promises: what is free goes first, then what is on its way."""
    before = 0
    for short in shorts:
        left = before + short.amount - free
        if left <= 0:
            yield short, Arrival(today, ON_SHELF, ordered=True)
        else:
            yield short, arrival(part, min(short.amount, left), coming, sold, today, before=max(before - free, 0))
        before += short.amount


def _in_words(promised: date, found: Arrival) -> str:
    words = f"promised {day_name(promised)}; {found.words}"
    if found.day is None:
        return f"{words}: nobody can say when"
    late = (found.day - promised).days
    return f"{words}: {late} day{'' if late == 1 else 's'} late" if late > 0 else f"{words}: in time"


def _cost(buys: list[Buy]) -> tuple[bool, Decimal]:
    nets = [one.net for one in buys]
    return (True, Decimal(0)) if None in nets else (False, sum(nets, Decimal(0)))


def _delivers(item: SupplierItem, today: date) -> date:
    return delivery_day(today, item.supplier.lead_days, item.supplier.takes_orders_on)


def _instead(options: list[tuple], today: date) -> str:
    """Of the other suppliers one that costs less or delivers sooner, with what that means."""
    _, own, _, own_buys = options[0]
    (no_price, cost), day = _cost(own_buys), _delivers(own[0], today)
    for risk, sold, _, buys in options[1:]:
        (unknown, other), theirs = _cost(buys), _delivers(sold[0], today)
        if not (unknown or no_price) and other < cost:
            late = " and keeps fewer promises" if risk > options[0][0] else ""
            return f"{sold[0].supplier} asks {cost - other} less, delivers on {day_name(theirs)}{late}"
        if theirs < day:
            more = f" for {other - cost} more" if not (unknown or no_price) else ""
            return f"{sold[0].supplier} delivers sooner, on {day_name(theirs)}{more}"
    return ""


def late_deliveries(today: date) -> list[PurchaseLine]:
    """Lines that should have come before today, the longest late first; one query."""
    rows = [line for line in PurchaseLine.objects.still_to_come() if line.due_on < today]
    return sorted(rows, key=lambda line: (line.due_on, line.pk))


def waits_for(order: PurchaseOrder) -> list[Short]:
    """What running orders lack of the parts that an order brings, the earliest promise first; two queries."""
    return waiting(Part.objects.filter(purchase_lines__order=order).distinct())
