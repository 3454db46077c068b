import pytest
from django.urls import reverse

from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.selectors import sheet_for
from tests import factories as make
from tests.factories import LBF_FT
from tests.web.conftest import logged_in
from tests.web.people import TICKS, form, send, verify, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
LIST, NEW = reverse("manage:sheets"), reverse("manage:sheet_new")


def printed(**typed):
    """What a manager copies from an invented manual."""
    return {
        "damper_model": str(make.make_damper_model().pk), "position": "front", "year_from": "2015", "code": "H9-A",
        "source_document": "Hallinde H9 bench manual", "source_revision": "rev B", "source_page": "p. 12",
        "shaft_nut_torque": "22", "shaft_nut_torque_unit": "lbf·ft", "shaft_nut_torque_low": "20.9",
        "shaft_nut_torque_high": "23.1", "shaft_nut_torque_tolerance": "± 5 %",
    } | typed  # fmt: skip


# --- the list and the page


def test_the_list_tells_what_each_sheet_holds_for_and_where_it_comes_from(at_bench):
    model = make.make_damper_model(name="H9")
    make.make_sheet(model, code="H9-A", year_from=2015, position="rear", source_document="H9 bench manual",
                    source_revision="rev B", source_page="p. 12")  # fmt: skip
    make.make_sheet(model, code="H9-B", year_to=2014, source_page="9", status=SheetStatus.DRAFT)
    page = words(at_bench.get(LIST))
    assert "H9-A version 1 Hallinde H9 verified Model years from 2015, rear any vehicle" in page
    assert "22 lbf·ft 20.9 to 23.1 100 psi 95 to 105 3.4 in 3.37 to 3.43 305 mL 300 to 310" in page
    assert "H9 bench manual, rev B, p. 12" in page
    assert "common practice, no source, none, page 9" in page  # a bare number says that it is a page
    assert "Model years to 2014, any position" in page
    assert "DRAFT" in page
    assert "H9-B" not in words(at_bench.get(LIST, {"status": "verified"}))
    assert "H9-A" not in words(at_bench.get(LIST, {"q": "hallinde h9-b"}))
    assert "No such sheet." in words(at_bench.get(LIST, {"q": "nothing"}))
    assert at_bench.get(LIST, {"status": "lost"}).status_code == 422


def test_an_empty_spec_table_leads_the_manager_to_the_first_sheet(as_manager, at_desk):
    assert "Enter the first sheet" in words(as_manager.get(LIST))
    assert "A manager enters the sheets." in words(at_desk.get(LIST))


def test_the_list_takes_as_many_queries_for_fifty_sheets_as_for_five(at_desk, django_assert_num_queries):
    by = make.make_user()

    def fill(count):
        for _ in range(count):
            make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT, entered_by=by)

    fill(5)
    at_desk.get(LIST)
    with django_assert_num_queries(6):  # session, user, count, sheets, their figures, drafts that wait
        at_desk.get(LIST)
    fill(55)
    with django_assert_num_queries(6):
        assert "1 to 50 of 60" in words(at_desk.get(LIST))


def test_a_sheet_shows_its_figures_as_printed_and_in_the_units_of_the_shop(at_desk):
    sheet = make.make_sheet(make.make_damper_model(), torque=22, charge=100)
    page = words(at_desk.get(sheet.get_absolute_url()))
    assert "Shaft nut torque 22 lbf·ft 29.8 N·m 20.9 to 23.1 lbf·ft 22 lbf·ft ± 5 %" in page
    assert "Nitrogen charge at 68 °F, sea level 100 psi 689 kPa 95 to 105 psi" in page
    assert f"Entered by {sheet.entered_by}" in page
    assert f"Verified by {sheet.verified_by}" in page
    assert "The maker's current service manual for the exact unit prevails" in page


