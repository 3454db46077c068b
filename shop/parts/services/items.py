"""What the stock list holds: its items, and the sizes they are bought in."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.db.models.functions import Upper

from shop.core.amounts import stock_amount
from shop.core.errors import refused
from shop.core.rows import one_line, save_new
from shop.parts.models import Container, Part
from shop.parts.services.stock import check_not_too_much
from shop.specs.models import KitLine, KitMeasure
from shop.staff.models import User
from shop.staff.services import note, note_each

MOST_DAYS = 3650


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
    check_not_too_much(part, size, "size")
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
def set_keeping(*, part: Part, days: int | None, by: User, at: datetime) -> Part:
    """Say how many days a stock item keeps once its container is opened; None: no limit is known.

    It holds for what is received from now on, and for lots that are there already.
    """
    part = Part.objects.select_for_update(no_key=True).get(pk=part.pk)
    if days is not None and not 0 < days <= MOST_DAYS:
        raise refused("days", f"Give 1 to {MOST_DAYS} days, or leave it empty.", "days")
    if part.keeps_days != days:
        part.keeps_days = days
        part.save(update_fields=["keeps_days"])
        words = f"keeps {days} days once opened" if days else "no limit is known once it is opened"
        note(who=by, kind="part", key=part.pk, what=words, at=at)
    return part
