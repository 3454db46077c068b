"""The nitrogen charge on this bench: what to aim at today, and which readings are in tolerance.

A sheet's charge holds at the temperature and altitude of the sheet. The same gas in the same damper reads less on a
cold bench and more on a high one, so the target and the range move by the same number of Pa: the range keeps its width,
because it is what gauge and hands can do, and that does not shrink with the cold.
"""

from dataclasses import dataclass

from django.conf import settings

from shop.calc.atmosphere import standard_pressure
from shop.calc.errors import OutOfRange
from shop.calc.gas import Chamber, Target, reading_after_gauge, target_reading
from shop.calc.units import figures, show, show_range
from shop.core.amounts import altitude, in_full, shop_unit
from shop.dampers.measures import Measure
from shop.specs.models import COLDEST_BENCH_K, WARMEST_BENCH_K
from shop.workorders.frozen import FrozenSheet, FrozenValue

TAKES_GAS = "Putting the gauge on takes gas"


@dataclass(frozen=True)
class Aim:
    """The gauge reading to aim at on this bench, the range that is in tolerance (Pa, gauge), and why in one line."""

    reading_pa: float
    low_pa: float
    high_pa: float
    why: str


def aim_today(sheet: FrozenSheet, bench_k: float) -> Aim | None:
    """What to charge to at a bench temperature in K.

    None: the sheet gives no charge, was frozen without its conditions, or lies where the formula does not hold; then
    the figure stands as it is printed.
    """
    value = sheet.values.get(Measure.CHARGE)
    target = _target(sheet, value, bench_k) if value else None
    if target is None:
        return None
    shift = round(target.reading_pa - target.spec_pa, 3)  # the figure itself at the sheet's own conditions
    return Aim(
        reading_pa=value.value_si + shift,
        low_pa=max(value.low_si + shift, 0),
        high_pa=value.high_si + shift,
        why=_why(target, bench_k, sheet.bench_altitude_m),
    )


def allowed_range(value: FrozenValue, sheet: FrozenSheet, bench_k: float | None) -> tuple[float, float]:
    """The lowest and the highest reading in tolerance, SI; a charge is judged for the bench it was read on."""
    aim = aim_today(sheet, bench_k) if value.measure == Measure.CHARGE and bench_k is not None else None
    return (aim.low_pa, aim.high_pa) if aim else (value.low_si, value.high_si)


def bench_allowed(bench_k: float) -> bool:
    """Whether a thermometer at a bench can show this; beyond it is a slip, or the other unit."""
    return COLDEST_BENCH_K <= bench_k <= WARMEST_BENCH_K


def gauge_note(sheet: FrozenSheet, charge_pa: float, bench_k: float | None) -> str:
    """What putting the gauge on once more does to a charge that was read as charge_pa on a bench at bench_k.

    Nothing is judged by it. It gives no figures while the gas space or the space in gauge and hose is not known.
    """
    gas_m3, gauge_m3 = gas_space(sheet), settings.GAUGE_VOLUME_M3
    without = f"{TAKES_GAS}: the reading will be lower by what gauge and hose take, and the damper keeps that."
    if not gauge_m3 or None in (gas_m3, bench_k, sheet.bench_altitude_m):
        return without
    around = {"temperature_k": bench_k, "ambient_pa": standard_pressure(sheet.bench_altitude_m)}
    value, unit = sheet.values.get(Measure.CHARGE), shop_unit("pressure")
    try:
        falls = reading_after_gauge(charge_pa, gas_m3, gauge_m3, **around)
        least = value and reading_after_gauge(allowed_range(value, sheet, bench_k)[0], gas_m3, gauge_m3, **around)
    except OutOfRange:
        return without
    # A hose holds a few mL, and half of one counts.
    hose = f"{figures(gauge_m3, shop_unit('volume'), 2).rstrip('0').rstrip('.')} {shop_unit('volume')}"
    note = (
        f"{TAKES_GAS}: with {hose} in gauge and hose beside {in_full(gas_m3, 'volume')} in this damper "
        f"the reading falls from {show(charge_pa, unit)} to {show(falls, unit)}, and the damper keeps that."
    )
    if least is None or not sheet.verified:
        return note
    return (
        f"{note} A reading of {show_range(least, None, unit)} means that the charge was in range before the gauge went "
        "on; what is recorded is held against the range all the same."
    )


def gas_space(sheet: FrozenSheet) -> float | None:
    """Of the frozen damper with its IFP where the sheet wants it, in m³; None while a size is not known."""
    bore, cap = sheet.geometry.reservoir_bore_m, sheet.geometry.cap_intrusion_m
    depth = sheet.values.get(Measure.IFP_DEPTH)
    if None in (bore, cap, depth):
        return None
    try:
        return Chamber(bore, depth.value_si, cap).volume_m3
    except OutOfRange:
        return None


def conditions(sheet: FrozenSheet) -> str:
    """Where the sheet's charge holds: "68 °F, sea level"; empty where the sheet does not say."""
    if sheet.reference_k is None:
        return ""
    return f"{in_full(sheet.reference_k, 'temperature')}, {altitude(sheet.reference_altitude_m)}"


def bench_conditions(sheet: FrozenSheet, bench_k: float) -> str:
    """The bench as the charge sees it: "43 °F, 4331 ft"."""
    return f"{in_full(bench_k, 'temperature')}, {altitude(sheet.bench_altitude_m or 0)}"


def _target(sheet: FrozenSheet, value: FrozenValue, bench_k: float) -> Target | None:
    if None in (sheet.reference_k, sheet.reference_altitude_m, sheet.bench_altitude_m):
        return None
    try:
        return target_reading(
            value.value_si,
            bench_k,
            spec_k=sheet.reference_k,
            bench_ambient_pa=standard_pressure(sheet.bench_altitude_m),
            spec_ambient_pa=standard_pressure(sheet.reference_altitude_m),
        )
    except OutOfRange:
        return None


def _why(target: Target, bench_k: float, bench_altitude_m: float) -> str:
    parts = [
        _step(target.by_temperature_pa, in_full(bench_k, "temperature")),
        _step(target.by_altitude_pa, altitude(bench_altitude_m)),
    ]
    return ", ".join(filter(None, parts)) or "no correction: the bench is as the sheet assumes"


def _step(by_pa: float, cause: str) -> str:
    size = in_full(abs(by_pa), "pressure")
    if size == in_full(0, "pressure"):
        return ""
    return f"{size} {'higher' if by_pa > 0 else 'lower'} for {cause}"