@pytest.mark.parametrize("pk", [4711, 10**25])
def test_a_sheet_that_is_not_there_has_no_page(as_manager, pk):
    for name in ("sheet", "sheet_change", "sheet_verify", "sheet_send_back", "sheet_withdraw"):
        status = as_manager.post(reverse(f"manage:{name}", args=[pk])).status_code
        assert status == (405 if name == "sheet" else 404)
    assert as_manager.get(reverse("manage:sheet", args=[pk])).status_code == 404
    for name in ("replaces", "copy"):
        assert as_manager.get(NEW, {name: pk}).status_code == 404


# --- entering


def test_a_sheet_is_entered_as_a_draft_in_the_units_of_its_source(as_manager):
    typed = printed(
        shaft_nut_torque="30", shaft_nut_torque_unit="N·m", shaft_nut_torque_low="28,5", shaft_nut_torque_high="31.5"
    )
    answer = send(as_manager, NEW, **typed)
    page = words(as_manager.get(answer.url))
    assert "is entered as a DRAFT" in page
    assert "22.1 lbf·ft DRAFT" in page
    assert "30 N·m" in page
    value = SpecSheet.objects.get().values.get()
    assert (value.value_si, value.low_si, value.high_si, value.unit) == (30.0, 28.5, 31.5, "N·m")


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"damper_model": "4711"}, "This is none of the choices, or not any more."),
        ({"source_revision": ""}, "Revision or date: Nothing is typed here. Fill it in."),
        ({"source_page": "  "}, "Page: Nothing is typed here. Fill it in."),
        ({"year_to": "2010"}, "2010 lies before the first model year, 2015."),
        ({"year_from": "20l5"}, "This is no model year. Give a model year from 1970 to 2100."),
        ({"shaft_nut_torque": "0"}, "Shaft nut torque cannot be 0 lbf·ft. Give more than zero."),
        ({"shaft_nut_torque": "-22"}, "Give zero or more."),
        ({"shaft_nut_torque": "tight"}, "Shaft nut torque: “tight” cannot be read."),
        ({"shaft_nut_torque": "22 psi"}, "Shaft nut torque: “22 psi” cannot be read."),
        ({"shaft_nut_torque": ""}, "Shaft nut torque: give the value itself."),
        ({"shaft_nut_torque_tolerance": "", "shaft_nut_torque_low": ""}, "give the lowest value that is still in"),
        ({"shaft_nut_torque_tolerance": "", "shaft_nut_torque_high": "21"}, "lies outside its own tolerance"),
        (
            {"shaft_nut_torque_low": "20"},
            "± 5 % of 22 lbf·ft is 20.9 to 23.1 lbf·ft, but the lowest is typed as 20 lbf·ft. Leave lowest and highest",
        ),
        ({"shaft_nut_torque_high": "23.2"}, "but the highest is typed as 23.2 lbf·ft"),
        ({"shaft_nut_torque_tolerance": "5", "shaft_nut_torque_low": ""}, "tolerance: “5” cannot be read."),
        (
            {"shaft_nut_torque_tolerance": "", "shaft_nut_torque_low": "", "shaft_nut_torque_high": ""},
            "Shaft nut torque: give the tolerance as printed, such as ± 5 %",
        ),
        ({"shaft_nut_torque_note": "x" * 201}, "at most 200 characters"),
        ({"shaft_nut_torque_unit": "furlong"}, "This is none of the choices, or not any more."),
        ({"note": "x" * 50_000}, "at most 1000 characters"),
        ({"code": "x" * 31}, "at most 30 characters"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused_and_what_was_copied_stays(as_manager, typed, told):
    filled = printed(**typed)
    answer = send(as_manager, NEW, **filled)
    assert answer.status_code == 422
    assert told in words(answer)
    kept = form(answer)
    choices = ("damper_model", "shaft_nut_torque_unit")
    for name, value in filled.items():
        if name not in choices:
            assert kept[name] == value
    assert not SpecSheet.objects.exists()


def test_a_sheet_without_a_figure_is_refused(as_manager):
    typed = printed(
        shaft_nut_torque="", shaft_nut_torque_low="", shaft_nut_torque_high="", shaft_nut_torque_tolerance=""
    )
    answer = send(as_manager, NEW, **typed)
    assert answer.status_code == 422
    assert "A sheet needs at least one figure." in words(answer)


def test_the_same_sheet_sent_twice_is_one(as_manager):
    filled = form(as_manager.get(NEW)) | printed()
    assert as_manager.post(NEW, filled).url == as_manager.post(NEW, filled).url
    assert SpecSheet.objects.count() == 1


def test_a_next_version_begins_with_what_the_sheet_says_and_takes_its_place_when_verified(as_manager, at_bench):
    model = make.make_damper_model()
    old = make.make_sheet(model, torque=18, code="H9-A")
    url = f"{NEW}?replaces={old.pk}"
    opened = form(as_manager.get(url))
    assert (opened["shaft_nut_torque"], opened["shaft_nut_torque_tolerance"]) == ("18", "± 5 %")
    assert (opened["shaft_nut_torque_low"], opened["source_page"]) == ("", "")
    assert "Allowed: 17.1 to 18.9 lbf·ft" in words(as_manager.get(url))
    answer = send(
        as_manager,
        url,
        shaft_nut_torque="19",
        source_revision="rev C",
        source_page="p. 13",
        why="the manual's next revision",
    )
    new = SpecSheet.objects.get(status=SheetStatus.DRAFT)
    assert answer.url == new.get_absolute_url()
    assert (new.code, new.version, new.replaces) == ("H9-A", 2, old)
    assert sheet_for(model, 2015, "front_left").sheet == old
    assert verify(at_bench, new).status_code == 302
    assert sheet_for(model, 2015, "front_left").sheet == new
    assert "H9-A version 2 came after it." in words(as_manager.get(old.get_absolute_url()))


# --- verifying and withdrawing


def test_whoever_entered_a_sheet_is_not_offered_to_verify_it_and_cannot(as_manager, manager):
    sheet = make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT, entered_by=manager)
    page = as_manager.get(sheet.get_absolute_url())
    assert "a second person verifies them against the source" in words(page)
    assert "Compare with the source" not in words(page)
    forced = as_manager.post(reverse("manage:sheet_verify", args=[sheet.pk]), TICKS | {"edition": 1})
    assert forced.status_code == 422
    assert "a second person has to verify it" in words(forced)
    sheet.refresh_from_db()
    assert sheet.status == SheetStatus.DRAFT


