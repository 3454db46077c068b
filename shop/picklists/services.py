from collections.abc import Iterable
from dataclasses import asdict, replace
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from shop.core.amounts import stock_amount
from shop.core.errors import Conflict, refused
from shop.core.rows import names
from shop.parts.models import Part, Reservation, ReservationState
from shop.parts.services import issue, lock, put_back
from shop.picklists.models import PickLine, PickList
from shop.picklists.needs import Choice, Need
from shop.staff.models import User


@transaction.atomic
def fill(*, pick_list: PickList, needs: list[Need], anew: Iterable[str] = (), at: datetime) -> None:
    """Make the list say exactly needs, and hold what is there for it; run again, it tops up what was short.

    Lines that stay keep what they hold, whether they were picked and which alternate was chosen, while the needs name
    it. What was taken up by hand stays, but not for the bags of anew. The parts are locked together, in one order.
    """
    anew = frozenset(anew)
    pick_list = PickList.objects.select_for_update().get(pk=pick_list.pk)
    wanted = _merged(need for need in needs if not need.optional)
    pick_list.offers = [need.stored() for need in needs if need.optional and (need.tag, need.part_number) not in wanted]
    pick_list.save(update_fields=["offers"])
    lines = {(line.tag, line.asked_for): line for line in _locked_lines(pick_list)}
    for key, line in lines.items():
        if key in wanted:  # the parts list itself asks for it by now
            line.taken_up_at = line.taken_up_by = None
        elif line.taken_up_at and line.tag in anew:
            _check_not_picked(line)
        elif line.taken_up_at:
            wanted[key] = _need_of(line)
    chosen = _choices(wanted, lines)
    parts = _parts_for((choice.part_number, wanted[key].measure) for key, choice in chosen.items())
    stock = lock([*parts.values(), *(line.part for line in lines.values() if line.part)], at=at)
    _refresh(lines.values())
    free = {key: one.available for key, one in stock.items()}

    for key, line in list(lines.items()):
        if key not in wanted or line.part_number != chosen[key].part_number:
            free_up(line, free, at)
            del lines[key]
            if not line.issued:
                line.delete()
            elif (own := (line.tag, line.part_number)) in wanted and own not in lines:
                lines[own] = line  # what was taken as an alternate is asked for by itself now
            else:
                _ask_no_more(line)
    for key, need in wanted.items():
        line = lines.get(key) or PickLine(pick_list=pick_list, tag=need.tag)
        line.measure, line.kept_chain = need.measure, _kept(need)
        _ask(line, chosen[key], parts.get(chosen[key].part_number), free, at)


def _ask_no_more(line: PickLine) -> None:
    """Keep a line that nothing asks for any more: its part lies in the bag until somebody puts it back."""
    line.not_asked, line.kept_chain = True, []
    line.taken_up_at = line.taken_up_by = None
    line.save()


def _merged(needs: Iterable[Need]) -> dict[tuple[str, str], Need]:
    wanted = {}
    for need in needs:  # two lines of one parts list may name the same part
        key = need.tag, need.part_number
        if known := wanted.get(key):
            draft, by_sheet = known.from_draft or need.from_draft, known.by_sheet or need.by_sheet
            need = replace(need, amount=known.amount + need.amount, from_draft=draft, by_sheet=by_sheet, alternates=())
        wanted[key] = need
    return wanted


def _choices(wanted: dict, lines: dict) -> dict[tuple[str, str], Choice]:
    """For each need what its line takes: the alternate that was chosen if it still is one, else the part itself."""
    chosen, taken = {}, set(wanted)
    for key, need in wanted.items():
        there = lines[key].part_number if key in lines else need.part_number
        alternate = next((one for one in need.alternates if one.part_number == there), None)
        if alternate and (need.tag, there) not in taken:  # no part stands twice on the list of a bag
            taken.add((need.tag, there))
            chosen[key] = alternate
        else:
            chosen[key] = need.chain[0]
    return chosen


def _parts_for(wanted: Iterable[tuple[str, str]]) -> dict[str, Part]:
    """Stock's parts by number, of (number, measure).

    A number that stock keeps in another measure is another thing: better no part than millilitres of a piece.
    """
    measures = dict(wanted)
    found = Part.objects.filter(number__in=measures)
    return {part.number: part for part in found if part.measure == measures[part.number]}


