from dataclasses import dataclass
from datetime import date, datetime

from django.conf import settings
from django.utils import timezone
from django.utils.formats import date_format

from shop.core.amounts import stock_amount
from shop.core.clock import local_day
from shop.documents.selectors import words
from shop.picklists.day import GatherRow
from shop.workorders.day_picks import DayPicks, day_picks
from shop.workorders.models import WorkOrder

NO_BIN = "no bin"


@dataclass(frozen=True)
class DayBag:
    tag: str
    where: str
    amount: str
    picked: bool
    short: str
    draft: bool


@dataclass(frozen=True)
class DayBags:
    """The bags of one order that take a part."""

    number: str
    customer: str
    promised: str
    bags: list[DayBag]


@dataclass(frozen=True)
class DayRow:
    """One part over all orders; amount is what is still to be taken."""

    bin: str
    amount: str
    name: str
    number: str
    each: str
    take: str
    short: str
    instead: str
    picked: bool
    draft: bool
    orders: list[DayBags]


@dataclass(frozen=True)
class DayPicksPaper:
    shop: str
    day: str
    as_of: str
    orders: list[str]
    dampers: int
    rows: list[DayRow]
    at_risk: list[str]
    offers: list[str]


def day_picks_paper(day: date, *, without, at: datetime) -> DayPicksPaper:
    """The parts of a day over all orders in walking order, as the stock stands at this moment."""
    found = day_picks(day, today=local_day(at), without=without)
    return DayPicksPaper(
        shop=settings.SHOP["name"],
        day=date_format(day, "l j F Y"),
        as_of=words.moment(at),
        orders=[order.number for order in found.orders],
        dampers=found.dampers,
        rows=[_row(row, found) for row in found.rows],
        at_risk=[
            f"{one.order.number} {one.order.customer.name}, promised {_promised(one.order)}: "
            f"{', '.join(one.part_numbers)}"
            for one in found.at_risk
        ],
        offers=[
            f"{one.need.tag} {one.where}: {one.need.name} {one.need.part_number}, "
            f"{words.pieces(one.need.amount, one.need.measure)}"
            for one in found.offers
        ],
    )


def _row(row: GatherRow, found: DayPicks) -> DayRow:
    groups: dict[int, list[DayBag]] = {}
    for line in row.lines:
        short = 0 if line.picked_at else line.short
        groups.setdefault(line.pick_list_id, []).append(
            DayBag(
                line.tag,
                found.bags.get(line.tag, ""),
                words.pieces(line.amount, row.measure),
                line.picked_at is not None,
                stock_amount(short, row.measure) if short else "",
                line.from_draft,
            )
        )
    order_of = found.order_of
    dampers, pieces = len(row.lines), row.needed
    return DayRow(
        bin=row.bin or NO_BIN,
        amount=words.pieces(row.to_take, row.measure),
        name=row.name,
        number=row.part_number,
        each=f"{dampers} damper{'s' if dampers > 1 else ''}, {pieces} in all" if row.measure == "count" else "",
        take=", then ".join(row.plan),
        short=_short(row),
        instead=" ".join(
            f"An alternate is on hand: {one.name} {one.part_number}, {words.pieces(one.free, row.measure)} free. "
            "Choose it on the page first."
            for one in row.on_hand_instead
        ),
        picked=row.done,
        draft=row.from_draft,
        orders=[
            DayBags(order_of[key].number, order_of[key].customer.name, _promised(order_of[key]), bags)
            for key, bags in groups.items()
        ],
    )


def _short(row: GatherRow) -> str:
    if not row.short:
        return ""
    missing = stock_amount(row.short, row.measure)
    if not row.part:
        return f"{missing} short: not in the stock list"
    buy = " and ".join(f"{count} × {container}" for container, count in row.buy) or missing
    return f"{missing} short: buy {buy}"


def _promised(order: WorkOrder) -> str:
    return date_format(timezone.localtime(order.promised_for, timezone.get_default_timezone()), "D j M, H:i")
