"""Procedures: what may be drafted, what has to hold before anybody works by it, and what differs between versions."""

import random

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.core.errors import Conflict
from shop.dampers.models import Construction
from shop.specs import services
from shop.specs.models import Procedure, Step
from shop.specs.procedures import differences, what_is_wrong
from shop.specs.selectors import current_procedure
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db
ZERO_PRESSURE, OPEN, TORQUE, FILL, DEPTH, CHARGE, PROVE, REFIT = 3, 4, 8, 9, 11, 12, 13, 14


@pytest.fixture
def draft(manager):
    return make.make_draft(manager)


def signed(manager):
    return {"by": manager, "at": NOON}


def numbers(procedure):
    return [step.number for step in procedure.steps.all()]


def titles(procedure):
    return [step.title for step in procedure.steps.all()]


# --- The procedure that comes with Damperbook ---------------------------------------------------------------------


def test_the_default_procedure_goes_through_every_stage_of_the_trade_in_order():
    # Stages of a rebuild: common practice, no source.
    stages = list(dict.fromkeys(step.stage for step in current_procedure().steps.all()))
    assert stages == [
        "Receive", "Strip", "Clean and inspect", "New seals", "Build the shaft", "Fill and bleed", "IFP depth",
        "Charge", "Prove it", "Refit", "Close",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "told",
    ["photograph", "clicks", "leaks", "valve", "IFP, measure its depth as found", "Oil drained by volume", "look",
     "shims in order", "fit after refinishing", "side by side", "Thread-locker", "Adjuster fully open", "bleed port",
     "top up", "Shaft fully extended", "bench temperature", "Leak check", "extend by itself", "Mounting bolts",
     "used with those that were picked"],
)  # fmt: skip
def test_the_default_procedure_leaves_out_nothing_that_the_trade_does(told):
    # Common practice, no source.
    assert told.lower() in " ".join(step.text for step in current_procedure().steps.all()).lower()


def test_both_versions_that_come_with_damperbook_hold_together_and_the_second_is_current():
    first, second = Procedure.objects.order_by("version")
    assert [what_is_wrong(list(one.steps.all())) for one in (first, second)] == [[], []]
    assert (first.state(), second.state(), second.copied_from) == ("former", "current", first)
    assert all(step.caution for step in second.steps.filter(critical=True))


# --- What has to hold before anybody works by it ------------------------------------------------------------------


def without(number):
    return lambda steps: steps.filter(number=number).delete()


def to(number, place):
    def move(steps):
        step = steps.get(number=number)
        services.move_step(step=step, number=place, by=make.make_user("manager"), at=NOON)

    return move


def saying(number, **values):
    return lambda steps: steps.filter(number=number).update(**values)


UNFIT = [
    (without(ZERO_PRESSURE), "Zero pressure is never proven."),
    (saying(ZERO_PRESSURE, pressure=""), "Zero pressure is never proven."),
    (to(OPEN, 2), "Step 2 (“Open, drain, lay out”) comes before zero pressure is proven in step 4."),
    (to(TORQUE, 1), "Step 1 (“Tighten the shaft nut”) comes before zero pressure is proven in step 4."),
    (to(CHARGE, 1), "Step 1 (“Charge with nitrogen”) comes before zero pressure is proven in step 4."),
    (saying(OPEN, pressure=""), "No step says that it opens the damper."),
    (to(OPEN, CHARGE), "Step 12 (“Open, drain, lay out”) comes after the charge in step 11."),
    (to(TORQUE, CHARGE), "Step 12 (“Tighten the shaft nut”) comes after the charge in step 11."),
    (to(FILL, CHARGE), "Step 12 (“Fill”) comes after the charge in step 11."),
    (to(REFIT, CHARGE), "Step 12 (“Refit the spring, settings as left”) notes the settings as left before the charge"),
    (saying(TORQUE, critical=False), "Step 8 (“Tighten the shaft nut”) records the shaft nut torque: mark it"),
    (saying(CHARGE, critical=False), "Step 12 (“Charge with nitrogen”) records the nitrogen charge: mark it"),
    (saying(ZERO_PRESSURE, caution=""), "Step 3 (“Vent the nitrogen and prove zero pressure”) is critical: say in"),
    (without(TORQUE), "No step records the shaft nut torque: a job would be closed without it."),
    (without(FILL), "No step records the oil volume: a job would be closed without it."),
    (saying(1, reading="oil_volume"), "The oil volume is recorded more than once, in steps 1 and 9. Keep one."),
    (without(REFIT), "One step records the settings as left; here none does."),
    (saying(PROVE, as_left=True), "One step records the settings as left; here steps 13 and 14 do."),
    (without(1), "The numbers of the steps have a hole."),
    (lambda steps: steps.all().delete(), "There is no step yet."),
]  # fmt: skip


