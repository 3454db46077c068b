"""What a procedure has to hold before anybody works by it, and what differs between two versions."""

from dataclasses import dataclass
from difflib import SequenceMatcher

from shop.dampers.measures import SPECIFIED, Measure, in_a_sentence
from shop.dampers.models import Construction
from shop.specs.models import Pressure, Procedure, Step

WITH_IFP = (Construction.RESERVOIR, Construction.INTERNAL)
# On which constructions a figure has to be recorded; an IFP depth is recorded on no other.
RECORDED_ON = {
    Measure.SHAFT_NUT_TORQUE: tuple(Construction),
    Measure.OIL_VOLUME: tuple(Construction),
    Measure.IFP_DEPTH: WITH_IFP,
    Measure.CHARGE: (*WITH_IFP, Construction.EMULSION),
}
CHECKED = (Measure.SHAFT_NUT_TORQUE, Measure.CHARGE)
BEFORE_CHARGE = (Measure.SHAFT_NUT_TORQUE, Measure.OIL_VOLUME, Measure.IFP_DEPTH)


def what_is_wrong(steps: list[Step]) -> list[str]:
    """Why nobody may work by these steps: a sentence for each thing; empty when they hold.

    The order is judged for each construction by itself, with the steps that such a damper has.
    """
    if not steps:
        return ["There is no step yet. Add the first one."]
    wrong = []
    if [step.number for step in steps] != list(range(1, len(steps) + 1)):
        wrong.append("The numbers of the steps have a hole. Move a step, which counts them anew.")
    for step in steps:
        if step.reading in CHECKED and not step.critical:
            wrong.append(f"{_name(step)} records the {in_a_sentence(step.reading)}: mark it as critical.")
        if step.critical and not step.caution:
            wrong.append(f"{_name(step)} is critical: say in its caution what can happen.")
    found = {}
    for construction in Construction:
        own = [step for step in steps if not step.constructions or construction in step.constructions]
        for sentence in [*_order(own), *_figures(own, construction)]:
            found.setdefault(sentence, []).append(construction)
    for sentence, constructions in found.items():
        everywhere = len(constructions) == len(Construction)
        where = " or ".join(one.label for one in constructions)
        wrong.append(sentence if everywhere else f"For {where}: {sentence[:1].lower()}{sentence[1:]}")
    return wrong


def _order(steps: list[Step]) -> list[str]:
    """Zero pressure before anything is opened or set; nothing opened or set once it is charged."""
    proof = next((step for step in steps if step.pressure == Pressure.PROVEN), None)
    opening = [step for step in steps if step.pressure == Pressure.OPENED]
    charge = next((step for step in steps if step.reading == Measure.CHARGE), None)
    left = [step for step in steps if step.as_left]
    wrong = []
    if not opening:
        wrong.append("No step says that it opens the damper. Say so at the step that loosens cap, ring or seal head.")
    if proof is None:
        wrong.append(
            "Zero pressure is never proven. Add a critical step for it before the damper is opened: everything after "
            "it waits until a second person has checked it."
        )
    else:
        early = [step for step in steps if (step in opening or step.reading) and step.number < proof.number]
        wrong += [
            f"{_name(step)} comes before zero pressure is proven in step {proof.number}. Move it behind that."
            for step in early
        ]
    if charge:
        late = [step for step in steps if step.number > charge.number]
        wrong += [
            f"{_name(step)} comes after the charge in step {charge.number}. Nothing is opened, tightened or filled "
            "under pressure: move it before that."
            for step in late
            if step in opening or step.reading in BEFORE_CHARGE
        ]
        wrong += [
            f"{_name(step)} notes the settings as left before the charge in step {charge.number}. Move it behind that."
            for step in left
            if step.number < charge.number
        ]
    if len(left) != 1:
        listed = f"steps {_numbers(left)} do" if left else "none does"
        wrong.append(f"One step records the settings as left; here {listed}.")
    return wrong


