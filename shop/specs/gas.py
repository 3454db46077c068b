"""What the gas of a sheet does in its damper along the stroke, and what is wrong with it before it reaches a bench."""

from dataclasses import dataclass

from shop.calc.atmosphere import standard_pressure
from shop.calc.errors import OutOfRange
from shop.calc.gas import Chamber, Stroke, along_stroke, ride_height_change, shaft_force
from shop.calc.units import show
from shop.core.amounts import shop_unit
from shop.dampers.geometry import Geometry
from shop.dampers.measures import Measure

# Between IFP and cap at full stroke, for the depth tool and for oil that grows: the shop's own margin, no source.
LEAST_CLEARANCE_M = 0.002
# A damper hot to the touch after a hard run; common practice, no source.
WARM_K = 353.15


@dataclass(frozen=True)
class Gas:
    """The figures of a sheet that the gas depends on; Pa and K as the sheet means them."""

    charge_pa: float
    depth_m: float
    oil_m3: float | None
    reference_k: float
    reference_altitude_m: float

    @classmethod
    def of(cls, values: dict[str, float], reference_k: float, reference_altitude_m: float) -> "Gas | None":
        """From the values of a sheet by measure, in SI; None when it lacks the charge or the IFP depth."""
        charge, depth = values.get(Measure.CHARGE), values.get(Measure.IFP_DEPTH)
        if charge is None or depth is None:
            return None
        return cls(charge, depth, values.get(Measure.OIL_VOLUME), reference_k, reference_altitude_m)


def stroke_of(geometry: Geometry, gas: Gas | None, *, warm: bool = False) -> Stroke | None:
    """Gas pressure from full extension to full stroke. None while something is not known.

    Raises OutOfRange where the figures cannot belong to one damper.
    """
    if gas is None or not geometry.complete:
        return None
    chamber = Chamber(geometry.reservoir_bore_m, gas.depth_m, geometry.cap_intrusion_m)
    heat = {"warm_k": WARM_K, "oil_m3": gas.oil_m3} if warm else {}
    return along_stroke(
        chamber,
        geometry.shaft_m,
        geometry.stroke_m,
        gas.charge_pa,
        gas.reference_k,
        ambient_pa=standard_pressure(gas.reference_altitude_m),
        **heat,
    )


def flags(geometry: Geometry, gas: Gas | None, depth_m: float | None) -> list[str]:
    """What is wrong, one sentence each: the IFP lies beyond the reservoir, it hits the cap, the pressure passes the
    limit. Empty: nothing is. depth_m is the sheet's IFP depth, which it may give without a charge.
    """
    return [*_depth_flags(geometry, depth_m), *_gas_flags(geometry, gas)]


def _depth_flags(geometry: Geometry, depth_m: float | None) -> list[str]:
    """An IFP on the floor of the reservoir or below leaves no oil behind it: the depth is misread, or the size is."""
    floor, unit = geometry.reservoir_depth_m, shop_unit("length")
    if depth_m is None or floor is None or depth_m < floor:
        return []
    return [
        f"An IFP depth of {show(depth_m, unit, low_si=floor)} lies beyond the reservoir, which is {show(floor, unit)} "
        "deep from rim to floor."
    ]


def _gas_flags(geometry: Geometry, gas: Gas | None) -> list[str]:
    limit = geometry.highest_gas_pa
    units = {"pressure_unit": shop_unit("pressure"), "length_unit": shop_unit("length")}
    try:
        cold = stroke_of(geometry, gas)
        if cold is None:
            return _static_flags(geometry, gas)
        if found := cold.problems(limit, LEAST_CLEARANCE_M, **units):
            return list(found)
        if gas.oil_m3 is None:
            return []
        warm = stroke_of(geometry, gas, warm=True)
    except OutOfRange as error:
        return [f"The figures cannot belong to one damper. {error}"]
    at = f"With the damper at {show(WARM_K, shop_unit('temperature'))} and its oil grown:"
    return [f"{at} {sentence}" for sentence in warm.problems(limit, **units)]


def _static_flags(geometry: Geometry, gas: Gas | None) -> list[str]:
    """Without the whole geometry: a charge that passes the limit before anything moves."""
    if gas is None or geometry.highest_gas_pa is None or gas.charge_pa <= geometry.highest_gas_pa:
        return []
    unit, limit = shop_unit("pressure"), geometry.highest_gas_pa
    return [
        f"The charge itself, {show(gas.charge_pa, unit, high_si=limit)}, is above the limit of {show(limit, unit)}."
    ]


@dataclass(frozen=True)
class Lift:
    """What the gas does to the shaft at rest: its force in N, and how far that moves the damper on its spring in m."""

    force_n: float
    lift_m: float | None


def lift_of(geometry: Geometry, gas: Gas | None) -> Lift | None:
    """Needs the shaft; the way on the spring needs its rate at the damper. None while the shaft is not known."""
    if gas is None or geometry.shaft_m is None:
        return None
    try:
        force = shaft_force(gas.charge_pa, geometry.shaft_m)
        rate = geometry.spring_rate_n_per_m
        return Lift(force, ride_height_change(force, rate) if rate else None)
    except OutOfRange:
        return None
