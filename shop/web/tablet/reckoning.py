"""Bench calculators that help at a step, their address filled in with what the job knows."""

from urllib.parse import urlencode

from django.conf import settings
from django.urls import reverse

from shop.calc.units import figures
from shop.dampers.measures import Measure
from shop.figures.asked import Quantity
from shop.figures.calculator import Calculator
from shop.figures.catalogue import CALCULATORS
from shop.workorders.charge import gas_space
from shop.workorders.frozen import FrozenSheet, FrozenValue
from shop.workorders.selectors import StepState

HELPING = {
    Measure.CHARGE: ["charge-today", "gauge-loss"],
    Measure.SHAFT_NUT_TORQUE: ["torque-extension"],
    Measure.OIL_VOLUME: ["oil-replacement", "oil-fill"],
}
# The input that a figure of the sheet goes into.
FIGURES = {Measure.SHAFT_NUT_TORQUE: "torque", Measure.CHARGE: "charge", Measure.IFP_DEPTH: "ifp_depth"}
DECIMALS = {"length": 3, "altitude": 0}
# What has no figure yet is still to be typed there, and no mistake.
BEGUN = "begun"


def calculators_for(state: StepState) -> list[tuple[str, str]]:
    """Title and address of each; none at a step without a reading."""
    return [_link(CALCULATORS[name], state.sheet) for name in HELPING.get(state.step.reading, [])]


def _link(calculator: Calculator, sheet: FrozenSheet) -> tuple[str, str]:
    printed, sizes = _printed(sheet), _sizes(sheet)
    filled = {}
    for one in calculator.inputs:
        if one.name in printed:
            filled[one.name] = _as_printed(printed[one.name], one)
        elif sizes.get(one.name) is not None:
            filled[one.name] = _typed(sizes[one.name], one)
    address = reverse("tablet:figure", args=[calculator.name])
    return calculator.title, f"{address}?{urlencode(filled | {BEGUN: 1})}"


def _printed(sheet: FrozenSheet) -> dict[str, FrozenValue]:
    """The sheet's figures by the name of the input."""
    return {FIGURES[name]: value for name, value in sheet.values.items() if name in FIGURES}


def _as_printed(value: FrozenValue, asked: Quantity) -> str:
    """The source's own figures, rounded by nobody; with their unit where it is not the one beside that input."""
    return value.figures if value.unit == asked.unit else f"{value.figures} {value.unit}"


def _sizes(sheet: FrozenSheet) -> dict[str, float | None]:
    """What is known of damper and bench by the name of the input, in SI."""
    return {
        "reservoir_bore": sheet.geometry.reservoir_bore_m,
        "shaft": sheet.geometry.shaft_m,
        "spec_temperature": sheet.reference_k,
        "spec_altitude": sheet.reference_altitude_m,
        "altitude": sheet.bench_altitude_m,
        "gas": gas_space(sheet),
        "gauge": settings.GAUGE_VOLUME_M3 or None,
    }


def _typed(value_si: float, asked: Quantity) -> str:
    """A value as somebody would type it into that input."""
    text = figures(value_si, asked.unit, DECIMALS.get(asked.quantity, 1)).replace("−", "-")
    return text.rstrip("0").rstrip(".") if "." in text else text
