"""Drafts as a table of text cells: all of it is saved or nothing, and every refusal stands at its cell."""

import re

import pytest
from django.urls import reverse

from shop.specs.models import SheetStatus, SpecSheet
from tests import factories as make
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
TABLE = reverse("manage:sheets_table")


@pytest.fixture
def model():
    return make.make_damper_model(name="H2")


@pytest.fixture
def draft(model, manager):
    return make.make_sheet(
        model, code="H2-A", status=SheetStatus.DRAFT, entered_by=manager, position="rear", year_from=2015, note="bench",
        printed={"charge": {"page": "p. 9", "tolerance": "see table 4"}},
    )  # fmt: skip


def new(row, **typed):
    """The cells of a new sheet in a row."""
    cells = {
        "damper_model": "hallinde h2", "code": "H2-N", "position": "front left", "year_from": "2019",
        "charge": "100 psi", "charge_tolerance": "± 5", "source_document": "manual", "source_revision": "rev D",
        "source_page": "p. 4",
    }  # fmt: skip
    return {f"{row}-{name}": value for name, value in (cells | typed).items()}


def test_the_cells_hold_what_the_drafts_say_and_empty_rows_follow(as_manager, draft, model):
    cells = form(as_manager.get(TABLE))
    assert (cells["0-position"], cells["0-year_from"], cells["0-vehicle_model"]) == ("rear", "2015", "")
    assert (cells["0-shaft_nut_torque"], cells["0-shaft_nut_torque_tolerance"]) == ("22 lbf·ft", "± 5 %")
    assert cells["0-charge_tolerance"] == "95 to 105"
    assert cells["count"] == "6"
    assert cells["1-code"] == cells["5-code"] == ""
    of_model = form(as_manager.get(TABLE, {"damper_model": model.pk}))
    assert of_model["1-damper_model"] == "Hallinde H2"


def test_drafts_are_changed_and_new_sheets_entered_in_one_save_with_one_reason(as_manager, draft, model):
    vehicle = make.make_vehicle_model(name="Ridge")
    changed = {"0-shaft_nut_torque": "24 lbf·ft", "0-vehicle_model": "ostrander ridge", "0-position": "Rear right"}
    answer = send(as_manager, TABLE, why="rev D arrived", **changed, **new(1))
    assert answer.status_code == 302, words(answer)
    page = as_manager.get(answer.url)
    assert "2 rows saved: H2-A version 1, H2-N version 1. A second person verifies" in words(page)
    assert (
        f'<a href="{SpecSheet.objects.get(code="H2-N").get_absolute_url()}">H2-N version 1</a>' in page.content.decode()
    )
    draft.refresh_from_db()
    assert (draft.edition, draft.vehicle_model, draft.position) == (2, vehicle, "rear_right")
    torque, charge = (draft.values.get(measure=one) for one in ("shaft_nut_torque", "charge"))
    assert (torque.figures, torque.tolerance) == ("24", "± 5 %")
    assert (charge.tolerance, charge.page, draft.note) == ("see table 4", "p. 9", "bench")
    sheet = SpecSheet.objects.get(code="H2-N")
    assert (sheet.damper_model, sheet.position, sheet.year_from) == (model, "front_left", 2019)
    assert {one.editions.last().why for one in (draft, sheet)} == {"rev D arrived"}


def test_a_row_that_nobody_touched_is_not_written_although_somebody_else_changed_it(as_manager, draft):
    opened = form(as_manager.get(TABLE))
    send(as_manager, reverse("manage:sheet_change", args=[draft.pk]), source_page="p. 8", why="misread")
    answer = as_manager.post(TABLE, opened | new(1) | {"why": "rev D"})
    assert answer.status_code == 302
    assert draft.editions.count() == 2


def test_somebody_elses_change_of_a_touched_row_is_told_at_the_row(as_manager, draft):
    opened = form(as_manager.get(TABLE))
    send(as_manager, reverse("manage:sheet_change", args=[draft.pk]), source_page="p. 8", why="misread")
    answer = as_manager.post(TABLE, opened | {"0-oil_volume": "300 mL", "why": "rev D"})
    assert answer.status_code == 409
    assert "has changed H2-A version 1 since you opened it: misread" in words(answer)
    assert form(answer)["0-oil_volume"] == "300 mL"