@pytest.mark.parametrize(("change", "sentence"), UNFIT, ids=[sentence[:40] for _, sentence in UNFIT])
def test_a_draft_that_does_not_hold_together_is_refused_with_a_sentence(manager, change, sentence):
    draft = make.make_draft(manager, change=change)
    draft.refresh_from_db()
    before = current_procedure()
    with pytest.raises(ValidationError) as refusal:
        make.put_in_force(draft, manager)
    assert any(sentence in one for one in refusal.value.messages), refusal.value.messages
    assert current_procedure() == before


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            saying(DEPTH, constructions=[]),
            "For emulsion, no IFP or twin-tube or sealed or electronically controlled: step 11 (“Set the IFP depth”) "
            "records an IFP depth, but there is no IFP.",
        ),
        (
            saying(DEPTH, constructions=["internal"]),
            "For monotube with reservoir and IFP: no step records the IFP depth",
        ),
        (
            saying(ZERO_PRESSURE, constructions=["reservoir", "internal"]),
            "For emulsion, no IFP or twin-tube or sealed or electronically controlled: zero pressure is never proven.",
        ),
        (
            saying(CHARGE, constructions=["reservoir", "internal"]),
            "For emulsion, no IFP: no step records the nitrogen charge",
        ),
        (
            to(DEPTH, FILL),
            "For monotube with reservoir and IFP or monotube with IFP in the body: the IFP depth is recorded before",
        ),
    ],
)
def test_the_order_has_to_hold_for_every_construction_by_itself(manager, change, sentence):
    draft = make.make_draft(manager, change=change)
    wrong = what_is_wrong(list(draft.steps.all()))
    assert any(one.startswith(sentence) for one in wrong), wrong


def test_a_charge_may_be_left_out_for_dampers_that_take_none(manager):
    taking = [Construction.RESERVOIR, Construction.INTERNAL, Construction.EMULSION]
    draft = make.make_draft(manager, change=saying(CHARGE, constructions=[one.value for one in taking]))
    assert what_is_wrong(list(draft.steps.all())) == []


@pytest.mark.parametrize(
    "change",
    [{"reading": "charge", "as_left": True}, {"pressure": "proven"}, {"cap_styles": ["ring"], "critical": True},
     {"cap_styles": ["ring"], "reading": "charge"}, {"cap_styles": ["bayonet"]}, {"constructions": ["magic"]},
     {"constructions": "reservoir"}, {"title": " "}, {"stage": ""}, {"reading": "smell"}],
    ids=str,
)  # fmt: skip
def test_a_step_that_cannot_be_is_refused_and_nothing_is_written(draft, manager, change):
    step = draft.steps.get(number=15)
    with pytest.raises(ValidationError):
        services.change_step(step=step, edition=step.edition, **change, **signed(manager))
    fresh = Step.objects.get(pk=step.pk)
    assert all(getattr(fresh, name) == getattr(step, name) for name in change)


# --- Drafting -----------------------------------------------------------------------------------------------------


def test_a_change_is_a_copy_that_nobody_works_by(manager, desk):
    current = current_procedure()
    draft = services.change_procedure(procedure=current, **signed(manager))
    assert (str(draft), draft.state(), draft.copied_from, draft.drafted_by) == (
        "Rebuild version 3", "draft", current, manager
    )  # fmt: skip
    assert differences(current, draft) == []
    assert make.make_open_job(by=desk).procedure == current


