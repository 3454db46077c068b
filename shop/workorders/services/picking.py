from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from math import ceil

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.amounts import stock_amount
from shop.core.errors import Conflict, refused
from shop.picklists import services as picklists
from shop.picklists.models import PickLine
from shop.specs.models import MOST_AT_ONCE
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.agreed import price_doubt, refuse_while_asked
from shop.workorders.models import DamperJob, JobStatus, OrderStatus, WorkOrder
from shop.workorders.services.booking import fill_anew

PICKED_WHILE = (OrderStatus.BOOKED, OrderStatus.ON_BENCH)


@transaction.atomic
def hold_parts(*, order: WorkOrder, by: User, at: datetime) -> WorkOrder:
    """Hold for an order what was short when it was booked and is there by now.

    One that is only booked takes up what its parts lists ask for now; one on the benches keeps what it was given.
    """
    order = _while_running(order)
    if order.status == OrderStatus.BOOKED:
        fill_anew(order=order, at=at)
    else:
        picklists.top_up(pick_list=order.pick_list, at=at)
    return order


@transaction.atomic
def pick_part(*, order: WorkOrder, part_number: str, by: User, at: datetime) -> WorkOrder:
    """Take a part from the shelf for every bag it is held for. What somebody else has taken already is told."""
    order = _while_running(order)
    lines = [line for line in _lines(order, part_number) if not line.short and not line.not_asked]
    asked = _waiting(order)
    ready = [line for line in lines if line.tag not in asked]
    if lines and not ready:
        refuse_while_asked(asked[lines[0].tag])
    waiting = [line for line in ready if line.held or not line.picked_at]
    for line in waiting or ready:
        picklists.pick(line=line, by=by, at=at)
    return order


@transaction.atomic
def put_back_part(*, order: WorkOrder, part_number: str, by: User, at: datetime) -> WorkOrder:
    """Put a part back on the shelf from every bag."""
    order = _while_running(order)
    for line in _lines(order, part_number):
        picklists.unpick(line=line, by=by, at=at)
    return order


@transaction.atomic
def put_all_back(*, order: WorkOrder, by: User, at: datetime) -> WorkOrder:
    """Put everything that lies in the bags of an order back on the shelf, before it is called off for example."""
    order = _while_running(order)
    if back := picklists.put_all_back(pick_list=order.pick_list, by=by, at=at):
        what = f"put back: {', '.join(f'{line.part_number} of {line.tag}' for line in back)}"
        note(who=by, kind="order", key=order.pk, what=what, at=at)
    return order


@transaction.atomic
def pick_line(*, line: PickLine, by: User, at: datetime) -> PickLine:
    """Note that one bag's part was taken from the shelf."""
    order = _while_running(line.pick_list.order)
    if job := _waiting(order).get(line.tag):
        refuse_while_asked(job)
    return picklists.pick(line=line, by=by, at=at)


@transaction.atomic
def put_back_line(*, line: PickLine, by: User, at: datetime) -> PickLine:
    """Note that one bag's part went back to the shelf."""
    _while_running(line.pick_list.order)
    return picklists.unpick(line=line, by=by, at=at)


@transaction.atomic
def take_up_part(
    *, job: DamperJob, part_number: str, amount: int | None = None, within_price: bool = False, by: User, at: datetime
) -> PickLine:
    """Add to a damper's bag an optional part that its inspection asks for, and hold what is there of it.

    amount in base units, without one as the parts list has it. Again, it changes the amount. Where a price was agreed,
    within_price says that the part does not go past it; without that it is refused on within_price.
    """
    order, job = _while_open(job)
    refuse_while_asked(job)
    if not within_price and (words := price_doubt(order)):
        raise refused("within_price", words, "price")
    offer = next((one for one in order.pick_list.offered(job.tag) if one.part_number == part_number), None)
    if offer is None:
        words = f"{part_number} is no optional part for damper {job.tag}. Choose one that its parts list offers."
        raise refused("part_number", words, "not_offered")
    if amount is not None:
        most = MOST_AT_ONCE[offer.measure]
        if not 0 < amount <= most:
            words = f"{stock_amount(amount, offer.measure)} cannot be taken up. Give more than zero, and at most "
            raise refused("amount", f"{words}{stock_amount(most, offer.measure)}.", "amount")
        times = Fraction(amount, offer.amount)
        alternates = [replace(one, amount=ceil(one.amount * times)) for one in offer.alternates]
        offer = replace(offer, amount=amount, from_draft=False, by_sheet=False, alternates=tuple(alternates))
    line = picklists.take_up(pick_list=order.pick_list, need=offer, by=by, at=at)
    what = f"taken up for {job.tag}: {line.part_number} {line.name}, {stock_amount(line.amount, line.measure)}"
    note(who=by, kind="order", key=order.pk, what=what, at=at)
    return line


