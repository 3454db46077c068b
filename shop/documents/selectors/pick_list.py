from dataclasses import dataclass
from datetime import datetime

from django.conf import settings

from shop.documents.selectors import words
from shop.documents.selectors.why import Why, why_oil
from shop.picklists.selectors import PickRow, pick_sheet
from shop.workorders.agreed import agreed_in_words
from shop.workorders.models import WorkOrder
from shop.workorders.selectors import sheets_of


@dataclass(frozen=True)
class Bag:
    tag: str
    where: str
    amount: str


@dataclass(frozen=True)
class Row:
    """One part, summed over the bags."""

    bin: str
    amount: str
    name: str
    number: str
    take: str  # from which containers
    short: str  # what is missing and what to buy; empty when nothing is
    instead: str  # alternates on hand for what is missing, or the number in whose place this one was chosen
    picked: bool
    draft: bool  # the amount comes from a sheet that nobody has verified
    bags: list[Bag]
    why: list[Why]  # oil: the sheets that give its volume


@dataclass(frozen=True)
class PickPaper:
    shop: str
    number: str
    customer: str
    vehicle: str
    promised: str
    agreed: str
    as_of: str
    short: bool
    rows: list[Row]


def pick_paper(order: WorkOrder, at: datetime) -> PickPaper:
    """The parts of an order in the order of the bins, as the stock stands at this moment."""
    order = WorkOrder.objects.select_related("customer", "vehicle__model", "pick_list").get(pk=order.pk)
    jobs = list(order.jobs.select_related("damper__model", "damper__vehicle__model").prefetch_related("spec_changes"))
    where = {job.tag: job.damper.where() for job in jobs}
    sheet, sheets = pick_sheet(order.pick_list), sheets_of(jobs)
    return PickPaper(
        shop=settings.SHOP["name"],
        number=order.number,
        customer=order.customer.name,
        vehicle=words.vehicle(order),
        promised=words.moment(order.promised_for),
        agreed=agreed_in_words(order),
        as_of=words.moment(at),
        short=sheet.short,
        rows=[_row(row, where, why_oil(row.lines, sheets)) for row in sheet.rows],
    )


def _row(row: PickRow, where: dict[str, str], why: list[Why]) -> Row:
    return Row(
        bin=row.bin,
        amount=words.pieces(row.needed, row.measure),
        name=row.name,
        number=row.part_number,
        take=_take(row),
        short=row.short_in_words,
        instead=_instead(row),
        picked=row.picked,
        draft=row.from_draft,
        bags=[Bag(one.tag, where.get(one.tag, ""), words.pieces(one.amount, one.measure)) for one in row.lines],
        why=why,
    )


def _instead(row: PickRow) -> str:
    told = [f"In the place of {row.instead_of}."] if row.instead_of else []
    for one in row.on_hand_instead:
        free = words.pieces(one.free, row.measure)
        told.append(f"An alternate is on hand: {one.name} {one.part_number}, {free} free. Choose it on the page first.")
    return " ".join(told)


def _take(row: PickRow) -> str:
    """From which containers; where something is short, how much is there to take."""
    plan = ", ".join(row.plan)
    there = row.needed - row.short
    if not row.short or there <= 0 or row.picked:
        return plan
    return f"{words.pieces(there, row.measure)} now" + (f": {plan}" if plan and row.measure != "count" else "")
