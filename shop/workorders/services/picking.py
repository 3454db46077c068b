from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.errors import Conflict
from shop.picklists import services as picklists
from shop.picklists.models import PickLine
from shop.staff.models import User
from shop.workorders.models import OrderStatus, WorkOrder

PICKED_WHILE = (OrderStatus.BOOKED, OrderStatus.ON_BENCH)


@transaction.atomic
def hold_parts(*, order: WorkOrder, by: User, at: datetime) -> WorkOrder:
    """Hold for an order what was short when it was booked and is there by now."""
    order = _while_running(order)
    picklists.top_up(pick_list=order.pick_list, at=at)
    return order


@transaction.atomic
def pick_part(*, order: WorkOrder, part_number: str, by: User, at: datetime) -> WorkOrder:
    """Note that a part was taken from the shelf for every bag it is held for."""
    order = _while_running(order)
    for line in _lines(order, part_number):
        if not line.short:
            picklists.pick(line=line, by=by, at=at)
    return order


@transaction.atomic
def put_back_part(*, order: WorkOrder, part_number: str, by: User, at: datetime) -> WorkOrder:
    """Note that a part went back to the shelf from every bag."""
    order = _while_running(order)
    for line in _lines(order, part_number):
        picklists.unpick(line=line, by=by, at=at)
    return order


@transaction.atomic
def pick_line(*, line: PickLine, by: User, at: datetime) -> PickLine:
    """Note that one bag's part was taken from the shelf."""
    _while_running(line.pick_list.order)
    return picklists.pick(line=line, by=by, at=at)


@transaction.atomic
def put_back_line(*, line: PickLine, by: User, at: datetime) -> PickLine:
    """Note that one bag's part went back to the shelf."""
    _while_running(line.pick_list.order)
    return picklists.unpick(line=line, by=by, at=at)


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