def _need_of(line: PickLine) -> Need:
    """What a line was filled with."""
    alone = Choice(line.part_number, line.name, line.amount, line.from_draft, line.by_sheet)
    first, *alternates = line.chain or [alone]
    return Need(
        line.tag, first.part_number, first.name, line.measure, first.amount, first.from_draft, tuple(alternates),
        by_sheet=first.by_sheet,
    )  # fmt: skip


def _kept(need: Need) -> list[dict]:
    return [asdict(one) for one in need.chain] if need.alternates else []


def _ask(line: PickLine, choice: Choice, part: Part | None, free: dict[int, int], at: datetime) -> None:
    """Make a line ask for this, let go of what does not fit any more, and hold what is free; its parts are locked."""
    if line.pk and (line.part_number, line.part) != (choice.part_number, part):
        if line.issued:
            words = f"{line.part_number} is picked for {line.tag}. Put it back first, then it can be another part."
            raise Conflict(words, code="picked")
        free_up(line, free, at)
        line.reservation = line.picked_at = line.picked_by = None
    elif line.pk and line.amount != choice.amount:
        _hold_no_more_than(line, max(choice.amount - line.issued, 0), free, at)
        if line.issued < choice.amount:
            line.picked_at = line.picked_by = None
    line.part_number, line.name, line.amount, line.part = choice.part_number, choice.name, choice.amount, part
    line.from_draft, line.by_sheet, line.not_asked = choice.from_draft, choice.by_sheet, False
    if part and line.short and free[part.pk]:
        extra = min(line.short, free[part.pk])
        free[part.pk] -= extra
        _hold(line, extra, at)
    line.save()


@transaction.atomic
def top_up(*, pick_list: PickList, at: datetime) -> PickList:
    """Hold what was short when the list was filled and is there by now."""
    pick_list = PickList.objects.select_for_update().get(pk=pick_list.pk)
    fill(pick_list=pick_list, needs=asked(pick_list), at=at)
    return pick_list


def asked(pick_list: PickList) -> list[Need]:
    """What a list was filled with; what was taken up by hand stays on it by itself."""
    lines = [line for line in pick_list.lines.all() if not line.taken_up_at and not line.not_asked]
    return [*map(_need_of, lines), *pick_list.offered()]


@transaction.atomic
def take_up(*, pick_list: PickList, need: Need, by: User, at: datetime) -> PickLine:
    """Add what an inspection asks for to one bag, and hold what is there of it. Again, it changes the amount."""
    pick_list = PickList.objects.select_for_update().get(pk=pick_list.pk)
    lines = list(_locked_lines(pick_list))
    line = next((one for one in lines if (one.tag, one.asked_for) == (need.tag, need.part_number)), None)
    line = line or PickLine(pick_list=pick_list, tag=need.tag, part_number=need.part_number, measure=need.measure)
    if line.pk and not line.taken_up_at and not line.not_asked:
        raise Conflict(f"{need.part_number} is on the pick list for {need.tag} already.", code="listed")
    _check_number_free(lines, line, line.part_number)
    line.kept_chain = _kept(need)
    choice = next((one for one in need.chain if one.part_number == line.part_number), need.chain[0])
    part = _parts_for([(choice.part_number, need.measure)]).get(choice.part_number)
    stock = lock([one for one in (part, line.part) if one], at=at)
    _refresh([line])
    line.taken_up_at, line.taken_up_by = at, by
    _ask(line, choice, part, {key: one.available for key, one in stock.items()}, at)
    return line


@transaction.atomic
def take_back(*, line: PickLine, at: datetime) -> None:
    """Take off the list what was taken up by hand, and let go of what is held for it. Twice is as good as once."""
    pick_list = PickList.objects.select_for_update().get(pk=line.pick_list_id)
    line = _locked_lines(pick_list).filter(pk=line.pk).first()
    if line is None:
        return
    if not line.taken_up_at:
        raise Conflict(f"{line.part_number} for {line.tag} is part of the parts list and stays.", code="listed")
    _check_not_picked(line)
    lock([line.part] if line.part else [])
    _refresh([line])
    free_up(line, {}, at)
    line.delete()


@transaction.atomic
def refuse_picked(*, pick_list: PickList, tags: Iterable[str]) -> None:
    """Raise Conflict "picked" while a part lies in one of these bags, which are about to be taken off the list.

    It locks no parts: fill() does that, together with all others, when it takes the bags off.
    """
    pick_list = PickList.objects.select_for_update().get(pk=pick_list.pk)
    for line in _locked_lines(pick_list).filter(tag__in=tags):
        _check_not_picked(line)


