"""Drafts entered, changed, copied and compared on the manager's pages."""

import pytest
from django.urls import reverse

from shop.specs.models import SheetStatus, SpecSheet
from tests import factories as make
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
LIST, NEW, COMPARE = (reverse(f"manage:{name}") for name in ("sheets", "sheet_new", "sheets_compare"))
LIMITS = reverse("manage:sheet_limits")


def change(sheet):
    return reverse("manage:sheet_change", args=[sheet.pk])


def chosen(name, *sheets):
    return reverse(f"manage:{name}") + "?" + "&".join(f"sheet={one.pk}" for one in sheets)


@pytest.fixture
def draft(manager):
    return make.make_sheet(
        make.make_damper_model(), code="H2-A", status=SheetStatus.DRAFT, entered_by=manager, year_from=2015
    )


# --- tolerances


@pytest.mark.parametrize(
    ("tolerance", "low", "high", "shown"),
    [
        ("± 5 %", "", "", "20.9 to 23.1 lbf·ft"),
        ("+1/-0", "", "", "22 to 23 lbf·ft"),
        ("21–24", "", "", "21 to 24 lbf·ft"),
        ("± 1.5 N·m", "", "", "20.9 to 23.1 lbf·ft"),
        ("± 5 %", "20.9", "23.1", "20.9 to 23.1 lbf·ft"),
        ("± 5 %", "20.9", "", "20.9 to 23.1 lbf·ft"),
        ("± 5 %", "21", "23", "21 to 23 lbf·ft"),
        ("see table 4", "20", "23", "20 to 23 lbf·ft"),
    ],
)
def test_a_tolerance_is_read_as_it_is_printed_and_shown_back(as_manager, tolerance, low, high, shown):
    typed = {
        "damper_model": make.make_damper_model().pk, "position": "any", "code": "H9-A", "source_document": "manual",
        "source_revision": "rev B", "source_page": "p. 12", "shaft_nut_torque": "22",
        "shaft_nut_torque_tolerance": tolerance, "shaft_nut_torque_low": low, "shaft_nut_torque_high": high,
        "shaft_nut_torque_note": "on a dry thread",
    }  # fmt: skip
    answer = send(as_manager, NEW, **typed)
    assert answer.status_code == 302, words(answer)
    page = words(as_manager.get(answer.url))
    assert f"{shown} 22 lbf·ft {tolerance}" in page
    assert "on a dry thread" in page


@pytest.mark.parametrize(
    ("value", "unit", "tolerance", "told"),
    [
        ("100", "psi", "± 5", "Allowed: 95 to 105 psi"),
        ("7 bar", "psi", "± 5 %", "Allowed: 6.65 to 7.35 bar"),
        ("3.4", "kPa", "± 0.03", "Allowed: 3.37 to 3.43 kPa"),
        ("100", "psi", "± 7 kPa", "Allowed: 99 to 101 psi"),
        ("100", "psi", "5", "Nitrogen charge, tolerance: “5” cannot be read."),
        ("hundred", "psi", "± 5", "Nitrogen charge: “hundred” cannot be read."),
        ("100", "psi", "± 200", "Nitrogen charge, tolerance cannot be ± 200."),
        ("", "psi", "± 5", ""),
        ("100", "psi", "", ""),
    ],
)
def test_a_hint_tells_what_a_tolerance_allows_while_it_is_typed(as_manager, value, unit, tolerance, told):
    asked = {"measure": "charge", "value": value, "unit": unit, "tolerance": tolerance}
    answer = as_manager.get(LIMITS, asked).content.decode()
    assert answer.startswith(told)
    assert told or not answer


# --- entering


def test_another_page_tells_the_form_what_is_missing(as_manager):
    model = make.make_damper_model()
    asked = {"damper_model": model.pk, "year_from": "2015", "year_to": "2018", "position": "rear_left"}
    opened = form(as_manager.get(NEW, asked))
    assert {name: opened[name] for name in asked} == {name: str(one) for name, one in asked.items()}


