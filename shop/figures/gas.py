"""Calculators of the nitrogen: the reading of today, the stroke, the gauge."""

from django.conf import settings

from shop.calc import gas
from shop.calc.atmosphere import standard_pressure
from shop.calc.errors import OutOfRange
from shop.calc.units import within
from shop.figures.answered import Answer, Column, Figure, Sentence, Table
from shop.figures.asked import Quantity
from shop.figures.calculator import Calculator, in_own, less_than, needs
from shop.figures.own_units import unit_of

GROUP = "Nitrogen"
CAUTION = (
    "Stored gas.",
    "Nitrogen only: never oxygen, shop air or a flammable gas, never above the maker’s maximum. Eye protection on, "
    "nobody in line with valve or caps, the room aired. Prove zero pressure before a cap or seal head is loosened.",
)
GAS = "nitrogen after Span et al., J. Phys. Chem. Ref. Data 29 (2000) 1361"
AIR = "air pressure after the US Standard Atmosphere 1976 (ISO 2533)"


def charge(name="charge", label="Charge on the sheet", example="200 psi", **more) -> Quantity:
    return Quantity(
        name=name, label=label, quantity="pressure", example=example, low=0, high=gas.HIGHEST_CHARGE_PA, **more
    )


def temperature(name, label, example="68 °F", **more) -> Quantity:
    return Quantity(
        name=name,
        label=label,
        quantity="temperature",
        example=example,
        low=gas.COLDEST_K,
        high=gas.WARMEST_K,
        **more,
    )


def here() -> str:
    """How high the shop says it lies."""
    return f"{settings.SHOP_ALTITUDE_M:g} m"


def altitude(name="altitude", label="Altitude of the shop", example="5000 ft", default=here, **more) -> Quantity:
    more["default"] = default
    return Quantity(name=name, label=label, quantity="altitude", example=example, low=-500, high=9000, **more)


def charge_today(asked) -> Answer:
    target = gas.target_reading(
        asked.charge,
        asked.bench_temperature,
        spec_k=asked.spec_temperature,
        spec_ambient_pa=standard_pressure(asked.spec_altitude),
        bench_ambient_pa=standard_pressure(asked.altitude),
    )
    why = target.why(unit_of("pressure"), unit_of("temperature"))
    return Answer(
        (
            Figure("reading", "Reading to aim at", target.reading_pa, "pressure"),
            Figure("by_temperature", "because of the temperature", target.by_temperature_pa, "pressure", signed=True),
            Figure("by_altitude", "because of the altitude", target.by_altitude_pa, "pressure", signed=True),
        ),
        (Sentence(f"Why it differs from the sheet: {why}."),),
    )


CHARGE_TODAY = Calculator(
    name="charge-today",
    group=GROUP,
    title="Charge to set today",
    purpose="The gauge reading that is the sheet’s charge on this bench, at its temperature and altitude.",
    inputs=(
        charge(),
        temperature("bench_temperature", "Temperature of the damper now", "86 °F", help="Bench, oil and gas alike."),
        altitude(help="Above the sea."),
        temperature("spec_temperature", "The sheet’s temperature", default="20 °C"),
        altitude("spec_altitude", "The sheet’s altitude", "0 ft", default="0 m", help="Zero unless the sheet says so."),
    ),
    work=charge_today,
    formula=(
        "The same amount of gas in the same space: density from (charge + air pressure of the sheet) at the sheet’s "
        "temperature; pressure of that density at the bench’s temperature, less the air pressure here.",
        "p = n R T (1 + B n + C n² + D n³)",
    ),
    validity="0 to 3.5 MPa (508 psi), −40 to 150 °C, −500 to 9000 m, damper at rest with oil and gas at one "
    "temperature; the oil’s growth is left out (see Gas along the stroke). Within 0.5 kPa of the source.",
    source=f"{GAS}; {AIR}",
    caution=CAUTION,
    blame={"spec_pa": "charge", "bench_k": "bench_temperature", "spec_k": "spec_temperature"},
)


