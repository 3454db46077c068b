"""A draft in which a second person finds something amiss goes back with a note, until it is changed or verified."""

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.specs.models import SheetStatus
from shop.specs.services import change_draft, send_back, verify_sheet
from shop.specs.services.stored import values_of
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft(manager):
    return make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT, entered_by=manager, code="H2-R")


def send(draft, by, *, edition=1, why="the page prints 24 lbf·ft"):
    return send_back(sheet=draft, edition=edition, why=why, by=by, at=NOON)


def test_the_note_stands_on_the_draft_and_in_the_history(draft, technician):
    sent = send(draft, technician)
    assert (sent.status, sent.sent_back_why, sent.sent_back_by) == (
        SheetStatus.DRAFT, "the page prints 24 lbf·ft", technician,
    )  # fmt: skip
    assert AuditEntry.objects.first().what == "sent back: H2-R version 1: the page prints 24 lbf·ft"


def test_a_change_answers_the_note(draft, manager, technician):
    send(draft, technician)
    changed = change_draft(
        sheet=draft, edition=1, position="rear", source_document="manual", source_revision="rev D", source_page="p. 4",
        values=values_of(draft), why="page misread", by=manager, at=NOON,
    )  # fmt: skip
    changed.refresh_from_db()
    assert (changed.edition, changed.sent_back_why, changed.sent_back_by) == (2, None, None)


def test_the_same_again_answers_nothing(draft, manager, technician):
    send(draft, technician)
    change_draft(
        sheet=draft, edition=1, position=draft.position, source_document=draft.source_document,
        source_revision=draft.source_revision, source_page=draft.source_page, values=values_of(draft),
        why="looked again", by=manager, at=NOON,
    )  # fmt: skip
    draft.refresh_from_db()
    assert (draft.edition, draft.sent_back_why) == (1, "the page prints 24 lbf·ft")


def test_who_finds_it_right_after_all_verifies_it_and_the_note_goes(draft, technician):
    send(draft, technician)
    verified = verify_sheet(sheet=draft, edition=1, by=technician, at=NOON)
    verified.refresh_from_db()
    assert (verified.status, verified.sent_back_why) == (SheetStatus.VERIFIED, None)


@pytest.mark.parametrize("why", ["", "  \n"])
def test_a_note_says_what_differs(draft, technician, why):
    with pytest.raises(ValidationError, match="Say what differs from the source"):
        send(draft, technician, why=why)


def test_a_note_is_no_novel(draft, technician):
    with pytest.raises(ValidationError, match="at most 300 characters"):
        send(draft, technician, why="x" * 301)


def test_who_entered_a_draft_changes_it_instead(draft, manager):
    with pytest.raises(ValidationError, match="change the draft instead of sending it back"):
        send(draft, manager)


def test_what_was_changed_since_it_was_compared_is_not_sent_back(draft, technician):
    with pytest.raises(Conflict, match="Look at what it says now"):
        send(draft, technician, edition=0)


@pytest.mark.parametrize("status", [SheetStatus.VERIFIED, SheetStatus.WITHDRAWN])
def test_only_a_draft_is_sent_back(technician, status):
    with pytest.raises(Conflict, match="only a draft is sent back"):
        send(make.make_sheet(make.make_damper_model(), status=status), technician)
