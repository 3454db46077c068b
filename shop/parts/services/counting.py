"""The book corrected by what was counted, found wrong, or has to be thrown away."""

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum

from shop.core.amounts import stock_amount
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused, renamed
from shop.core.rows import names, one_line
from shop.parts.models import (
    Container,
    Drum,
    Lot,
    Movement,
    MovementKind,
    Part,
    ReceiptLine,
    Reservation,
    TakenPart,
)
from shop.parts.selectors import Stock, portion
from shop.parts.services.promised import check_promised, let_go
from shop.parts.services.stock import check_not_too_much, lock, note_opened
from shop.parts.services.used_oil import follow_written_off, pour_written_off
from shop.specs.models import KitMeasure
from shop.staff.models import User

LONGEST_REASON = 200
CORRECTED_BY_HAND = [MovementKind.RECEIVED, MovementKind.COUNTED, MovementKind.WASTED, MovementKind.USED]


@transaction.atomic
def count(
    *,
    part: Part,
    found: int,
    reason: str,
    container: Container | None = None,
    lot: Lot | None = None,
    loses: Iterable[Reservation] = (),
    by: User,
    at: datetime,
) -> Movement:
    """Correct the book by what was counted: base units found in containers of one size, or outside any, of one lot.

    What is held for jobs has been promised: a count that leaves less than that on hand is refused, unless loses names
    who goes without. So is one of a part that a stock take counts at this time.
    """
    if found < 0:
        raise refused("found", "Nobody finds less than nothing. Give zero or more.", "below_zero")
    check_not_too_much(part, found, "found")
    _check_place(part, container, lot)
    if not reason.strip():
        raise refused("reason", "Say why the book is corrected: a yearly count, a broken bottle.", "reason")
    stock = lock([part], at=at)[part.pk]
    if taken := TakenPart.objects.filter(part=part, open=True).select_related("take").first():
        words = f"{part} is being counted in {taken.take}, {taken.take.title}. Enter what you found there."
        raise Conflict(words, code="counted")
    difference = found - _in_the_book(part, container, lot)
    if not difference:
        words = f"The book has {stock_amount(found, part.measure)} there already: nothing to correct."
        raise refused("found", words, "no_difference")
    held = let_go(part, stock, loses, by=by, at=at)
    check_promised(part, stock, held, difference, "found")
    return adjust(
        part, container, lot, difference, stock=stock, kind=MovementKind.COUNTED, reason=reason.strip(), by=by, at=at
    )


@transaction.atomic
def write_off(
    *,
    part: Part,
    amount: int,
    reason: str,
    container: Container | None = None,
    lot: Lot | None = None,
    loses: Iterable[Reservation] = (),
    drum: Drum | None = None,
    elsewhere: str = "",
    sure: bool = False,
    by: User,
    at: datetime,
) -> Movement:
    """Throw away base units of one size and lot: past its date, spoilt, spilt. Only who may write off does so.

    Of a fluid it is said into which drum it was poured, and the used-oil log has it with the same act, or where else it
    went. sure answers what is asked: a drum that would run over.
    """
    if not by.may("write_off"):
        raise refused("reason", "Only a manager can write stock off. Ask one.", "not_manager")
    if amount <= 0:
        raise refused("amount", "Give how much is written off, more than zero.", "amount")
    _check_place(part, container, lot)
    elsewhere = one_line(elsewhere)
    if not reason.strip():
        raise refused("reason", "Say why it is written off: past its date, spilt, a torn bag.", "reason")
    _check_where_it_goes(part, drum, elsewhere)
    why = f"{reason.strip()}; not into a drum: {elsewhere}" if elsewhere else reason.strip()
    if len(why) > LONGEST_REASON:
        words = f"Why and where it went are {len(why)} characters together; at most {LONGEST_REASON}. Say it shorter."
        raise refused("reason", words, "too_long")
    stock = lock([part], at=at)[part.pk]
    there = _in_the_book(part, container, lot)
    if amount > there:
        has, says = stock_amount(max(there, 0), part.measure), stock_amount(amount, part.measure)
        raise refused("amount", f"{says} cannot be written off: the book has {has} there.", "not_on_hand")
    held = let_go(part, stock, loses, by=by, at=at)
    check_promised(part, stock, held, -amount, "amount")
    made = adjust(part, container, lot, -amount, stock=stock, kind=MovementKind.WASTED, reason=why, by=by, at=at)
    if drum:
        pour_written_off(movement=made, drum=drum, sure=sure, by=by, at=at)
    return made


def _check_where_it_goes(part: Part, drum: Drum | None, elsewhere: str) -> None:
    if part.measure != KitMeasure.VOLUME:
        if drum:
            raise refused("drum", f"{part} is no fluid: it is not poured into a drum. Choose none.", "no_fluid")
    elif drum and elsewhere:
        raise refused("elsewhere", f"It goes into {drum} or elsewhere, not both. Empty one of the two.", "both")
    elif not drum and not elsewhere:
        words = "Say into which drum it was poured. If into none, say where it went: back to the supplier, spilt."
        raise refused("drum", words, "where")


