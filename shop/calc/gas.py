"""Nitrogen in a damper's reservoir: what the gauge should read today, and what happens along the stroke.

Charges and readings are gauge pressures in Pa, temperatures are in K, altitude enters as ambient pressure in Pa
(atmosphere.standard_pressure). Nitrogen is taken as a virial gas of four terms,

    p = n R T (1 + B(T) n + C(T) n² + D(T) n³),    n in mol/m³,

fitted by least squares to the reference equation of state of Span et al. (J. Phys. Chem. Ref. Data 29 (2000) 1361) over
230 to 800 K and up to 5500 mol/m³, the largest gap 0.02 %. Readings are within 0.5 kPa (0.07 psi) of that equation over
all that is allowed here, within 0.2 kPa for a charge of 345 to 2070 kPa set at 15 to 25 °C and read at -30 to 120 °C;
along a fast stroke that squeezes such a charge to a quarter the pressure is within 0.1 %.

The ideal gas would be off by up to 1.4 % of absolute pressure (41 kPa, 6 psi) for such a charge, by 6 % at the ends of
what is allowed here; p V^1.4 by 11.6 % after a fast stroke to a quarter.

The figures support the maker's current service manual for the exact unit; that manual prevails.
"""

import math
from dataclasses import dataclass

from shop.calc.atmosphere import SEA_LEVEL_PA
from shop.calc.errors import OutOfRange, require
from shop.calc.units import show, unit

GAS_CONSTANT = 8.314462618  # J/(mol·K), CODATA 2018
CRITICAL_K = 126.192
CRITICAL_MOL_PER_M3 = 11_183.9
# B, C and D in powers of the critical density, each a polynomial in CRITICAL_K / T, lowest power first.
VIRIAL = (
    (0.39576, -0.19253, -3.5588, 4.7836, -2.9163),
    (0.090229, 0.37507, -0.86346, 0.95587),
    (0.053881, -0.025742),
)
DENSEST_MOL_PER_M3 = 5500.0
VIBRATION_K = 3374.0  # characteristic temperature of the N₂ vibration (textbook)

COLDEST_K, WARMEST_K = 233.15, 423.15
HIGHEST_CHARGE_PA = 3.5e6
MOST_RATIO = 5.0
POINTS = 21


@dataclass(frozen=True, slots=True)
class Target:
    """What the gauge should read on this bench, and the two steps from the sheet's figure to it (all Pa, gauge).

    reading = spec + by_temperature + by_altitude.
    """

    spec_pa: float
    reading_pa: float
    by_temperature_pa: float
    by_altitude_pa: float
    warmer_k: float
    thinner_pa: float

    def why(self, pressure_unit: str = "psi", temperature_unit: str = "°C") -> str:
        """Why the reading differs from the sheet, in one line."""
        reasons = []
        if abs(self.warmer_k) >= 0.05:
            way = "warmer" if self.warmer_k > 0 else "colder"
            degrees = f"{abs(self.warmer_k) / float(unit(temperature_unit).factor):.0f} {temperature_unit}"
            by = _signed(self.by_temperature_pa, pressure_unit)
            reasons.append(f"bench {degrees} {way} than the sheet assumes: {by}")
        if abs(self.thinner_pa) >= 1:
            way = "thinner" if self.thinner_pa > 0 else "denser"
            reasons.append(f"air {way} than the sheet assumes: {_signed(self.by_altitude_pa, pressure_unit)}")
        return "; ".join(reasons) or "bench as the sheet assumes: no correction"


