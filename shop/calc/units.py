"""Quantities as people write them, and as we keep them: SI floats beside the figures and the unit as entered.

Every factor is exact by definition (NIST SP 811, Appendix B): inch 25.4 mm, pound 0.453 592 37 kg, standard gravity
9.806 65 m/s², US gallon 231 cubic inches. A conversion multiplies whole numbers and rounds once, at the end.
"""

import math
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal, localcontext
from fractions import Fraction

from shop.calc.errors import CalcError, OutOfRange, Unreadable

INCH = Fraction(254, 10_000)
FOOT = 12 * INCH
POUND = Fraction(45_359_237, 100_000_000)
GRAVITY = Fraction(980_665, 100_000)
POUND_FORCE = POUND * GRAVITY
LITRE = Fraction(1, 1000)
GALLON = 231 * INCH**3

LONGEST_TEXT = 60
MOST_DIGITS = 12
# A limit stored as a float may sit a hair beside the figure that was typed: closer than this share of it is the same.
SAME = Fraction(1, 10**12)


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit. SI value = factor × value + offset; digits is how many decimals a person wants to see."""

    symbol: str
    quantity: str
    factor: Fraction
    digits: int
    spellings: tuple[str, ...] = ()
    offset: Fraction = Fraction(0)
    name: str = ""


@dataclass(frozen=True, slots=True)
class Entered:
    """What somebody typed: figures (ASCII digits, decimal point), value in that unit, the unit, and the SI value."""

    figures: str
    value: float
    unit: str
    si: float

    def __str__(self) -> str:
        return f"{self.figures} {self.unit}"


def _torque(foot: str) -> Iterable[str]:
    """Spellings of pound-force × foot or inch, either way round."""
    for pound in ("lbf", "lb", "lbs", "pound", "pounds", "pound-force"):
        for one in (foot, f"{foot}s"):
            yield from (f"{pound} {one}", f"{one} {pound}")


_ALL = (
    Unit(
        "lbf·ft",
        "torque",
        POUND_FORCE * FOOT,
        1,
        (*_torque("ft"), *_torque("foot"), *_torque("feet")),
        name="pound-force foot",
    ),
    Unit("lbf·in", "torque", POUND_FORCE * INCH, 0, (*_torque("in"), *_torque("inch")), name="pound-force inch"),
    Unit(
        "N·m",
        "torque",
        Fraction(1),
        1,
        ("newton metre", "newton meter", "newton metres", "newton meters"),
        name="newton metre",
    ),
    Unit("kgf·m", "torque", GRAVITY, 2, ("kg m", "m kg", "m kgf", "kp m"), name="kilogram-force metre"),
    Unit(
        "psi",
        "pressure",
        POUND_FORCE / INCH**2,
        0,
        ("psig", "lbf/in²", "lb/in²", "pounds per square inch"),
        name="pound-force per square inch",
    ),
    Unit("kPa", "pressure", Fraction(1000), 0, ("kilopascal",), name="kilopascal"),
    Unit("bar", "pressure", Fraction(100_000), 2, ("bars", "barg"), name="bar"),
    Unit("MPa", "pressure", Fraction(1_000_000), 3, ("megapascal",), name="megapascal"),
    Unit("Pa", "pressure", Fraction(1), 0, ("pascal",), name="pascal"),
    Unit("in", "length", INCH, 3, ("inch", "inches", '"', "''", "″", "”"), name="inch"),
    Unit(
        "mm",
        "length",
        Fraction(1, 1000),
        1,
        ("millimetre", "millimeter", "millimetres", "millimeters"),
        name="millimetre",
    ),
    Unit(
        "cm",
        "length",
        Fraction(1, 100),
        2,
        ("centimetre", "centimeter", "centimetres", "centimeters"),
        name="centimetre",
    ),
    Unit("m", "length", Fraction(1), 3, ("metre", "meter", "metres", "meters"), name="metre"),
    Unit("ft", "length", FOOT, 0, ("foot", "feet", "'", "′"), name="foot"),
    Unit("mi", "distance", 5280 * FOOT, 0, ("mile", "miles"), name="mile"),
    Unit(
        "km",
        "distance",
        Fraction(1000),
        0,
        ("kilometre", "kilometer", "kilometres", "kilometers", "kms"),
        name="kilometre",
    ),
    Unit(
        "mL", "volume", LITRE / 1000, 0, ("millilitre", "milliliter", "millilitres", "milliliters"), name="millilitre"
    ),
    Unit("L", "volume", LITRE, 2, ("litre", "liter", "litres", "liters", "ltr"), name="litre"),
    Unit(
        "fl oz",
        "volume",
        GALLON / 128,
        1,
        ("US fl oz", "fl oz (US)", "fluid ounce", "fluid ounces"),
        name="US fluid ounce",
    ),
    Unit("qt", "volume", GALLON / 4, 2, ("US qt", "qt (US)", "qts", "quart", "quarts"), name="US quart"),
    Unit("gal", "volume", GALLON, 3, ("US gal", "gal (US)", "gals", "gallon", "gallons"), name="US gallon"),
    Unit("cc", "volume", LITRE / 1000, 0, ("cm³", "ccm", "ccs"), name="cubic centimetre"),
    Unit("µL", "volume", LITRE / 1_000_000, 0, ("microlitre", "microliter"), name="microlitre"),
    Unit("g", "mass", Fraction(1, 1000), 1, ("gram", "grams", "gr"), name="gram"),
    Unit("mg", "mass", Fraction(1, 1_000_000), 0, ("milligram", "milligrams"), name="milligram"),
    Unit("kg", "mass", Fraction(1), 3, ("kilogram", "kilograms", "kilo", "kilos"), name="kilogram"),
    Unit("oz", "mass", POUND / 16, 2, ("ounce", "ounces"), name="avoirdupois ounce"),
    Unit("lb", "mass", POUND, 2, ("lbs", "pound", "pounds", "lbm"), name="pound"),
    Unit("h", "time", Fraction(3600), 1, ("hr", "hrs", "hour", "hours"), name="hour"),
    Unit("min", "time", Fraction(60), 0, ("mins", "minute", "minutes"), name="minute"),
    Unit("s", "time", Fraction(1), 0, ("sec", "secs", "second", "seconds"), name="second"),
    Unit("°C", "temperature", Fraction(1), 0, ("C", "degC", "Celsius"), Fraction(27_315, 100), name="degree Celsius"),
    Unit(
        "°F",
        "temperature",
        Fraction(5, 9),
        0,
        ("F", "degF", "Fahrenheit"),
        Fraction(45_967, 180),
        name="degree Fahrenheit",
    ),
    Unit("K", "temperature", Fraction(1), 2, ("kelvin",), name="kelvin"),
    Unit("pcs", "count", Fraction(1), 0, ("pc", "piece", "pieces", "each", "ea"), name="piece"),
    Unit("clicks", "count", Fraction(1), 0, ("click",), name="click"),
    Unit("turns", "count", Fraction(1), 2, ("turn",), name="turn"),
    Unit("N", "force", Fraction(1), 0, ("newton", "newtons"), name="newton"),
    Unit("lbf", "force", POUND_FORCE, 1, ("lb", "lbs", "pound-force", "pounds"), name="pound-force"),
    Unit("kgf", "force", GRAVITY, 2, ("kp",), name="kilogram-force"),
    Unit("N/mm", "spring_rate", Fraction(1000), 1, (), name="newton per millimetre"),
    Unit("N/m", "spring_rate", Fraction(1), 0, (), name="newton per metre"),
    Unit(
        "lbf/in",
        "spring_rate",
        POUND_FORCE / INCH,
        0,
        ("lb/in", "lbs/in", "lbf/inch", "lb/inch"),
        name="pound-force per inch",
    ),
    Unit("mm²/s", "viscosity", Fraction(1, 1_000_000), 2, ("cSt", "centistokes"), name="square millimetre per second"),
    Unit("kg/m³", "density", Fraction(1), 0, (), name="kilogram per cubic metre"),
    Unit("g/mL", "density", Fraction(1000), 3, ("g/cm³", "kg/L"), name="gram per millilitre"),
)


def _key(text: str) -> str:
    """One spelling for all ways to write a unit: lbf·ft, lbf-ft and LBF FT are the same."""
    text = unicodedata.normalize("NFKC", text.replace("º", "°")).casefold().replace("μ", "u")
    return re.sub(r"[\s·⋅•∙*.()°_‐‑–-]+", "", text)


UNITS = {one.symbol: one for one in _ALL}
QUANTITIES = {name: tuple(one for one in _ALL if one.quantity == name) for name in {one.quantity: 0 for one in _ALL}}
_BY_QUANTITY: dict[tuple[str, str], Unit] = {}
_BY_SPELLING: dict[str, Unit] = {}
for _one in _ALL:
    for _spelling in (_one.symbol, *_one.spellings):
        _BY_QUANTITY.setdefault((_one.quantity, _key(_spelling)), _one)
        # A pound is a mass unless the field asks for a force: the first in the list wins.
        _BY_SPELLING.setdefault(_key(_spelling), _one)


def unit(text: str, quantity: str | None = None) -> Unit:
    """Look a unit up by its symbol or any accepted spelling, within one quantity if named. Raises Unreadable."""
    found = UNITS.get(text) if quantity is None else None
    if found is None:
        key = _key(text)
        found = _BY_SPELLING.get(key) if quantity is None else _BY_QUANTITY.get((quantity, key))
    if found is None:
        raise Unreadable("unit", text, _units_in_words(quantity))
    return found


def to_si(value: float | Fraction | Decimal, unit_symbol: str) -> float:
    """Value in the unit to SI (Pa, N·m, m, m³, kg, s, K ...), rounded once. Raises OutOfRange unless finite."""
    one = unit(unit_symbol)
    return _ratio(_exact_si(value, one), unit_symbol)


def from_si(value_si: float | Fraction, unit_symbol: str) -> float:
    """SI value to the unit, rounded once. Raises OutOfRange unless finite."""
    one = unit(unit_symbol)
    return _ratio(_exact_from_si(value_si, one), unit_symbol)


def convert(value: float | Fraction, a: str, b: str) -> float:
    """Value in unit a to unit b, rounded once. Raises CalcError when they measure different things."""
    first, second = unit(a), unit(b)
    if not _comparable(first, second):
        raise CalcError("unit", b, f"a unit of {first.quantity}, as {first.symbol} is one")
    top, bottom = _exact_si(value, first)
    shift = second.offset
    top, bottom = top * shift.denominator - shift.numerator * bottom, bottom * shift.denominator
    return _ratio((top * second.factor.denominator, bottom * second.factor.numerator), b)


def parse(
    text: str,
    quantity: str,
    default_unit: str | None = None,
    *,
    field: str | None = None,
    low_si: float | None = None,
    high_si: float | None = None,
    negative: bool = False,
) -> Entered:
    """Read a quantity as people write it: "18", "18.2 lbf·ft", "22 ft-lb", "200 PSI", "1/4", "3 1/2 in", "3,4".

    A number without a unit takes default_unit. One comma followed by exactly three digits may mean two things and is
    sent back. Minus is refused unless negative is set; temperatures go down to absolute zero. low_si and high_si are
    the allowed range. Raises Unreadable for text that is not one clear quantity, OutOfRange for a value outside the
    range; field is the name both carry (the quantity when not given).
    """
    field = field or quantity
    if quantity not in QUANTITIES:
        raise CalcError("quantity", quantity, f"one of {', '.join(QUANTITIES)}")
    number, rest = _split(text, field, quantity, default_unit)
    figures, exact = number
    one = _unit_in_field(rest, text, field, quantity, default_unit)
    top, bottom = _exact_si(exact, one)
    if quantity == "temperature":
        if top < 0:
            raise OutOfRange(field, f"{figures} {one.symbol}", "a temperature above absolute zero (−273.15 °C)")
    elif exact < 0 and not negative:
        raise OutOfRange(field, f"{figures} {one.symbol}", "zero or more")
    try:
        value, si = float(exact), top / bottom
    except OverflowError:
        raise OutOfRange(field, figures, "a number of ordinary size") from None
    if not within(si, low_si, high_si):
        raise OutOfRange(field, f"{figures} {one.symbol}", show_range(low_si, high_si, one.symbol))
    return Entered(figures, value, one.symbol, si)


def show(
    value_si: float,
    unit_symbol: str,
    digits: int | None = None,
    *,
    low_si: float | None = None,
    high_si: float | None = None,
) -> str:
    """SI value as text with its unit: "18 lbf·ft". Without digits the unit's own, trailing zeros dropped.

    With limits, decimals are added until the text lies on the same side of them as the value: 18.94 beside a limit of
    18.9 never reads 18.9. Rounded half to even.
    """
    return f"{figures(value_si, unit_symbol, digits, low_si=low_si, high_si=high_si)} {unit(unit_symbol).symbol}"


def figures(
    value_si: float,
    unit_symbol: str,
    digits: int | None = None,
    *,
    low_si: float | None = None,
    high_si: float | None = None,
) -> str:
    """The number of show() without its unit."""
    one = unit(unit_symbol)
    value = _in_unit(value_si, one)
    places = one.digits if digits is None else digits
    verdict = _side(value_si, low_si, high_si)
    while True:
        rounded = _rounded(value, places, ROUND_HALF_EVEN)
        if places >= MOST_DIGITS or verdict == _side(_ratio(_exact_si(rounded, one), unit_symbol), low_si, high_si):
            return _plain(rounded, strip=digits is None)
        places += 1


def show_range(low_si: float | None, high_si: float | None, unit_symbol: str, digits: int | None = None) -> str:
    """Limits as text, low rounded up and high rounded down: "17.1 to 18.9 lbf·ft", "at least 17.1 lbf·ft".

    What is displayed is never wider than the truth; decimals are added where rounding would leave nothing between.
    """
    one = unit(unit_symbol)
    if low_si is None and high_si is None:
        return "any value"
    if low_si is not None and high_si is not None and low_si > high_si:
        raise OutOfRange("low", f"{show(low_si, unit_symbol)}", f"a low limit not above {show(high_si, unit_symbol)}")
    places = one.digits if digits is None else digits
    while True:
        low = None if low_si is None else _rounded(_in_unit(low_si, one), places, ROUND_CEILING)
        high = None if high_si is None else _rounded(_in_unit(high_si, one), places, ROUND_FLOOR)
        if low is None or high is None or low <= high or places >= MOST_DIGITS:
            break
        places += 1
    strip = digits is None
    if low is None:
        return f"at most {_plain(high, strip)} {one.symbol}"
    if high is None:
        return f"at least {_plain(low, strip)} {one.symbol}"
    return f"{_plain(low, strip)} to {_plain(high, strip)} {one.symbol}"


def within(value: float, low: float | None, high: float | None) -> bool:
    """Whether value lies in low..high, ends included; a float's last digit decides nothing (1 part in 10¹²)."""
    return not _side(value, low, high)


