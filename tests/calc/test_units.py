"""Units: exact conversion (NIST SP 811), reading what people type, showing figures beside their limits."""

import math
import random
from decimal import Decimal
from fractions import Fraction

import pint
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.errors import CalcError, OutOfRange, Unreadable
from shop.calc.units import (
    QUANTITIES,
    UNITS,
    convert,
    figures,
    from_si,
    parse,
    show,
    show_range,
    to_si,
    unit,
    within,
)

from .reference import rows

SYMBOLS = sorted(UNITS)
MEASURED = [one for one in SYMBOLS if UNITS[one].quantity != "count"]


@pytest.mark.parametrize("row", rows("unit_conversions"))
def test_conversion_meets_the_published_factor(row):
    """Sources per row: 1959 yard and pound agreement and NIST SP 811 App. B; tolerance is the row's, absolute."""
    got = convert(float(row["from_value"]), row["from_unit"], row["to_unit"])
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


PINT_NAMES = {
    "lbf·ft": "force_pound * foot", "lbf·in": "force_pound * inch", "N·m": "newton * meter",
    "kgf·m": "kilogram_force * meter",
    "psi": "psi", "kPa": "kPa", "bar": "bar", "MPa": "MPa", "Pa": "Pa", "in": "inch", "mm": "mm", "cm": "cm", "m": "m",
    "ft": "foot", "mi": "mile", "km": "km", "mL": "mL", "L": "L", "fl oz": "fluid_ounce", "qt": "quart",
    "gal": "gallon",
    "cc": "cm**3", "µL": "microliter", "g": "g", "mg": "mg", "kg": "kg", "oz": "ounce", "lb": "pound", "h": "hour",
    "min": "minute", "s": "s", "N": "N", "lbf": "force_pound", "kgf": "kilogram_force", "N/mm": "N/mm", "N/m": "N/m",
    "lbf/in": "force_pound/inch", "mm²/s": "centistokes", "kg/m³": "kg/m**3", "g/mL": "g/mL",
    "°C": "degC", "°F": "degF", "K": "kelvin",
}  # fmt: skip


@pytest.mark.parametrize("symbol", MEASURED)
def test_every_unit_agrees_with_pint(symbol):
    """Source: the Pint library, live; relative 4e-15 is its own floating-point noise."""
    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    for value in (1.0, 18.2, 1379.0):
        theirs = registry.Quantity(value, registry.parse_units(PINT_NAMES[symbol])).to_base_units().magnitude
        assert to_si(value, symbol) == pytest.approx(theirs, rel=4e-15)


@pytest.mark.parametrize(("symbol", "constant"), [
    ("psi", scipy.constants.psi), ("bar", scipy.constants.bar), ("in", scipy.constants.inch), ("ft",
    scipy.constants.foot),
    ("mi", scipy.constants.mile), ("L", scipy.constants.liter), ("gal", scipy.constants.gallon),
    ("fl oz", scipy.constants.fluid_ounce), ("lb", scipy.constants.lb), ("oz", scipy.constants.oz),
    ("lbf", scipy.constants.lbf), ("kgf", scipy.constants.kgf), ("h", scipy.constants.hour),
])  # fmt: skip
def test_factors_agree_with_scipy_constants(symbol, constant):
    """Source: scipy.constants, live; two units in the last place of a float."""
    assert to_si(1, symbol) == pytest.approx(constant, rel=5e-16)


def test_factors_are_the_defining_fractions():
    """Source: definitions (in = 25.4 mm, lb = 0.453 592 37 kg, g = 9.806 65 m/s², gal = 231 in³), NIST SP 811."""
    assert UNITS["lbf·ft"].factor == Fraction("0.45359237") * Fraction("9.80665") * Fraction("0.3048")
    assert UNITS["lbf·ft"].factor == 12 * UNITS["lbf·in"].factor
    assert UNITS["psi"].factor == Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2
    assert UNITS["gal"].factor == 128 * UNITS["fl oz"].factor == 4 * UNITS["qt"].factor == 231 * Fraction("0.0254") ** 3
    assert UNITS["°F"].offset * 180 == 45_967