def test_a_copy_begins_with_everything_but_code_and_place(as_manager):
    sheet = make.make_sheet(make.make_damper_model(), code="H2-A", year_from=2015, position="rear", note="bench")
    opened = form(as_manager.get(NEW, {"copy": sheet.pk}))
    assert (opened["code"], opened["year_from"], opened.get("position")) == ("", "", None)
    assert (opened["charge"], opened["charge_tolerance"], opened["note"]) == ("100", "± 5", "bench")
    assert "replaces" not in opened or not opened["replaces"]
    assert send(as_manager, f"{NEW}?copy={sheet.pk}", code="H2-B", year_to="2014", position="rear").status_code == 302
    assert SpecSheet.objects.get(code="H2-B").values.count() == 4


def test_questions_come_back_together_at_their_figures_with_what_was_typed(as_manager, draft):
    typed = {"charge": "100", "charge_unit": "kPa", "shaft_nut_torque_unit": "lbf·in", "why": "unit misread"}
    answer = send(as_manager, change(draft), **typed)
    assert answer.status_code == 422
    page = words(answer)
    assert "Nitrogen charge: 100 kPa is unusual; mostly it is" in page
    assert "Shaft nut torque: 22 lbf·in is unusual" in page
    assert form(answer)["charge_unit"] == "kPa"
    assert 'name="sure"' in answer.content.decode()
    assert 'href="#id_charge"' in answer.content.decode()
    assert as_manager.post(change(draft), form(answer) | {"sure": "on"}).status_code == 302


def test_a_next_version_says_why(as_manager):
    old = make.make_sheet(make.make_damper_model(), code="H2-A")
    answer = send(as_manager, f"{NEW}?replaces={old.pk}", source_revision="rev C", source_page="p. 4")
    assert answer.status_code == 422
    assert "Say why there is a next version of H2-A version 1" in words(answer)


# --- changing


def test_a_draft_is_changed_with_a_reason_and_its_page_tells_before_and_after(as_manager, draft, manager):
    opened = form(as_manager.get(change(draft)))
    assert (opened["shaft_nut_torque"], opened["edition"], opened["year_from"]) == ("22", "1", "2015")
    answer = send(as_manager, change(draft), shaft_nut_torque="24", why="page misread")
    assert answer.url == draft.get_absolute_url()
    page = words(as_manager.get(answer.url))
    assert f"{manager} Changed: page misread Shaft nut torque: 22 lbf·ft, now 24 lbf·ft" in page
    assert "Shaft nut torque, allowed: 20.9 to 23.1 lbf·ft, now 22.8 to 25.2 lbf·ft" in page


def test_a_change_without_a_reason_is_refused(as_manager, draft):
    answer = send(as_manager, change(draft), shaft_nut_torque="24")
    assert answer.status_code == 422
    assert "Say why the draft is changed: a misread figure, a better source." in words(answer)
    assert form(answer)["shaft_nut_torque"] == "24"


def test_who_was_second_sees_what_the_first_changed_and_loses_nothing(as_manager, draft):
    opened = form(as_manager.get(change(draft)))
    send(as_manager, change(draft), charge="110", why="page misread")
    answer = as_manager.post(change(draft), opened | {"shaft_nut_torque": "24", "why": "wrong line"})
    assert answer.status_code == 409
    page = words(answer)
    assert "has changed H2-A version 1 since you opened it: page misread" in page
    assert "Open the present state of H2-A version 1" in page
    assert "compare it anew" not in page  # here it is saved again
    assert "Nitrogen charge 110 psi (before: 100 psi)" in page
    assert form(answer)["shaft_nut_torque"] == "24"
    assert as_manager.post(change(draft), form(answer) | {"request_key": ""}).status_code == 302
    draft.refresh_from_db()
    assert draft.edition == 3


def test_only_a_draft_is_changed(as_manager):
    sheet = make.make_sheet(make.make_damper_model())
    answer = as_manager.get(change(sheet))
    assert answer.url == sheet.get_absolute_url()
    assert "what was verified stays" in words(as_manager.get(answer.url))
    forced = as_manager.post(change(sheet), {"edition": "1", "why": "x", "position": "any", "charge": "100",
        "charge_tolerance": "± 5", "source_document": "m", "source_revision": "r", "source_page": "p"})  # fmt: skip
    assert forced.status_code == 409


