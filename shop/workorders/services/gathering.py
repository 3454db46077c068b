"""Parts gathered for many orders at once, by scan or by row.

All orders in question are locked first, by their keys as everywhere, and no part before the last of them: so two who
gather, or one who gathers beside one who holds what came in, wait for each other and never for ever.
"""

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.db.models import Q

from shop.core.errors import Conflict, refused
from shop.parts.walking import runs
from shop.picklists.codes import damper_in, part_numbers_in
from shop.picklists.models import PickLine
from shop.staff.models import User
from shop.workorders.models import DamperJob, WorkOrder
from shop.workorders.services.picking import PICKED_WHILE, pick_line, put_back_line

BAGS_NAMED = 4


@transaction.atomic
def pick_scanned(*, code: str, orders: Iterable[WorkOrder], by: User, at: datetime) -> PickLine:
    """Take the scanned part for the next bag that waits for it, the earliest promise first.

    Refused in words: a number that is on none of these lists, one that every bag has, one that is short; a bag's own
    code tells what that bag still waits for.
    """
    orders = list(orders)
    numbers = part_numbers_in(code)
    if not numbers:
        raise refused("code", "Nothing was scanned. Scan a part number, or type it and press Enter.", "empty")
    lines = _lines_of(numbers, orders)
    if not lines:
        raise refused("code", _unknown(code, numbers, orders), "unknown")
    open_lines = [line for line in lines if not line.picked_at]
    number = lines[0].part_number
    if not open_lines:
        raise Conflict(f"{number}: every bag has it, {len(lines)} of {len(lines)}. Nothing was picked.", code="done")
    return _first(open_lines, by, at) if any(not one.short for one in open_lines) else _all_short(number, open_lines)


@transaction.atomic
def pick_everywhere(*, part_number: str, orders: Iterable[WorkOrder], by: User, at: datetime) -> PickLine:
    """Take a part for every bag of these orders that waits for it and is not short; the last line is the answer.

    An order that is not running any more is passed over.
    """
    lines = _lines_of([part_number], list(orders))
    if not lines:
        raise refused("part_number", f"{part_number} is on none of these pick lists.", "unknown")
    running = _locked(lines)
    fresh = [line for line in _lines_of([part_number], running) if not line.picked_at]
    picked = [pick_line(line=line, by=by, at=at) for line in fresh if not line.short]
    if picked:
        return picked[-1]
    if fresh:
        _all_short(part_number, fresh)
    raise Conflict(f"{part_number}: every bag has it by now. Somebody else was first.", code="done")


@transaction.atomic
def put_back_last(*, line: PickLine, by: User, at: datetime) -> PickLine:
    """Undo one's own pick: what another person has picked meanwhile stays. Twice is as good as once."""
    WorkOrder.objects.select_for_update(of=("self",)).get(pk=line.pick_list.order.pk)
    fresh = PickLine.objects.select_related("picked_by").get(pk=line.pk)
    if fresh.picked_at and fresh.picked_by_id != by.pk:
        raise Conflict(
            f"{fresh.picked_by} has picked {fresh.part_number} for {fresh.tag} since. It stays in the bag.",
            code="other",
        )
    return put_back_line(line=fresh, by=by, at=at) if fresh.picked_at else fresh


def _lines_of(numbers: list[str], orders: list[WorkOrder]) -> list[PickLine]:
    """The lines of the first number that is on a list, the earliest promise first, then bag by bag."""
    rank = {order.pk: place for place, order in enumerate(orders)}
    wanted = Q()
    for number in numbers:
        wanted |= Q(part_number__iexact=number)
    found = list(
        PickLine.objects.filter(wanted, pick_list__order__in=rank)
        .select_related("reservation", "pick_list__order", "picked_by")
        .order_by()
    )
    for number in numbers:
        exact = [line for line in found if line.part_number == number]
        same = exact or [line for line in found if line.part_number.casefold() == number.casefold()]
        if same:
            same = [line for line in same if line.part_number == same[0].part_number]
            return sorted(same, key=lambda line: (rank[line.pick_list.order.pk], runs(line.tag), line.pk))
    return []


def _locked(lines: list[PickLine]) -> list[WorkOrder]:
    """The orders of these lines that are still running, under their locks, the earliest promise first."""
    keys = {line.pick_list.order.pk for line in lines}
    rows = list(WorkOrder.objects.select_for_update(of=("self",)).filter(pk__in=keys).order_by("pk"))
    rows.sort(key=lambda order: (order.promised_for, order.pk))
    return [order for order in rows if order.status in PICKED_WHILE]


def _first(lines: list[PickLine], by: User, at: datetime) -> PickLine:
    """The first of these lines that nobody has picked by the time its order is ours alone."""
    lines = [line for line in lines if not line.short]
    running = {order.pk for order in _locked(lines)}
    taken, refusal = [], None
    for line in lines:
        if line.pick_list.order.pk not in running:
            continue
        fresh = PickLine.objects.select_related("picked_by").filter(pk=line.pk).first()
        if fresh is None or fresh.part_number != line.part_number:
            continue
        if fresh.picked_at:
            taken.append(fresh)
            continue
        try:
            return pick_line(line=fresh, by=by, at=at)
        except Conflict as error:
            refusal = refusal or error
    if refusal:
        raise refusal
    if taken:
        last = taken[-1]
        words = (
            f"{last.part_number}: {last.picked_by} picked it for {last.tag} just now, and no other bag waits for it."
        )
        raise Conflict(words, code="done")
    raise Conflict(f"{lines[0].part_number}: no bag waits for it any more. Look at the list.", code="done")


def _all_short(number: str, lines: list[PickLine]):
    tags = [line.tag for line in lines]
    more = f" and {len(tags) - BAGS_NAMED} more" if len(tags) > BAGS_NAMED else ""
    named = ", ".join(tags[:BAGS_NAMED]) + more
    words = f"{number} is short for {named}: receive it first, then pick it. Nothing was picked."
    raise Conflict(words, code="short")


def _unknown(code: str, numbers: list[str], orders: list[WorkOrder]) -> str:
    shown = "".join(sign for sign in code if sign.isprintable()).strip()[:60]
    if bag := _bag(code, orders):
        waiting = list(
            bag.order.pick_list.lines.filter(tag=bag.tag, picked_at=None).values_list("part_number", flat=True)
        )
        told = f"it still waits for {', '.join(waiting)}" if waiting else "everything on the list lies in it"
        return f"That is bag {bag.tag}, {bag.damper.where()}: {told}. Scan a part."
    lines = PickLine.objects.filter(pick_list__order__in=orders, picked_at=None).exclude(kept_chain=[])
    for line in lines.select_related("reservation"):
        for choice in line.chain:
            if choice.part_number.casefold() in {one.casefold() for one in numbers} and line.short:
                return (
                    f"{choice.part_number} may be taken in the place of {line.part_number}, which is short for "
                    f"{line.tag}. Choose “Take {choice.part_number} instead” on the list first, then scan it."
                )
    return f"“{shown}” is on none of these pick lists. Compare the number with the list; nothing was picked."


def _bag(code: str, orders: list[WorkOrder]) -> DamperJob | None:
    jobs = DamperJob.objects.filter(order__in=orders).select_related("order__pick_list", "damper")
    if key := damper_in(code):
        return jobs.filter(pk=key).first()
    order, _, index = code.strip().partition("-")
    if order.isascii() and order.isdigit() and index.isascii() and index.isdigit() and len(order + index) < 15:
        return jobs.filter(order=int(order) - 1000, index=int(index)).first()
    return None
