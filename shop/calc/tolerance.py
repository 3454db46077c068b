"""Tolerances as manuals print them: "± 5 %", "±0.03 in", "+5/-0", "195 to 205 psi"."""

import re
from fractions import Fraction

from shop.calc.errors import OutOfRange, Unreadable
from shop.calc.units import Entered, convert, parse, to_si, unit

EXAMPLES = "± 5 %, ± 0.03, +5/−0 or 195 to 205"
MOST_PLACES = 9  # behind the point, of a limit that comes out of a percentage
LONGEST_TEXT = 60
_NUMBER = r"\d[\d.,]*"
_BOTH = re.compile(rf"(?:±|\+ ?/? ?[-−–]) ?(?P<plus>{_NUMBER}) ?(?P<rest>.*)")
_EACH = re.compile(rf"\+ ?(?P<plus>{_NUMBER}) ?[/,]? ?[-−–] ?(?P<minus>{_NUMBER}) ?(?P<rest>.*)")
_RANGE = re.compile(rf"(?P<low>{_NUMBER}) ?(?:[-−–—]|to) ?(?P<high>{_NUMBER}) ?(?P<rest>.*)")


def limits(entered: Entered, text: str, quantity: str, field: str = "tolerance") -> tuple[Entered, Entered]:
    """The lowest and the highest value in tolerance, exactly, in the unit of the value unless the text names another.

    entered as units.parse read it. What stands behind a semicolon or in brackets says whose tolerance it is, as does
    text behind a comma: "± 5 %, the shop's own". A bare number is refused: "5" may mean ± 5 or up to 5.
    Raises Unreadable for what is no tolerance, OutOfRange where it reaches below zero or leaves the value outside.
    """
    plain = re.sub(r"\s+", " ", re.split(r"[;(]|, ?(?=\D)", text)[0]).strip()
    if len(plain) > LONGEST_TEXT:
        plain = ""
    value = Fraction(repr(entered.value))
    if match := _BOTH.fullmatch(plain) or _EACH.fullmatch(plain):
        sizes = match.groupdict()
        minus, plus = (
            _size(sizes.get(end) or sizes["plus"], match["rest"].strip(), entered, value, quantity, field)
            for end in ("minus", "plus")
        )
        low, high, symbol = value - minus, value + plus, entered.unit
    elif match := _RANGE.fullmatch(plain):
        ends = [parse(f"{match[end]} {match['rest']}", quantity, entered.unit, field=field) for end in ("low", "high")]
        low, high, symbol = Fraction(repr(ends[0].value)), Fraction(repr(ends[1].value)), ends[0].unit
    else:
        raise Unreadable(field, text, f"a tolerance such as {EXAMPLES}")
    found = _entered(low, symbol), _entered(high, symbol)
    if low < 0 or not found[0].si <= entered.si <= found[1].si:
        raise OutOfRange(field, text, f"a range around {entered} that begins above zero")
    return found


def _size(number: str, rest: str, entered: Entered, value: Fraction, quantity: str, field: str) -> Fraction:
    """How far one end lies from the value, in the value's own unit."""
    if rest in ("%", "percent", "per cent"):
        return value * Fraction(repr(parse(number, "count", "pcs", field=field).value)) / 100
    size = parse(f"{number} {rest}", quantity, entered.unit, field=field)
    return Fraction(repr(convert(size.value, size.unit, entered.unit)))


def _entered(value: Fraction, symbol: str) -> Entered:
    figures = f"{float(value):.{MOST_PLACES}f}".rstrip("0").rstrip(".")
    return Entered(figures, float(value), unit(symbol).symbol, to_si(value, symbol))
