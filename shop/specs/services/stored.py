"""What a stored sheet says, in the shape in which a service takes it."""

from shop.calc.units import Entered, figures, from_si
from shop.specs.models import SpecSheet
from shop.specs.services.figures import NewValue

MOST_DIGITS = 6  # behind the point, of a limit that was computed


def values_of(sheet: SpecSheet) -> list[NewValue]:
    """The figures of a sheet; written again they are the same to the last bit."""
    return [
        NewValue(
            one.measure,
            Entered(one.figures, from_si(one.value_si, one.unit), one.unit, one.value_si),
            in_unit(one.low_si, one.unit),
            in_unit(one.high_si, one.unit),
            one.tolerance,
            one.page,
            one.note,
        )
        for one in sheet.values.all()
    ]


def reference_of(sheet: SpecSheet) -> dict[str, Entered]:
    """Temperature and altitude at which its charge is meant."""
    return {
        "reference_temperature": in_unit(sheet.reference_k, "K"),
        "reference_altitude": in_unit(sheet.reference_altitude_m, "m"),
    }


def in_unit(value_si: float, unit: str) -> Entered:
    """A stored value with figures in this unit, trailing zeros dropped."""
    text = figures(value_si, unit, MOST_DIGITS)
    return Entered(text.rstrip("0").rstrip(".") if "." in text else text, from_si(value_si, unit), unit, value_si)
