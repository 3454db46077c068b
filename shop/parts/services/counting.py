"""The book corrected by what was counted."""

from datetime import datetime

from django.db import transaction
from django.db.models import Sum

from shop.core.amounts import stock_amount
from shop.core.errors import refused
from shop.parts.models import Container, Movement, MovementKind, Part, ReservationState
from shop.parts.selectors import Stock
from shop.parts.services.stock import check_not_too_much, lock
from shop.staff.models import User

HOLDERS_NAMED = 5


@transaction.atomic
def count(
    *, part: Part, found: int, reason: str, container: Container | None = None, by: User, at: datetime
) -> Movement:
    """Correct the book by what was counted: base units found in containers of one size, or outside any.

    What is held for jobs has been promised: a count that leaves less than that on hand is refused.
    """
    if found < 0:
        raise refused("found", "Nobody finds less than nothing. Give zero or more.", "below_zero")
    check_not_too_much(part, found, "found")
    if container and container.part_id != part.pk:
        raise refused("container", f"{container} is not a container of {part}.", "other_part")
    if not reason.strip():
        raise refused("reason", "Say why the book is corrected: a yearly count, a broken bottle.", "reason")
    stock = lock([part])[part.pk]
    in_the_book = part.movements.filter(container=container).aggregate(Sum("amount", default=0))["amount__sum"]
    difference = found - in_the_book
    if not difference:
        words = f"The book has {stock_amount(found, part.measure)} there already: nothing to correct."
        raise refused("found", words, "no_difference")
    if difference < 0 and stock.on_hand + difference < stock.held:
        raise refused("found", _too_few(part, stock, difference), "held")
    return Movement.objects.create(
        part=part,
        container=container,
        amount=difference,
        kind=MovementKind.COUNTED,
        by=by,
        at=at,
        reason=reason.strip(),
    )


def _too_few(part: Part, stock: Stock, difference: int) -> str:
    held = part.reservations.filter(state=ReservationState.HELD)
    for_whom = ", ".join(f"{stock_amount(one.amount, part.measure)} for {one.purpose}" for one in held[:HOLDERS_NAMED])
    more = f" and {held.count() - HOLDERS_NAMED} more" if held.count() > HOLDERS_NAMED else ""
    left = stock_amount(max(stock.on_hand + difference, 0), part.measure)
    return (
        f"That leaves {left} of {part}, but {stock_amount(stock.held, part.measure)} is held: {for_whom}{more}. "
        "Enter the delivery that replaces it first, or call such a job off."
    )
