"""The pick list for a day: which orders are gathered by then, what goes into which bag, which promises are at risk."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Exists, OuterRef, Q

from shop.core.amounts import stock_amount
from shop.dampers.models import Position
from shop.picklists.day import GatherRow, gather_rows
from shop.picklists.models import PickLine
from shop.picklists.needs import Need
from shop.workorders.models import DamperJob, JobStatus, OrderStatus, WorkOrder
from shop.workorders.services.picking import PICKED_WHILE


@dataclass(frozen=True)
class Offered:
    """An optional part of one bag: taken up on the order's own page when the inspection asks for it."""

    order: WorkOrder
    need: Need
    where: str


@dataclass(frozen=True)
class AtRisk:
    """An order whose promise hangs on parts that are not there."""

    order: WorkOrder
    part_numbers: list[str]


@dataclass(frozen=True)
class DayPicks:
    """The orders in the order of their promises, and what is taken off the shelf for them in walking order."""

    day: date
    orders: list[WorkOrder]
    left_out: list[WorkOrder]
    rows: list[GatherRow]
    bags: dict[str, str] = field(repr=False)  # where each tag's damper sits
    last: PickLine | None  # what this person picked last

    @property
    def order_of(self) -> dict[int, WorkOrder]:
        """Each order by the key of its pick list."""
        return {order.pick_list_id: order for order in self.orders}

    @property
    def offers(self) -> list[Offered]:
        """Optional parts by bag that nobody has taken up."""
        taken = {
            (one.pick_list_id, one.tag, one.asked_for) for row in self.rows for one in row.lines if one.taken_up_at
        }
        return [
            Offered(order, need, self.bags.get(need.tag, ""))
            for order in self.orders
            for need in order.pick_list.offered()
            if (order.pick_list_id, need.tag, need.part_number) not in taken
        ]

    @property
    def at_risk(self) -> list[AtRisk]:
        """Orders with something short, the earliest promise first."""
        lacks: dict[int, list[str]] = {}
        for row in self.rows:
            for line in row.lacking:
                lacks.setdefault(line.pick_list_id, []).append(line.part_number)
        return [
            AtRisk(order, list(dict.fromkeys(lacks[order.pick_list_id])))
            for order in self.orders
            if order.pick_list_id in lacks
        ]

    @property
    def dampers(self) -> int:
        return len(self.bags)


def orders_to_gather(day: date, *, today: date):
    """Running orders that arrive or are on the benches by a day and whose parts still wait, the earliest promise first.

    Those of which something was picked today stay to the evening, so that the list shows what was done.
    """
    lines = PickLine.objects.filter(pick_list=OuterRef("pick_list"))
    waiting, today_s = lines.filter(picked_at=None), lines.filter(picked_at__date=today)
    return (
        WorkOrder.objects.filter(
            Q(status=OrderStatus.BOOKED, arrives_on__lte=day) | Q(status=OrderStatus.ON_BENCH),
            Exists(waiting) | Exists(today_s),
        )
        .select_related("customer", "pick_list")
        .order_by("promised_for", "pk")
    )


def day_picks(day: date, *, today: date, without: Iterable[int] = (), by=None, part_numbers=None) -> DayPicks:
    """All that the day's page and paper say; a constant number of queries. without: keys of orders that are left out.

    With part_numbers only the rows of these parts, for an answer to one pick.
    """
    without = set(without)
    found = list(orders_to_gather(day, today=today))
    orders = [one for one in found if one.pk not in without]
    return DayPicks(
        day=day,
        orders=orders,
        left_out=[one for one in found if one.pk in without],
        rows=gather_rows([one.pick_list_id for one in orders], part_numbers),
        bags=bags_of(orders),
        last=last_pick(orders, by),
    )


def bags_of(orders: Iterable[WorkOrder]) -> dict[str, str]:
    """Where the damper of each tag sits: {"1042-3": "rear right"}; one query."""
    jobs = DamperJob.objects.filter(order__in=orders).exclude(status=JobStatus.CALLED_OFF)
    told = {value: str(Position(value).label) for value in Position.values}
    return {
        f"{1000 + order}-{index}": told.get(position, "loose")
        for order, index, position in jobs.values_list("order_id", "index", "damper__position")
    }


def last_pick(orders: Iterable[WorkOrder], by) -> PickLine | None:
    """What this person picked last for one of these orders: the one that may be put back at once."""
    if by is None:
        return None
    lines = PickLine.objects.filter(pick_list__in=[one.pick_list_id for one in orders], picked_by=by)
    return lines.filter(pick_list__order__status__in=PICKED_WHILE).order_by("-picked_at", "-pk").first()


def picked_in_words(line: PickLine, orders: Iterable[WorkOrder]) -> str:
    """Aloud, what goes where and how many bags still wait: "SK-20: 1 into bag 1042-3, rear right; 2 more to go"."""
    order = line.pick_list.order
    where = bags_of([order]).get(line.tag)
    lines = PickLine.objects.filter(pick_list__in=[one.pick_list_id for one in orders], part_number=line.part_number)
    left = lines.filter(picked_at=None).count()
    bag = f"bag {line.tag}" + (f", {where}" if where else "")
    said = f"{line.part_number}: {stock_amount(line.amount, line.measure)} into {bag}; "
    said += f"{left} more to go." if left else "that was the last one."
    if line.from_draft:
        said += " DRAFT: nobody has verified this amount. Ask before it is poured."
    return said