def _side(value: float, low: float | None, high: float | None) -> int:
    """-1 below the limits, 0 between them, 1 above."""
    slack = float(SAME)
    if low is not None and not value >= low - slack * abs(low):  # so that no number lies outside
        return -1
    if high is not None and not value <= high + slack * abs(high):
        return 1
    return 0


# --- exact arithmetic -------------------------------------------------------------------------------------------------


def _exact_si(value, one: Unit) -> tuple[int, int]:
    top, bottom = _as_ratio(value, one.symbol)
    factor, offset = one.factor, one.offset
    top, bottom = top * factor.numerator, bottom * factor.denominator
    if offset:
        top, bottom = top * offset.denominator + offset.numerator * bottom, bottom * offset.denominator
    return top, bottom


def _exact_from_si(value_si, one: Unit) -> tuple[int, int]:
    top, bottom = _as_ratio(value_si, one.symbol)
    factor, offset = one.factor, one.offset
    if offset:
        top, bottom = top * offset.denominator - offset.numerator * bottom, bottom * offset.denominator
    return top * factor.denominator, bottom * factor.numerator


def _as_ratio(value, symbol: str) -> tuple[int, int]:
    if isinstance(value, bool):
        raise OutOfRange("value", value, f"a number of {symbol}")
    try:
        return value.as_integer_ratio()
    except (AttributeError, OverflowError, ValueError):
        raise OutOfRange("value", value, f"a finite number of {symbol}") from None


