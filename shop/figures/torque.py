"""Calculators of the torque wrench."""

from django.utils import timezone

from shop.calc import torque
from shop.calc.errors import OutOfRange
from shop.core.clock import local_day
from shop.figures.answered import Answer, Figure, Sentence
from shop.figures.asked import Day, Number, Quantity
from shop.figures.calculator import Calculator, less_than, needs
from shop.figures.own_units import unit_of

GROUP = "Torque"
CAUTION = (
    "Torque never under charge.",
    "No cap, seal head or valve is tightened, loosened or retorqued while the damper is charged, unless its maker’s "
    "manual says exactly that.",
)
UNITS = {"N·m": "newton_metre", "lbf·ft": "pound_foot", "lbf·in": "pound_inch", "kgf·m": "kilogram_metre"}


def nut(name="torque", label="Torque on the sheet", example="22 lbf·ft", low=0.01, **more) -> Quantity:
    return Quantity(
        name=name, label=label, quantity="torque", example=example, low=low, high=torque.MOST_TORQUE_NM, **more
    )


def arm(name, label, example, low, **more) -> Quantity:
    return Quantity(name=name, label=label, quantity="length", example=example, low=low, high=3, **more)


def in_all_units(asked) -> Answer:
    typed = asked.typed["torque"].unit
    figures = [
        Figure(name, f"in {one}", asked.torque, "torque", unit=one, digits=2 if one == "kgf·m" else 1)
        for one, name in UNITS.items()
        if one != typed
    ]
    if asked.tolerance is not None:
        low, high = torque.tolerance_band(asked.torque, asked.tolerance)
        figures.append(Figure("low", "Lowest within the tolerance", low, "torque"))
        figures.append(Figure("high", "Highest within the tolerance", high, "torque"))
    return Answer(tuple(figures))


IN_UNITS = Calculator(
    name="torque-units",
    group=GROUP,
    title="Torque in every unit",
    purpose="lbf·ft, lbf·in, N·m and kgf·m without mixing them up, and the band of a tolerance.",
    inputs=(
        nut(label="Torque", help="Any spelling: 22 ft-lb, 264 in-lb, 30 N·m, 3 kgf·m."),
        Number(
            name="tolerance", label="Tolerance either side", example="5", low=0, high=99, symbol="%", required=False
        ),
    ),
    work=in_all_units,
    formula=("1 lbf·ft = 0.3048 m · 0.45359237 kg · 9.80665 m/s²; 1 lbf·in is a twelfth; 1 kgf·m = 9.80665 N·m.",),
    validity="0.01 to 3000 N·m. Exact by definition; rounded once, for the eye.",
    source="NIST SP 811, Appendix B; international yard and pound (1959)",
    caution=CAUTION,
)


def extension(asked) -> Answer:
    setting = torque.wrench_setting(asked.torque, asked.wrench, asked.extension, asked.angle)
    sentences = []
    if asked.low is not None or asked.high is not None:
        needs(asked, "low", "both ends of the wrench’s scale, or neither")
        needs(asked, "high", "both ends of the wrench’s scale, or neither")
        less_than(asked, "low", asked.high, "the end of the scale", "torque")
        sentences.append(fit(setting, asked.low, asked.high))
    return Answer((Figure("setting", "Set the wrench to", setting, "torque"),), tuple(sentences))


def fit(setting: float, low: float, high: float) -> Sentence:
    found = torque.wrench_fit(setting, low, high, unit_of("torque"))
    return Sentence(found.words, {"good": "ok", "low": "care", "outside": "refused"}[found.status])


EXTENSION = Calculator(
    name="torque-extension",
    group=GROUP,
    title="Extension or crow-foot",
    purpose="The setting that puts the sheet’s torque on the nut when something lengthens the wrench.",
    inputs=(
        nut(),
        arm("wrench", "Wrench, hand to drive", "16 in", 0.01, help="Middle of the grip to the square drive."),
        arm("extension", "Extension, drive to nut", "2 in", -3),
        Number(
            name="angle",
            label="Angle of the extension",
            example="0",
            default="0",
            low=-180,
            high=180,
            symbol="°",
            help="0 straight out, 90 square to the wrench, 180 folded back.",
        ),
        nut("low", "Scale of the wrench from", "10 lbf·ft", low=0, required=False),
        nut("high", "Scale of the wrench to", "80 lbf·ft", required=False),
    ),
    work=extension,
    formula=("setting = torque · L / (L + E · cos angle)",),
    validity="Holds only while the hand stays on the middle of the grip. Square to the wrench it changes nothing.",
    source="law of the lever",
    caution=CAUTION,
    blame={"torque_nm": "torque", "wrench_m": "wrench", "extension_m": "extension", "angle_deg": "angle"},
)