@dataclass(frozen=True, slots=True)
class Chamber:
    """The gas space of a reservoir, shaft fully extended.

    bore_m: diameter of the reservoir bore. ifp_depth_m: rim to the face of the IFP. cap_intrusion_m: how deep the cap
    reaches below the rim, filling the bore.
    """

    bore_m: float
    ifp_depth_m: float
    cap_intrusion_m: float = 0.0

    def __post_init__(self):
        require("bore_m", self.bore_m, 0.005, 0.2, allowed="a bore from 0.005 to 0.2 m")
        require("ifp_depth_m", self.ifp_depth_m, 0, 0.5, above=True, allowed="a depth above 0 and up to 0.5 m")
        require(
            "cap_intrusion_m",
            self.cap_intrusion_m,
            0,
            self.ifp_depth_m,
            below=True,
            allowed=f"zero or more and less than the IFP depth of {self.ifp_depth_m:g} m",
        )

    @property
    def length_m(self) -> float:
        """Way from the cap to the IFP."""
        return self.ifp_depth_m - self.cap_intrusion_m

    @property
    def volume_m3(self) -> float:
        """π/4 D² (depth - cap)."""
        return circle(self.bore_m) * self.length_m


@dataclass(frozen=True, slots=True)
class StrokePoint:
    """One place along the stroke: gauge pressures of a slow and of a fast compression, and where the IFP stands."""

    travel_m: float
    ifp_travel_m: float
    slow_pa: float
    fast_pa: float
    fast_k: float


@dataclass(frozen=True, slots=True)
class Stroke:
    """A full compression. points end where the gas space or the formula does; clearance_m below zero: the IFP hits.

    slow_pa and fast_pa are the pressures at full stroke, None where the stroke is not reached.
    """

    points: tuple[StrokePoint, ...]
    stroke_m: float
    ifp_travel_m: float
    clearance_m: float
    slow_pa: float | None
    fast_pa: float | None

    def problems(
        self, limit_pa: float | None = None, least_clearance_m: float = 0.0, *, pressure_unit="psi", length_unit="in"
    ) -> tuple[str, ...]:
        """What to flag before this sheet reaches a bench, as whole sentences; empty when nothing is wrong."""
        found = []
        if self.clearance_m <= 0:
            over = show(-self.clearance_m, length_unit)
            found.append(
                f"The IFP hits the cap before full stroke: {over} of room is missing. Check depth and geometry."
            )
        elif self.clearance_m < least_clearance_m:
            left, wanted = show(self.clearance_m, length_unit), show(least_clearance_m, length_unit)
            found.append(f"Only {left} stays between IFP and cap at full stroke; {wanted} is wanted.")
        if self.fast_pa is None and self.clearance_m > 0:
            found.append("The gas is squeezed further than the formula holds: no pressure is given at full stroke.")
        if limit_pa is not None and self.fast_pa is not None and self.fast_pa > limit_pa:
            peak, limit = show(self.fast_pa, pressure_unit, high_si=limit_pa), show(limit_pa, pressure_unit)
            found.append(f"A fast full stroke reaches {peak}, above the limit of {limit}.")
        return tuple(found)


def target_reading(
    spec_pa: float,
    bench_k: float,
    *,
    spec_k: float = 293.15,
    bench_ambient_pa: float = SEA_LEVEL_PA,
    spec_ambient_pa: float = SEA_LEVEL_PA,
) -> Target:
    """The gauge reading on this bench that is the sheet's charge at the sheet's temperature and altitude.

    The same amount of gas in the same cavity: density from (spec_pa + spec_ambient_pa, spec_k), then the absolute
    pressure at bench_k, less bench_ambient_pa. The cavity is taken as rigid: oil grows with a warm damper, see
    warm_pressure. Raises OutOfRange outside 0 to 3.5 MPa, 233.15 to 423.15 K, 20 to 110 kPa ambient, or where the
    reading would fall below zero.
    """
    absolute = _charge("spec_pa", spec_pa) + _ambient("spec_ambient_pa", spec_ambient_pa)
    bench_ambient_pa = _ambient("bench_ambient_pa", bench_ambient_pa)
    spec_k, bench_k = _temperature("spec_k", spec_k), _temperature("bench_k", bench_k)
    bench = pressure(density(absolute, spec_k), bench_k)
    by_temperature, thinner = bench - absolute, spec_ambient_pa - bench_ambient_pa
    reading = bench - bench_ambient_pa
    if reading < 0:
        raise OutOfRange("spec_pa", spec_pa, "a charge that a gauge on this bench can still read")
    return Target(spec_pa, reading, by_temperature, thinner, bench_k - spec_k, thinner)