@pytest.mark.parametrize(("symbol", "spellings"), [
    ("lbf·ft", "lbf·ft|lbf-ft|ft-lb|lb-ft|ft·lbf|ft lbs|FT-LBS|ft.lb.|lb ft|foot-pounds|lbf*ft|ftlb|LBF FT|pound-feet"),
    ("lbf·in", "lbf·in|lbf-in|in-lb|in·lbf|inch-pounds|lb-in|in lbs|IN-LBS|in.lb"),
    ("N·m", "N·m|Nm|N-m|nm|N m|newton metres|N*m"), ("kgf·m", "kgf·m|kgf-m|kg-m|kgm|kg·m|m·kgf"),
    ("psi", "psi|PSI|Psi|lbf/in²|lb/in2|psig"), ("kPa", "kPa|kpa|KPA"), ("MPa", "MPa|mpa"), ("bar", "bar|BAR|bars"),
    ("in", "in|in.|inch|inches|\"|''|″"), ("mm", "mm|MM|millimeters"), ("cm", "cm"), ("m", "m|metres"),
    ("mi", "mi|miles|mile|MI"), ("km", "km|kms|kilometres"), ("mL", "mL|ml|ML|milliliters"), ("L", "L|l|litres|liters"),
    ("fl oz", "fl oz|fl. oz.|floz|US fl oz|fl oz (US)|fluid ounces"), ("qt", "qt|quarts|US qt"), ("gal",
    "gal|gallon|US gal"),
    ("cc", "cc|cm³|cm3|ccm"), ("µL", "µL|μl|uL|ul"), ("g", "g|grams"), ("mg", "mg"), ("kg", "kg|kilos"), ("oz",
    "oz|ounces"),
    ("lb", "lb|lbs|pounds"), ("h", "h|hr|hrs|hours"), ("°C", "°C|C|degC|deg C|º c|celsius|℃"), ("°F", "°F|F|deg F|℉"),
    ("K", "K|kelvin"), ("lbf/in", "lbf/in|lb/in|lbs/in"), ("N/mm", "N/mm|n/mm"), ("mm²/s", "mm²/s|mm2/s|cSt"),
])  # fmt: skip
def test_a_unit_is_found_under_every_way_to_write_it(symbol, spellings):
    assert {unit(spelling).symbol for spelling in spellings.split("|")} == {symbol}


def test_no_spelling_means_two_units_of_one_quantity():
    from shop.calc.units import _ALL, _key

    for quantity in QUANTITIES:
        owner = {}
        for one in (one for one in _ALL if one.quantity == quantity):
            for key in {_key(text) for text in (one.symbol, *one.spellings)}:
                assert owner.setdefault(key, one.symbol) == one.symbol


@pytest.mark.parametrize("text", ["", "furlong", "lbf·mm", "gal (imp)", "imp gal", "x" * 1000])
def test_an_unknown_unit_is_refused_with_the_known_ones(text):
    with pytest.raises(Unreadable, match=r"lbf·ft.*psi"):
        unit(text)


def test_pound_is_a_mass_unless_a_force_is_wanted():
    assert unit("lb").quantity == "mass"
    assert unit("lb", "force").symbol == "lbf"
    with pytest.raises(Unreadable):
        unit("lb", "torque")


@pytest.mark.parametrize(("a", "b"), [("lbf·ft", "psi"), ("in", "mi"), ("mL", "g"), ("lb", "lbf"), ("clicks", "turns")])
def test_converting_between_different_things_is_refused(a, b):
    with pytest.raises(CalcError, match="a unit of"):
        convert(1, a, b)


def test_foot_pounds_and_inch_pounds_are_twelve_apart_and_named_apart():
    assert convert(1, "lbf·ft", "lbf·in") == 12
    assert show(to_si(22, "ft-lb"), "lbf·in") == "264 lbf·in"
    assert parse("22", "torque", "lbf·in").si == pytest.approx(parse("22", "torque", "lbf·ft").si / 12)


def test_celsius_kelvin_and_fahrenheit_meet_at_the_known_points():
    """Source: definition of the scales; ice point 32 °F = 0 °C = 273.15 K, -40 equal on both."""
    assert convert(0, "°C", "°F") == 32
    assert to_si(0, "°C") == 273.15
    assert convert(-40, "°F", "°C") == -40
    assert convert(212, "°F", "°C") == 100
    assert from_si(293.15, "°C") == pytest.approx(20, abs=1e-12)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("call", [to_si, from_si, show, figures])
