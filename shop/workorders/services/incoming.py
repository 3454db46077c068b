"""What came in, held for the orders that wait for it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Q

from shop.core.amounts import stock_amount
from shop.parts.models import Part
from shop.parts.services import lock
from shop.picklists import services as picklists
from shop.picklists.models import PickLine
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.models import WorkOrder
from shop.workorders.purchases import Short, waiting


@dataclass(frozen=True)
class Got:
    """What one order got of one part, and what it lacks still; base units."""

    order: WorkOrder
    part: Part
    amount: int
    lacks: int

    @property
    def words(self) -> str:
        """As the desk is told."""
        measure = self.part.measure
        lacks = f", still lacks {stock_amount(self.lacks, measure)}" if self.lacks else ""
        return f"{stock_amount(self.amount, measure)} of {self.part} for {self.order}{lacks}"


@transaction.atomic
def hold_for_waiting(*, parts: Iterable[Part], by: User, at: datetime) -> list[Got]:
    """Hold what is free of some parts for the running orders that lack it, the earliest promise first.

    Tells who got what. Their orders are locked first, then all parts that stand on their lists, each in one order: so
    neither two of these nor a booking beside it wait for each other forever. Twice is as good as once.
    """
    parts = list(parts)
    before = waiting(parts)
    orders = WorkOrder.objects.select_for_update(of=("self",)).select_related("pick_list")
    locked = {one.pk: one for one in orders.filter(pk__in={one.order.pk for one in before}).order_by("pk")}
    lines = PickLine.objects.filter(pick_list__in=[one.pick_list_id for one in locked.values()])
    listed = Q(number__in=lines.values("part_number")) | Q(pk__in=lines.values("part"))
    lock([*parts, *Part.objects.filter(listed)])
    before = [one for one in waiting(parts) if one.order.pk in locked]  # as it stands now
    for pk in dict.fromkeys(one.order.pk for one in before):
        picklists.top_up(pick_list=locked[pk].pick_list, at=at)
    after = {_key(one): one.amount for one in waiting(parts)}
    got = [
        Got(one.order, one.part, one.amount - after.get(_key(one), 0), after.get(_key(one), 0))
        for one in before
        if one.amount > after.get(_key(one), 0)
    ]
    for one in got:
        note(who=by, kind="order", key=one.order.pk, what=f"held: {one.words}", at=at)
    return got


def _key(short: Short) -> tuple:
    return short.order.pk, short.part_number
