"""The figures of a sheet: what is refused outright, what is asked about, and how one is written."""

from dataclasses import dataclass

from django.core.exceptions import ValidationError

from shop.calc.units import QUANTITIES, Entered, figures, show, show_range, to_si
from shop.core.errors import refused
from shop.dampers.measures import MOST_SI, QUANTITY, Measure, in_a_sentence
from shop.dampers.models import DamperModel
from shop.specs.models import SheetStatus, SpecSheet, SpecValue
from shop.specs.tolerances import agreed_limits


@dataclass(frozen=True)
class NewValue:
    """One figure as somebody copies it from the source, with the limits that still count as in tolerance."""

    measure: str
    entered: Entered
    low: Entered
    high: Entered
    tolerance: str = ""
    page: str = ""
    note: str = ""


# What dampers of side-by-sides are mostly set to, in SI; beyond it the unit is asked about. Common practice, no source.
USUAL_SI = {
    Measure.SHAFT_NUT_TORQUE: (8, 110),
    Measure.CHARGE: (3e5, 2.8e6),
    Measure.IFP_DEPTH: (0.01, 0.2),
    Measure.OIL_VOLUME: (5e-5, 1.5e-3),
}


def check_figure(new: NewValue) -> None:
    """Refuse what no damper of this trade is set to, and limits that are not those of the tolerance as printed."""
    try:
        agreed_limits(Measure(new.measure), new.entered, new.tolerance, new.low, new.high)
    except ValidationError as error:
        raise refused("values", error.messages, "tolerance") from error
    most = MOST_SI[QUANTITY[new.measure]]
    for one in (new.entered, new.high):
        if one.si > most:
            words = (
                f"{Measure(new.measure).label}: {one} is more than any damper of a side-by-side takes, at most "
                f"{show(most, one.unit)}. {_did_you_mean(new) or 'Check unit and figures.'}"
            )
            raise refused("values", words, "too_much")


# More than so many times another sheet's figure, or less than that part of it, is asked about before it is believed.
# Two neighbouring model years may well differ by a factor of two. Common practice, no source.
DOUBTFUL_FACTOR = 2.5


# A limit further from its value than this part of it is asked about. Common practice, no source.
DOUBTFUL_WIDTH = 0.25


def doubts(new: NewValue, damper_model: DamperModel, own: SpecSheet | None = None) -> list[str]:
    """Questions about a figure that is unusual for this damper model, and about a tolerance that is unusually wide."""
    return [question for question in (_doubt(new, damper_model, own), _too_wide(new)) if question]


def _too_wide(new: NewValue) -> str:
    """A tolerance without a unit is in the unit of its value: ± 5 is little in psi and nearly everything in bar."""
    below, above = new.entered.si - new.low.si, new.high.si - new.entered.si
    if min(below, above) < 0 or max(below, above) <= new.entered.si * DOUBTFUL_WIDTH * (1 + 1e-9):
        return ""
    unit = new.entered.unit
    minus, plus = figures(below, unit), figures(above, unit)
    percent = 100 * max(below, above) / new.entered.si
    wide = f"± {plus}" if minus == plus else f"+{plus}/−{minus}"
    return (
        f"{Measure(new.measure).label}: {wide} {unit} is {percent:.0f} % of the value, "
        f"{new.entered}: {show_range(new.low.si, new.high.si, unit)} would be allowed. Did you mean another unit or "
        f"other figures for the tolerance? {_if_right(new)}"
    )


def _doubt(new: NewValue, damper_model: DamperModel, own: SpecSheet | None) -> str:
    """A question about a figure that is unusual for this damper model; empty when it is not.

    It is held against the nearest figure on the model's other sheets (not own, the one it is for), and without any
    against what such dampers are mostly set to.
    """
    others = SpecValue.objects.filter(sheet__damper_model=damper_model, measure=new.measure, value_si__gt=0)
    others = others.exclude(sheet__status=SheetStatus.WITHDRAWN).exclude(sheet=own).select_related("sheet")
    factors = [(max(new.entered.si / one.value_si, one.value_si / new.entered.si), one) for one in others]
    if not factors:
        return _unusual(new)
    factor, nearest = min(factors, key=lambda pair: pair[0])
    if factor <= DOUBTFUL_FACTOR:
        return ""
    way = "times" if new.entered.si > nearest.value_si else "times less than"
    near = (nearest.value_si / DOUBTFUL_FACTOR, nearest.value_si * DOUBTFUL_FACTOR)
    return (
        f"{Measure(new.measure).label}: {new.entered} is about {factor:.2g} {way} the {nearest.figures} {nearest.unit} "
        f"of {nearest.sheet}. {_did_you_mean(new, near) or 'Look at the source once more.'} {_if_right(new)}"
    )


def _unusual(new: NewValue) -> str:
    low, high = USUAL_SI[Measure(new.measure)]
    if low <= new.entered.si <= high:
        return ""
    mostly = show_range(low, high, new.entered.unit)
    return (
        f"{Measure(new.measure).label}: {new.entered} is unusual; mostly it is {mostly}. "
        f"{_did_you_mean(new) or 'Look at the source once more.'} {_if_right(new)}"
    )


def _if_right(new: NewValue) -> str:
    return f"If the {in_a_sentence(new.measure)} is right, say so below."


def _did_you_mean(new: NewValue, near: tuple[float, float] | None = None) -> str:
    """The same figures in other units of the quantity, as far as these would be nothing unusual."""
    low, high = near or USUAL_SI[Measure(new.measure)]
    meant = [
        f"{new.entered.figures} {one.symbol}"
        for one in QUANTITIES[QUANTITY[new.measure]]
        if one.symbol != new.entered.unit and low <= to_si(new.entered.value, one.symbol) <= high
    ]
    return f"Did you mean {' or '.join(meant)}?" if meant else ""


def add_value(sheet: SpecSheet, new: NewValue) -> None:
    name = Measure(new.measure).label
    if new.low.si > new.entered.si or new.entered.si > new.high.si:
        allowed = show_range(new.low.si, new.high.si, new.entered.unit) if new.low.si <= new.high.si else "nothing"
        raise ValidationError(
            {"values": f"{name}: {new.entered} lies outside its own tolerance ({allowed}). Check unit and figures."}
        )
    value = SpecValue(
        sheet=sheet,
        measure=new.measure,
        value_si=new.entered.si,
        low_si=new.low.si,
        high_si=new.high.si,
        figures=new.entered.figures,
        unit=new.entered.unit,
        tolerance=new.tolerance,
        page=new.page,
        note=new.note,
    )
    value.full_clean()
    value.save()
