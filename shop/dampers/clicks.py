"""Clicks that are counted on a damper, against those that its adjusters have."""

from shop.calc.units import Entered
from shop.core.errors import refused
from shop.dampers.measures import Measure
from shop.dampers.models import Adjuster, AdjusterKind, DamperModel

# What is noted as compression is the low-speed adjuster where there are two.
COUNTED_ON = {
    Measure.COMPRESSION_CLICKS: [AdjusterKind.COMPRESSION, AdjusterKind.LOW_SPEED, AdjusterKind.HIGH_SPEED],
    Measure.REBOUND_CLICKS: [AdjusterKind.REBOUND],
}


def adjuster_for(damper_model: DamperModel, measure: str) -> Adjuster | None:
    """On which of its adjusters a measure is counted; None when no count of that one is known."""
    kinds = COUNTED_ON.get(measure)
    if not kinds:
        return None
    known = {one.kind: one for one in damper_model.adjusters.all()}
    return next((known[kind] for kind in kinds if kind in known), None)


def clicks_in_words(damper_model: DamperModel, measure: str) -> str:
    """In a sentence, how many clicks there are to count; empty when no count is known."""
    adjuster = adjuster_for(damper_model, measure)
    return f"{adjuster.get_kind_display().capitalize()}: {adjuster.in_clicks()} in all." if adjuster else ""


def check_clicks(
    damper_model: DamperModel, measure: str, entered: Entered, *, field: str = "entered", where: str = ""
) -> None:
    """Refuse more clicks than the adjuster has, told with the corner; where no count is known, nothing is refused."""
    adjuster = adjuster_for(damper_model, measure)
    if adjuster is None or entered.si <= adjuster.clicks:
        return
    corner = f"{where.capitalize()}: the" if where else "The"
    words = (
        f"{corner} {adjuster.get_kind_display()} adjuster of the {damper_model} has {adjuster.in_clicks()}; "
        f"{entered.figures} were counted. Turn it fully closed and count again."
    )
    raise refused(field, words, "too_many_clicks")