def _ratio(pair: tuple[int, int], symbol: str) -> float:
    try:
        return pair[0] / pair[1]  # whole numbers divide to the nearest float
    except OverflowError:
        raise OutOfRange("value", "a number beyond all bounds", f"a finite number of {symbol}") from None


def _in_unit(value_si: float, one: Unit) -> Fraction:
    return Fraction(*_exact_from_si(value_si, one))


def _comparable(a: Unit, b: Unit) -> bool:
    # Clicks, turns and pieces are all counted, and none of them becomes another.
    return a.quantity == b.quantity and (a.quantity != "count" or a is b)


def _rounded(value: Fraction, places: int, rounding: str) -> Decimal:
    """Value to that many decimals; a value that is a float's breadth beside a rounded figure is that figure."""
    scaled = value * 10**places
    nearest = round(scaled)
    if abs(scaled - nearest) <= SAME * max(abs(scaled), 1):
        whole = nearest
    elif rounding == ROUND_CEILING:
        whole = math.ceil(scaled)
    elif rounding == ROUND_FLOOR:
        whole = math.floor(scaled)
    else:
        whole = nearest
    with localcontext() as context:
        context.prec = 400
        return Decimal(whole).scaleb(-places)


def _plain(value: Decimal, strip: bool) -> str:
    text = f"{abs(value):f}"
    if strip and "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"−{text}" if value < 0 else text