@transaction.atomic
def take_back_part(*, job: DamperJob, part_number: str, by: User, at: datetime) -> DamperJob:
    """Take off a damper's bag what was taken up for it; what was held is free again. Twice is as good as once."""
    order, job = _while_open(job)
    for line in order.pick_list.lines.filter(tag=job.tag, taken_up_at__isnull=False):
        if part_number in (line.part_number, line.asked_for):
            picklists.take_back(line=line, at=at)
            what = f"taken back for {job.tag}: {line.part_number} {line.name}"
            note(who=by, kind="order", key=order.pk, what=what, at=at)
    return job


@transaction.atomic
def swap_part(*, order: WorkOrder, part_number: str, instead: str, by: User, at: datetime) -> WorkOrder:
    """Take another part of the chain for every bag that waits for this one, as far as it reaches.

    Towards an alternate only bags that are short change; back to the part that was asked for, all that are not picked.
    Twice is as good as once.
    """
    order = _while_running(order)
    lines = list(order.pick_list.lines.filter(part_number__in=[part_number, instead]).select_related("reservation"))
    done = any(line.part_number == instead and part_number in {one.part_number for one in line.chain} for line in lines)
    moved, refusal = [], None
    for line in lines if done else _lines(order, part_number):
        if (
            line.part_number == instead
            or line.picked_at
            or line.issued
            or (instead != line.asked_for and not line.short)
        ):
            continue
        try:
            with transaction.atomic():
                moved.append(picklists.swap(line=line, part_number=instead, by=by, at=at))
        except ValidationError as error:
            refusal = refusal or error
    if moved:
        _tell_swap(order, moved, part_number, by, at)
    elif refusal:
        raise refusal
    elif not done:
        raise Conflict(
            f"No bag waits for {part_number} any more: nothing is to be taken in its place.", code="not_short"
        )
    return order


@transaction.atomic
def swap_line(*, line: PickLine, part_number: str, by: User, at: datetime) -> PickLine:
    """Take another part of the chain for one bag."""
    order = _while_running(line.pick_list.order)
    before = order.pick_list.lines.get(pk=line.pk).part_number
    line = picklists.swap(line=line, part_number=part_number, by=by, at=at)
    if before != part_number:
        _tell_swap(order, [line], before, by, at)
    return line


def _tell_swap(order: WorkOrder, lines: list[PickLine], before: str, by: User, at: datetime) -> None:
    what = f"{lines[0].part_number} is taken instead of {before} for {', '.join(line.tag for line in lines)}"
    note(who=by, kind="order", key=order.pk, what=what, at=at)


def _waiting(order: WorkOrder) -> dict[str, DamperJob]:
    """Dampers that stand still for the customer's answer, by their tags: nothing is taken for their bags."""
    asked = {one.job_id for one in order.questions.waiting()}
    return {job.tag: job for job in order.jobs.all() if asked & {None, job.pk}}


def _while_open(job: DamperJob) -> tuple[WorkOrder, DamperJob]:
    """A job that is not closed yet, with its order under its lock."""
    order = _while_running(job.order)
    job = order.jobs.select_for_update(of=("self",)).get(pk=job.pk)
    if job.status == JobStatus.CLOSED:
        raise Conflict(
            f"Damper {job.tag} is closed: its bag stays as it is. Open it again first if it lacks a part.",
            code="closed",
        )
    return order, job


def _while_running(order: WorkOrder) -> WorkOrder:
    """The order under its lock, while its parts are still gathered."""
    order = WorkOrder.objects.select_for_update(of=("self",)).select_related("pick_list").get(pk=order.pk)
    if order.status not in PICKED_WHILE:
        raise Conflict(
            f"{order} is {order.get_status_display()}: parts are picked for an order that is booked or on the benches.",
            code="not_running",
        )
    return order


def _lines(order: WorkOrder, part_number: str) -> list[PickLine]:
    lines = list(order.pick_list.lines.filter(part_number=part_number).select_related("reservation"))
    if not lines:
        raise ValidationError({"part": f"{part_number} is not on the pick list of {order}."}, code="not_listed")
    return lines