@transaction.atomic
def correct(
    *,
    movement: Movement,
    right: int,
    reason: str,
    loses: Iterable[Reservation] = (),
    by: User,
    at: datetime,
) -> Movement:
    """Correct a wrong entry by another one that names it: right is the base units it should have said, with its sign.

    What was picked or put back is corrected on its pick list while the order runs; what a delivery brought, on its
    order. Where the used-oil log has what was written off, its line is corrected with it.
    """
    if came := ReceiptLine.objects.filter(movement=movement).select_related("receipt__order").first():
        words = f"It came with {came.receipt}. Correct it on the page of {came.receipt.order}, so that the order knows."
        raise refused("movement", words, "of_delivery")
    return put_right(movement=movement, right=right, reason=reason, loses=loses, by=by, at=at)


@transaction.atomic
def put_right(
    *,
    movement: Movement,
    right: int,
    reason: str,
    loses: Iterable[Reservation] = (),
    by: User,
    at: datetime,
) -> Movement:
    """The same for who keeps what the movement belongs to in step."""
    part = movement.part
    if movement.kind not in CORRECTED_BY_HAND:
        words = "Pick or put back on the pick list instead."
        if movement.kind == MovementKind.CORRECTED:
            words = "Correct the entry that it names once more."
        raise refused("movement", f"“{movement.get_kind_display()}” is not corrected here. {words}", "not_correctable")
    if not reason.strip():
        raise refused("reason", "Say what was wrong: a slip of the finger, another box.", "reason")
    if right and (right < 0) != (movement.amount < 0) and movement.kind != MovementKind.COUNTED:
        raise refused("right", "What came cannot have gone, nor the other way round. Give zero at least.", "sign")
    check_not_too_much(part, abs(right), "right")
    stock = lock([part], at=at)[part.pk]
    before = movement.corrections.aggregate(Sum("amount", default=0))["amount__sum"]
    difference = right - movement.amount - before
    if not difference:
        raise refused("right", "The book says that already: nothing to correct.", "no_difference")
    there = _in_the_book(part, movement.container, movement.lot)
    if there + difference < 0:
        has = stock_amount(max(there, 0), part.measure)
        raise refused("right", f"That cannot be: only {has} of it is still there, the rest has been used.", "negative")
    held = let_go(part, stock, loses, by=by, at=at)
    check_promised(part, stock, held, difference, "right")
    if reservation := movement.reservation:
        reservation = Reservation.objects.select_for_update().get(pk=reservation.pk)
        reservation.issued -= difference
        reservation.save(update_fields=["issued"])
    made = adjust(
        part, movement.container, movement.lot, difference,
        stock=stock, kind=MovementKind.CORRECTED, reason=reason.strip(), corrects=movement,
        reservation=reservation, by=by, at=at,
    )  # fmt: skip
    try:
        follow_written_off(movement=movement, amount=abs(right), why=reason, by=by, at=at)
    except ValidationError as error:
        raise renamed(error, entered="right") from error
    return made


def adjust(
    part: Part, container: Container | None, lot: Lot | None, difference: int, *, stock: Stock, at: datetime, **given
) -> Movement:
    """Write a difference of one size and lot, and keep the day on which the lot was opened; the part is locked."""
    made = Movement.objects.create(part=part, container=container, lot=lot, amount=difference, at=at, **given)
    if lot and container:
        day = local_day(at)
        before = next(
            (one for one in stock.portions if (one.container, one.lot) == (container, lot)),
            portion(part, container, lot, 0, day),
        )
        after = portion(part, container, lot, before.amount + difference, day)
        if not before.opened or not after.opened:
            note_opened(before, after, day)
    return made


def _in_the_book(part: Part, container: Container | None, lot: Lot | None) -> int:
    rows = part.movements.filter(container=container, lot=lot)
    return rows.aggregate(Sum("amount", default=0))["amount__sum"]


def _check_place(part: Part, container: Container | None, lot: Lot | None) -> None:
    if container and container.part_id != part.pk:
        raise refused("container", f"{container} is not a container of {part}.", "other_part")
    if lot and (lot.part_id != part.pk or lot.container_id != (container.pk if container else None)):
        where = f"of {container}" if container else "outside any container"
        raise refused("lot", f"{lot} is not {where}. Choose its own container, or another lot.", "other_lot")
    if not lot and (lots := _lots_there(part, container)):
        words = f"It stands there by lots: {names(lots)}. Say which of them it is about."
        if not part.movements.filter(container=container, lot=None).exists():
            raise refused("lot", words, "which_lot")


def _lots_there(part: Part, container: Container | None) -> list[Lot]:
    lots = Lot.objects.filter(part=part, container=container).annotate(there=Sum("movements__amount"))
    return list(lots.filter(there__gt=0))
