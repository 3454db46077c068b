"""Torque wrenches: setting with an extension, range, deviation, calibration. Torques in N·m, lengths in m.

Conversions between lbf·ft, lbf·in, N·m and kgf·m are in units.
"""

import math
from dataclasses import dataclass
from datetime import date

from shop.calc.errors import OutOfRange, require
from shop.calc.intervals import add_months, day_in_words
from shop.calc.units import show, within

# ISO 6789:2003 (kept in ISO 6789-1:2017, from memory): whichever comes first, unless the owner has a procedure.
CALIBRATION_MONTHS = 12
CALIBRATION_CYCLES = 5000
# Overload test level of ISO 6789, from memory: after more than that, check the tool.
OVERLOAD_PERCENT = 125
# ISO 6789 tests from 20 % of the largest value up (from memory); using the upper part is common practice.
LOWEST_PERCENT = 20
GOOD_FROM_PERCENT = 40

# ISO 6789-1:2017 5.1.5: 4 % above 10 N·m for these, else 6 %. II A read in a secondary source, the rest from memory.
FINE_CLASSES = {("I", "B"), ("I", "C"), ("I", "E"), ("II", "A"), ("II", "B"), ("II", "C")}
CLASSES = {"I": "ABCDE", "II": "ABCDEFG"}
MOST_TORQUE_NM = 3000.0


@dataclass(frozen=True, slots=True)
class WrenchFit:
    """Whether a wrench covers a torque. status: good, low (covered, but low on the scale) or outside."""

    status: str
    words: str

    @property
    def covers(self) -> bool:
        return self.status != "outside"


@dataclass(frozen=True, slots=True)
class Calibration:
    """Whether a tool is in calibration on a day. reasons are whole sentences, empty while nothing is due."""

    due_on: date
    cycles_left: int
    overdue: bool
    reasons: tuple[str, ...]


def wrench_setting(torque_nm: float, wrench_m: float, extension_m: float, angle_deg: float = 0.0) -> float:
    """Setting that puts torque_nm on the nut through an extension: T L / (L + E cos a).

    wrench_m from the middle of the hand to the square drive, extension_m from the drive to the nut, angle_deg 0
    straight out, 90 square (changes nothing), 180 folded back; a negative extension_m points back to the hand as well.
    Raises OutOfRange unless torque_nm, wrench_m and wrench_m + extension_m cos a are positive and finite.
    Source: law of the lever. Holds only while the hand stays on the middle of the grip.
    """
    torque = _torque("torque_nm", torque_nm)
    return torque / _leverage(wrench_m, extension_m, angle_deg)


def torque_at_fastener(setting_nm: float, wrench_m: float, extension_m: float, angle_deg: float = 0.0) -> float:
    """Torque on the nut from a setting through an extension: T (L + E cos a) / L. Inverse of wrench_setting."""
    return _torque("setting_nm", setting_nm) * _leverage(wrench_m, extension_m, angle_deg)


def wrench_fit(torque_nm: float, low_nm: float, high_nm: float, unit_symbol: str = "lbf·ft") -> WrenchFit:
    """Whether a wrench with a scale from low_nm to high_nm suits a setting.

    outside: not on the scale, or below 20 % of its end, where it is not tested. low: below 40 %, where another wrench
    is better (common practice). Raises OutOfRange unless 0 <= low < high.
    """
    torque, high = _torque("torque_nm", torque_nm), _torque("high_nm", high_nm)
    low = require("low_nm", low_nm, 0, high, below=True, allowed="zero or more and less than the end of the scale")
    asked, scale = show(torque, unit_symbol), f"{show(low, unit_symbol)} to {show(high, unit_symbol)}"
    if not within(torque, low, high):
        return WrenchFit("outside", f"{asked} is not on the scale of {scale}. Take another wrench.")
    if not within(torque, high * LOWEST_PERCENT / 100, None):
        least = show(high * LOWEST_PERCENT / 100, unit_symbol)
        return WrenchFit("outside", f"{asked} is below {least}, the first fifth of {scale}. Take a smaller wrench.")
    if not within(torque, high * GOOD_FROM_PERCENT / 100, None):
        return WrenchFit("low", f"{asked} is low on the scale of {scale}. A smaller wrench is better.")
    return WrenchFit("good", f"{asked} is on the upper part of the scale of {scale}.")