def test_no_conversion_takes_or_gives_what_is_no_number(call, bad):
    with pytest.raises(OutOfRange):
        call(bad, "psi")


@pytest.mark.parametrize("bad", [True, "5", None])
def test_a_conversion_takes_numbers_only(bad):
    with pytest.raises(OutOfRange):
        to_si(bad, "psi")


def test_a_conversion_that_leaves_the_floats_is_refused():
    with pytest.raises(OutOfRange):
        to_si(1e308, "MPa")
    with pytest.raises(OutOfRange):
        from_si(1e308, "µL")
    with pytest.raises(OutOfRange):
        convert(1e308, "L", "µL")


@given(st.sampled_from(MEASURED), st.integers(0, 10**12), st.integers(0, 9))
def test_what_was_typed_comes_back_to_the_digit(symbol, whole, places):
    """Twelve significant digits go in, to SI as a float, and back out unchanged."""
    typed = f"{Decimal(whole).scaleb(-places):f}"
    entered = parse(f"{typed} {symbol}", UNITS[symbol].quantity)
    offset = UNITS[symbol].offset
    if offset and places > 6:
        return  # beside 273.15 K the ninth decimal is below what a float holds
    assert entered.figures == typed
    assert figures(entered.si, symbol, places) == typed


@given(st.floats(-1e9, 1e9), st.sampled_from(MEASURED), st.sampled_from(MEASURED))
def test_there_and_back_is_the_same_value(value, a, b):
    if UNITS[a].quantity != UNITS[b].quantity:
        b = a
    tolerance = 1e-12 * max(abs(value), 1000 if UNITS[a].offset else 1e-300)
    assert convert(convert(value, a, b), b, a) == pytest.approx(value, abs=tolerance)


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e200, max_value=1e200), st.sampled_from(SYMBOLS))
def test_rounding_happens_once(value, symbol):
    exact = Fraction(value) * UNITS[symbol].factor + UNITS[symbol].offset
    assert to_si(value, symbol) == float(exact)


# --- reading ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "quantity", "default", "expected"), [
    ("18", "torque", "lbf·ft", ("18", 18, "lbf·ft")),
    ("18.2 lbf·ft", "torque", "N·m", ("18.2", 18.2, "lbf·ft")),
    ("22 ft-lb", "torque", "lbf·ft", ("22", 22, "lbf·ft")),
    ("22ft-lb", "torque", None, ("22", 22, "lbf·ft")),
    ("60 in-lb", "torque", "lbf·ft", ("60", 60, "lbf·in")),
    ("200 PSI", "pressure", "kPa", ("200", 200, "psi")),
    ("1/4", "length", "in", ("1/4", 0.25, "in")),
    ("3 1/2 in", "length", "mm", ("3 1/2", 3.5, "in")),
    ("3-1/2", "length", "in", ("3 1/2", 3.5, "in")),
    ("3½ in", "length", "mm", ("3 1/2", 3.5, "in")),
    ("½", "length", "in", ("1/2", 0.5, "in")),
    ("1⁄4″", "length", "in", ("1/4", 0.25, "in")),
    ('2.4"', "length", "mm", ("2.4", 2.4, "in")),
    ("3,4", "length", "in", ("3.4", 3.4, "in")),
    ("0,125", "length", "in", ("0.125", 0.125, "in")),
    ("1,5 bar", "pressure", "psi", ("1.5", 1.5, "bar")),
    ("1.234", "length", "in", ("1.234", 1.234, "in")),
    ("1234,567", "distance", "mi", ("1234.567", 1234.567, "mi")),
    ("1,234.5", "distance", "mi", ("1234.5", 1234.5, "mi")),
    ("1.234,5", "distance", "km", ("1234.5", 1234.5, "km")),
    ("1,234,567", "distance", "mi", ("1234567", 1234567, "mi")),
    ("1.234.567 km", "distance", "mi", ("1234567", 1234567, "km")),
    ("12 500 mi", "distance", "km", ("12500", 12500, "mi")),
    ("12\u202f500,5 km", "distance", "km", ("12500.5", 12500.5, "km")),
    ("１８．２ Ｎ·ｍ", "torque", "lbf·ft", ("18.2", 18.2, "N·m")),
    ("\u3000２００ｐｓｉ", "pressure", "kPa", ("200", 200, "psi")),
    ("  12  ", "volume", "mL", ("12", 12, "mL")),
    ("\t12\u00a0mL\n", "volume", "L", ("12", 12, "mL")),
    (".5", "volume", "L", ("0.5", 0.5, "L")),
    ("5.", "volume", "L", ("5", 5, "L")),
    ("007", "count", "clicks", ("7", 7, "clicks")),
    ("14 clicks", "count", "clicks", ("14", 14, "clicks")),
    ("+5", "volume", "mL", ("5", 5, "mL")),
    ("0", "volume", "mL", ("0", 0, "mL")),
    ("0.50", "length", "in", ("0.50", 0.5, "in")),
    ("32 fl. oz.", "volume", "mL", ("32", 32, "fl oz")),
    ("−5 °C", "temperature", "°F", ("-5", -5, "°C")),
    ("-5", "temperature", "°C", ("-5", -5, "°C")),
    ("68F", "temperature", "°C", ("68", 68, "°F")),
    ("1e-3", "length", "m", ("1e-3", 0.001, "m")),
    ("112.4 hrs", "time", "h", ("112.4", 112.4, "h")),
    (18, "torque", "lbf·ft", ("18", 18, "lbf·ft")),
    (18.25, "torque", "lbf·ft", ("18.25", 18.25, "lbf·ft")),
])  # fmt: skip
def test_a_quantity_is_read_as_a_person_means_it(text, quantity, default, expected):
    entered = parse(text, quantity, default)
    assert (entered.figures, entered.value, entered.unit) == expected
    assert entered.si == pytest.approx(to_si(entered.value, entered.unit), rel=1e-15)
    assert parse(str(entered), quantity) == entered


