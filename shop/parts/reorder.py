"""When each part is ordered again and how many at a time, with the reason in words; reads only.

The rule: the reorder point is the demand over the lead time plus a safety stock (shop.calc.inventory), and at least
what went at one time in the last year, so that a part taken three times a year is there when it is asked for. The
quantity is the one at which ordering and keeping cost least, at least what went at one time, at most a year's use, in
whole containers and packs. A manager may fix both by hand.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from math import ceil

from django.conf import settings
from django.db.models import Min, Sum
from django.utils import timezone

from shop.calc.inventory import Demand, demand, order_quantity, reorder_point
from shop.core.amounts import stock_amount
from shop.core.clock import local_day
from shop.parts.models import (
    Movement,
    MovementKind,
    Part,
    PurchaseLine,
    ReorderFix,
    SupplierItem,
)
from shop.parts.packs import cover
from shop.parts.selectors import Stock, stock_of
from shop.parts.workdays import CALENDAR_DAYS_A_WORKING_DAY

# Movements by which a part goes to a customer's dampers, or comes back from them; counts, and oil poured away, are no
# demand.
TAKEN = (MovementKind.USED, MovementKind.ISSUED, MovementKind.RETURNED)
YEAR = 365
YEAR_AGO = timedelta(days=YEAR)
WINDOW_DAYS = 180
SHORTEST_WINDOW_DAYS = 30  # of a part that is new in the stock list
FEWEST_DAYS_OF_USE = 6  # in the window; taken less often, a part is judged by the whole year
LEAD_DAYS_UNKNOWN = 10  # working days, while nobody sells the part


@dataclass(frozen=True)
class Reorder:
    """A part's reorder point and quantity in base units, what there is against it, and why.

    short is what running orders lack, on_order what is on its way; position is what is left when all of it has come and
    every order has its parts. point None: nothing was taken in a year and nobody fixed one.
    """

    part: Part
    stock: Stock
    on_order: int
    short: int
    use: Demand
    point: int | None
    amount: int
    why: str
    fix: ReorderFix | None
    reckoned_point: int | None
    reckoned_amount: int
    item: SupplierItem | None  # whose lead time counts

    @property
    def position(self) -> int:
        return self.stock.on_hand - self.stock.held - self.short + self.on_order

    @property
    def at_or_under(self) -> bool:
        return self.point is not None and self.amount > 0 and self.position <= self.point

    @property
    def to_order(self) -> int:
        """Base units to order now: what running orders lack, and up over the reorder point."""
        lacking = max(-self.position, 0)
        if not self.at_or_under:
            return lacking
        return max(lacking, self.amount, self.point - self.position + 1)


def reorder(parts: Iterable[Part], *, now: datetime, short: dict[int, int] | None = None) -> dict[int, Reorder]:
    """Reorder points of parts by their keys, in the same few queries for any number of parts.

    short tells by a part's key what running orders lack of it; this package does not know orders.
    """
    parts, today, short = list(parts), local_day(now), short or {}
    stock, coming = stock_of(parts), on_order(parts)
    used, since = _taken(parts, today), _known_since(parts, today)
    items = usual_items(parts, today)
    fixes = {one.part_id: one for one in ReorderFix.objects.filter(part__in=parts).select_related("set_by")}
    return {
        part.pk: _reorder(
            part, stock[part.pk], coming.get(part.pk, 0), short.get(part.pk, 0), used.get(part.pk, []),
            since.get(part.pk, today), today, items.get(part.pk, []), fixes.get(part.pk),
        )
        for part in parts
    }  # fmt: skip


def on_order(parts: Iterable[Part]) -> dict[int, int]:
    """Base units that suppliers are still to send, by the part's key; one query."""
    lines = PurchaseLine.objects.filter(part__in=[part.pk for part in parts]).still_to_come()
    found = {}
    for line in lines:
        found[line.part_id] = found.get(line.part_id, 0) + line.amount_to_come
    return found


def _taken(parts: list[Part], today: date) -> dict[int, list[tuple[date, int]]]:
    """What went of each part in a year, each time it was taken: day and base units; one query.

    What comes back unused counts against the time when it was taken.
    """
    first = timezone.make_aware(datetime.combine(today - timedelta(days=YEAR), time()), timezone.get_default_timezone())
    rows = (
        Movement.objects.filter(part__in=[part.pk for part in parts], kind__in=TAKEN, at__gte=first)
        .order_by("at")
        .values_list("part", "reservation", "at")
        .annotate(Sum("amount"))
    )
    times, taken_at = {}, {}
    for part, reservation, at, amount in rows:
        if amount < 0:
            taken_at[reservation] = at
        when = taken_at.get(reservation, at) if reservation else at
        went = times.setdefault(part, {})
        went[when] = went.get(when, 0) - amount
    return {
        part: [(local_day(at), amount) for at, amount in went.items() if amount > 0] for part, went in times.items()
    }


