"""When parts that are short can be on the shelf."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from shop.core.amounts import stock_amount
from shop.parts.models import Part, PurchaseLine, SupplierItem
from shop.parts.reorder import usual_items
from shop.parts.workdays import add_working_days, day_name, delivery_day

ON_SHELF = "on the shelf, not held for it yet"


@dataclass(frozen=True)
class Arrival:
    """When an amount that is short can be on the shelf, and why; day None: nobody can say.

    ordered tells that all of it is on its way already; late, that its supplier should have delivered it before today,
    so that the day is only the first on which it can be counted on.
    """

    day: date | None
    words: str
    ordered: bool = False
    late: bool = False


@dataclass(frozen=True)
class Coming:
    """A line of an order that is on its way: base units, and the day from which they can be counted on."""

    line: PurchaseLine
    amount: int
    day: date
    late: bool

    @property
    def words(self) -> str:
        """By which order it comes, and when."""
        order, said = self.line.order, self.line.due_on
        if self.late:
            return f"on order, {order}; {order.supplier} is late since {day_name(said)}: ask them"
        return f"on order, {order}; {order.supplier} delivers on {day_name(self.day)}"


def arrivals(short: Mapping[Part, int], *, today: date, before: Mapping[int, int] | None = None) -> dict[int, Arrival]:
    """For each part and its missing base units, by the part's key, the day on which so much of it can be there.

    What is on its way is counted by its expected day, after what others who were promised earlier wait for (before,
    base units by the part's key); a delivery that is late counts from the next working day on. What is not on its way
    takes the lead time of the supplier who delivers soonest, if it is ordered today. Two queries for any number.
    """
    coming, sold = coming_of(short, today), usual_items(short, today)
    return {
        part.pk: arrival(
            part, amount, coming.get(part.pk, []), sold.get(part.pk, []), today, (before or {}).get(part.pk, 0)
        )
        for part, amount in short.items()
    }


def coming_of(parts: Iterable[Part], today: date) -> dict[int, list[Coming]]:
    """What is on its way of each part, the first to come first; one query."""
    found = {}
    for line in PurchaseLine.objects.filter(part__in=[part.pk for part in parts]).still_to_come():
        late = line.due_on < today
        day = add_working_days(today, 1) if late else line.due_on
        found.setdefault(line.part_id, []).append(Coming(line, line.amount_to_come, day, late))
    for rows in found.values():
        rows.sort(key=lambda one: (one.day, one.line.pk))
    return found


def arrival(
    part: Part, amount: int, coming: list[Coming], sold: list[SupplierItem], today: date, before: int = 0
) -> Arrival:
    """One part's answer from what is on its way, in the order of its coming, and what can be ordered of it."""
    if amount <= 0:
        return Arrival(today, "it is there", ordered=True)
    left = before + amount
    for one in coming:
        left -= one.amount
        if left <= 0:
            return Arrival(one.day, one.words, ordered=True, late=one.late)
    missing = stock_amount(min(left, amount), part.measure)
    part_of_it = f"{missing} not ordered" if left < amount else "not ordered"
    if not sold:
        return Arrival(None, f"{part_of_it}, and no supplier is known for {part.number}")
    soonest = min(sold, key=lambda one: (_delivers(one, today), one.supplier.name))
    day = _delivers(soonest, today)
    if left < amount:
        day = max(day, coming[-1].day)
    return Arrival(day, f"{part_of_it}; {in_words(soonest, today)}")


def in_words(item: SupplierItem, today: date) -> str:
    """When a supplier delivers what is ordered today."""
    supplier = item.supplier
    days = f"{supplier.lead_days} working day{'' if supplier.lead_days == 1 else 's'}"
    return f"{supplier} delivers in {days}: {day_name(_delivers(item, today))} if ordered today"


def _delivers(item: SupplierItem, today: date) -> date:
    return delivery_day(today, item.supplier.lead_days, item.supplier.takes_orders_on)
