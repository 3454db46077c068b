"""What comes to the shelf and leaves it: every change is a movement under a lock on the part."""

from collections.abc import Iterable
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.intervals import day_in_words
from shop.core.amounts import stock_amount
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused
from shop.parts.models import MOST_AT_ONCE, Container, Lot, Movement, MovementKind, Part, Reservation, ReservationState
from shop.parts.selectors import Portion, Stock, draw_portions, portion, stock_of
from shop.specs.models import KitMeasure
from shop.staff.models import User


def lock(parts: Iterable[Part], *, at: datetime | None = None) -> dict[int, Stock]:
    """Hold these parts until the transaction ends and tell their stock; always in one order, so that none deadlock."""
    keys = sorted({part.pk for part in parts})
    rows = Part.objects.select_for_update().filter(pk__in=keys).order_by("pk")
    return stock_of(rows, today=local_day(at) if at else None)


@transaction.atomic
def receive(
    *,
    part: Part,
    amount: int,
    container: Container | None = None,
    lot_code: str = "",
    use_by: date | None = None,
    by: User,
    at: datetime,
    reason: str = "",
) -> Movement:
    """Enter a delivery: base units in all, in containers of one size or without.

    What has a code or a date on its label, or does not keep once it is opened, becomes a lot; the same label of the
    same size is the same lot.
    """
    if amount <= 0:
        raise ValidationError(
            {"amount": f"{stock_amount(amount, part.measure)} cannot be received. Give more than zero."}
        )
    check_not_too_much(part, amount)
    if container and container.part_id != part.pk:
        raise ValidationError({"container": f"{container} is not a container of {part}."})
    if container and amount % container.size:
        size = stock_amount(container.size, part.measure)
        raise ValidationError({"amount": f"{container} holds {size}. Give a whole number of them."})
    if use_by and use_by < local_day(at):
        words = f"{day_in_words(use_by)} is past: it may not be used any more. Send it back, or correct the day."
        raise refused("use_by", words, "past")
    lock([part])
    return Movement.objects.create(
        part=part,
        container=container,
        lot=_lot(part, container, lot_code.strip(), use_by, local_day(at)),
        amount=amount,
        kind=MovementKind.RECEIVED,
        by=by,
        at=at,
        reason=reason,
    )


def _lot(part: Part, container: Container | None, code: str, use_by: date | None, day: date) -> Lot | None:
    """The lot of a delivery; its part is locked."""
    if not code and not use_by and not (part.keeps_days and container):
        return None
    alike = Lot.objects.filter(part=part, container=container, code=code, use_by=use_by, opened_on=None)
    if lot := alike.filter(received_on__lte=day).last() if code else alike.filter(received_on=day).last():
        return lot
    lot = Lot(part=part, container=container, code=code, use_by=use_by, received_on=day)
    lot.full_clean()
    lot.save()
    return lot


@transaction.atomic
def issue(*, reservation: Reservation, by: User, at: datetime, reason: str = "") -> list[Movement]:
    """Take from the shelf what a reservation holds; it ends as issued. Twice is as good as once.

    Conflict "expired" when too little of what is on hand may still be used.
    """
    stock = lock([reservation.part], at=at)[reservation.part_id]
    reservation = _locked(reservation)
    if not (amount := reservation.held):
        return []
    if amount > stock.usable:
        has, wants = (stock_amount(one, reservation.part.measure) for one in (max(stock.usable, 0), amount))
        raise Conflict(
            f"{reservation.part}: {wants} is held for {reservation.purpose}, but of what is on hand only {has} may "
            f"be used: {'; '.join(stock.expired_in_words)}. Receive fresh stock, and have a manager write the old off.",
            code="expired",
        )
    moved = take(
        stock,
        part=reservation.part,
        amount=amount,
        kind=MovementKind.ISSUED,
        reservation=reservation,
        by=by,
        at=at,
        reason=reason,
    )
    reservation.state, reservation.ended_at = ReservationState.ISSUED, at
    reservation.issued += amount
    reservation.save(update_fields=["state", "ended_at", "issued"])
    return moved