def test_a_job_keeps_the_version_it_began_with_and_the_next_one_follows_the_new(manager, desk, draft):
    before = make.make_open_job(by=desk)
    make.put_in_force(draft, manager)
    assert make.make_open_job(by=desk).procedure == draft
    before.refresh_from_db()
    assert str(before.procedure) == "Rebuild version 2"
    assert [one.state() for one in Procedure.objects.order_by("version")] == ["former", "former", "current"]


def test_there_is_one_draft_of_a_procedure_at_a_time(manager, draft):
    with pytest.raises(Conflict, match="There is a draft already: Rebuild version 3"):
        services.change_procedure(procedure=current_procedure(), **signed(manager))
    with pytest.raises(ValidationError, match="is a draft itself"):
        services.change_procedure(procedure=draft, **signed(manager))


def test_a_procedure_of_another_name_begins_empty_or_as_a_copy(manager):
    empty = services.start_procedure(name="  Seal   service ", **signed(manager))
    copy = services.start_procedure(name="Recharge", copy_of=current_procedure(), **signed(manager))
    assert (str(empty), numbers(empty)) == ("Seal service version 1", [])
    assert titles(copy) == titles(current_procedure())
    with pytest.raises(ValidationError, match="There is a procedure Rebuild already"):
        services.start_procedure(name="rebuild", **signed(manager))
    with pytest.raises(ValidationError):
        services.start_procedure(name=" ", **signed(manager))


def test_steps_are_added_moved_and_taken_out_and_the_numbers_have_no_hole(manager, draft):
    title = titles(draft)
    added = services.add_step(procedure=draft, number=5, stage="Strip", title="Weigh the parts", **signed(manager))
    assert (added.number, titles(draft)) == (5, [*title[:4], "Weigh the parts", *title[4:]])
    services.move_step(step=added, number=1, **signed(manager))
    services.move_step(step=Step.objects.get(pk=added.pk), number=1, **signed(manager))
    assert titles(draft) == ["Weigh the parts", *title]
    services.move_step(step=added, number=16, **signed(manager))
    assert titles(draft) == [*title, "Weigh the parts"]
    last = services.add_step(procedure=draft, stage="Close", title="Sweep the bench", **signed(manager))
    assert last.number == 17
    services.remove_step(step=added, **signed(manager))
    services.remove_step(step=added, **signed(manager))
    assert titles(draft) == [*title, "Sweep the bench"]
    assert numbers(draft) == list(range(1, 17))


@pytest.mark.parametrize("number", [0, -1, 17, 99])
def test_a_place_that_is_none_is_refused(manager, draft, number):
    with pytest.raises(ValidationError, match="none of this procedure's: give one from 1 to 15"):
        services.move_step(step=draft.steps.get(number=2), number=number, **signed(manager))
    with pytest.raises(ValidationError, match="give one from 1 to 16"):
        services.add_step(procedure=draft, number=number, stage="Strip", title="x", **signed(manager))


WRITES = {
    "change": lambda kept, step, by: services.change_step(step=step, edition=step.edition, title="x", by=by, at=NOON),
    "move": lambda kept, step, by: services.move_step(step=step, number=1, by=by, at=NOON),
    "remove": lambda kept, step, by: services.remove_step(step=step, by=by, at=NOON),
    "add": lambda kept, step, by: services.add_step(procedure=kept, stage="x", title="x", by=by, at=NOON),
    "discard": lambda kept, step, by: services.discard_draft(procedure=kept, by=by, at=NOON),
}


@pytest.mark.parametrize("version", [1, 2])
@pytest.mark.parametrize("write", WRITES)
def test_what_is_or_was_current_is_not_changed(manager, write, version):
    kept = Procedure.objects.get(version=version)
    with pytest.raises(Conflict, match="is or was current, so it stays as it is"):
        WRITES[write](kept, kept.steps.get(number=2), manager)


