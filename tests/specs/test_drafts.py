"""A draft is changed until somebody verifies it; what it said before, by whom and why, stays readable."""

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.specs.history import Difference, content_of, difference, editions_of
from shop.specs.models import SheetStatus
from shop.specs.services import NewValue, change_draft, enter_sheet, verify_sheet, withdraw_sheet
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db
SOURCE = {"position": "rear", "source_document": "manual", "source_revision": "rev D", "source_page": "p. 41"}


@pytest.fixture
def draft(manager):
    return enter_sheet(
        code="H2-R", damper_model=make.make_damper_model(), year_from=2015, values=[figure("charge", "100 psi")],
        by=manager, at=NOON, **SOURCE,
    )  # fmt: skip


def figure(measure, text, quantity="pressure"):
    one = parse(text, quantity)
    return NewValue(measure, one, one, one)


def change(draft, by, *, edition=1, values=None, why="page misread", **given):
    values = values or [figure("charge", "110 psi")]
    return change_draft(
        sheet=draft, edition=edition, values=values, why=why, by=by, at=NOON, **{"year_from": 2015} | SOURCE | given
    )


def test_a_changed_draft_tells_what_it_said_before_who_changed_it_and_why(draft, manager):
    other = make.make_user("manager", first_name="Ada", last_name="Quill")
    torque = figure("shaft_nut_torque", "22 lbf·ft", "torque")
    changed = change(draft, other, values=[figure("charge", "110 psi"), torque], year_to=2018)
    assert changed.edition == 2
    newest, first = editions_of(changed)
    assert (newest.number, newest.by, newest.why) == (2, "Ada Quill", "page misread")
    assert newest.changed == [
        Difference("Model years", "model years from 2015", "model years 2015 to 2018"),
        Difference("Shaft nut torque", "", "22 lbf·ft"),
        Difference("Shaft nut torque, allowed", "", "22 to 22 lbf·ft"),
        Difference("Nitrogen charge", "100 psi", "110 psi"),
        Difference("Nitrogen charge, allowed", "100 to 100 psi", "110 to 110 psi"),
    ]
    assert (first.number, first.by, first.changed) == (1, str(manager), [])
    assert "Nitrogen charge: 100 psi, now 110 psi" in AuditEntry.objects.first().what


def test_the_same_again_is_no_change(draft, manager):
    assert change(draft, manager, values=[figure("charge", "100 psi")]).edition == 1
    assert draft.editions.count() == 1


def test_two_who_opened_the_same_draft_do_not_overwrite_each_other(draft, manager):
    change(draft, manager)
    with pytest.raises(Conflict, match="has changed H2-R version 1 since you opened it: page misread"):
        change(draft, manager, values=[figure("charge", "120 psi")])
    assert draft.values.get().figures == "110"


@pytest.mark.django_db(transaction=True)
def test_of_two_changes_at_once_one_wins():
    by = make.make_user("manager")
    draft = make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT)
    outcomes = at_once(*[lambda n=n: change(draft, by, values=[figure("charge", f"{n} psi")]) for n in (101, 102)])
    assert sorted(isinstance(one, Conflict) for one in outcomes) == [False, True]
    assert draft.editions.count() == 2


def test_a_change_says_why(draft, manager):
    with pytest.raises(ValidationError, match="Say why the draft is changed"):
        change(draft, manager, why=" ")


def test_a_refused_change_leaves_the_draft_as_it_was(draft, manager):
    with pytest.raises(ValidationError, match="Did you mean 110 psi"):
        change(draft, manager, values=[figure("charge", "110 kPa")])
    draft.refresh_from_db()
    assert (draft.edition, draft.values.get().figures, draft.editions.count()) == (1, "100", 1)


@pytest.mark.parametrize("status", [SheetStatus.VERIFIED, SheetStatus.WITHDRAWN])
def test_only_a_draft_is_changed(manager, status):
    sheet = make.make_sheet(make.make_damper_model(), status=status)
    with pytest.raises(Conflict, match=r"what was verified stays as it is\. Enter its next version"):
        change(sheet, manager)


def test_whoever_changed_a_draft_cannot_verify_it(draft, technician):
    other = make.make_user("manager")
    changed = change(draft, other)
    with pytest.raises(ValidationError, match="You entered or changed H2-R version 1"):
        verify_sheet(sheet=changed, edition=2, by=other, at=NOON)
    assert verify_sheet(sheet=changed, edition=2, by=technician, at=NOON).status == SheetStatus.VERIFIED


def test_what_was_changed_since_it_was_compared_is_not_verified(draft, manager, technician):
    change(draft, manager)
    with pytest.raises(Conflict, match="Look at what it says now"):
        verify_sheet(sheet=draft, edition=1, by=technician, at=NOON)
    draft.refresh_from_db()
    assert draft.status == SheetStatus.DRAFT


def test_a_next_version_says_why_and_tells_its_differences(manager):
    old = make.make_sheet(make.make_damper_model(), code="H9", depth=None, oil=None, torque=None)
    given = {"code": "", "damper_model": old.damper_model, "replaces": old, "values": [figure("charge", "110 psi")]}
    given |= SOURCE | {"position": "any", "source_document": old.source_document}
    with pytest.raises(ValidationError, match="Say why there is a next version of H9 version 1"):
        enter_sheet(**given, by=manager, at=NOON)
    new = enter_sheet(**given, why="the manual's next revision", by=manager, at=NOON)
    told = {one.what: (one.before, one.after) for one in editions_of(new)[0].changed}
    assert told["Nitrogen charge"] == ("100 psi", "110 psi")
    assert told["Revision or date"] == ("none", "rev D")
    assert "Document" not in told


def test_a_withdrawn_next_version_makes_room_for_another(manager):
    old = make.make_sheet(make.make_damper_model(), code="H9")
    wrong = make.make_sheet(old.damper_model, code="H9", version=2, replaces=old, status=SheetStatus.DRAFT)
    given = {"code": "", "damper_model": old.damper_model, "replaces": old, "values": [figure("charge", "110 psi")]}
    given |= SOURCE | {"position": "any", "why": "rev D", "by": manager, "at": NOON}
    with pytest.raises(Conflict, match="has a next version already"):
        enter_sheet(**given)
    withdraw_sheet(sheet=wrong, why="wrong manual", by=manager, at=NOON)
    new = enter_sheet(**given)
    assert (new.version, old.replaced_by) == (3, new)


def test_a_sheet_does_not_differ_from_itself(draft):
    assert difference(content_of(draft), content_of(draft)) == []