def test_after_a_conflict_the_row_tells_what_the_book_says_now_and_a_second_save_replaces_it(as_manager, draft):
    opened = form(as_manager.get(TABLE))
    as_manager.post(TABLE, opened | {"0-charge": "104 psi", "why": "first tab", "request_key": "first"})
    refused = as_manager.post(TABLE, opened | {"0-oil_volume": "300 mL", "why": "second tab"})
    assert refused.status_code == 409
    page = words(refused)
    assert re.search("H2-A version 1 Hallinde H2 .{0,80}has changed H2-A version 1 since you opened it: first", page)
    assert "The book says now H2-A version 1, nitrogen charge 104 psi H2-A version 1, oil volume 305 mL" in page
    again = as_manager.post(TABLE, form(refused))
    assert again.status_code == 302, words(again)
    assert {one.measure: one.figures for one in draft.values.all()} | {"shaft_nut_torque": "22"} == {
        "shaft_nut_torque": "22", "charge": "100", "ifp_depth": "3.4", "oil_volume": "300",
    }  # fmt: skip


def test_a_conflict_is_settled_although_another_row_is_refused_with_it(as_manager, draft):
    opened = form(as_manager.get(TABLE))
    as_manager.post(TABLE, opened | {"0-charge": "104 psi", "why": "first tab", "request_key": "first"})
    refused = as_manager.post(TABLE, opened | {"0-oil_volume": "300 mL", "why": "x"} | new(1, charge="30 psi"))
    assert refused.status_code == 422
    assert "The book says now" in words(refused)
    assert as_manager.post(TABLE, form(refused) | {"1-charge": "100 psi"}).status_code == 302


@pytest.mark.parametrize(
    ("typed", "cell", "told"),
    [
        ({"charge": "tight"}, "charge", "Nitrogen charge: “tight” cannot be read."),
        ({"charge": "100 lbf·ft"}, "charge", "“100 lbf·ft” cannot be read"),
        ({"charge": "0 psi"}, "charge", "Give more than zero."),
        ({"charge": ""}, "charge", "Nitrogen charge: give the value itself."),
        ({"charge_tolerance": "5"}, "charge_tolerance", "“5” cannot be read."),
        (
            {"charge_tolerance": ""},
            "charge_tolerance",
            "give the tolerance as printed, such as ± 5 %, ± 0.03, +5/−0 or 195 to 205.",
        ),
        ({"charge": "100 kPa"}, "charge", "Did you mean 100 psi?"),
        ({"charge": "1000 psi", "charge_tolerance": "± 5"}, "charge", "more than any damper of a side-by-side takes"),
        ({"damper_model": "Hallinde H9"}, "damper_model", "“Hallinde H9” is none of the catalogue."),
        ({"damper_model": ""}, "damper_model", "Nothing is typed here. Fill it in."),
        ({"vehicle_model": "Ostrander"}, "vehicle_model", "“Ostrander” is none of the catalogue."),
        ({"position": "roof"}, "position", "“roof” is no position. Give one of: any position, front, rear"),
        ({"year_from": "20l5"}, "year_from", "This is no model year."),
        ({"year_from": "2015", "year_to": "2014"}, "year_to", "2014 lies before the first model year, 2015."),
        ({"code": ""}, "code", "Nothing is typed here. Fill it in."),
        (
            {"code": "H2-A"},
            "code",
            "H2-A version 1 (draft) has this code already, for Hallinde H2, model years",
        ),
        ({"source_page": ""}, "source_page", "Nothing is typed here. Fill it in."),
        ({"charge": "", "charge_tolerance": ""}, "code", "A sheet needs at least one figure."),
    ],
)
def test_what_is_wrong_is_told_at_its_cell_and_nothing_is_saved_or_lost(as_manager, draft, typed, cell, told):
    filled = form(as_manager.get(TABLE)) | new(2, **typed) | {"0-oil_volume": "310 mL", "why": "rev D"}
    answer = as_manager.post(TABLE, filled)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert f'href="#id_2-{cell}"' in page
    assert re.search(rf'<input[^>]*name="2-{cell}"[^>]*aria-invalid="true"', page)
    assert told in words(answer)
    kept = form(answer)
    assert {name: kept[name] for name in filled if name != "csrfmiddlewaretoken"} == {
        name: value for name, value in filled.items() if name != "csrfmiddlewaretoken"
    }
    draft.refresh_from_db()
    assert (draft.edition, SpecSheet.objects.count()) == (1, 1)