def test_who_is_second_at_a_step_is_told(manager, draft):
    seen = draft.steps.get(number=2)
    services.change_step(step=seen, edition=seen.edition, caution="Stored spring energy. Mind it.", **signed(manager))
    with pytest.raises(Conflict, match="Somebody else has changed step 2"):
        services.change_step(step=seen, edition=seen.edition, title="Another", **signed(manager))
    other = draft.steps.get(number=4)  # another step is nobody's loss
    services.change_step(step=other, edition=other.edition, tool="soft jaws", **signed(manager))


def test_a_draft_that_was_changed_since_it_was_read_is_not_made_current(manager, draft):
    seen = Procedure.objects.get(pk=draft.pk)
    services.remove_step(step=draft.steps.get(number=15), **signed(manager))
    with pytest.raises(Conflict, match="was changed meanwhile"):
        make.put_in_force(seen, manager)
    make.put_in_force(Procedure.objects.get(pk=draft.pk), manager)


def test_making_current_needs_a_reason_and_twice_is_as_good_as_once(manager, draft):
    given = {"procedure": draft, "edition": draft.edition, "instead_of": current_procedure(), **signed(manager)}
    with pytest.raises(ValidationError, match="Say why"):
        services.make_current(why=" ", **given)
    made = services.make_current(why="colder winters", **given)
    assert services.make_current(why="colder winters", **given) == made
    assert (made.made_current_by, made.made_current_at, made.why) == (manager, NOON, "colder winters")
    told = AuditEntry.objects.filter(kind="procedure", key=str(draft.pk)).values_list("what", flat=True)
    assert [one for one in told if "current instead" in one] == [
        "made current instead of Rebuild version 2: Rebuild version 3: colder winters"
    ]


def test_a_former_version_can_be_made_current_again(manager, draft):
    second = current_procedure()
    make.put_in_force(draft, manager)
    made = make.put_in_force(second, manager)
    assert (current_procedure(), made.why) == (second, "learned on the bench")


def test_a_draft_is_thrown_away_and_its_number_taken_anew(manager, draft):
    services.discard_draft(procedure=draft, **signed(manager))
    services.discard_draft(procedure=draft, **signed(manager))
    assert not Procedure.objects.filter(version=3).exists()
    assert services.change_procedure(procedure=current_procedure(), **signed(manager)).version == 3
    with pytest.raises(Conflict, match="thrown away"):
        services.add_step(procedure=draft, stage="x", title="x", **signed(manager))


# --- What differs -------------------------------------------------------------------------------------------------


def test_the_difference_of_two_versions_is_told_step_by_step(manager, draft):
    before = current_procedure()
    services.remove_step(step=draft.steps.get(number=10), **signed(manager))
    services.add_step(procedure=draft, number=1, stage="Receive", title="Read the order", **signed(manager))
    services.move_step(step=draft.steps.get(number=15), number=14, **signed(manager))
    step = draft.steps.get(number=6)
    services.change_step(step=step, edition=step.edition, tool="dial gauge", critical=True, **signed(manager))
    told = {one.title: (one.words, one.changes) for one in differences(before, draft)}
    swapped = {"Compare, bag, lay ready", "Refit the spring, settings as left"} & set(told)
    assert list(told) == ["Read the order", "Clean and inspect", "Work the air out", *swapped]
    assert told["Read the order"][0] == "new, step 1"
    assert told["Clean and inspect"] == (
        "step 6, changed",
        [("Tools", "lint-free cloth, V-blocks and dial gauge", "dial gauge"), ("Second person", "", "checks it")],
    )
    assert told["Work the air out"][0] == "taken out, was step 10"
    # Of two that changed places either may be told, and one is enough.
    assert [told[one] for one in swapped] in ([("moved from step 15 to 14", [])], [("moved from step 14 to 15", [])])


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_any_two_orders_differ_by_exactly_what_was_done(seed):
    chance = random.Random(seed)
    before = [Step(number=n, origin=n, stage="s", title=f"step {n}") for n in range(1, 9)]
    kept = [one for one in before if chance.random() > 0.2]
    gone = {one.origin for one in before} - {one.origin for one in kept}
    new = [Step(origin=100 + n, stage="s", title=f"new {n}") for n in range(chance.randrange(3))]
    after = [Step(origin=one.origin, stage="s", title=one.title) for one in kept]
    for one in new:
        after.insert(chance.randrange(len(after) + 1), one)
    for number, one in enumerate(after, 1):
        one.number = number
    found = differences(_Version(before), _Version(after))
    assert {one.title for one in found if one.now is None} == {f"step {origin}" for origin in gone}
    assert [one.title for one in found if one.was is None] == [one.title for one in after if one.origin >= 100]
    assert not [one for one in found if one.moved]  # what only gave way has not moved


