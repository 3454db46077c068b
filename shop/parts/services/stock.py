"""What comes to the shelf and leaves it: every change is a movement under a lock on the part."""

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.amounts import stock_amount
from shop.core.errors import refused
from shop.parts.models import MOST_AT_ONCE, Container, Movement, MovementKind, Part, Reservation, ReservationState
from shop.parts.selectors import Stock, draw, stock_of
from shop.specs.models import KitMeasure
from shop.staff.models import User


def lock(parts: Iterable[Part]) -> dict[int, Stock]:
    """Hold these parts until the transaction ends and tell their stock; always in one order, so that none deadlock."""
    keys = sorted({part.pk for part in parts})
    return stock_of(Part.objects.select_for_update().filter(pk__in=keys).order_by("pk"))


@transaction.atomic
def receive(
    *, part: Part, amount: int, container: Container | None = None, by: User, at: datetime, reason: str = ""
) -> Movement:
    """Enter a delivery: base units in all, in containers of one size or without."""
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
    lock([part])
    return Movement.objects.create(
        part=part, container=container, amount=amount, kind=MovementKind.RECEIVED, by=by, at=at, reason=reason
    )


@transaction.atomic
def use(
    *, part: Part, amount: int, reservation: Reservation | None, by: User, at: datetime, reason: str = ""
) -> list[Movement]:
    """Book what a job used: from its own reservation first, then from what nobody holds. Ends the reservation.

    More than that is refused: the book would promise a part to somebody that is not there any more.
    """
    check_not_too_much(part, amount)
    stock = lock([part])[part.pk]
    if reservation:
        reservation = Reservation.objects.select_for_update().get(pk=reservation.pk)
    own = reservation.amount if reservation and reservation.state == ReservationState.HELD else 0
    within_reach = min(stock.on_hand, stock.on_hand - stock.held + own)
    if amount > within_reach:
        there, wanted = stock_amount(max(within_reach, 0), part.measure), stock_amount(amount, part.measure)
        raise ValidationError(
            f"{part}: {wanted} used, but the book has {there} that is not held for another job. "
            "Correct the amount, or enter the delivery under Stock first.",
            code="not_on_hand",
        )
    moved = [
        Movement.objects.create(
            part=part,
            container=container,
            amount=-taken,
            kind=MovementKind.USED,
            reservation=reservation,
            by=by,
            at=at,
            reason=reason,
        )
        for container, taken in (draw(stock, amount) if amount else [])
    ]
    if own:
        reservation.state = ReservationState.USED if amount else ReservationState.RELEASED
        reservation.ended_at = at
        reservation.save(update_fields=["state", "ended_at"])
    return moved


def check_not_too_much(part: Part, amount: int, field: str = "amount") -> None:
    if amount > MOST_AT_ONCE[KitMeasure(part.measure)]:
        most = stock_amount(MOST_AT_ONCE[KitMeasure(part.measure)], part.measure)
        raise refused(field, f"{stock_amount(amount, part.measure)} at once is a slip; at most {most}.", "too_much")