# --- reading what was typed -------------------------------------------------------------------------------------------

_NUMBER = re.compile(
    r"""(?P<sign>[+-]?)\s*(?:
        (?:(?P<whole>\d+)(?:\s+|\s*-\s*))?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)
      | (?P<grouped>\d{1,3}(?:\s\d{3})+(?:[.,]\d+)?(?![\d.,/]))
      | (?P<decimal>\d[\d.,]*|[.,]\d+)(?P<power>[eE][+-]?\d{1,4}(?![\w]))?
    )""",
    re.VERBOSE | re.ASCII,
)


def _split(text: str, field: str, quantity: str, default_unit: str | None) -> tuple[tuple[str, Fraction], str]:
    """Part the number from the unit behind it."""
    example = _example(quantity, default_unit)
    text = "" if text is None else str(text)
    if len(text) > LONGEST_TEXT:
        raise Unreadable(field, text, f"a short entry such as {example}")
    plain = _plain_characters(text)
    match = _NUMBER.match(plain)
    if match is None:
        raise Unreadable(field, text, f"a number such as {example}")
    rest = plain[match.end() :].strip()
    if rest[:1].isdigit() or rest[:1] in tuple("./,+-"):
        raise Unreadable(field, text, f"one number such as {example}")
    return _read(match, text, field, example), rest