def _check_not_picked(line: PickLine) -> None:
    """What lies in a bag does not vanish from its list."""
    if line.picked_at or line.issued:
        words = f"{line.part_number} is picked for {line.tag}. Put it back first, then take it off the list."
        raise Conflict(words, code="picked")


@transaction.atomic
def swap(*, line: PickLine, part_number: str, by: User, at: datetime) -> PickLine:
    """Take another part of a line's chain: what it held is free again, and the other one is held in the same moment.

    An alternate is taken only when enough of it is free; back to the part that was asked for one can always go.
    """
    line = _locked_line(line)
    if line.part_number == part_number:
        return line
    choice = next((one for one in line.chain if one.part_number == part_number), None)
    if choice is None:
        words = f"{part_number} cannot be taken in the place of {line.asked_for} for {line.tag}: it is no alternate."
        raise refused("part_number", words, "no_alternate")
    if line.picked_at or line.issued:
        raise Conflict(
            f"{line.part_number} is picked for {line.tag}. Put it back first, then take the other.", code="picked"
        )
    _check_number_free(list(line.pick_list.lines.all()), line, part_number)
    part = _parts_for([(part_number, line.measure)]).get(part_number)
    stock = lock([one for one in (part, line.part) if one], at=at)
    _refresh([line])
    free = {key: one.available for key, one in stock.items()}
    there = free[part.pk] if part else 0
    if part_number != line.asked_for and there < choice.amount:
        has, wants = stock_amount(there, line.measure), stock_amount(choice.amount, line.measure)
        raise Conflict(
            f"{has} of {choice} is free, and {line.tag} takes {wants}. {line.part_number} stays on the list.",
            code="short",
        )
    _ask(line, choice, part, free, at)
    return line


def _check_number_free(lines: list[PickLine], line: PickLine, part_number: str) -> None:
    twin = next((one for one in lines if (one.tag, one.part_number) == (line.tag, part_number) and one != line), None)
    if twin:
        raise Conflict(f"{part_number} is on the pick list for {line.tag} already.", code="listed")


def differs(pick_list: PickList, needs: list[Need]) -> bool:
    """Whether a list was filled with something else than these needs; what was taken up by hand does not count."""
    lines = [_need_of(line) for line in pick_list.lines.all() if not line.taken_up_at and not line.not_asked]
    wanted = _merged(need for need in needs if not need.optional)
    offers = {need for need in needs if need.optional and (need.tag, need.part_number) not in wanted}
    return set(wanted.values()) != set(lines) or offers != set(pick_list.offered())


def _locked_lines(pick_list: PickList):
    return pick_list.lines.select_for_update(of=("self",)).select_related("reservation", "part")


def _refresh(lines: Iterable[PickLine]) -> None:
    """Read the reservations again, now that the parts are locked: a count or a write-off may have let one go."""
    lines = [line for line in lines if line.reservation_id]
    fresh = Reservation.objects.in_bulk([line.reservation_id for line in lines])
    for line in lines:
        line.reservation = fresh[line.reservation_id]


def free_up(line: PickLine, free: dict[int, int], at: datetime) -> None:
    """Let go of what a line holds; its parts are locked by the caller. What was issued for it stays issued."""
    _hold_no_more_than(line, 0, free, at)


def _hold_no_more_than(line: PickLine, most: int, free: dict[int, int], at: datetime) -> None:
    one = line.reservation
    if not one or one.held <= most:
        return
    free[one.part_id] = free.get(one.part_id, 0) + one.held - most
    if most:
        one.amount = most
    else:
        one.state = ReservationState.ISSUED if one.issued else ReservationState.RELEASED
        one.ended_at = at
    one.save(update_fields=["amount", "state", "ended_at"])


def _hold(line: PickLine, amount: int, at: datetime) -> None:
    if one := line.reservation:
        one.amount, one.state, one.ended_at = one.held + amount, ReservationState.HELD, None
        one.save(update_fields=["amount", "state", "ended_at"])
    else:
        purpose = f"{line.pick_list.title}, {line.tag}"
        line.reservation = Reservation.objects.create(part=line.part, amount=amount, purpose=purpose, made_at=at)


