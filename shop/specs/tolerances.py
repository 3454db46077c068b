"""A tolerance as printed beside limits as typed: they agree, or nobody guesses which is right."""

from django.core.exceptions import ValidationError

from shop.calc.errors import CalcError, Unreadable
from shop.calc.tolerance import EXAMPLES, limits
from shop.calc.units import Entered, convert
from shop.dampers.measures import QUANTITY, Measure


def agreed_limits(
    measure: Measure, entered: Entered, tolerance: str, low: Entered | None = None, high: Entered | None = None
) -> tuple[Entered, Entered]:
    """The limits of a figure: as the tolerance prints them, or as typed; if both are there, they have to agree.

    Raises ValidationError for "tolerance", "low" or "high". Words that are no tolerance ("see table 4") may stand
    beside limits that are typed.
    """
    printed = None
    if tolerance:
        try:
            printed = limits(entered, tolerance, QUANTITY[measure], f"{measure.label}, tolerance")
        except CalcError as error:
            if not (low and high and isinstance(error, Unreadable)):
                raise ValidationError({"tolerance": str(error)}) from error
    if printed is None:
        if not (low or high):
            words = f"{measure.label}: give the tolerance as printed, such as {EXAMPLES}."
            raise ValidationError({"tolerance": words})
        missing = {part: one for part, one in (("low", low), ("high", high)) if not one}
        if missing:
            words = {"low": "the lowest value that is still in tolerance", "high": "the highest that still is"}
            raise ValidationError({part: f"{measure.label}: give {words[part]}." for part in missing})
        return low, high
    for part, typed, meant, way in (("low", low, printed[0], 1), ("high", high, printed[1], -1)):
        if typed and not _agree(typed, meant, way):
            name = "lowest" if part == "low" else "highest"
            words = (
                f"{measure.label}: {tolerance} of {entered} is {printed[0].figures} to {printed[1]}, but the {name} is "
                f"typed as {typed}. Leave lowest and highest empty, or mend one of them."
            )
            raise ValidationError({part: words})
    return low or printed[0], high or printed[1]


def _agree(typed: Entered, printed: Entered, way: int) -> bool:
    """Whether a typed limit is the printed one, its last figure rounded inwards at most; way is 1 for the lowest."""
    inwards = way * (typed.value - convert(printed.value, printed.unit, typed.unit))
    last_figure = 10.0 ** -len(typed.figures.partition(".")[2])
    same = 1e-9 * max(abs(typed.value), last_figure)
    return abs(inwards) <= same or 0 < inwards < last_figure - same
