"""Two people at the spec table at the same moment: one is served, the other is told, and there is one answer."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from shop.core.errors import Conflict
from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.selectors import sheet_for
from shop.specs.services import verify_sheet, withdraw_sheet
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once
from tests.web.conftest import logged_in
from tests.web.people import TICKS, form, words

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.flow]


def drafts(model, *years):
    return [make.make_sheet(model, status=SheetStatus.DRAFT, year_from=a, year_to=b) for a, b in years]


def verifying(sheet, by=None):
    by = by or make.make_user("manager")
    return lambda: verify_sheet(sheet=sheet, edition=sheet.edition, by=by, at=NOON)


@pytest.mark.parametrize("years", [[(None, None), (2015, 2016)], [(2010, 2015), (2015, None)]])
def test_of_two_managers_who_verify_overlapping_sheets_at_once_one_is_told_politely(years):
    model = make.make_damper_model()
    outcomes = at_once(*[verifying(one) for one in drafts(model, *years)])
    (won,) = [one for one in outcomes if isinstance(one, SpecSheet)]
    (lost,) = [one for one in outcomes if one is not won]
    assert isinstance(lost, ValidationError)
    assert lost.code == "overlap"
    assert f"{won} is verified already" in lost.messages[0]
    assert "Withdraw that one" in lost.messages[0]
    assert sheet_for(model, 2015, "rear_left").sheet == won


def test_two_pages_on_which_overlapping_sheets_are_verified_at_once_answer_both():
    model = make.make_damper_model()
    clients = [logged_in(make.make_user("manager")) for _ in range(2)]
    sheets = drafts(model, (None, None), (2015, None))
    sent = [
        form(client.get(reverse("manage:sheet_verify", args=[one.pk])), "verify") | TICKS
        for client, one in zip(clients, sheets, strict=True)
    ]
    answers = at_once(
        *[
            lambda client=client, one=one, typed=typed: client.post(
                reverse("manage:sheet_verify", args=[one.pk]), typed
            )
            for client, one, typed in zip(clients, sheets, sent, strict=True)
        ]
    )
    assert sorted(answer.status_code for answer in answers) in ([302, 409], [302, 422])
    (refused,) = [answer for answer in answers if answer.status_code != 302]
    assert "two sheets would give two answers" in words(refused)
    assert SpecSheet.objects.filter(status=SheetStatus.VERIFIED).count() == 1


@pytest.mark.parametrize("same_damper", [True, False])
def test_of_two_who_enter_the_same_code_at_once_one_is_told_and_keeps_what_was_typed(same_damper):
    model = make.make_damper_model()
    models = [model, model if same_damper else make.make_damper_model()]
    address = reverse("manage:sheet_new")
    clients = [logged_in(make.make_user("manager")) for _ in range(2)]
    typed = [
        form(client.get(address)) | {
            "damper_model": str(one.pk), "position": position, "code": "H9-A", "source_document": "H9 bench manual",
            "source_revision": "rev B", "source_page": "p. 12", "shaft_nut_torque": "22",
            "shaft_nut_torque_unit": "lbf·ft", "shaft_nut_torque_low": "20.9", "shaft_nut_torque_high": "23.1",
        }
        for client, one, position in zip(clients, models, ["front", "rear"], strict=True)
    ]  # fmt: skip
    answers = at_once(
        *[
            lambda client=client, sent=sent: client.post(address, sent)
            for client, sent in zip(clients, typed, strict=True)
        ]
    )
    assert sorted(answer.status_code for answer in answers) in ([302, 409], [302, 422])
    (refused,) = [answer for answer in answers if answer.status_code != 302]
    assert form(refused)["source_document"] == "H9 bench manual"
    assert any(
        told in words(refused) for told in ("this code already", "exist already", "entered the same at this moment")
    )
    assert SpecSheet.objects.filter(code="H9-A").count() == 1


def test_a_sheet_that_is_withdrawn_while_another_for_its_place_is_verified_leaves_one_answer_at_most():
    model, by = make.make_damper_model(), make.make_user()
    standing = make.make_sheet(model)
    (rival,) = drafts(model, (2015, None))
    withdrawn, verified = at_once(
        lambda: withdraw_sheet(sheet=standing, why="page misread", by=by, at=NOON), verifying(rival)
    )
    assert withdrawn.status == SheetStatus.WITHDRAWN
    if isinstance(verified, SpecSheet):
        assert sheet_for(model, 2015, "").sheet == rival
    else:
        assert verified.code == "overlap"
        assert "DRAFT" in sheet_for(model, 2015, "").rule


def test_a_draft_that_is_withdrawn_while_it_is_verified_ends_withdrawn():
    model, by = make.make_damper_model(), make.make_user()
    (sheet,) = drafts(model, (None, None))
    withdrawn, verified = at_once(
        lambda: withdraw_sheet(sheet=sheet, why="wrong manual", by=by, at=NOON), verifying(sheet)
    )
    assert withdrawn.status == SheetStatus.WITHDRAWN
    assert isinstance(verified, SpecSheet) or (isinstance(verified, Conflict) and verified.code == "withdrawn")
    sheet.refresh_from_db()
    assert sheet.status == SheetStatus.WITHDRAWN
    assert sheet_for(model, 2015, "").sheet is None