def warm_pressure(
    charge_pa: float,
    charge_k: float,
    warm_k: float,
    gas_m3: float,
    oil_m3: float,
    *,
    expansion_per_k: float = 0.0007,
    ambient_pa: float = SEA_LEVEL_PA,
) -> float:
    """Gauge pressure in Pa of a damper at rest when gas and oil are both at warm_k.

    The oil grows by expansion_per_k × oil_m3 × ΔT into the gas space; metal and shaft are taken as rigid. The oil's
    growth outweighs every finer point of the gas: 60 mL of nitrogen at 1379 kPa beside 300 mL of oil, 20 to 80 °C,
    reaches 2171 kPa, 1693 kPa without it. Raises OutOfRange for values outside their range or when the oil fills the
    gas space. oil_m3 = 0 gives the rigid cavity.
    """
    absolute = _charge("charge_pa", charge_pa) + _ambient("ambient_pa", ambient_pa)
    charge_k, warm_k = _temperature("charge_k", charge_k), _temperature("warm_k", warm_k)
    gas_m3 = _gas_volume(gas_m3)
    left = gas_m3 - oil_growth(oil_m3, charge_k, warm_k, expansion_per_k)
    if left < gas_m3 / MOST_RATIO:
        raise OutOfRange("gas_m3", gas_m3, "a gas space that the growing oil leaves at least a fifth of")
    return pressure(density(absolute, charge_k) * gas_m3 / left, warm_k) - ambient_pa


def oil_growth(oil_m3: float, from_k: float, to_k: float, expansion_per_k: float = 0.0007) -> float:
    """α V ΔT in m³. α is 0.0007 to 0.00083 per K for mineral oil (common practice); see oil.expansion_coefficient."""
    require("oil_m3", oil_m3, 0, 0.01, allowed="an oil volume from 0 to 0.01 m³")
    require("expansion_per_k", expansion_per_k, 0, 0.002, allowed="a coefficient from 0 to 0.002 per K")
    return oil_m3 * expansion_per_k * (_temperature("to_k", to_k) - _temperature("from_k", from_k))


def along_stroke(
    chamber: Chamber,
    shaft_m: float,
    stroke_m: float,
    charge_pa: float,
    charge_k: float,
    *,
    ambient_pa: float = SEA_LEVEL_PA,
    warm_k: float | None = None,
    oil_m3: float = 0.0,
    expansion_per_k: float = 0.0007,
    points: int = POINTS,
) -> Stroke:
    """Gas pressure from full extension to full stroke.

    The shaft, diameter shaft_m, pushes π/4 d² × travel of oil behind the IFP. slow is isothermal; fast is isentropic,
    that is adiabatic and without friction, for nitrogen with its own heat capacity (no fixed exponent: p V^1.4 would
    read up to 11.6 % low). warm_k starts from a warm damper, its oil grown as in warm_pressure. Real strokes lie
    between the two. Raises OutOfRange for values outside their range or a shaft that does not fit the reservoir bore
    by area; an IFP that would hit the cap is no error but a clearance below zero.
    """
    require("shaft_m", shaft_m, 0.003, chamber.bore_m, below=True, allowed=f"0.003 to {chamber.bore_m:g} m, the bore")
    require("stroke_m", stroke_m, 0, 1, above=True, allowed="a stroke above 0 and up to 1 m")
    if isinstance(points, bool) or not isinstance(points, int) or not 2 <= points <= 1000:
        raise OutOfRange("points", points, "a whole number from 2 to 1000")
    start_k = _temperature("charge_k", charge_k) if warm_k is None else _temperature("warm_k", warm_k)
    growth = oil_growth(oil_m3, charge_k, start_k, expansion_per_k)
    if growth >= chamber.volume_m3 * (1 - 1 / MOST_RATIO):
        raise OutOfRange("oil_m3", oil_m3, "less oil, or a cooler damper: this oil grows through the gas space")
    absolute = _charge("charge_pa", charge_pa) + _ambient("ambient_pa", ambient_pa)
    gas = chamber.volume_m3 - growth
    amount = density(absolute, charge_k) * chamber.volume_m3
    push, area = circle(shaft_m), circle(chamber.bore_m)
    made = []
    for i in range(points):
        travel = stroke_m * i / (points - 1)
        left = gas - push * travel
        if left < gas / MOST_RATIO or amount / left > DENSEST_MOL_PER_M3:
            break
        fast_k = isentropic_temperature(amount / gas, start_k, amount / left)
        made.append(
            StrokePoint(
                travel,
                push * travel / area,
                pressure(amount / left, start_k) - ambient_pa,
                pressure(amount / left, fast_k) - ambient_pa,
                fast_k,
            )
        )
    end = made[-1] if len(made) == points else None
    ifp_travel = push * stroke_m / area
    clearance = (gas - push * stroke_m) / area
    return Stroke(
        tuple(made), stroke_m, ifp_travel, clearance, end.slow_pa if end else None, end.fast_pa if end else None
    )


