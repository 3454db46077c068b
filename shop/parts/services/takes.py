"""Counting the shelf: begun, entered by several people in any order, and posted all or nothing."""

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Sum

from shop.core.amounts import stock_amount
from shop.core.errors import Conflict, is_duplicate, refused
from shop.core.rows import names
from shop.parts.models import Movement, MovementKind, Part, Reservation, StockTake, StockTakeRow, TakenPart, Tally
from shop.parts.selectors import Stock
from shop.parts.services.counting import adjust
from shop.parts.services.promised import check_promised, let_go
from shop.parts.services.stock import check_not_too_much, lock
from shop.parts.walking import present_walk, runs
from shop.staff.models import User
from shop.staff.services import note


@transaction.atomic
def start_take(
    *,
    parts: Iterable[Part] = (),
    bin_from: str = "",
    bin_to: str = "",
    blind: bool = False,
    by: User,
    at: datetime,
) -> StockTake:
    """Begin to count some parts, or what lies in a range of bins, or without either the whole stock.

    What the book has now is kept with each place. Conflict "counted" when another open stock take has one of the parts.
    """
    chosen, title = _chosen(list(parts), bin_from.strip(), bin_to.strip())
    if not chosen:
        raise refused("bin_from", f"No stock item is there to count: {title}.", "nothing")
    stock = lock(chosen, at=at)
    _check_not_counted(chosen)
    take = StockTake(title=title[:120], blind=blind, started_by=by, started_at=at)
    take.full_clean()
    take.save()
    try:
        with transaction.atomic():
            TakenPart.objects.bulk_create([TakenPart(take=take, part=part) for part in chosen])
    except IntegrityError as error:
        if not is_duplicate(error):
            raise
        _check_not_counted(chosen)
        raise Conflict(
            "Another stock take of these parts began at this moment. Look at it first.", code="counted"
        ) from error
    walk = present_walk()
    chosen.sort(key=lambda part: (walk.key(part.bin), part.number))
    StockTakeRow.objects.bulk_create(
        [StockTakeRow(take=take, part=part, **place) for part in chosen for place in _places(stock[part.pk])]
    )
    return take


def _chosen(parts: list[Part], bin_from: str, bin_to: str) -> tuple[list[Part], str]:
    if parts:
        return list({part.pk: part for part in parts}.values()), names(parts, lambda part: part.number)
    every = list(Part.objects.all())
    if not bin_from and not bin_to:
        return every, "the whole stock"
    first, last = runs(bin_from), bin_to or bin_from
    if bin_to and bin_from and runs(bin_to) < first:
        raise refused("bin_to", f"Bin {bin_to} comes before {bin_from}. Give the first one first.", "order")
    found = [part for part in every if part.bin and first <= runs(part.bin) and _not_beyond(part.bin, last)]
    title = f"bins {bin_from or 'from the first'} to {bin_to}" if bin_to else f"bin {bin_from}"
    return found, title


def _not_beyond(text: str, last: str) -> bool:
    """Whether a bin lies before the last one or in it: A-10 is in A, but B-10 is not in B-1."""
    key, end = runs(text), runs(last)
    return (
        key <= end
        or key[: len(end)] == end
        or (not last[-1:].isdigit() and text.casefold().startswith(last.casefold()))
    )


def _places(stock: Stock) -> list[dict]:
    """Where a part stands or may stand: every size and lot that the book knows, and every size without any."""
    places = [
        {"container": one.container, "lot": one.lot, "expected": one.amount} for one in stock.portions if one.amount
    ]
    seen = {place["container"] for place in places}
    places += [
        {"container": one.container, "lot": None, "expected": 0}
        for one in stock.containers
        if one.container not in seen
    ]
    return places or [{"container": None, "lot": None, "expected": 0}]


def _check_not_counted(parts: Iterable[Part]) -> None:
    taken = TakenPart.objects.filter(part__in=parts, open=True).select_related("take__started_by", "part")
    if rows := list(taken[:4]):
        take = rows[0].take
        which = names(rows, lambda row: row.part.number)
        raise Conflict(
            f"{which} {'is' if len(rows) == 1 else 'are'} being counted already in {take} ({take.title}), which "
            f"{take.started_by} began. Finish that one first, or count other parts.",
            code="counted",
        )


@transaction.atomic
def enter_counts(
    *, take: StockTake, figures: list[tuple[StockTakeRow, int]], recount: bool = False, by: User, at: datetime
) -> StockTake:
    """Enter what was found in some places, base units, all or none. What moved since the start is taken into account.

    A place that somebody has counted already is refused unless it is counted again on purpose; the same figure once
    more changes nothing.
    """
    take = _open_take(take)
    rows = take.rows.select_related("part", "container", "lot").prefetch_related("tallies__by")
    rows = {row.pk: row for row in rows.filter(pk__in=[row.pk for row, _ in figures])}
    refusals = {}
    for row, found in figures:
        if row.pk not in rows:
            refusals[f"found_{row.pk}"] = f"{row} is not part of {take}."
        elif found < 0:
            refusals[f"found_{row.pk}"] = f"{row}: nobody finds less than nothing. Give zero or more."
    lock([row.part for row in rows.values()], at=at)
    in_book = _in_the_book([row.part_id for row in rows.values()])
    for row, found in figures:
        if f"found_{row.pk}" in refusals:
            continue
        row = rows[row.pk]
        check_not_too_much(row.part, found, f"found_{row.pk}")
        if (last := row.last) and not recount:
            if last.found != found:
                has = stock_amount(last.found, row.part.measure)
                refusals[f"found_{row.pk}"] = (
                    f"{last.by} counted {has} of {row} already. Compare the two, then count it again on purpose."
                )
            continue
        there = in_book.get((row.part_id, row.container_id, row.lot_id), 0)
        Tally.objects.create(row=row, found=found, in_book=there, by=by, at=at)
    if refusals:
        counted = all("already" in words for words in refusals.values())
        raise (Conflict if counted else ValidationError)(
            {field: ValidationError(words, code="counted" if counted else "found") for field, words in refusals.items()}
        )
    return take


