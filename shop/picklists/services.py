from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction

from shop.core.errors import Conflict
from shop.parts.models import Part, Reservation, ReservationState
from shop.parts.services import lock
from shop.picklists.models import PickLine, PickList
from shop.staff.models import User


@dataclass(frozen=True)
class Need:
    """So much of a part for one damper's bag; base units."""

    tag: str
    part_number: str
    name: str
    measure: str
    amount: int
    from_draft: bool = False


@transaction.atomic
def fill(*, pick_list: PickList, needs: list[Need], at: datetime) -> None:
    """Make the list say exactly needs, and hold what is there for it; run again, it tops up what was short.

    Lines that stay keep what they hold and whether they were picked. The parts are locked together, in one order.
    """
    pick_list = PickList.objects.select_for_update().get(pk=pick_list.pk)
    wanted = {}
    for need in needs:  # two lines of one parts list may name the same part
        key = need.tag, need.part_number
        if known := wanted.get(key):
            need = replace(need, amount=known.amount + need.amount, from_draft=known.from_draft or need.from_draft)
        wanted[key] = need
    parts = {part.number: part for part in Part.objects.filter(number__in={need.part_number for need in needs})}
    # A number that stock keeps in another measure is another thing: better no part than millilitres of a piece.
    parts = {
        need.part_number: parts[need.part_number]
        for need in needs
        if need.part_number in parts and parts[need.part_number].measure == need.measure
    }
    lines = {(line.tag, line.part_number): line for line in _locked_lines(pick_list)}
    stock = lock([*parts.values(), *(line.part for line in lines.values() if line.part)])
    free = {key: one.available for key, one in stock.items()}

    for key, line in lines.items():
        if key not in wanted:
            free_up(line, free, at)
            line.delete()
    for key, need in wanted.items():
        line = lines.get(key) or PickLine(pick_list=pick_list, tag=need.tag, part_number=need.part_number)
        part = parts.get(need.part_number)
        if line.pk and (line.amount, line.part) != (need.amount, part):
            free_up(line, free, at)
            line.reservation = line.picked_at = line.picked_by = None
        line.name, line.measure, line.part, line.amount = need.name, need.measure, part, need.amount
        line.from_draft = need.from_draft
        if part and line.short and free[part.pk]:
            extra = min(line.short, free[part.pk])
            free[part.pk] -= extra
            _hold(line, extra, at)
        line.save()


@transaction.atomic
def top_up(*, pick_list: PickList, at: datetime) -> PickList:
    """Hold what was short when the list was filled and is there by now."""
    pick_list = PickList.objects.select_for_update().get(pk=pick_list.pk)
    needs = [
        Need(line.tag, line.part_number, line.name, line.measure, line.amount, line.from_draft)
        for line in pick_list.lines.all()
    ]
    fill(pick_list=pick_list, needs=needs, at=at)
    return pick_list


def _locked_lines(pick_list: PickList):
    return pick_list.lines.select_for_update(of=("self",)).select_related("reservation", "part")


def free_up(line: PickLine, free: dict[int, int], at: datetime) -> None:
    """Let go of what a line holds; its parts are locked by the caller."""
    if line.reservation and line.reservation.state == ReservationState.HELD:
        line.reservation.state, line.reservation.ended_at = ReservationState.RELEASED, at
        line.reservation.save(update_fields=["state", "ended_at"])
        free[line.reservation.part_id] = free.get(line.reservation.part_id, 0) + line.reservation.amount


def _hold(line: PickLine, amount: int, at: datetime) -> None:
    if line.reservation:
        line.reservation.amount += amount
        line.reservation.save(update_fields=["amount"])
    else:
        purpose = f"{line.pick_list.title}, {line.tag}"
        line.reservation = Reservation.objects.create(part=line.part, amount=amount, purpose=purpose, made_at=at)


@transaction.atomic
def empty(*, pick_list: PickList, at: datetime) -> None:
    """Let go of everything the list holds; the lines stay to be read."""
    PickList.objects.select_for_update().get(pk=pick_list.pk)
    lines = list(_locked_lines(pick_list))
    lock([line.part for line in lines if line.part])
    for line in lines:
        free_up(line, {}, at)


@transaction.atomic
def pick(*, line: PickLine, by: User, at: datetime) -> PickLine:
    """Note that the line's part was taken from the shelf. Twice is as good as once; short lines cannot be picked."""
    line = _locked_line(line)
    if line.picked_at:
        return line
    if line.short:
        raise Conflict(f"{line.part_number} is short for {line.tag}: receive it first, then pick it.", code="short")
    line.picked_at, line.picked_by = at, by
    line.save(update_fields=["picked_at", "picked_by"])
    return line


@transaction.atomic
def unpick(*, line: PickLine, by: User, at: datetime) -> PickLine:
    """Put it back: the line counts as not picked."""
    line = _locked_line(line)
    line.picked_at = line.picked_by = None
    line.save(update_fields=["picked_at", "picked_by"])
    return line


def _locked_line(line: PickLine) -> PickLine:
    """The line as it stands now, after the list's own lock: the list may be filled anew at this moment."""
    PickList.objects.select_for_update().get(pk=line.pick_list_id)
    return PickLine.objects.select_for_update(of=("self",)).select_related("reservation").get(pk=line.pk)