def test_a_draft_is_discarded_with_a_reason(as_manager, draft):
    to = reverse("manage:sheet_withdraw", args=[draft.pk])
    assert "Discard this draft" in words(as_manager.get(draft.get_absolute_url()))
    answer = send(as_manager, draft.get_absolute_url(), "withdraw", to, why="entered twice")
    assert "H2-A version 1 is discarded." in words(as_manager.get(answer.url))


def test_a_code_whose_drafts_were_all_discarded_may_be_given_again_for_another_place(as_manager, draft):
    withdraw = reverse("manage:sheet_withdraw", args=[draft.pk])
    as_manager.post(withdraw, {"why": "wrong damper"})
    page = words(as_manager.get(draft.get_absolute_url()))
    assert "H2-A version 1 discarded" in page
    assert "Its code may be given to a new sheet." in page
    assert "Enter the next version" not in page
    assert "H2-A version 1" not in words(as_manager.get(NEW))  # nor is it offered as what a new one follows
    typed = {
        "damper_model": make.make_damper_model().pk, "position": "front", "code": "H2-A", "charge": "100",
        "charge_tolerance": "± 5", "source_document": "manual", "source_revision": "rev B", "source_page": "p. 1",
    }  # fmt: skip
    assert send(as_manager, NEW, **typed).status_code == 302
    again = SpecSheet.objects.get(code="H2-A", status=SheetStatus.DRAFT)
    assert (again.version, again.replaces, again.position) == (2, None, "front")
    refused = send(as_manager, NEW, **typed)
    assert refused.status_code == 422
    assert 'href="#id_code"' in refused.content.decode()
    assert "H2-A version 2 (draft) has this code already" in words(refused)
    assert "Change that draft, or give another code." in words(refused)


def test_the_code_of_a_sheet_that_was_verified_once_is_not_given_again(as_manager):
    sheet = make.make_sheet(make.make_damper_model(), code="H2-W", status=SheetStatus.WITHDRAWN)
    assert "Enter the next version" in words(as_manager.get(sheet.get_absolute_url()))
    typed = {"damper_model": sheet.damper_model.pk, "position": "any", "code": "H2-W", "charge": "100",
        "charge_tolerance": "± 5", "source_document": "m", "source_revision": "r", "source_page": "1"}  # fmt: skip
    answer = send(as_manager, NEW, **typed)
    assert "H2-W version 1 (withdrawn) has this code already" in words(answer)
    assert "Enter its next version, or give another code." in words(answer)


# --- searching


def test_the_list_is_searched_by_damper_vehicle_position_and_model_year(at_desk):
    model = make.make_damper_model(name="H2")
    make.make_fitment(make.make_vehicle_model(name="Ridge"), "rear_left", model)
    make.make_sheet(model, code="OLD", year_to=2014, position="rear")
    make.make_sheet(model, code="NEW", year_from=2015, position="rear")
    page = words(at_desk.get(LIST, {"q": "h2 2015 rear"}))
    assert "Sheets holding in 2015, with “h2” and “rear”." in page
    assert "NEW version 1" in page
    assert "OLD version 1" not in page
    assert "OLD version 1" in words(at_desk.get(LIST, {"q": "Ostrander 2014"}))


# --- comparing


def test_sheets_are_compared_side_by_side_and_differences_told_in_words(at_desk):
    model = make.make_damper_model()
    first = make.make_sheet(model, code="A", charge=200, oil=None, year_to=2014)
    second = make.make_sheet(model, code="B", charge=100, year_from=2015)
    page = words(at_desk.get(chosen("sheets_compare", first, second)))
    assert "Nitrogen charge differs 200 psi 100 psi" in page
    assert "Shaft nut torque the same 22 lbf·ft 22 lbf·ft" in page
    assert "Oil volume differs nothing 305 mL" in page
    assert page.index("IFP depth") < page.index("Oil volume") < page.index("Charge meant at")
    only = words(at_desk.get(chosen("sheets_compare", first, second) + "&only=differences"))
    assert "Nitrogen charge differs" in only
    assert "the same" not in only