def _known_since(parts: list[Part], today: date) -> dict[int, date]:
    """The day of each part's first movement; one query."""
    rows = Movement.objects.filter(part__in=[part.pk for part in parts]).order_by().values("part")
    return {row["part"]: local_day(row["first"]) for row in rows.annotate(first=Min("at"))}


def usual_items(parts: Iterable[Part], day: date) -> dict[int, list[SupplierItem]]:
    """What can be ordered of each part, by its key, with .price of the day: the cheapest by base unit first; one query.

    Without a price comes last; of equal ones the supplier who delivers sooner.
    """
    rows = (
        SupplierItem.objects.offered()
        .priced(day)
        .filter(part__in=[part.pk for part in parts])
        .select_related("supplier", "container", "part")
    )
    found = {}
    for item in rows:
        found.setdefault(item.part_id, []).append(item)
    for items in found.values():
        items.sort(key=lambda one: (one.price is None, (one.price or 0) / one.size, one.supplier.lead_days, one.pk))
    return found


def _reorder(part, stock, coming, short, taken, since, today, items, fix) -> Reorder:
    item = items[0] if items else None
    use, year = _use(taken, since, today)
    point = reckoned = None
    amount, why = 0, _unused(today - since)
    if year.total:
        lead = item.supplier.lead_days if item else LEAD_DAYS_UNKNOWN
        spread = item.supplier.lead_deviation_days if item else 0
        normal = reorder_point(
            use.mean,
            use.deviation,
            lead * CALENDAR_DAYS_A_WORKING_DAY,
            spread * CALENDAR_DAYS_A_WORKING_DAY,
            settings.SERVICE_LEVEL_PERCENT / 100,
        )
        point = reckoned = max(_whole(normal), int(year.largest))
        amount = _amount(use, year, items)
        why = _why(part, use, year, item, lead, spread, point, amount, normal)
    reckoned_amount = amount
    if fix:
        point, amount = fix.point, fix.amount
        why = _fixed(part, fix)
    return Reorder(part, stock, coming, short, use, point, amount, why, fix, reckoned, reckoned_amount, item)


def _use(taken: list[tuple[date, int]], since: date, today: date) -> tuple[Demand, Demand]:
    """Demand in the window that says most, and over the year; a part that is new counts from its first day."""
    known = max((today - since).days, SHORTEST_WINDOW_DAYS)
    year = demand(taken, today - timedelta(days=min(YEAR, known) - 1), today)
    use = demand(taken, today - timedelta(days=min(WINDOW_DAYS, known) - 1), today)
    return (use if use.occasions >= FEWEST_DAYS_OF_USE else year), year


def _whole(amount: float) -> int:
    return ceil(round(amount, 6))  # 6.000000001 is a six that went through a square root


def _amount(use: Demand, year: Demand, items: list[SupplierItem]) -> int:
    """Base units to order at a time, in whole packs of the supplier who asks least."""
    item = items[0] if items else None
    per_year = use.mean * YEAR
    wanted = per_year / 4  # nobody knows the price: a quarter's use
    if item and item.price:
        keeping = float(item.price) / item.size * settings.KEEPING_PERCENT / 100
        wanted = order_quantity(per_year, settings.ORDER_COST, keeping)
    wanted = _whole(max(min(wanted, per_year), year.largest, 1))
    sold = [one for one in items if one.supplier_id == item.supplier_id] if item else []
    return sum(one.amount for one in cover(wanted, sold)) if sold else wanted


def _why(part, use, year, item, lead, spread, point, amount, normal) -> str:
    def told(figure):
        return stock_amount(int(figure), part.measure)

    often = f"on {use.occasions} day{'' if use.occasions == 1 else 's'}"
    words = f"Used {told(use.total)} in {use.days} days, {often}; "
    wait = f"{lead} working day{'' if lead == 1 else 's'}{f' ± {spread}' if spread else ''}"
    words += f"lead time {wait}" if item else f"nobody is known to sell it, lead time taken as {wait}"
    words += f", {settings.SERVICE_LEVEL_PERCENT:g} %"
    if year.largest >= normal:
        words += f"; at least the {told(year.largest)} that went at one time"
    return f"{words}: order when {told(point)} {_are(part, point)} left, {told(amount)} at a time."


def _are(part: Part, amount: int) -> str:
    return "are" if part.measure == "count" and amount != 1 else "is"


def _unused(known: timedelta) -> str:
    return f"Nothing was used in {min(max(known.days, 1), YEAR)} days: it is not ordered again by itself."


def _fixed(part: Part, fix: ReorderFix) -> str:
    who = f"Set by hand by {fix.set_by}: {fix.why.rstrip('.')}."
    if not fix.amount:
        return f"{who} It is not ordered again."
    point, amount = (stock_amount(one, part.measure) for one in (fix.point, fix.amount))
    return f"{who} Order when {point} {_are(part, fix.point)} left, {amount} at a time."