@transaction.atomic
def put_back(
    *,
    reservation: Reservation,
    amount: int | None = None,
    hold: bool = True,
    by: User,
    at: datetime,
    reason: str = "",
) -> list[Movement]:
    """Put back on the shelf what was issued for a reservation, all of it without an amount; held again with hold.

    It goes back to the sizes and lots that it was taken from, the last one first; fluids into the opened container.
    """
    stock = lock([reservation.part], at=at)[reservation.part_id]
    reservation = _locked(reservation)
    amount = reservation.issued if amount is None else amount
    if amount < 0 or amount > reservation.issued:
        has, says = (stock_amount(one, reservation.part.measure) for one in (reservation.issued, amount))
        raise refused("amount", f"{says} cannot be put back: {has} was taken for {reservation.purpose}.", "amount")
    if not amount:
        return []
    moved = _give_back(stock, reservation, amount, by=by, at=at, reason=reason)
    reservation.issued -= amount
    if hold:
        reservation.amount = reservation.held + amount
        reservation.state, reservation.ended_at = ReservationState.HELD, None
    elif reservation.state == ReservationState.ISSUED and not reservation.issued:
        reservation.state, reservation.ended_at = ReservationState.RELEASED, at
    reservation.save(update_fields=["amount", "state", "ended_at", "issued"])
    return moved


@transaction.atomic
def use(
    *, part: Part, amount: int, reservation: Reservation | None, by: User, at: datetime, reason: str = ""
) -> list[Movement]:
    """Book what a job used, and end its reservation.

    What was issued for it counts first: the rest of that goes back to the shelf; beyond it, what the reservation still
    holds is taken, then what nobody holds. More than that is refused: the book would promise a part to somebody that
    is not there any more.
    """
    check_not_too_much(part, amount)
    stock = lock([part], at=at)[part.pk]
    issued = own = 0
    if reservation:
        reservation = _locked(reservation)
        issued, own = reservation.issued, reservation.held
    within_reach = min(stock.usable, max(own, stock.usable - stock.held + own))
    if amount - issued > within_reach:
        raise _not_there(part, stock, amount, issued, within_reach)
    moved = []
    if amount > issued:
        why = "more was used than was picked" if issued else "used without being picked before"
        moved = take(
            stock,
            part=part,
            amount=amount - issued,
            kind=MovementKind.USED,
            reservation=reservation,
            by=by,
            at=at,
            reason=f"{reason}: {why}" if reservation and reason else reason,
        )
    elif issued > amount:
        why = f"{reason}: not used" if reason else "not used"
        moved = _give_back(stock, reservation, issued - amount, by=by, at=at, reason=why)
    if reservation:
        reservation.issued, reservation.ended_at = amount, at
        reservation.state = ReservationState.USED if amount else ReservationState.RELEASED
        reservation.save(update_fields=["state", "ended_at", "issued"])
    return moved


def _not_there(part: Part, stock: Stock, amount: int, issued: int, within_reach: int) -> ValidationError:
    there, wanted, picked = (stock_amount(max(one, 0), part.measure) for one in (within_reach, amount, issued))
    taken = f"{picked} of it was picked and " if issued else ""
    past = f" ({'; '.join(stock.expired_in_words)})" if stock.expired else ""
    return ValidationError(
        f"{part}: {wanted} used, but {taken}the book has {there} that is not held for another job{past}. "
        "Correct the amount, or enter the delivery under Stock first.",
        code="not_on_hand",
    )