def test_two_sheets_that_say_the_same_say_so(at_desk):
    model = make.make_damper_model()
    page = words(at_desk.get(chosen("sheets_compare", *(make.make_sheet(model, position=one) for one in ("any",)),
                                    make.make_sheet(model, status=SheetStatus.DRAFT))))  # fmt: skip
    assert "They say the same." in page


def test_at_most_six_stand_side_by_side_and_at_least_two(at_desk):
    model = make.make_damper_model()
    sheets = [make.make_sheet(model, code=f"S{n}", status=SheetStatus.DRAFT) for n in range(8)]
    page = words(at_desk.get(chosen("sheets_compare", *sheets)))
    assert "2 more were ticked; at most six stand side by side." in page
    assert "S5 version 1" in page
    assert "S6 version 1" not in page
    alone = at_desk.get(chosen("sheets_compare", sheets[0]), follow=True)
    assert "Tick two to 6 sheets to see them side by side." in words(alone)


def test_the_page_of_a_version_leads_to_what_changed_since_the_others(at_desk):
    old = make.make_sheet(make.make_damper_model(), code="H2-A", status=SheetStatus.WITHDRAWN)
    new = make.make_sheet(old.damper_model, code="H2-A", version=2, replaces=old, torque=24)
    page = at_desk.get(new.get_absolute_url())
    assert "Version 2, this one verified" in words(page)
    assert "Version 1 withdrawn" in words(page)
    assert f"?sheet={old.pk}&amp;sheet={new.pk}&amp;only=differences" in page.content.decode()


# --- copying


def test_ticked_sheets_are_copied_together_with_one_source(as_manager):
    model = make.make_damper_model()
    sheets = [make.make_sheet(model, code=code, position=code.lower(), year_to=2014) for code in ("Front", "Rear")]
    page = chosen("sheets_copy", *sheets)
    typed = {"0-code": "F2", "0-year_from": "2015", "1-code": "R2", "1-year_from": "2015", "source_page": "p. 9"}
    answer = send(as_manager, page, **typed)
    assert "2 sheets copied as DRAFT" in words(as_manager.get(answer.url))
    copies = SpecSheet.objects.filter(code__in=["F2", "R2"]).order_by("code")
    assert [(one.code, one.position, one.year_from, one.source_page) for one in copies] == [
        ("F2", "front", 2015, "p. 9"), ("R2", "rear", 2015, "p. 9"),
    ]  # fmt: skip
    assert "Entered: copied from Front version 1" in words(as_manager.get(copies[0].get_absolute_url()))


def test_a_refused_copy_copies_nothing_and_tells_it_at_the_cell(as_manager):
    sheet = make.make_sheet(make.make_damper_model(), code="H2-A")
    other = make.make_sheet(make.make_damper_model(), code="H2-B")
    typed = {"0-code": "H2-A", "1-code": "H2-C", "1-year_from": "2015", "1-year_to": "2014"}
    answer = send(as_manager, chosen("sheets_copy", sheet, other), **typed)
    assert answer.status_code == 422
    assert "H2-A version 1 (verified) has this code already" in words(answer)
    assert "2014 lies before the first model year, 2015." in words(answer)
    assert 'href="#id_1-year_to"' in answer.content.decode()
    assert 'href="#id_0-code"' in answer.content.decode()
    assert form(answer)["1-code"] == "H2-C"
    assert SpecSheet.objects.count() == 2


def test_the_same_copies_sent_twice_are_made_once(as_manager):
    page = chosen("sheets_copy", make.make_sheet(make.make_damper_model()))
    filled = form(as_manager.get(page)) | {"0-code": "NEW"}
    assert [as_manager.post(page, filled).status_code for _ in range(2)] == [302, 302]
    assert SpecSheet.objects.filter(code="NEW").count() == 1


def test_without_a_tick_nothing_is_copied(as_manager):
    assert "No sheet is ticked." in words(as_manager.get(reverse("manage:sheets_copy"), follow=True))