def stroke(asked) -> Answer:
    less_than(asked, "cap_intrusion", asked.ifp_depth, "the IFP depth")
    less_than(asked, "shaft", asked.bore, "the reservoir bore")
    if asked.warm is not None:
        needs(asked, "oil", "the oil volume, because a warm damper’s oil grows into the gas space")
    chamber = gas.Chamber(asked.bore, asked.ifp_depth, asked.cap_intrusion)
    ambient = standard_pressure(asked.altitude)
    full = gas.along_stroke(
        chamber,
        asked.shaft,
        asked.stroke,
        asked.charge,
        asked.temperature,
        ambient_pa=ambient,
        warm_k=asked.warm,
        oil_m3=asked.oil or 0.0,
        points=11,
    )
    start = max(full.points[0].slow_pa, 0.0)
    figures = [
        Figure("clearance", "Room between IFP and cap at full stroke", full.clearance_m, "length"),
        Figure("ifp_travel", "Way of the IFP", full.ifp_travel_m, "length"),
        Figure("gas_volume", "Gas space, shaft extended", chamber.volume_m3, "volume"),
    ]
    if full.fast_pa is not None:
        figures[:0] = [
            Figure("fast", "Gas pressure at full stroke, fast", full.fast_pa, "pressure"),
            Figure("slow", "Gas pressure at full stroke, slow", full.slow_pa, "pressure"),
        ]
    if asked.warm is not None:
        figures.append(Figure("warm", "Gas pressure of the warm damper at rest", start, "pressure"))
    force = gas.shaft_force(start, asked.shaft)
    figures.append(Figure("force", "Gas force on the shaft, extended", force, "force"))
    if full.slow_pa is not None:
        full_force = gas.shaft_force(max(full.slow_pa, 0.0), asked.shaft)
        figures.append(Figure("full_force", "Gas force on the shaft, full stroke, slow", full_force, "force"))
    if asked.rate is not None:
        lift = gas.ride_height_change(force, asked.rate)
        figures.append(Figure("lift", "What that force lifts at the spring’s rate", lift, "length"))
    problems = full.problems(
        asked.limit,
        asked.least_clearance,
        pressure_unit=unit_of("pressure"),
        length_unit=unit_of("length"),
    )
    good = () if problems else (Sentence("The IFP has room and no limit is passed.", "ok"),)
    table = Table(
        "Gas pressure along the stroke",
        (
            Column("Travel", "length"),
            Column("IFP has moved", "length"),
            Column("Slow", "pressure"),
            Column("Fast", "pressure"),
        ),
        tuple((one.travel_m, one.ifp_travel_m, one.slow_pa, one.fast_pa) for one in full.points),
    )
    return Answer(tuple(figures), tuple(Sentence(one, "refused") for one in problems) or good, table)


STROKE = Calculator(
    name="gas-along-the-stroke",
    group=GROUP,
    title="Gas along the stroke",
    purpose="Pressure slow and fast, the way of the IFP and its room, the force on the shaft, cold or warm.",
    inputs=(
        Quantity(name="bore", label="Reservoir bore", quantity="length", example="1.5 in", low=0.005, high=0.2),
        Quantity(
            name="ifp_depth",
            label="IFP depth",
            quantity="length",
            example="2.4 in",
            low=0.001,
            high=0.5,
            help="Rim to the face of the IFP, shaft extended.",
        ),
        Quantity(
            name="cap_intrusion",
            label="Cap below the rim",
            quantity="length",
            example="0.4 in",
            default="0 in",
            low=0,
            high=0.5,
            help="How deep the cap fills the bore.",
        ),
        Quantity(name="shaft", label="Shaft diameter", quantity="length", example="0.625 in", low=0.003, high=0.1),
        Quantity(name="stroke", label="Stroke", quantity="length", example="5 in", low=0.001, high=1),
        charge(label="Charge", help="As the gauge reads at the temperature below."),
        temperature("temperature", "Temperature at charging", default="20 °C"),
        altitude(),
        temperature("warm", "Temperature of the warm damper", "176 °F", required=False),
        Quantity(
            name="oil", label="Oil in the damper", quantity="volume", example="300 mL", low=0, high=0.01, required=False
        ),
        Quantity(
            name="rate",
            label="Spring rate at the damper",
            quantity="spring_rate",
            example="250 lbf/in",
            low=1e3,
            high=1e6,
            required=False,
        ),
        charge("limit", "Highest pressure allowed", "400 psi", required=False),
        Quantity(
            name="least_clearance",
            label="Room wanted between IFP and cap",
            quantity="length",
            example="0.2 in",
            default="0 in",
            low=0,
            high=0.1,
        ),
    ),
    work=stroke,
    formula=(
        "Gas space = π/4 · bore² · (IFP depth − cap). The shaft pushes π/4 · shaft² · travel of oil behind the IFP.",
        "Slow: at one temperature. Fast: without heat or friction (isentropic). A real stroke lies between.",
        "Force = gauge pressure · π/4 · shaft². Lift = force / rate. Oil grows by 0.0007 per K.",
    ),
    validity="Gas squeezed to no less than a fifth and no denser than 5500 mol/m³; rigid metal; −40 to 150 °C. Within "
    "0.1 % of the source along a fast stroke.",
    source=f"{GAS}; {AIR}; Hooke’s law; growth of mineral oil: common practice, no source",
    caution=CAUTION,
    blame={
        "charge_k": "temperature",
        "warm_k": "warm",
        "to_k": "warm",
        "from_k": "temperature",
        "gas_m3": "oil",
        "rate_n_per_m": "rate",
    },
)