def test_refusals_of_several_rows_come_together(as_manager, draft):
    answer = send(
        as_manager, TABLE, why="rev D", **new(1, code="H2-A"), **new(2, charge="30 psi"), **new(3, code="H2-O")
    )
    assert answer.status_code == 422
    page = words(answer)
    assert "has this code already" in page
    assert "30 psi is about 3.3 times less than the 100 psi" in page


def test_a_question_about_any_row_is_answered_by_one_tick(as_manager, draft):
    asked = send(as_manager, TABLE, why="rev D", **new(1, charge="30 psi"), **new(2, charge="31 psi", code="H2-O"))
    assert asked.status_code == 422
    assert as_manager.post(TABLE, form(asked) | {"sure": "on"}).status_code == 302
    assert SpecSheet.objects.count() == 3


def test_flagged_figures_are_kept_by_a_tick(as_manager):
    make.make_damper_model(
        name="H7", reservoir_bore_m=0.04, cap_intrusion_m=0.02, shaft_m=0.016, stroke_m=0.13, highest_gas_pa=4e6
    )
    typed = new(0, damper_model="Hallinde H7", ifp_depth="1.2 in", ifp_depth_tolerance="± 0.03")
    asked = send(as_manager, TABLE, why="rev D", **typed)
    assert asked.status_code == 422
    assert "The IFP hits the cap before full stroke" in words(asked)
    assert as_manager.post(TABLE, form(asked) | {"keep_flagged": "on"}).status_code == 302


def test_a_change_of_the_table_says_why_and_changes_something(as_manager, draft):
    silent = send(as_manager, TABLE, **new(1))
    assert "Say why: what these figures were copied from, or what was misread." in words(silent)
    assert silent.status_code == 422
    idle = send(as_manager, TABLE, why="rev D")
    assert "Nothing in the table is new or different." in words(idle)


def test_a_figure_is_taken_away_by_emptying_its_cells(as_manager, draft):
    answer = send(as_manager, TABLE, why="not printed", **{"0-oil_volume": "", "0-oil_volume_tolerance": ""})
    assert answer.status_code == 302
    assert not draft.values.filter(measure="oil_volume").exists()


def test_the_same_table_sent_twice_is_saved_once(as_manager, draft):
    filled = form(as_manager.get(TABLE)) | new(1) | {"0-charge": "104 psi", "why": "rev D"}
    assert [as_manager.post(TABLE, filled).status_code for _ in range(2)] == [302, 302]
    assert (draft.editions.count(), SpecSheet.objects.count()) == (2, 2)
    other = as_manager.post(TABLE, filled | {"0-charge": "103 psi"})
    assert other.status_code == 409
    assert "already used for another entry" in words(other)


def test_more_empty_rows_keep_what_is_typed(as_manager, draft):
    typed = new(1, charge="tight") | {"0-oil_volume": "310 mL", "why": "rev D", "more": "1"}
    answer = as_manager.post(TABLE, form(as_manager.get(TABLE)) | typed)
    assert answer.status_code == 200
    kept = form(answer)
    assert (kept["1-charge"], kept["0-oil_volume"], kept["why"], kept["count"]) == ("tight", "310 mL", "rev D", "16")
    assert as_manager.post(TABLE, kept | {"1-charge": "100 psi"}).status_code == 302