def _read(match: re.Match, text: str, field: str, example: str) -> tuple[str, Fraction]:
    sign = "-" if match["sign"] == "-" else ""
    if match["bottom"]:
        if int(match["bottom"]) == 0:
            raise Unreadable(field, text, "a fraction that does not divide by zero")
        exact = int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"]))
        whole = f"{int(match['whole'])} " if match["whole"] else ""
        shown = f"{whole}{int(match['top'])}/{int(match['bottom'])}"
        return sign + shown, -exact if sign else exact
    shown = _with_point(match["decimal"] or re.sub(r"\s", "", match["grouped"]), text, field, example)
    if match["decimal"] and match["power"]:
        shown += match["power"].lower()
        if abs(int(match["power"][1:])) > 300:
            raise OutOfRange(field, text.strip(), "a number of ordinary size")
    exact = Fraction(sign + shown)
    return sign + shown, exact


def _with_point(number: str, text: str, field: str, example: str) -> str:
    """One decimal point, no grouping: 3,4 -> 3.4; 1,234.5 and 1.234,5 -> 1234.5. Raises Unreadable when in doubt."""
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", number):
        whole, part = number.split(",")
        raise Unreadable(field, text, f"{whole}{part} or {whole}.{part}: the comma could mean either")
    if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d*)?", number) and not re.fullmatch(r"0,\d{3}", number):
        number = number.replace(",", "")
    elif re.fullmatch(r"\d{1,3}(\.\d{3})+,\d*|\d{1,3}(\.\d{3}){2,}", number):
        number = number.replace(".", "").replace(",", ".")
    else:
        number = number.replace(",", ".")
    if number.count(".") > 1:
        raise Unreadable(field, text, f"one number such as {example}")
    whole, _, part = number.partition(".")
    return str(int(whole or 0)) + (f".{part}" if part else "")