def _figures(steps: list[Step], construction: Construction) -> list[str]:
    """Each figure that a sheet gives is recorded once, the depth of the IFP after the oil is in."""
    wrong, at = [], {}
    for measure in SPECIFIED:
        name, found = in_a_sentence(measure), [step for step in steps if step.reading == measure]
        if found:
            at[measure] = found[0].number
        if len(found) > 1:
            wrong.append(f"The {name} is recorded more than once, in steps {_numbers(found)}. Keep one.")
        if not found and construction in RECORDED_ON[measure]:
            wrong.append(f"No step records the {name}: a job would be closed without it.")
        if found and measure == Measure.IFP_DEPTH and construction not in WITH_IFP:
            wrong.append(
                f"{_name(found[0])} records an IFP depth, but there is no IFP. Let it hold for those with one."
            )
    if at.get(Measure.IFP_DEPTH, 0) < at.get(Measure.OIL_VOLUME, 0) and Measure.IFP_DEPTH in at:
        wrong.append("The IFP depth is recorded before the oil is in. Move it behind the oil volume.")
    return wrong


def _name(step: Step) -> str:
    return f"Step {step.number} (“{step.title}”)"


def _numbers(steps: list[Step]) -> str:
    return " and ".join(str(step.number) for step in steps)


@dataclass(frozen=True)
class Difference:
    """One step that two versions do not have alike. was, now: its numbers; None where it is not there."""

    title: str
    was: int | None
    now: int | None
    moved: bool
    changes: list[tuple[str, str, str]]  # label, before, after

    @property
    def words(self) -> str:
        if self.was is None:
            return f"new, step {self.now}"
        if self.now is None:
            return f"taken out, was step {self.was}"
        if not self.moved:
            return f"step {self.now}, changed"
        return f"moved from step {self.was} to {self.now}{' and changed' if self.changes else ''}"


def differences(before: Procedure, after: Procedure) -> list[Difference]:
    """What somebody has to learn who worked by the one and now works by the other, in the order of the later one."""
    old = {step.origin: step for step in before.steps.all()}
    new = {step.origin: step for step in after.steps.all()}
    stayed = _in_one_order([one for one in old if one in new], [one for one in new if one in old])
    found = []
    for origin in _woven(list(old), list(new)):
        was, now = old.get(origin), new.get(origin)
        changes = told_changes(was, now)
        moved = bool(was and now) and origin not in stayed
        if not (was and now) or changes or moved:
            title = (now or was).title
            found.append(Difference(title, was and was.number, now and now.number, moved, changes))
    return found


def _in_one_order(old: list[int], new: list[int]) -> set[int]:
    """As many steps as possible that come in the same order in both; all others were moved."""
    blocks = SequenceMatcher(None, old, new, autojunk=False).get_matching_blocks()
    return {origin for block in blocks for origin in new[block.b : block.b + block.size]}


def _woven(old: list[int], new: list[int]) -> list[int]:
    """All steps in the order of the new version; one that is gone stands behind the one it came after."""
    order = list(new)
    for place, origin in enumerate(old):
        if origin not in new:
            order.insert(order.index(old[place - 1]) + 1 if place else 0, origin)
    return order


def told_changes(was: Step | None, now: Step | None) -> list[tuple[str, str, str]]:
    """(label, before, after) of every field that reads differently; a step that is new or gone is told whole."""
    before, after = (in_words(one) if one else {} for one in (was, now))
    labels = after or before
    return [
        (label, before.get(label, ""), after.get(label, ""))
        for label in labels
        if before.get(label, "") != after.get(label, "")
    ]


def in_words(step: Step) -> dict[str, str]:
    """All that a step says, label by label, as people read it; an empty text where it says nothing."""
    return {
        "Stage": step.stage,
        "Title": step.title,
        "What to do": step.text,
        "Caution": step.caution,
        "Tools": step.tool,
        "Figure to record": step.get_reading_display() if step.reading else "",
        "Settings as left": "recorded here" if step.as_left else "",
        "Second person": "checks it" if step.critical else "",
        "Stored gas": step.get_pressure_display() if step.pressure else "",
        "Which dampers": step.only_for() or "all",
    }