@pytest.mark.parametrize(("text", "why"), [
    ("", "empty"), ("   ", "empty"), (None, "empty"), ("\u3000", "empty"), ("abc", "a number such as"), ("nan",
    "a number"),
    ("NaN", "a number"), ("inf", "a number"), ("-inf", "a number"), ("Infinity", "a number"), ("1,234",
    "1234 or 1.234"),
    ("12,500 N·m", "12500 or 12.500"), ("18 mm", "measures length"), ("18 lb", "measures mass"), ("18 furlongs",
    "lbf·ft"),
    ("1.2.3", "one number"), ("1,2,3", "one number"), ("18 22", "one number"), ("18-22", "one number"), ("18/",
    "one number"),
    ("1/0", "divide by zero"), ("3²", "one number"), ("--5", "a number"), ("5+", "one number"), ("0x12", "in lbf·ft"),
    ("1_000", "in lbf·ft"), ("1e5e5", "in lbf·ft"), ("18 N·m N·m", "in lbf·ft"), ("1" * 61, "short entry"), ("N·m",
    "a number"),
    ("9" * 10_000_000, "short entry"), ("18;drop", "in lbf·ft"), ("\x0018", "a number"), (True, "a number"),
    ([], "a number"),
])  # fmt: skip
def test_what_is_not_one_clear_torque_is_sent_back_with_the_reason(text, why):
    with pytest.raises(Unreadable, match=why) as caught:
        parse(text, "torque", "N·m", field="spring nut")
    assert caught.value.field == "spring nut"
    assert str(caught.value).startswith("Spring nut")


@pytest.mark.parametrize("text", ["-1", "−0.1 N·m", "-1/4", "1e999", "1e301"])
def test_a_torque_out_of_all_bounds_is_out_of_range(text):
    with pytest.raises(OutOfRange) as caught:
        parse(text, "torque", "N·m")
    assert caught.value.field == "torque"


def test_minus_is_taken_where_the_caller_says_so():
    assert parse("-250", "volume", "mL", negative=True).si == pytest.approx(-250e-6)
    assert parse("-3 1/2", "length", "in", negative=True).value == -3.5


@pytest.mark.parametrize(("text", "passes"), [
    ("-273.15 °C", True), ("-273.16 °C", False), ("0 K", True), ("-1 K", False), ("-459.67 F", True), ("-459.68 F",
    False),
])  # fmt: skip
def test_nothing_is_colder_than_absolute_zero(text, passes):
    if passes:
        assert parse(text, "temperature").si == 0
    else:
        with pytest.raises(OutOfRange, match="absolute zero"):
            parse(text, "temperature")


