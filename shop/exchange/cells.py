"""What stands in one cell: text to a value and back. A refusal is a ValidationError with whole sentences."""

import re
from datetime import date

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from shop.calc import units
from shop.calc.errors import CalcError, OutOfRange
from shop.calc.units import Entered
from shop.customers.models import MODEL_YEARS

MOST_FIGURES = 20  # what the tables keep of the figures as entered
MOST_DIGITS = 12  # behind the point of a limit, so that it comes back as the same number
# A spreadsheet takes a cell that begins so for a formula; the last four are the same signs at full width.
FORMULA = re.compile(r"'*(?:\s*[=+\-@＝＋－＠]|[\t\r])")


# The same behind a sign at which a spreadsheet of another country parts the line, whatever the quotes say.
PARTED = re.compile(r"([;\t])('*[^\S\t]*[=+\-@＝＋－＠])")
PARTED_AND_GUARDED = re.compile(r"([;\t])'('*[^\S\t]*[=+\-@＝＋－＠])")


def guard(text: str) -> str:
    """The text as it may stand in a CSV file: what a spreadsheet would run gets an apostrophe before it."""
    text = PARTED.sub(r"\1'\2", text)
    return f"'{text}" if FORMULA.match(text) else text


def unguard(text: str) -> str:
    """Takes off what guard() put on, and nothing else."""
    text = text[1:] if text.startswith("'") and FORMULA.match(text[1:]) else text
    return PARTED_AND_GUARDED.sub(r"\1\2", text)


def text(cell: str, header: str) -> str:
    return cell


def email(cell: str, header: str) -> str:
    try:
        validate_email(cell)
    except ValidationError:
        raise ValidationError(f"“{cell}” is no e-mail address. Write it like name@example.com.") from None
    return cell


def year(cell: str, header: str) -> int:
    first, last = MODEL_YEARS
    allowed = f"Give a model year from {first} to {last}."
    if not re.fullmatch(r"\d{1,6}", cell, re.ASCII):
        raise ValidationError(f"“{cell}” is no model year. {allowed}")
    if not first <= int(cell) <= last:
        raise ValidationError(f"{cell} cannot be right. {allowed}")
    return int(cell)


def day(cell: str, header: str) -> date:
    try:
        if not re.fullmatch(r"\d{4}-\d\d-\d\d", cell, re.ASCII):
            raise ValueError
        found = date.fromisoformat(cell)
    except ValueError:
        raise ValidationError(f"“{cell}” is no day of the calendar. Write it like 2026-11-25.") from None
    if not 1990 <= found.year <= 2100:
        raise ValidationError(f"{cell} cannot be right. Give a day from 1990 to 2100.")
    return found


def choice(words: dict[str, str]):
    """A reader for one of some words: choice({"pieces": "count"}). Capitals do not matter."""
    known = {word.casefold(): value for word, value in words.items()}

    def read(cell: str, header: str) -> str:
        if (found := known.get(cell.casefold())) is None:
            raise ValidationError(f"“{cell}” is none of: {', '.join(words)}.")
        return found

    return read


yes_or_no = choice({"yes": True, "no": False})


def quantity(name: str, *, above_zero: bool = False, unit: str | None = None, negative: bool = False):
    """A reader for a figure with its unit in the same cell: "200 psi"; cleans to units.Entered."""

    def read(cell: str, header: str) -> Entered:
        return entered(cell, header, name, above_zero=above_zero, unit=unit, negative=negative)

    return read


def entered(
    cell: str, header: str, quantity: str, *, above_zero: bool = False, unit: str | None = None, negative: bool = False
) -> Entered:
    try:
        found = units.parse(cell, quantity, field=header, negative=negative)
        if unit and found.unit != unit:
            raise OutOfRange(header, str(found), f"a number of {unit}")
        if len(found.figures) > MOST_FIGURES:
            raise OutOfRange(header, found.figures, f"at most {MOST_FIGURES} figures")
        if above_zero and found.si <= 0:
            raise OutOfRange(header, str(found), "more than zero")
    except CalcError as error:
        raise ValidationError(str(error)) from None
    return found


def exactly(value_si: float, unit: str) -> str:
    """A figure nobody typed, with as many digits as bring the same number back: "17.1 lbf·ft"."""
    shown = units.figures(value_si, unit, MOST_DIGITS)
    return f"{shown.rstrip('0').rstrip('.') if '.' in shown else shown} {unit}"


def same_figure(one: float | None, other: float | None) -> bool:
    """Whether two values are one figure that went through text."""
    if one is None or other is None:
        return one is other
    return abs(one - other) <= 1e-9 * max(abs(one), abs(other), 1e-9)


def shortened(cell: str, most: int = 60) -> str:
    """Of a value, as much as a report shows."""
    return cell if len(cell) <= most else f"{cell[: most - 1]}…"