def tolerance_band(torque_nm: float, percent: float) -> tuple[float, float]:
    """Lowest and highest torque in N·m of a value with a tolerance either side."""
    torque = _torque("torque_nm", torque_nm)
    require("percent", percent, 0, 100, below=True, allowed="a tolerance from 0 to less than 100 %")
    return torque * (1 - percent / 100), torque * (1 + percent / 100)


def deviation_percent(indicated_nm: float, reference_nm: float) -> float:
    """(indicated - reference) / reference × 100. Source: ISO 6789 (divisor read in a secondary source)."""
    reference = _torque("reference_nm", reference_nm)
    return (_torque("indicated_nm", indicated_nm) - reference) / reference * 100


def permissible_deviation(kind: str, tool_class: str, high_nm: float) -> int:
    """Largest deviation in percent of a hand torque tool of type I or II, by class and the end of its scale.

    Source: ISO 6789-1:2017 5.1.5; not seen in the standard itself, check before relying on it.
    """
    if kind not in CLASSES:
        raise OutOfRange("type", kind, "type I (indicating) or II (setting)")
    if not isinstance(tool_class, str) or len(tool_class) != 1 or tool_class not in CLASSES[kind]:
        raise OutOfRange("class", tool_class, f"a class of type {kind}: {', '.join(CLASSES[kind])}")
    return 4 if (kind, tool_class) in FINE_CLASSES and _torque("high_nm", high_nm) > 10 else 6


def within_limit(indicated_nm: float, reference_nm: float, kind: str, tool_class: str, high_nm: float) -> bool:
    """Whether a reading at calibration passes; a deviation equal to the limit does."""
    limit = permissible_deviation(kind, tool_class, high_nm)
    return within(deviation_percent(indicated_nm, reference_nm), -limit, limit)


def calibration(
    last_on: date,
    cycles_since: int,
    today: date,
    *,
    months: int = CALIBRATION_MONTHS,
    cycles: int = CALIBRATION_CYCLES,
    largest_load_percent: float = 0.0,
) -> Calibration:
    """Whether a torque tool is due: by date, by cycles, or after an overload.

    The due day itself is still good, cycle number `cycles` is not (our choice). largest_load_percent is the heaviest
    load since, in percent of the end of the scale; above 125 the tool is checked. Source: ISO 6789.
    """
    for field, value, least in (("cycles_since", cycles_since, 0), ("cycles", cycles, 1), ("months", months, 1)):
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            raise OutOfRange(field, value, f"a whole number, {least} or more")
    if last_on > today:
        raise OutOfRange("last_on", day_in_words(last_on), f"a day up to today, {day_in_words(today)}")
    require("largest_load_percent", largest_load_percent, 0, 10_000, allowed="a load from 0 to 10000 %")
    due = add_months(last_on, months)
    reasons = []
    if today > due:
        reasons.append(f"Calibration was due on {day_in_words(due)}.")
    if cycles_since >= cycles:
        reasons.append(f"The tool has done {cycles_since} cycles since its calibration; {cycles} are the most.")
    if largest_load_percent > OVERLOAD_PERCENT:
        reasons.append(f"The tool was loaded to {largest_load_percent:g} % of its scale: have it checked.")
    return Calibration(due, max(cycles - cycles_since, 0), bool(reasons), tuple(reasons))


def _leverage(wrench_m: float, extension_m: float, angle_deg: float) -> float:
    wrench = require("wrench_m", wrench_m, 0, 3, above=True, allowed="a length above 0 and up to 3 m")
    extension = require("extension_m", extension_m, -3, 3, allowed="a length from -3 to 3 m")
    angle = require("angle_deg", angle_deg, -180, 180, allowed="an angle from -180 to 180°")
    arm = wrench + extension * math.cos(math.radians(angle))
    if arm <= 1e-9:
        raise OutOfRange(
            "extension_m", extension_m, f"an extension that reaches less far back than the {wrench:g} m wrench"
        )
    return arm / wrench


def _torque(field: str, value: float) -> float:
    return require(
        field, value, 0, MOST_TORQUE_NM, above=True, allowed=f"a torque above 0 and up to {MOST_TORQUE_NM:g} N·m"
    )
