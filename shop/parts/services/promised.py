"""What is held for jobs has been promised: stock that goes another way must leave enough, or somebody is named."""

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import ValidationError

from shop.core.amounts import stock_amount
from shop.core.errors import refused
from shop.core.rows import names
from shop.parts.models import Part, Reservation, ReservationState
from shop.parts.selectors import Stock
from shop.staff.models import User
from shop.staff.services import note


def let_go(part: Part, stock: Stock, loses: Iterable[Reservation], *, by: User, at: datetime) -> int:
    """Take what is held from these, by somebody's decision; its part is locked. Answers what is held still."""
    held = stock.held
    for one in Reservation.objects.select_for_update().filter(pk__in=[one.pk for one in loses]).order_by("pk"):
        if one.part_id != part.pk:
            raise refused("loses", f"{one.purpose} holds nothing of {part}.", "other_part")
        if not one.held:
            continue
        held -= one.held
        words = f"{stock_amount(one.held, part.measure)} of {part} is not held for {one.purpose} any more"
        one.state = ReservationState.ISSUED if one.issued else ReservationState.RELEASED
        one.ended_at = at
        one.save(update_fields=["state", "ended_at"])
        note(who=by, kind="part", key=part.pk, what=words, at=at)
    return held


def check_promised(part: Part, stock: Stock, held: int, difference: int, field: str) -> None:
    """Refuse to take so much from the shelf (below zero) when less stays than is held."""
    if difference < 0 and stock.on_hand + difference < held:
        raise _too_few(part, stock, held, difference, field)


def _too_few(part: Part, stock: Stock, held: int, difference: int, field: str) -> ValidationError:
    holding = part.reservations.filter(state=ReservationState.HELD)
    for_whom = names(holding, lambda one: f"{stock_amount(one.amount, part.measure)} for {one.purpose}")
    left = stock_amount(max(stock.on_hand + difference, 0), part.measure)
    words = (
        f"That leaves {left} of {part}, but {stock_amount(held, part.measure)} is held: {for_whom}. "
        "Say which of them loses it, enter the delivery that replaces it first, or call such a job off."
    )
    return refused(field, words, "held")