def test_two_sheets_for_the_same_unit_are_not_both_verified(at_bench):
    model = make.make_damper_model()
    there = make.make_sheet(model)
    rival = make.make_sheet(model, status=SheetStatus.DRAFT, year_from=2016)
    answer = verify(at_bench, rival)
    assert answer.status_code == 422
    assert f"{there} is verified already" in words(answer)


def test_a_withdrawn_sheet_says_why_and_holds_for_nothing(as_manager):
    model = make.make_damper_model()
    sheet = make.make_sheet(model)
    to = reverse("manage:sheet_withdraw", args=[sheet.pk])
    empty = send(as_manager, sheet.get_absolute_url(), "withdraw", to)
    assert empty.status_code == 422
    answer = send(as_manager, sheet.get_absolute_url(), "withdraw", to, why="the manual was reprinted")
    page = words(as_manager.get(answer.url))
    assert "No job takes these figures any more." in page
    assert "the manual was reprinted" in page
    assert sheet_for(model, 2015, "front_left").sheet is None


def test_the_desk_reads_a_draft_and_is_offered_nothing(at_desk):
    sheet = make.make_sheet(make.make_damper_model(), torque=18, status=SheetStatus.DRAFT)
    page = at_desk.get(sheet.get_absolute_url())
    assert "18 lbf·ft DRAFT" in words(page)
    assert form(page) == {}
    assert at_desk.post(reverse("manage:sheet_verify", args=[sheet.pk]), TICKS | {"edition": 1}).status_code == 403


def test_a_manager_who_did_not_enter_a_sheet_may_verify_it(manager):
    other = logged_in(make.make_user())
    sheet = make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT, entered_by=manager)
    assert verify(other, sheet).status_code == 302
    assert sheet.values.get(measure="shaft_nut_torque").value_si == pytest.approx(22 * LBF_FT)
