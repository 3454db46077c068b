"""The figures of a sheet: what is refused outright, what is asked about, and how one is written."""

from dataclasses import dataclass

from django.core.exceptions import ValidationError

from shop.calc.units import Entered, show, show_range
from shop.core.errors import refused
from shop.dampers.measures import MOST_SI, QUANTITY, Measure, in_a_sentence
from shop.dampers.models import DamperModel
from shop.specs.models import SheetStatus, SpecSheet, SpecValue


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


def check_figure(new: NewValue) -> None:
    """Refuse what no damper of this trade is set to, the limits of its tolerance included."""
    most = MOST_SI[QUANTITY[new.measure]]
    for one in (new.entered, new.high):
        if one.si > most:
            words = (
                f"{Measure(new.measure).label}: {one} is more than any damper of a side-by-side takes, at most "
                f"{show(most, one.unit)}. Check unit and figures."
            )
            raise refused("values", words, "too_much")


# More than so many times another sheet's figure, or less than that part of it, is asked about before it is believed.
# Two neighbouring model years may well differ by a factor of two. Common practice, no source.
DOUBTFUL_FACTOR = 2.5
# What two units that are taken for each other differ by, and the one that may be meant.
MISTAKEN = {
    "torque": [(12, "lbf·in"), (1.356, "N·m")],
    "pressure": [(14.5, "bar"), (6.9, "kPa"), (100, "kPa")],
    "length": [(25.4, "mm")],
    "volume": [(29.6, "fl oz")],
}
NEAR = 1.25  # how near a factor has to be to one of these


def doubt(damper_model: DamperModel, new: NewValue) -> str:
    """A question about a figure that is far from the nearest one on the model's other sheets; empty when it is not."""
    others = SpecValue.objects.filter(sheet__damper_model=damper_model, measure=new.measure, value_si__gt=0).exclude(
        sheet__status=SheetStatus.WITHDRAWN
    )
    factors = (
        [
            (max(new.entered.si / one.value_si, one.value_si / new.entered.si), one)
            for one in others.select_related("sheet")
        ]
        if new.entered.si > 0
        else []
    )
    if not factors:
        return ""
    factor, nearest = min(factors, key=lambda pair: pair[0])
    if factor <= DOUBTFUL_FACTOR:
        return ""
    quantity = QUANTITY[new.measure]
    units = [unit for known, unit in MISTAKEN.get(quantity, []) if known / NEAR < factor < known * NEAR]
    way = "times" if new.entered.si > nearest.value_si else "times less than"
    return (
        f"{Measure(new.measure).label}: {new.entered} is about {factor:.2g} {way} the {nearest.figures} {nearest.unit} "
        f"of {nearest.sheet}. Look at the source once more{': is it in ' + units[0] + '?' if units else '.'} "
        f"If the {in_a_sentence(new.measure)} is right, say so below."
    )


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
