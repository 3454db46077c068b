"""Stock: every change is a movement, every promise a reservation, both under a lock on the part."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, Sum
from django.db.models.functions import Upper

from shop.core.amounts import stock_amount
from shop.core.errors import refused
from shop.core.rows import one_line, save_new
from shop.parts.models import MOST_AT_ONCE, Container, Movement, MovementKind, Part, Reservation, ReservationState
from shop.parts.selectors import Stock, draw, stock_of
from shop.specs.models import KitLine, KitMeasure
from shop.staff.models import User
from shop.staff.services import note, note_each

HOLDERS_NAMED = 5


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
    _check_not_too_much(part, amount)
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
    _check_not_too_much(part, amount)
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


@dataclass(frozen=True)
class NewPart:
    """A stock item to enter; origin says in the audit trail where it came from: "from parts.csv, line 12"."""

    number: str
    name: str
    measure: str
    bin: str = ""
    origin: str = ""


@transaction.atomic
def create_part(*, number: str, name: str, measure: str, bin: str = "", by: User, at: datetime) -> Part:
    """Enter a stock item. It is measured as the parts lists measure it that name its number: only then is it picked."""
    (part,) = create_parts(new=[NewPart(number, name, measure, bin)], by=by, at=at)
    return part


@transaction.atomic
def create_parts(*, new: list[NewPart], by: User, at: datetime) -> list[Part]:
    """Enter stock items, all or none, in as many queries as one takes. Refused with what is wrong with the first."""
    parts = [
        Part(number=one.number.strip(), name=one_line(one.name), measure=one.measure, bin=one.bin.strip())
        for one in new
    ]
    numbers = [part.number for part in parts]
    twins = {}
    alike = Q(number__in=numbers) | Q(key__in={one.upper() for one in numbers})
    for part in Part.objects.annotate(key=Upper("number")).filter(alike):
        twins.setdefault(part.number.casefold(), part)
    lines = {}
    for line in KitLine.objects.filter(part_number__in=numbers).select_related("damper_model").order_by("-pk"):
        lines.setdefault(line.part_number, {})[line.measure] = line
    for part in parts:
        if twin := twins.get(part.number.casefold()):
            raise refused("number", f"{twin} is a stock item already. Open that one.", "known")
        twins[part.number.casefold()] = part
        others = [line for measure, line in lines.get(part.number, {}).items() if measure != part.measure]
        if others:
            raise _other_measure(min(others, key=lambda line: line.pk))
        # Each rule of the table is among those above or in a field: asking the database again costs three queries each.
        part.full_clean(validate_unique=False, validate_constraints=False)
    save_new(*parts)
    noted = [
        (part.pk, f"entered: {part}, measured in {part.get_measure_display()}", one.origin)
        for part, one in zip(parts, new, strict=True)
    ]
    note_each(who=by, kind="part", lines=noted, at=at)
    return parts


def _other_measure(line: KitLine) -> ValidationError:
    how = KitMeasure(line.measure).label
    return refused(
        "measure",
        f"The parts list of {line.damper_model} takes {line} measured in {how}. "
        f"Choose {how}, or mend that parts list first.",
        "other_measure",
    )


@transaction.atomic
def add_container(*, part: Part, name: str, size: int, price: Decimal, by: User, at: datetime) -> Container:
    """Enter a size in which a stock item is bought: base units it holds, and what one costs."""
    part = Part.objects.select_for_update(no_key=True).get(pk=part.pk)
    held = stock_amount(size, part.measure)
    if size <= 0:
        raise ValidationError({"size": f"A container holds more than {held}. Give what is in it when it is full."})
    _check_not_too_much(part, size, "size")
    if price < 0:
        raise ValidationError({"price": f"{price} cannot be a price. Give zero or more."})
    if twin := part.containers.filter(size=size).first():
        raise ValidationError(
            {"size": f"{twin} holds {held} already. One entry for each size is enough."}, code="known"
        )
    container = Container(part=part, name=one_line(name), size=size, price=price)
    container.full_clean()
    container.save()
    note(who=by, kind="part", key=part.pk, what=f"container: {container}, {held}, {price}", at=at)
    return container


@transaction.atomic
def count(
    *, part: Part, found: int, reason: str, container: Container | None = None, by: User, at: datetime
) -> Movement:
    """Correct the book by what was counted: base units found in containers of one size, or outside any.

    What is held for jobs has been promised: a count that leaves less than that on hand is refused.
    """
    if found < 0:
        raise refused("found", "Nobody finds less than nothing. Give zero or more.", "below_zero")
    _check_not_too_much(part, found, "found")
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


def _check_not_too_much(part: Part, amount: int, field: str = "amount") -> None:
    if amount > MOST_AT_ONCE[KitMeasure(part.measure)]:
        most = stock_amount(MOST_AT_ONCE[KitMeasure(part.measure)], part.measure)
        raise refused(field, f"{stock_amount(amount, part.measure)} at once is a slip; at most {most}.", "too_much")