def _limits(asked) -> tuple[float, float]:
    """Lowest and highest charge in tolerance."""
    room = min(asked.charge, gas.HIGHEST_CHARGE_PA - asked.charge)
    if asked.tolerance > room:
        raise OutOfRange("tolerance", None, f"at most {in_own(room, 'pressure')}, so that both limits are charges")
    return asked.charge - asked.tolerance, asked.charge + asked.tolerance


def gauge(asked) -> Answer:
    ambient = standard_pressure(asked.altitude)
    where = (asked.gas, asked.gauge, asked.temperature)
    after = gas.reading_after_gauge(asked.charge, *where, ambient_pa=ambient)
    figures = [
        Figure("reading", "The gauge then reads, when the charge was right", after, "pressure"),
        Figure("stolen", "What one check takes", after - asked.charge, "pressure", signed=True),
    ]
    sentences = [Sentence("The damper keeps the lower pressure when the gauge comes off; each check takes as much.")]
    if asked.tolerance is not None:
        low, high = (gas.reading_after_gauge(one, *where, ambient_pa=ambient) for one in _limits(asked))
        figures.append(Figure("low", "Lowest reading that still means in tolerance", low, "pressure"))
        figures.append(Figure("high", "Highest reading that still means in tolerance", high, "pressure"))
        if asked.reading is not None:
            inside = within(asked.reading, low, high)
            said = "The charge was in tolerance." if inside else "The charge was out of tolerance."
            sentences.insert(0, Sentence(said, "ok" if inside else "refused"))
    if asked.reading is not None:
        before = gas.charge_before_gauge(asked.reading, *where, ambient_pa=ambient)
        figures.append(Figure("before", "Charge that stood there before this reading", before, "pressure"))
    return Answer(tuple(figures), tuple(sentences))


GAUGE = Calculator(
    name="gauge-loss",
    group=GROUP,
    title="What the gauge takes",
    purpose="A gauge fills itself from the damper: the reading that still means the sheet’s charge.",
    inputs=(
        charge(),
        Quantity(
            name="gas",
            label="Gas space of the damper",
            quantity="volume",
            example="60 mL",
            low=1e-6,
            high=2e-3,
            help="See Gas along the stroke.",
        ),
        Quantity(
            name="gauge",
            label="Space in gauge and hose",
            quantity="volume",
            example="2 mL",
            low=0,
            high=1e-4,
            help="From the gauge’s data sheet, or filled with oil and poured out.",
        ),
        temperature("temperature", "Temperature", default="20 °C"),
        altitude(),
        charge("tolerance", "Tolerance either side", "5 psi", required=False),
        charge("reading", "What the gauge reads now", "190 psi", required=False),
    ),
    work=gauge,
    formula=(
        "The gas spreads over both spaces at one temperature: n = (n₁ V + n₀ v) / (V + v), n₀ the air in the gauge.",
    ),
    validity="0 to 3.5 MPa (508 psi), gas space 1 to 2000 mL, gauge up to 100 mL; the gauge open to the air before.",
    source=f"balance of amounts; {GAS}; {AIR}",
    caution=CAUTION,
    blame={"temperature_k": "temperature", "reading_pa": "reading"},
)

CALCULATORS = (CHARGE_TODAY, STROKE, GAUGE)
