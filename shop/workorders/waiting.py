"""What an order waits for besides the hands at the bench: parts, the customer's answer, the customer to collect it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db import models

from shop.calc.bench_time import named
from shop.parts.arrivals import ON_SHELF, Arrival, arrivals
from shop.parts.models import Part
from shop.parts.selectors import stock_of
from shop.picklists.models import PickLine
from shop.workorders.agreed import asked_in_words, waiting_of
from shop.workorders.models import OrderStatus, WorkOrder
from shop.workorders.purchases import supplies


class WaitKind(models.TextChoices):
    PARTS = "parts", "for parts"
    ANSWER = "answer", "for the customer's answer"
    COLLECT = "collect", "for the customer to collect it"


@dataclass(frozen=True)
class Wait:
    """One thing an order waits for, in words that end a sentence; until: the day it can be over, None: nobody knows."""

    kind: str
    words: str
    until: date | None = None


@dataclass(frozen=True)
class ShortPart:
    """A part that is short, and when so much of it can be there that all who wait for it have theirs.

    The day of a part whose supplier is late is the first on which it can be counted on; nobody can promise it.
    """

    number: str
    name: str
    day: date | None
    words: str
    ordered: bool = False
    late: bool = False

    @property
    def sure_by(self) -> date | None:
        """The day to promise by; None: nobody can say."""
        return None if self.late else self.day

    def in_words(self, today: date) -> str:
        """As the end of a sentence: "seal kit H2 (SK-H2), expected Friday 27", or what is to be done about it."""
        expected = self.ordered and not self.late and self.day and self.day > today
        return f"{self.name} ({self.number}), {f'expected {named(self.day, today)}' if expected else self.words}"


def waits_for(order: WorkOrder, today: date) -> list[Wait]:
    """What one order waits for; empty: nothing but hands."""
    return waits_of([order], today)[order.pk]


def waits_of(orders: Iterable[WorkOrder], today: date) -> dict[int, list[Wait]]:
    """The same for many orders, by their keys, in a constant number of queries; their pick lists may be prefetched."""
    orders = list(orders)
    parts, answers = short_parts_of(orders, today), _answers(orders)
    waits = {}
    for order in orders:
        found = [Wait(WaitKind.PARTS, one.in_words(today), one.sure_by) for one in parts.get(order.pk, ())]
        found += answers.get(order.pk, ())
        if order.status == OrderStatus.READY:
            found.append(Wait(WaitKind.COLLECT, "the customer to collect it"))
        waits[order.pk] = found
    return waits


def _answers(orders: list[WorkOrder]) -> dict[int, list[Wait]]:
    """By the orders' keys, the questions for which work stands still."""
    return {order.pk: [Wait(WaitKind.ANSWER, asked_in_words(one)) for one in waiting_of(order)] for order in orders}


def short_parts_of(orders: list[WorkOrder], today: date) -> dict[int, list[ShortPart]]:
    """For each order that is not done the parts that it is short of, each once."""
    short = {
        order.pk: {line.part_number: line for line in order.pick_list.lines.all() if line.short}
        for order in orders
        if order.status in (OrderStatus.BOOKED, OrderStatus.ON_BENCH)
    }
    parts = {line.part_id: line.part_id for lines in short.values() for line in lines.values() if line.part_id}
    when = supplies(Part.objects.filter(pk__in=parts), today=today) if parts else {}
    return {
        key: [_short_part(line.part_number, line.name, when.get((key, line.part_id))) for line in lines.values()]
        for key, lines in short.items()
        if lines
    }


def expected(parts: Iterable[Part], besides: dict[int, int], today: date) -> dict:
    """When enough of each part can be there for every running order that lacks it, and for besides (base units).

    What lies free on the shelf counts first, as it does in what is to be bought.
    """
    parts = list(parts)
    missing = defaultdict(int, besides)
    running = [OrderStatus.BOOKED, OrderStatus.ON_BENCH]
    lines = PickLine.objects.filter(part__in=parts, used=None, pick_list__order__status__in=running)
    for line in lines.select_related("reservation"):
        missing[line.part_id] += line.short
    stock = stock_of(parts, today=today)
    lacking = {part: missing[part.pk] - stock[part.pk].available for part in parts if missing[part.pk]}
    on_shelf = {part.pk: Arrival(today, ON_SHELF, ordered=True) for part, amount in lacking.items() if amount <= 0}
    return on_shelf | arrivals({part: amount for part, amount in lacking.items() if amount > 0}, today=today)


def _short_part(number: str, name: str, arrival: Arrival | None) -> ShortPart:
    if arrival is None:
        return ShortPart(number, name, None, "which the stock list does not know")
    return ShortPart(number, name, arrival.day, arrival.words, arrival.ordered, arrival.late)


def short_for(wanted: Iterable, today: date) -> list[ShortPart]:
    """What would be short if these needs (picklists.needs.Need) were asked for now, beside all that is held already."""
    amounts, names = defaultdict(int), {}
    for need in wanted:
        if not need.optional:
            amounts[need.part_number, need.measure] += need.amount
            names[need.part_number, need.measure] = need.name
    parts = {(part.number, part.measure): part for part in Part.objects.filter(number__in=[key[0] for key in amounts])}
    stock = stock_of([parts[key] for key in amounts if key in parts])
    lacking = {key: amount - (stock[parts[key].pk].available if key in parts else 0) for key, amount in amounts.items()}
    lacking = {key: amount for key, amount in lacking.items() if amount > 0}
    known = {parts[key].pk: amounts[key] for key in lacking if key in parts}
    when = expected([parts[key] for key in lacking if key in parts], known, today) if known else {}
    return [_short_part(key[0], names[key], when.get(parts[key].pk) if key in parts else None) for key in lacking]