def test_what_is_allowed_stands_at_each_stored_figure(as_manager, draft):
    page = words(as_manager.get(TABLE))
    assert "20.9 to 23.1 lbf·ft" in page
    assert "95 to 105 psi" in page


def test_a_tolerance_that_follows_a_new_unit_is_asked_about(as_manager, manager):
    printed = {"charge": {"tolerance": "± 5, the shop's own"}}
    draft = make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT, entered_by=manager, printed=printed)
    asked = send(as_manager, TABLE, why="other unit", **{"0-charge": "7 bar"})
    assert asked.status_code == 422
    assert "Nitrogen charge: ± 5 bar is 71 % of the value, 7 bar: 2 to 12 bar would be allowed." in words(asked)
    assert as_manager.post(TABLE, form(asked) | {"0-charge_tolerance": "± 0.35 bar"}).status_code == 302
    assert draft.values.get(measure="charge").high_si == pytest.approx(7.35e5)


def test_a_wide_tolerance_stays_when_somebody_is_sure(as_manager):
    asked = send(as_manager, TABLE, why="rev D", **new(0, damper_model="", charge_tolerance="0 to 150 psi"))
    assert asked.status_code == 422
    make.make_damper_model(name="H2")
    asked = as_manager.post(TABLE, form(asked) | {"0-damper_model": "Hallinde H2"})
    assert "Nitrogen charge: +50/−100 psi is 100 % of the value, 100 psi: 0 to 150 psi would be allowed." in words(
        asked
    )
    assert as_manager.post(TABLE, form(asked) | {"sure": "on"}).status_code == 302


def test_verified_sheets_stand_by_for_comparison(as_manager, model, draft):
    sheet = make.make_sheet(model, code="H2-V", charge=200, year_to=2014)
    page = as_manager.get(TABLE, {"q": "H2"})
    assert "Verified, for comparison H2-V version 1 Hallinde H2 Next version any position 2014" in words(page)
    assert f"?replaces={sheet.pk}" in page.content.decode()
    assert "H2-V" not in words(as_manager.get(TABLE, {"q": "2015"}))


def test_two_vehicle_models_of_one_name_are_told_apart_by_their_first_year(as_manager, draft):
    make.make_vehicle_model(name="Ridge", year_from=2010, year_to=2014)
    second = make.make_vehicle_model(name="Ridge", year_from=2015)
    assert send(as_manager, TABLE, why="x", **{"0-vehicle_model": "Ostrander Ridge"}).status_code == 422
    assert send(as_manager, TABLE, why="x", **{"0-vehicle_model": "Ostrander Ridge 2015"}).status_code == 302
    draft.refresh_from_db()
    assert draft.vehicle_model == second
    assert form(as_manager.get(TABLE))["0-vehicle_model"] == "Ostrander Ridge 2015"


@pytest.mark.parametrize(
    "data", [{}, {"count": "x"}, {"count": "1", "0-sheet": "4711"}, {"count": "1", "0-sheet": "x"}]
)
def test_a_table_that_was_never_shown_leads_nowhere(as_manager, data):
    assert as_manager.post(TABLE, data).status_code == 404


def test_a_draft_verified_meanwhile_is_a_conflict(as_manager, draft, technician):
    opened = form(as_manager.get(TABLE))
    draft.status, draft.verified_by, draft.verified_at = SheetStatus.VERIFIED, technician, draft.entered_at
    draft.save()
    answer = as_manager.post(TABLE, opened | {"0-oil_volume": "300 mL", "why": "rev D"})
    assert answer.status_code == 409
    assert "what was verified stays as it is" in words(answer)


def test_the_table_takes_as_many_queries_for_twenty_drafts_as_for_two(as_manager, manager, django_assert_num_queries):
    def fill(count):
        for _ in range(count):
            make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT, entered_by=manager)

    fill(2)
    as_manager.get(TABLE)
    with django_assert_num_queries(9):
        as_manager.get(TABLE)
    fill(18)
    with django_assert_num_queries(9):
        as_manager.get(TABLE)