def _in_the_book(parts: Iterable[int]) -> dict[tuple, int]:
    rows = Movement.objects.filter(part__in=set(parts)).order_by().values_list("part", "container", "lot")
    return {(part, container, lot): amount for part, container, lot, amount in rows.annotate(Sum("amount"))}


@transaction.atomic
def finish_take(
    *,
    take: StockTake,
    reason: str = "",
    reasons: Iterable[tuple[StockTakeRow, str]] = (),
    leave_uncounted: bool = False,
    loses: Iterable[Reservation] = (),
    by: User,
    at: datetime,
) -> StockTake:
    """Correct the book by all differences at once; every one has a reason, its own or that of the whole count.

    Places that nobody counted are refused, or left as the book has them. A difference that leaves less than is held is
    refused unless loses names who goes without. Twice is as good as once.
    """
    locked = StockTake.objects.select_for_update().get(pk=take.pk)
    if locked.finished_at and not locked.given_up:
        return locked
    take = _open_take(take)
    own = {row.pk: words.strip() for row, words in reasons if words.strip()}
    rows = list(take.rows.select_related("part", "container", "lot").prefetch_related("tallies"))
    if uncounted := [row for row in rows if row.last is None]:
        if len(uncounted) == len(rows):
            raise ValidationError("Nothing is counted yet. Enter what was found, or give the count up.", code="nothing")
        if not leave_uncounted:
            words = f"{len(uncounted)} of {len(rows)} places are not counted: {names(uncounted)}. Count them, or say "
            raise refused("leave_uncounted", f"{words}that they stay as the book has them.", "uncounted")
    differing = [row for row in rows if row.last and row.last.difference]
    without = [row for row in differing if not (own.get(row.pk) or row.reason or reason.strip())]
    if without:
        words = f"Say why the book is corrected, for all or for each: {names(without)}."
        raise refused("reason", words, "reason")
    _post(take, differing, own, reason.strip(), list(loses), by, at)
    take.finished_by, take.finished_at = by, at
    take.save(update_fields=["finished_by", "finished_at"])
    take.taken_parts.update(open=False)
    note(who=by, kind="stock", key=take.pk, what=f"{take}, {take.title}: {len(differing)} differences posted", at=at)
    return take


def _post(take, differing, own, reason, loses, by, at) -> None:
    stock = lock([row.part for row in differing], at=at)
    in_book = _in_the_book(stock)
    by_part: dict[int, list[StockTakeRow]] = {}
    for row in differing:
        by_part.setdefault(row.part_id, []).append(row)
    refusals = []
    for key, rows in by_part.items():
        part = rows[0].part
        try:
            held = let_go(part, stock[key], [one for one in loses if one.part_id == key], by=by, at=at)
            check_promised(part, stock[key], held, sum(row.last.difference for row in rows), "loses")
        except ValidationError as error:
            refusals += error.messages
        for row in rows:
            if in_book.get((row.part_id, row.container_id, row.lot_id), 0) + row.last.difference < 0:
                refusals.append(f"{row}: more left the shelf since it was counted than was found. Count it again.")
    if refusals:
        raise refused("loses", refusals, "held")
    for row in differing:
        row.reason = own.get(row.pk) or row.reason or reason
        row.movement = adjust(
            row.part, row.container, row.lot, row.last.difference, stock=stock[row.part_id],
            kind=MovementKind.COUNTED, reason=f"{take}: {row.reason}", by=by, at=at,
        )  # fmt: skip
        row.save(update_fields=["reason", "movement"])


@transaction.atomic
def give_up_take(*, take: StockTake, by: User, at: datetime) -> StockTake:
    """End a count without correcting the book; what was entered stays to be read. Twice is as good as once."""
    locked = StockTake.objects.select_for_update().get(pk=take.pk)
    if locked.given_up:
        return locked
    take = _open_take(take)
    take.finished_by, take.finished_at, take.given_up = by, at, True
    take.save(update_fields=["finished_by", "finished_at", "given_up"])
    take.taken_parts.update(open=False)
    note(who=by, kind="stock", key=take.pk, what=f"{take}, {take.title}: given up, nothing corrected", at=at)
    return take


def _open_take(take: StockTake) -> StockTake:
    take = StockTake.objects.select_for_update().get(pk=take.pk)
    if not take.open:
        words = "was given up" if take.given_up else "is posted"
        raise Conflict(f"{str(take).capitalize()} {words}: nothing is entered into it any more.", code="finished")
    return take