def test_a_range_is_told_in_the_unit_that_was_typed():
    low, high = to_si(50, "psi"), to_si(300, "psi")
    assert parse("300 psi", "pressure", "psi", low_si=low, high_si=high).value == 300
    assert parse("50", "pressure", "psi", low_si=low, high_si=high).value == 50
    with pytest.raises(OutOfRange) as caught:
        parse("2000", "pressure", "psi", field="charge", low_si=low, high_si=high)
    assert str(caught.value) == "Charge cannot be 2000 psi. Give 50 to 300 psi."
    with pytest.raises(OutOfRange, match="Give 345 to 2068 kPa"):
        parse("344 kPa", "pressure", "psi", low_si=low, high_si=high)


def test_a_number_without_a_unit_needs_a_default():
    with pytest.raises(Unreadable, match="a unit with the number"):
        parse("18", "torque")


def test_an_ounce_of_oil_is_asked_back_because_it_may_be_weighed_or_poured():
    with pytest.raises(Unreadable, match="a fluid ounce is written fl oz"):
        parse("32 oz", "volume", "mL")


def test_turns_are_not_clicks():
    with pytest.raises(Unreadable, match="Give the number in clicks"):
        parse("2 turns", "count", "clicks")


def test_sixty_characters_are_still_read():
    assert parse("0" * 59 + "5", "count", "pcs").value == 5


def test_a_default_unit_of_another_quantity_is_the_callers_mistake():
    with pytest.raises(Unreadable):
        parse("18", "torque", "psi")
    with pytest.raises(CalcError, match="Quantity"):
        parse("18", "loudness", "dB")


def read_or_refuse(text, quantity):
    """What parse answers; any error but ours goes through."""
    try:
        return parse(text, quantity, QUANTITIES[quantity][0].symbol)
    except CalcError as error:
        return error


@given(st.text(max_size=70), st.sampled_from(sorted(QUANTITIES)))
def test_any_text_is_either_read_to_a_finite_value_or_refused_by_name(text, quantity):
    entered = read_or_refuse(text, quantity)
    if isinstance(entered, CalcError):
        assert entered.field == quantity
        assert str(entered).endswith(tuple(".)"))
    else:
        assert math.isfinite(entered.si)
        assert parse(str(entered), quantity) == entered


@given(st.from_regex(r"[0-9.,/ eE+-]{1,12}", fullmatch=True))
def test_any_jumble_of_figures_is_read_or_refused(text):
    entered = read_or_refuse(text, "length")
    assert isinstance(entered, CalcError) or entered.value >= 0


# --- showing ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("value", "entered_in", "shown_in", "expected"), [
    (200, "psi", "psi", "200 psi"), (200, "psi", "kPa", "1379 kPa"), (200, "psi", "bar", "13.79 bar"), (22, "lbf·ft",
    "N·m", "29.8 N·m"),
    (18, "lbf·ft", "lbf·ft", "18 lbf·ft"), (2.4, "in", "mm", "61 mm"), (2.4, "in", "in", "2.4 in"), (1500, "mi", "km",
    "2414 km"),
    (946, "mL", "fl oz", "32 fl oz"), (20, "°C", "°F", "68 °F"), (-5.4, "°C", "°C", "−5 °C"), (-0.4, "°C", "°C",
    "0 °C"),
])  # fmt: skip
def test_a_value_is_shown_with_the_digits_a_person_wants(value, entered_in, shown_in, expected):
    assert show(to_si(value, entered_in), shown_in) == expected


def test_digits_asked_for_are_digits_shown():
    assert show(to_si(18, "lbf·ft"), "lbf·ft", 2) == "18.00 lbf·ft"
    assert [figures(value, "m", 0) for value in (0.5, 1.5, 2.5, -2.5)] == ["0", "2", "2", "−2"]


def test_a_displayed_range_is_never_wider_than_the_true_one():
    low, high = to_si(17.15, "lbf·ft"), to_si(18.94, "lbf·ft")
    assert show_range(low, high, "lbf·ft") == "17.2 to 18.9 lbf·ft"
    assert show_range(low, high, "lbf·ft", 0) == "18 to 18 lbf·ft"
    assert show_range(low, high, "lbf·ft", 2) == "17.15 to 18.94 lbf·ft"
    assert show_range(None, high, "lbf·ft") == "at most 18.9 lbf·ft"
    assert show_range(low, None, "lbf·ft") == "at least 17.2 lbf·ft"
    assert show_range(None, None, "lbf·ft") == "any value"
    assert show_range(to_si(-10.5, "°C"), to_si(-1.5, "°C"), "°C") == "−10 to −2 °C"