def shaft_force(gauge_pa: float, shaft_m: float) -> float:
    """Force in N with which the gas pushes the shaft out: gauge pressure × π/4 d². The air outside pushes back."""
    require("shaft_m", shaft_m, 0.003, 0.1, allowed="a shaft diameter from 0.003 to 0.1 m")
    require("gauge_pa", gauge_pa, 0, 50e6, allowed="a gauge pressure from 0 to 50 MPa")
    return gauge_pa * circle(shaft_m)


def ride_height_change(force_n: float, rate_n_per_m: float) -> float:
    """How far a change of gas force moves the damper along its stroke in m: F / k. Positive lifts.

    rate_n_per_m is the spring rate at the damper, not at the wheel. Source: Hooke's law.
    """
    require("force_n", force_n, -1e5, 1e5, allowed="a force from -100000 to 100000 N")
    require("rate_n_per_m", rate_n_per_m, 1e3, 1e6, allowed="a spring rate from 1000 to 1000000 N/m")
    return force_n / rate_n_per_m


def reading_after_gauge(
    charge_pa: float, gas_m3: float, gauge_m3: float, temperature_k: float, *, ambient_pa: float = SEA_LEVEL_PA
) -> float:
    """Gauge reading in Pa once a gauge with hose, gauge_m3 inside and open to the air before, is on the valve.

    The gas spreads over both: n = (n₁ V + n₀ v) / (V + v) at one temperature. The damper keeps this pressure when the
    gauge comes off again; the next check steals as much once more.
    """
    n, ambient = _with_gauge(charge_pa, gas_m3, gauge_m3, temperature_k, ambient_pa)
    return pressure((n * gas_m3 + ambient * gauge_m3) / (gas_m3 + gauge_m3), temperature_k) - ambient_pa


def charge_before_gauge(
    reading_pa: float, gas_m3: float, gauge_m3: float, temperature_k: float, *, ambient_pa: float = SEA_LEVEL_PA
) -> float:
    """The charge in Pa that stood in the damper before the gauge read reading_pa: inverse of reading_after_gauge."""
    n, ambient = _with_gauge(reading_pa, gas_m3, gauge_m3, temperature_k, ambient_pa)
    return pressure((n * (gas_m3 + gauge_m3) - ambient * gauge_m3) / gas_m3, temperature_k) - ambient_pa


# --- nitrogen ---------------------------------------------------------------------------------------------------------