def covers(asked) -> Answer:
    less_than(asked, "low", asked.high, "the end of the scale", "torque")
    found = fit(asked.torque, asked.low, asked.high)
    verdict = {"ok": "Yes", "care": "Yes, but low on the scale", "refused": "No"}[found.state]
    figures = [Figure("verdict", "Does the wrench cover it", text=verdict)]
    if asked.tolerance is not None:
        low, high = torque.tolerance_band(asked.torque, asked.tolerance)
        figures.append(Figure("lowest", "Lowest within the tolerance", low, "torque"))
        figures.append(Figure("highest", "Highest within the tolerance", high, "torque"))
    return Answer(tuple(figures), (found,))


COVERS = Calculator(
    name="torque-wrench",
    group=GROUP,
    title="Does the wrench cover it",
    purpose="Whether a torque lies on the good part of a wrench’s scale, and the band of a tolerance.",
    inputs=(
        nut(),
        nut("low", "Scale of the wrench from", "10 lbf·ft", low=0),
        nut("high", "Scale of the wrench to", "50 lbf·ft"),
        Number(
            name="tolerance", label="Tolerance either side", example="5", low=0, high=99, symbol="%", required=False
        ),
    ),
    work=covers,
    formula=("Outside below 20 % of the end of the scale; low below 40 %. Band: torque · (1 ± tolerance / 100).",),
    validity="0.01 to 3000 N·m.",
    source="ISO 6789 tests from 20 % up (from memory); 40 %: common practice, no source",
    caution=CAUTION,
    blame={"torque_nm": "torque", "low_nm": "low", "high_nm": "high", "percent": "tolerance"},
)


def calibration(asked) -> Answer:
    if asked.last_on > asked.today:
        raise OutOfRange("last_on", None, f"a day up to {asked.today.isoformat()}")
    found = torque.calibration(
        asked.last_on,
        int(asked.cycles_since),
        asked.today,
        months=int(asked.months),
        cycles=int(asked.cycles),
        largest_load_percent=asked.largest_load,
    )
    sentences = tuple(Sentence(one, "refused") for one in found.reasons)
    return Answer(
        (
            Figure("due_on", "Due at the latest", text=found.due_on.isoformat()),
            Figure("cycles_left", "Cycles left", float(found.cycles_left)),
        ),
        sentences or (Sentence("In calibration.", "ok"),),
    )


CALIBRATION = Calculator(
    name="torque-calibration",
    group=GROUP,
    title="Calibration due",
    purpose="When a torque wrench has to be calibrated again: by date, by cycles, after an overload.",
    inputs=(
        Day(name="last_on", label="Last calibrated on", example="2026-03-02"),
        Number(
            name="cycles_since", label="Cycles since", example="1200", low=0, high=1_000_000, decimals=0, default="0"
        ),
        Day(
            name="today",
            label="On this day",
            example="2026-11-25",
            default=lambda: local_day(timezone.now()).isoformat(),
        ),
        Number(
            name="largest_load",
            label="Heaviest load since, of the end of the scale",
            example="100",
            default="0",
            low=0,
            high=10_000,
            symbol="%",
        ),
        Number(name="months", label="Months allowed", example="12", default="12", low=1, high=120, decimals=0),
        Number(name="cycles", label="Cycles allowed", example="5000", default="5000", low=1, high=1e6, decimals=0),
    ),
    work=calibration,
    formula=("Whichever comes first: the months, the cycles, or a load above 125 % of the scale.",),
    validity="The due day itself is still good. The owner’s own procedure goes first.",
    source="ISO 6789:2003, kept in ISO 6789-1:2017 (from memory)",
    caution=CAUTION,
)

CALCULATORS = (IN_UNITS, EXTENSION, COVERS, CALIBRATION)
