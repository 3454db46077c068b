"""Sums of money: Decimal in, whole cents out."""

from decimal import ROUND_HALF_UP, Decimal

from shop.calc.errors import OutOfRange

CENT = Decimal("0.01")


def round_to_cent(value: Decimal) -> Decimal:
    """A sum rounded to the cent, half away from zero: 2.675 gives 2.68, -2.675 gives -2.68.

    Decimal or int in, Decimal with two places out; a float is refused, because 2.675 is no longer 2.675 in one.
    Raises OutOfRange (field "value") for anything else, NaN and infinity. Source: Streamlined Sales and Use Tax
    Agreement, s. 324 (a third decimal above four rounds up).
    """
    if isinstance(value, bool) or not isinstance(value, Decimal | int):
        raise OutOfRange("value", value, "a sum as a decimal number")
    value = Decimal(value)
    if not value.is_finite():
        raise OutOfRange("value", value, "a finite sum")
    return value.quantize(CENT, ROUND_HALF_UP)