def take(
    stock: Stock,
    *,
    part: Part,
    amount: int,
    kind: str,
    by: User,
    at: datetime,
    reservation: Reservation | None = None,
    reason: str = "",
) -> list[Movement]:
    """Write that so much leaves the shelf, as draw_portions has it; the part is locked, and so much is there."""
    places: dict[tuple, int] = {}
    for one in draw_portions(stock, amount):
        places[one.container, one.lot] = places.get((one.container, one.lot), 0) + one.amount
    standing = {(one.container, one.lot): one for one in stock.portions}
    moved = []
    for (container, lot), taken in places.items():
        before = standing.get((container, lot))
        if before and before.opened_past and not before.past:
            before = _keep_apart(before, by=by, at=at)
        moved.append(
            Movement.objects.create(
                part=part,
                container=container,
                lot=lot,
                amount=-taken,
                kind=kind,
                reservation=reservation,
                by=by,
                at=at,
                reason=reason,
            )
        )
        if lot and container:
            note_opened(before, portion(part, container, lot, before.amount - taken, local_day(at)), local_day(at))
    return moved


def _keep_apart(before: Portion, *, by: User, at: datetime) -> Portion:
    """Give what is left in a container that was opened for too long a lot of its own, so that it is not drawn from."""
    lot = before.lot
    old = Lot.objects.create(
        part=before.part, container=before.container, code=lot.code, use_by=lot.use_by,
        received_on=lot.received_on, opened_on=lot.opened_on,
    )  # fmt: skip
    for where, amount in ((lot, -before.opened), (old, before.opened)):
        Movement.objects.create(
            part=before.part, container=before.container, lot=where, amount=amount, kind=MovementKind.APART,
            by=by, at=at, reason=f"opened for too long: {before.opened_past}"[:200],
        )  # fmt: skip
    return portion(before.part, before.container, lot, before.amount - before.opened, local_day(at))


def note_opened(before: Portion, after: Portion, day: date) -> None:
    """Keep the day on which a lot's opened container was opened; both portions are of that lot and its container."""
    lot = after.lot
    if not after.opened:
        opened_on = None
    elif not before.opened or after.full < before.full or lot.opened_on is None:
        opened_on = max(day, lot.received_on)
    else:
        return
    if lot.opened_on != opened_on:
        lot.opened_on = opened_on
        lot.save(update_fields=["opened_on"])


def _give_back(
    stock: Stock, reservation: Reservation, amount: int, *, by: User, at: datetime, reason: str
) -> list[Movement]:
    """Write that so much of what left the shelf for a reservation is there again; its part is locked."""
    left: dict[tuple, int] = {}
    last: dict[tuple, Movement] = {}
    for one in reservation.movements.select_related("container", "lot").order_by("pk"):
        place = one.container, one.lot
        left[place] = left.get(place, 0) - one.amount
        if one.amount < 0:
            last[place] = one
    standing = {(one.container, one.lot): one for one in stock.portions}
    moved = []
    for place in sorted((one for one in last if left[one] > 0), key=lambda one: last[one].pk, reverse=True):
        some = min(amount, left[place])
        if not some:
            break
        amount -= some
        container, lot = place
        moved.append(
            Movement.objects.create(
                part=reservation.part,
                container=container,
                lot=lot,
                amount=some,
                kind=MovementKind.RETURNED,
                reservation=reservation,
                by=by,
                at=at,
                reason=reason,
            )
        )
        if lot and container:
            day = local_day(at)
            before = standing.get(place) or portion(reservation.part, container, lot, 0, day)
            after = portion(reservation.part, container, lot, before.amount + some, day)
            if not before.opened or not after.opened:
                note_opened(before, after, local_day(last[place].at))
    return moved


def _locked(reservation: Reservation) -> Reservation:
    return Reservation.objects.select_for_update(of=("self",)).select_related("part").get(pk=reservation.pk)


def check_not_too_much(part: Part, amount: int, field: str = "amount") -> None:
    if amount > MOST_AT_ONCE[KitMeasure(part.measure)]:
        most = stock_amount(MOST_AT_ONCE[KitMeasure(part.measure)], part.measure)
        raise refused(field, f"{stock_amount(amount, part.measure)} at once is a slip; at most {most}.", "too_much")