class _Version:
    def __init__(self, steps):
        self.steps = self
        self.all = lambda: steps


# --- Two at once --------------------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_of_two_who_make_another_one_current_at_once_one_is_told(manager):
    current, other = current_procedure(), make.make_user("manager")
    drafts = [make.make_draft(manager), make.make_draft(manager, name="Seal service")]

    def make_it(draft, by):
        return services.make_current(
            procedure=draft, edition=draft.edition, instead_of=current, why="better", by=by, at=NOON
        )

    outcomes = at_once(lambda: make_it(drafts[0], manager), lambda: make_it(drafts[1], other))
    made = [one for one in outcomes if isinstance(one, Procedure)]
    told = [one for one in outcomes if isinstance(one, Conflict)]
    assert (len(made), len(told)) == (1, 1), outcomes
    assert current_procedure() == made[0]
    assert f"{made[0]} was made current by" in told[0].messages[0]


@pytest.mark.django_db(transaction=True)
def test_two_who_make_the_same_one_current_at_once_make_it_once(manager):
    current, draft = current_procedure(), make.make_draft(manager)
    given = {"procedure": draft, "edition": draft.edition, "instead_of": current, "why": "better", "at": NOON}
    people = [manager, make.make_user("manager")]
    calls = [lambda by=by: services.make_current(**given, by=by) for by in people]
    assert at_once(*calls) == [draft, draft]
    assert AuditEntry.objects.filter(kind="procedure", what__startswith="made current").count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_who_draft_the_next_version_at_once_get_one_draft(manager):
    current = current_procedure()
    outcomes = at_once(*[lambda: services.change_procedure(procedure=current, **signed(manager))] * 2)
    assert sorted(type(one).__name__ for one in outcomes) == ["Conflict", "Procedure"], outcomes
    assert Procedure.objects.filter(made_current_at=None).count() == 1


@pytest.mark.django_db(transaction=True)
def test_steps_that_are_moved_added_and_taken_out_at_once_keep_their_numbers_whole(manager):
    draft = make.make_draft(manager)
    steps = list(draft.steps.all())
    outcomes = at_once(
        lambda: services.move_step(step=steps[13], number=2, **signed(manager)),
        lambda: services.move_step(step=steps[1], number=14, **signed(manager)),
        lambda: services.remove_step(step=steps[6], **signed(manager)),
        lambda: services.add_step(procedure=draft, number=3, stage="Strip", title="Weigh it", **signed(manager)),
    )
    assert not [one for one in outcomes if isinstance(one, Exception)], outcomes
    assert numbers(draft) == list(range(1, 16))
    assert len(set(titles(draft))) == 15


@pytest.mark.django_db(transaction=True)
def test_a_step_that_is_changed_while_its_draft_is_made_current_is_in_it_or_refused(manager):
    draft, current = make.make_draft(manager), current_procedure()
    step = draft.steps.get(number=1)
    changed, made = at_once(
        lambda: services.change_step(step=step, edition=step.edition, tool="tag", **signed(manager)),
        lambda: services.make_current(
            procedure=draft, edition=draft.edition, instead_of=current, why="better", **signed(manager)
        ),
    )
    assert sorted([type(changed).__name__, type(made).__name__]) in (["Conflict", "Procedure"], ["Conflict", "Step"])
    assert (Step.objects.get(pk=step.pk).tool == "tag") is isinstance(changed, Step)
    connection.close()