@transaction.atomic
def empty(*, pick_list: PickList, at: datetime) -> None:
    """Let go of everything the list holds; the lines stay to be read. Refused while a part lies in one of its bags."""
    PickList.objects.select_for_update().get(pk=pick_list.pk)
    lines = list(_locked_lines(pick_list))
    lock([line.part for line in lines if line.part])
    _refresh(lines)
    if picked := [line for line in lines if line.issued]:
        which = names(picked, lambda line: f"{line.part_number} for {line.tag}")
        words = (
            f"{which} {'is' if len(picked) == 1 else 'are'} picked for {pick_list}. Put back what is in its bags first."
        )
        raise Conflict(words, code="picked")
    for line in lines:
        free_up(line, {}, at)


@transaction.atomic
def pick(*, line: PickLine, by: User, at: datetime) -> PickLine:
    """Take the line's part from the shelf: what was held is issued. Twice is as good as once; short lines are refused.

    What somebody else has taken already is told, so that two people do not walk for the same part.
    """
    line = _with_its_part(line)
    if line.picked_at and not line.held:
        if line.picked_by_id != by.pk:
            when = timezone.localtime(line.picked_at, timezone.get_default_timezone())
            words = f"{line.part_number} is in the bag {line.tag} already: {line.picked_by} took it at {when:%H:%M}."
            raise Conflict(words, code="picked")
        return line
    if line.used is not None:
        raise Conflict(f"{line.pick_list} is closed: nothing is picked for it any more.", code="closed")
    if line.not_asked:
        raise Conflict(f"{line.part_number} is not asked for any more for {line.tag}: put it back.", code="not_asked")
    if line.short:
        raise Conflict(f"{line.part_number} is short for {line.tag}: receive it first, then pick it.", code="short")
    issue(reservation=line.reservation, by=by, at=at, reason=_for(line))
    line.picked_at, line.picked_by = at, by
    line.save(update_fields=["picked_at", "picked_by"])
    line.reservation.refresh_from_db()
    return line


@transaction.atomic
def unpick(*, line: PickLine, by: User, at: datetime, amount: int | None = None) -> PickLine:
    """Put it back on the shelf, all of it without an amount: the line counts as not picked, and holds it again.

    What lies in the bag beyond what is asked for goes back first and is held for nobody. A line that nothing asks for
    leaves the list with the last of it.
    """
    line = _with_its_part(line)
    if line.used is not None:
        raise Conflict(f"{line.pick_list} is closed: what was not used went back to the shelf then.", code="closed")
    if line.reservation and line.issued:
        amount = line.issued if amount is None else amount
        spare = min(line.over, amount)
        for some, hold in ((spare, False), (amount - spare, True)):
            if some:
                put_back(reservation=line.reservation, amount=some, hold=hold, by=by, at=at, reason=_for(line))
        line.reservation.refresh_from_db()
    if line.not_asked and not line.issued:
        pk = line.pk
        line.delete()
        line.pk = pk
        return line
    if line.issued < line.amount:
        line.picked_at = line.picked_by = None
        line.save(update_fields=["picked_at", "picked_by"])
    return line


@transaction.atomic
def put_all_back(*, pick_list: PickList, by: User, at: datetime) -> list[PickLine]:
    """Put back on the shelf all that lies in the bags of a list; answers the lines of which something went back."""
    pick_list = PickList.objects.select_for_update().get(pk=pick_list.pk)
    lines = list(_locked_lines(pick_list))
    lock([line.part for line in lines if line.part])
    _refresh(lines)
    return [unpick(line=line, by=by, at=at) for line in lines if line.issued or line.picked_at]


def _for(line: PickLine) -> str:
    return f"{line.pick_list}, {line.tag}"


def _locked_line(line: PickLine) -> PickLine:
    """The line as it stands now, after the list's own lock: the list may be filled anew at this moment.

    A line that is gone was taken off meanwhile.
    """
    PickList.objects.select_for_update().get(pk=line.pick_list_id)
    found = PickLine.objects.select_for_update(of=("self",)).select_related("reservation", "part", "pick_list")
    there = found.filter(pk=line.pk).first()
    if there is None:
        raise Conflict(f"{line.part_number} for {line.tag} was taken off the list at this moment.", code="gone")
    return there


def _with_its_part(line: PickLine) -> PickLine:
    """The line and its part under lock, so that what it holds stays as it is read."""
    line = _locked_line(line)
    if line.part:
        lock([line.part])
        _refresh([line])
    return line
