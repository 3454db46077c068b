"""Parts lists: what a rebuild of one damper takes."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.amounts import stock_amount
from shop.core.errors import refused
from shop.core.rows import one_line, sharing_years
from shop.dampers.models import DamperModel
from shop.specs.models import MOST_AT_ONCE, KitLine, years_in_words
from shop.staff.models import User
from shop.staff.services import note as audit


@transaction.atomic
def add_kit_line(
    *,
    damper_model: DamperModel,
    part_number: str,
    name: str,
    measure: str,
    amount: int | None,
    year_from: int | None = None,
    year_to: int | None = None,
    by: User,
    at: datetime,
) -> KitLine:
    """Add a part or fluid to what a rebuild of one such damper takes; orders take it up when they are checked in.

    amount in base units; None for a volume means the oil volume of the spec sheet.
    """
    damper_model = DamperModel.objects.select_for_update(no_key=True).get(pk=damper_model.pk)
    if amount is not None and amount <= 0:
        raise ValidationError({"amount": f"No damper takes {stock_amount(amount, measure)}. Give more than zero."})
    most = MOST_AT_ONCE.get(measure)  # a measure that there is none of is refused below, with the row
    if amount is not None and most is not None and amount > most:
        words = f"{stock_amount(amount, measure)} for one damper is a slip; at most {stock_amount(most, measure)}."
        raise refused("amount", words, "too_much")
    if year_from is not None and year_to is not None and year_to < year_from:
        raise ValidationError({"year_to": f"{year_to} lies before the first model year, {year_from}."})
    line = KitLine(
        damper_model=damper_model,
        part_number=part_number.strip(),
        name=one_line(name),
        measure=measure,
        amount=amount,
        year_from=year_from,
        year_to=year_to,
    )
    rivals = damper_model.kit_lines.filter(sharing_years(year_from, year_to), part_number__iexact=line.part_number)
    if rival := rivals.first():
        raise ValidationError(
            {
                "part_number": f"{_kit_line_in_words(rival)} is in this parts list already. "
                "Remove that line first, or give model years that it leaves free."
            },
            code="known",
        )
    line.full_clean()
    line.save()
    what = f"parts list: {_kit_line_in_words(line)}"
    audit(who=by, kind="dampermodel", key=damper_model.pk, what=what, at=at)
    return line


@transaction.atomic
def remove_kit_line(*, line: KitLine, by: User, at: datetime) -> None:
    """Take a line off a parts list. Twice is as good as once; jobs on the bench keep what was picked for them."""
    removed, _ = KitLine.objects.filter(pk=line.pk).delete()
    if removed:
        what = f"off the parts list: {_kit_line_in_words(line)}"
        audit(who=by, kind="dampermodel", key=line.damper_model_id, what=what, at=at)


def _kit_line_in_words(line: KitLine) -> str:
    amount = "oil volume of the spec sheet" if line.amount is None else stock_amount(line.amount, line.measure)
    return f"{line}, {amount}, {years_in_words(line.year_from, line.year_to)}"