def density(absolute_pa: float, temperature_k: float) -> float:
    """Moles per m³ of nitrogen at an absolute pressure: the root of pressure(n, T) = p, by Newton's rule."""
    rt, (b, c, d) = GAS_CONSTANT * temperature_k, _virial(temperature_k)
    n = absolute_pa / rt
    for _ in range(20):
        x = n / CRITICAL_MOL_PER_M3
        gap = rt * n * (1 + x * (b + x * (c + x * d))) - absolute_pa
        step = gap / (rt * (1 + x * (2 * b + x * (3 * c + x * 4 * d))))
        n -= step
        if abs(step) <= 1e-13 * n:
            break
    return n


def pressure(mol_per_m3: float, temperature_k: float) -> float:
    """Absolute pressure in Pa of nitrogen: n R T (1 + B n + C n² + D n³)."""
    x, (b, c, d) = mol_per_m3 / CRITICAL_MOL_PER_M3, _virial(temperature_k)
    return mol_per_m3 * GAS_CONSTANT * temperature_k * (1 + x * (b + x * (c + x * d)))


def isentropic_temperature(n1: float, t1_k: float, n2: float) -> float:
    """Temperature in K after compressing from density n1 at t1_k to n2 without heat or friction: s(n2, T) = s(n1, t1).

    Newton on the entropy, whose slope is about cv / T.
    """
    wanted = _entropy(n1, t1_k)
    t = t1_k * (n2 / n1) ** 0.4
    for _ in range(30):
        step = (_entropy(n2, t) - wanted) * t / _heat_capacity(t)
        t -= step
        if abs(step) < 1e-9 * t:
            break
    return t


def circle(diameter_m: float) -> float:
    """π/4 d²."""
    return math.pi / 4 * diameter_m**2


def _virial(t: float) -> list[float]:
    y = CRITICAL_K / t
    return [sum(a * y**j for j, a in enumerate(row)) for row in VIRIAL]


def _entropy(n: float, t: float) -> float:
    """Molar entropy over R, up to a constant: rigid rotor, one vibration, and -∫(Z - 1 + T dZ/dT) dn/n of the fit."""
    v, x, y = VIBRATION_K / t, n / CRITICAL_MOL_PER_M3, CRITICAL_K / t
    ideal = 2.5 * math.log(t) + v / math.expm1(v) - math.log1p(-math.exp(-v)) - math.log(n)
    return ideal - sum(
        x**k / k * sum(a * (1 - j) * y**j for j, a in enumerate(row)) for k, row in enumerate(VIRIAL, start=1)
    )


def _heat_capacity(t: float) -> float:
    """cv over R of nitrogen as an ideal gas."""
    x = VIBRATION_K / t
    return 2.5 + (x / 2 / math.sinh(x / 2)) ** 2


def _with_gauge(charge_pa, gas_m3, gauge_m3, temperature_k, ambient_pa) -> tuple[float, float]:
    """Check a gauge problem; densities of the gas at the charge and at the ambient pressure."""
    absolute = _charge("charge_pa", charge_pa) + _ambient("ambient_pa", ambient_pa)
    _gas_volume(gas_m3)
    require("gauge_m3", gauge_m3, 0, 1e-4, allowed="a gauge and hose volume from 0 to 0.0001 m³")
    _temperature("temperature_k", temperature_k)
    return density(absolute, temperature_k), density(ambient_pa, temperature_k)


def _charge(field: str, value: float) -> float:
    return require(field, value, 0, HIGHEST_CHARGE_PA, allowed="a gauge pressure from 0 to 3.5 MPa (508 psi)")


def _ambient(field: str, value: float) -> float:
    return require(field, value, 20e3, 110e3, allowed="an ambient pressure from 20000 to 110000 Pa")


def _temperature(field: str, value: float) -> float:
    return require(field, value, COLDEST_K, WARMEST_K, allowed="a temperature from 233.15 to 423.15 K (−40 to 150 °C)")


def _gas_volume(value: float) -> float:
    return require("gas_m3", value, 1e-6, 2e-3, allowed="a gas volume from 0.000001 to 0.002 m³ (1 to 2000 mL)")


def _signed(value_pa: float, unit_symbol: str) -> str:
    text = show(value_pa, unit_symbol)
    return text if text.startswith("−") else f"+{text}"