def test_a_narrow_range_gets_the_decimals_it_needs():
    assert show_range(to_si(200.2, "psi"), to_si(200.4, "psi"), "psi") == "200.2 to 200.4 psi"
    assert show_range(to_si(2.4, "in"), to_si(2.4, "in"), "in") == "2.4 to 2.4 in"


def test_a_range_upside_down_is_refused():
    with pytest.raises(OutOfRange):
        show_range(2.0, 1.0, "m")


@given(st.sampled_from(MEASURED), st.floats(1e-3, 1e6), st.floats(0, 1e6), st.integers(0, 4))
def test_displayed_limits_lie_within_the_true_ones(symbol, low, width, digits):
    low_si, high_si = to_si(low, symbol), to_si(low + width, symbol)
    shown = show_range(low_si, high_si, symbol, digits).removesuffix(f" {symbol}").replace("−", "-").split(" to ")
    for text in shown:
        assert within(to_si(Decimal(text), symbol), low_si, high_si)


def test_a_reading_beyond_its_limit_never_reads_like_the_limit():
    high = to_si(18.9, "lbf·ft")
    assert show(to_si(18.94, "lbf·ft"), "lbf·ft") == "18.9 lbf·ft"
    assert show(to_si(18.94, "lbf·ft"), "lbf·ft", high_si=high) == "18.94 lbf·ft"
    assert show(to_si(18.9, "lbf·ft"), "lbf·ft", high_si=high) == "18.9 lbf·ft"
    assert show(to_si(17.06, "lbf·ft"), "lbf·ft", low_si=to_si(17.1, "lbf·ft")) == "17.06 lbf·ft"
    assert show(to_si(18.86, "lbf·ft"), "lbf·ft", high_si=to_si(18.88, "lbf·ft")) == "18.86 lbf·ft"
    # Not 200 psi: above narrow limits must not read as below them.
    narrow = {"low_si": to_si(200.1, "psi"), "high_si": to_si(200.3, "psi")}
    assert show(to_si(200.42, "psi"), "psi", **narrow) == "200.4 psi"


@given(
    st.sampled_from(["psi", "lbf·ft", "N·m", "in", "mm", "°C"]),
    st.floats(1, 1000),
    st.floats(1, 1000),
    st.floats(0, 50),
)
def test_a_shown_reading_keeps_its_verdict(symbol, value, low, width):
    limits = {"low_si": to_si(low, symbol), "high_si": to_si(low + width, symbol)}
    text = figures(to_si(value, symbol), symbol, **limits).replace("−", "-")
    truth = within(to_si(value, symbol), limits["low_si"], limits["high_si"])
    if round(value, 9) not in (round(low, 9), round(low + width, 9)):
        assert within(to_si(Decimal(text), symbol), limits["low_si"], limits["high_si"]) == truth


def test_a_floats_last_digit_decides_nothing_and_a_real_difference_does():
    torque = to_si(18, "lbf·ft")
    assert within(to_si(17.1, "lbf·ft"), torque * 0.95, torque * 1.05)
    assert within(to_si(18.9, "lbf·ft"), torque * 0.95, torque * 1.05)
    assert not within(to_si(17.0999, "lbf·ft"), torque * 0.95, None)
    assert not within(to_si(18.9001, "lbf·ft"), None, torque * 1.05)
    assert not within(math.nan, 0, 1)
    assert not within(math.nan, None, 1)
    assert within(5, None, None)


def test_random_entries_agree_with_a_plain_multiplication():
    """Second road: float multiplication by the factors printed in NIST SP 811; relative 1e-6 is their rounding."""
    printed = {"lbf·ft": 1.355818, "lbf·in": 0.1129848, "kgf·m": 9.80665, "N·m": 1.0}
    rng = random.Random(18)
    for _ in range(2000):
        symbol, value = rng.choice(list(printed)), rng.randint(1, 99999) / 100
        assert parse(f"{value} {symbol}", "torque").si == pytest.approx(value * printed[symbol], rel=1e-6)