def _unit_in_field(rest: str, text: str, field: str, quantity: str, default_unit: str | None) -> Unit:
    default = unit(default_unit, quantity) if default_unit is not None else None
    if not rest:
        if default is None:
            raise Unreadable(field, text, f"a unit with the number: {_units_in_words(quantity)}")
        return default
    one = _BY_QUANTITY.get((quantity, _key(rest)))
    if one is not None and (default is None or _comparable(one, default)):
        return one
    other = _BY_SPELLING.get(_key(rest))
    wanted = default.symbol if default is not None and quantity == "count" else _units_in_words(quantity)
    if other is not None:
        wanted += f"; {other.symbol} measures {other.quantity.replace('_', ' ')}" if other.quantity != quantity else ""
        if other.symbol == "oz" and quantity == "volume":
            wanted += ", a fluid ounce is written fl oz"
    raise Unreadable(field, text, f"the number in {wanted}")


def _plain_characters(text: str) -> str:
    """ASCII digits, signs and blanks for all their look-alikes; ½ becomes " 1/2" so that 3½ does not become 31/2."""
    out = []
    for one in text:
        decimal = unicodedata.decimal(one, None)
        parts = unicodedata.decomposition(one).split()
        if decimal is not None:
            out.append(str(decimal))
        elif parts and parts[0] == "<fraction>" and len(parts) == 4:
            out.append(" " + "".join(chr(int(part, 16)) for part in parts[1:]).replace("⁄", "/"))
        elif 0xFF01 <= ord(one) <= 0xFF5E:
            out.append(chr(ord(one) - 0xFEE0))
        elif one in "−–‒﹣":
            out.append("-")
        elif one in "⁄∕":
            out.append("/")
        elif one.isspace() or one in "\u200b\ufeff":
            out.append(" ")
        else:
            out.append(one)
    return "".join(out).strip()


def _units_in_words(quantity: str | None) -> str:
    symbols = [one.symbol for one in (QUANTITIES.get(quantity, _ALL) if quantity else _ALL)]
    return f"{', '.join(symbols[:-1])} or {symbols[-1]}" if len(symbols) > 1 else symbols[0]


def _example(quantity: str, default_unit: str | None) -> str:
    symbol = default_unit or QUANTITIES[quantity][0].symbol
    return f"18 {symbol}" if quantity == "count" else f"18 or 18.2 {symbol}"
