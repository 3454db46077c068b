"""The catalogue: what a new shop enters before it can book anything, by the people who may and by those who may not."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel, Fitment, Position
from shop.parts.models import Container, Part
from shop.specs.models import KitLine, ServiceInterval
from shop.workorders.models import Tool, ToolKind
from tests import factories as make
from tests.factories import INCH, LBF_FT, NOON, PSI
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]

HOME = "/manage/catalogue/"
VEHICLES, DAMPERS, PARTS, TOOLS = (f"{HOME}{name}/" for name in ("vehicle-models", "damper-models", "parts", "tools"))


# --- from nothing ----------------------------------------------------------------------------------------------------


def test_a_new_shop_is_told_what_to_enter_first(as_manager):
    page = words(as_manager.get(HOME))
    assert "Begin here: enter the first damper model" in page
    assert "enter the first vehicle model" in page
    assert "enter the first stock item" in page
    assert "enter the shop's tools" in page


def test_an_empty_shop_becomes_one_that_can_book_through_the_pages_alone(as_manager):
    send(as_manager, f"{DAMPERS}new/", maker="Hallinde", name="H2", construction="reservoir", serviceable="yes")
    damper = DamperModel.objects.get()
    send(as_manager, f"{VEHICLES}new/", maker="Ostrander", name="Ridge 900", year_from="2011", year_to="2026")
    vehicle = VehicleModel.objects.get()
    corners = f"{VEHICLES}{vehicle.pk}/"
    send(as_manager, corners, "corners/", f"{corners}corners/", damper_model=damper.pk)  # all four are ticked
    url = f"{DAMPERS}{damper.pk}/"
    rows = [("SK-H2", "seal kit H2", "1", "count"), ("TARN-5", "damper oil Tarn No. 5", "", "sheet"),
            ("SG-1", "seal grease", "4", "mass")]  # fmt: skip
    typed = {
        f"lines.{row}.{name}": text
        for row, texts in enumerate(rows)
        for name, text in zip(("part_number", "name", "amount", "measured"), texts, strict=True)
    }
    assert send(as_manager, f"{url}parts-list/", **typed).status_code == 302
    send(as_manager, f"{PARTS}new/?number=TARN-5", bin="F-02")  # number, name and measure come from the parts list
    oil = Part.objects.get()
    item = f"{PARTS}{oil.pk}/"
    send(as_manager, item, "containers/", f"{item}containers/", name="1 L bottle", size="1 L", price="21,50")

    fitted = Fitment.objects.values_list("position", "damper_model", "year_from", "year_to")
    assert set(fitted) == {(position, damper.pk, 2011, None) for position in Position.values}
    lines = KitLine.objects.values_list("part_number", "measure", "amount")
    assert list(lines) == [("SK-H2", "count", 1), ("TARN-5", "volume", None), ("SG-1", "mass", 4000)]
    assert (oil.name, oil.measure, oil.bin) == ("damper oil Tarn No. 5", "volume", "F-02")
    bottle = Container.objects.get()
    assert (bottle.part, bottle.size, str(bottle.price)) == (oil, 1_000_000, "21.50")
    home = words(as_manager.get(HOME))
    assert "No verified sheet: Hallinde H2" in home
    assert "not kept so that it can be picked: SG-1 and SK-H2." in home


# --- who may ---------------------------------------------------------------------------------------------------------


def test_the_technician_reads_all_of_it_and_is_offered_nothing_to_change(at_bench):
    damper, vehicle, part, tool = (
        make.make_damper_model(),
        make.make_vehicle_model(),
        make.make_part(),
        make.make_tool(),
    )
    make.make_kit_line(damper, part.number)
    make.make_fitment(vehicle, Position.REAR_LEFT, damper)
    for url in (
        HOME, VEHICLES, f"{VEHICLES}{vehicle.pk}/", DAMPERS, f"{DAMPERS}{damper.pk}/", PARTS, f"{PARTS}{part.pk}/",
        TOOLS, f"{TOOLS}{tool.pk}/",
    ):  # fmt: skip
        page = at_bench.get(url)
        assert page.status_code == 200
        assert form(page) == {}, url
        assert "/new/" not in page.content.decode(), url


def test_the_desk_keeps_stock_items_and_nothing_else(at_desk):
    damper, vehicle, tool = make.make_damper_model(), make.make_vehicle_model(), make.make_tool()
    part = make.make_part(measure="mass")
    make.make_kit_line(damper, "SK")
    fitment = make.make_fitment(vehicle, Position.REAR_LEFT, damper)
    assert send(at_desk, f"{PARTS}new/", number="BR-9", name="bumper", measure="count").status_code == 302
    item = f"{PARTS}{part.pk}/"
    send(at_desk, item, "containers/", f"{item}containers/", name="tub", size="100", price="14.20")
    assert Container.objects.get().size == 100_000
    for url, typed in [
        (f"{VEHICLES}new/", {"maker": "Velloway", "name": "Trace", "year_from": "2013"}),
        (f"{VEHICLES}{vehicle.pk}/corners/", {"positions": "rear_right", "damper_model": damper.pk}),
        (f"{VEHICLES}{vehicle.pk}/corners/remove/", {"fitment": fitment.pk}),
        (f"{DAMPERS}new/", {"maker": "Quoin", "name": "E5", "construction": "emulsion", "serviceable": "yes"}),
        (f"{DAMPERS}{damper.pk}/parts-list/", {"rows": "0"}),
        (f"{DAMPERS}{damper.pk}/parts-list/copy/", {"copy-other": damper.pk}),
        (f"{DAMPERS}{damper.pk}/interval/", {"months": "6", "source": "the shop's own"}),
        (f"{TOOLS}new/gauge/", {"code": "G-9", "low": "0", "high": "300", "calibrated_on": "2026-11-01"}),
        (f"{TOOLS}{tool.pk}/calibration/", {"calibrated_on": "2026-11-20"}),
        (f"{TOOLS}{tool.pk}/out-of-use/", {"out-why": "dropped"}),
    ]:
        assert at_desk.post(url, typed).status_code == 403, url
    tool.refresh_from_db()
    counts = [model.objects.count() for model in (VehicleModel, DamperModel, Fitment, KitLine, Tool)]
    assert counts == [1, 1, 1, 1, 1]
    assert tool.in_use
    assert not ServiceInterval.objects.filter(damper_model=damper).exists()


# --- vehicle models --------------------------------------------------------------------------------------------------


def test_a_vehicle_model_that_is_there_already_is_refused_and_what_was_typed_stays(as_manager):
    make.make_vehicle_model(maker="Ostrander", name="Ridge 900", year_from=2011, year_to=2026)
    page = send(as_manager, f"{VEHICLES}new/", maker="ostrander", name="ridge  900", year_from="2020")
    assert page.status_code == 422
    assert "Ostrander Ridge 900 is in the catalogue already, built 2011 to 2026" in words(page)
    assert form(page)["maker"] == "ostrander"
    assert VehicleModel.objects.count() == 1


def test_years_the_wrong_way_round_are_refused(as_manager):
    page = send(as_manager, f"{VEHICLES}new/", maker="Velloway", name="Trace", year_from="2015", year_to="2012")
    assert page.status_code == 422
    assert "The last model year lies before the first." in words(page)


def test_a_corner_that_is_taken_is_refused_and_none_of_the_others_is_entered(as_manager):
    old, new, vehicle = make.make_damper_model(), make.make_damper_model(), make.make_vehicle_model()
    make.make_fitment(vehicle, Position.REAR_LEFT, old, year_from=2010, year_to=2014)
    url = f"{VEHICLES}{vehicle.pk}/"
    typed = {"positions": ["front_left", "rear_left"], "damper_model": new.pk, "year_from": "2014"}
    page = send(as_manager, url, "corners/", f"{url}corners/", **typed)
    assert page.status_code == 422
    assert f"Rear left: the {old} sits there from 2010 to 2014. Change or remove that entry first" in words(page)
    assert form(page, "corners/")["positions"] == ["front_left", "rear_left"]
    assert vehicle.fitments.count() == 1
    assert send(as_manager, url, "corners/", f"{url}corners/", **typed | {"year_from": "2015"}).status_code == 302
    assert vehicle.fitments.count() == 3


def test_a_wrong_entry_is_removed_once_and_the_history_says_so(as_manager):
    fitment = make.make_fitment(make.make_vehicle_model(), Position.REAR_LEFT, make.make_damper_model())
    url = f"{VEHICLES}{fitment.vehicle_model_id}/"
    asked = as_manager.post(f"{url}corners/remove/", {"fitment": fitment.pk})
    assert "Remove a damper from" in words(asked)
    assert Fitment.objects.exists()
    for told in ("Removed: rear left", "removed already"):
        page = as_manager.post(f"{url}corners/remove/", form(asked), follow=True)
        assert told in words(page)
    assert not Fitment.objects.exists()
    assert words(page).count(f"removed: Rear left: {fitment.damper_model}, from 2010 on") == 1


def test_an_entry_of_another_vehicle_model_is_not_removed(as_manager):
    fitment = make.make_fitment(make.make_vehicle_model(), Position.REAR_LEFT, make.make_damper_model())
    other = make.make_vehicle_model()
    as_manager.post(f"{VEHICLES}{other.pk}/corners/remove/", {"fitment": fitment.pk})
    assert Fitment.objects.filter(pk=fitment.pk).exists()


# --- damper models ---------------------------------------------------------------------------------------------------


def test_a_damper_that_is_not_serviced_here_needs_the_words_for_the_customer(as_manager):
    typed = {"maker": "Quoin", "name": "Live 3", "construction": "electronic", "serviceable": "no"}
    page = send(as_manager, f"{DAMPERS}new/", **typed)
    assert page.status_code == 422
    assert "what to tell the customer" in words(page)
    assert form(page)["serviceable"] == "no"
    page = send(as_manager, f"{DAMPERS}new/", **typed, why_not="It needs the maker's bench.")
    assert "No. It needs the maker's bench." in words(as_manager.get(page.url))


def test_a_damper_model_sent_twice_is_entered_once(as_manager):
    typed = form(as_manager.get(f"{DAMPERS}new/"))
    typed |= {"maker": "Quoin", "name": "E5", "construction": "emulsion", "serviceable": "yes"}
    first, second = (as_manager.post(f"{DAMPERS}new/", typed) for _ in range(2))
    assert first.url == second.url
    assert DamperModel.objects.count() == 1


def test_the_parts_list_says_which_of_its_lines_cannot_be_picked(as_manager):
    damper = make.make_damper_model()
    make.make_part("SG-1", measure="count", name="tub of grease")
    make.make_kit_line(damper, "SG-1", 4000, "mass", name="seal grease")
    make.make_kit_line(damper, "SK&H2 1")
    page = as_manager.get(f"{DAMPERS}{damper.pk}/")
    assert "tub of grease is measured in pieces: it cannot be picked" in words(page)
    assert "not a stock item" in words(page)
    assert f"{PARTS}new/?number=SK%26H2%201" in page.content.decode()
    assert form(as_manager.get(f"{PARTS}new/?number=SK%26H2%201"))["number"] == "SK&H2 1"


# --- stock items -----------------------------------------------------------------------------------------------------


def test_a_stock_item_that_is_there_already_is_refused(as_manager):
    make.make_part("SK-H2", name="seal kit H2")
    page = send(as_manager, f"{PARTS}new/", number="sk-h2", name="seal kit", measure="count")
    assert page.status_code == 422
    assert "SK-H2 seal kit H2 is a stock item already" in words(page)


def test_a_stock_item_is_measured_as_the_parts_lists_measure_it(as_manager):
    damper = make.make_damper_model()
    make.make_kit_line(damper, "SG-1", 4000, "mass", name="seal grease")
    page = send(as_manager, f"{PARTS}new/", number="SG-1", name="grease", measure="count")
    assert page.status_code == 422
    assert f"The parts list of {damper} takes SG-1 seal grease measured in mass. Choose mass" in words(page)
    assert send(as_manager, f"{PARTS}new/", number="SG-1", name="grease", measure="mass").status_code == 302


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"size": "0"}, "more than zero"),
        ({"size": "1000"}, "1 L bottle holds 1000 mL already"),
        ({"price": "free"}, "cannot be read. Give"),
        ({"price": "-1"}, "“-1” cannot be read. Give an amount like 420 or 420.50"),
        ({"price": "1,234"}, "cannot be read. Give"),
        ({"price": "NaN"}, "cannot be read. Give"),
    ],
)
def test_a_container_that_cannot_be_is_refused_and_stays_in_the_form(as_manager, typed, told):
    oil = make.make_part(measure="volume")
    make.make_container(oil, 1_000_000, name="1 L bottle")
    page = as_manager.post(f"{PARTS}{oil.pk}/containers/", {"name": "can", "size": "5 L", "price": "89"} | typed)
    assert page.status_code == 422
    assert told in words(page)
    assert form(page, "containers/")["name"] == "can"
    assert oil.containers.count() == 1


# --- tools -----------------------------------------------------------------------------------------------------------


def test_a_tool_is_due_after_twelve_months_unless_its_certificate_says_otherwise(as_manager):
    """12 months: ISO 6789 for torque tools, from memory; for the others common practice, no source."""
    for kind, code, low, high, due in [
        ("torque_wrench", "TW-1", "5", "80", ""),
        ("gauge", "G-1", "0", "20 bar", "2027-06-30"),
        ("depth_tool", "D-1", "0", "6", ""),
    ]:
        page = send(
            as_manager, f"{TOOLS}new/{kind}/", code=code, low=low, high=high, calibrated_on="2026-10-31",
            calibration_due_on=due,
        )  # fmt: skip
        assert page.status_code == 302
    kept = {tool.code: tool for tool in Tool.objects.all()}
    assert (kept["TW-1"].low_si, kept["TW-1"].high_si) == pytest.approx((5 * LBF_FT, 80 * LBF_FT))
    assert (kept["G-1"].low_si, kept["G-1"].high_si) == (0, 2e6)
    assert kept["D-1"].high_si == pytest.approx(6 * INCH)
    assert [kept[code].calibration_due_on for code in ("TW-1", "G-1", "D-1")] == [
        date(2027, 10, 31), date(2027, 6, 30), date(2027, 10, 31),
    ]  # fmt: skip
    page = words(as_manager.get(TOOLS))
    assert "TW-1 5 to 80 lbf·ft Calibration due on 31 October 2027" in page


@pytest.mark.parametrize(
    ("due", "told", "pressing"),
    [
        (date(2026, 11, 24), "Out of calibration since 24 November 2026", True),
        (date(2026, 11, 25), "Calibration ends today, 25 November 2026", True),
        (date(2026, 11, 26), "Calibration due in 1 day, on 26 November 2026", True),
        (date(2026, 12, 25), "Calibration due in 30 days, on 25 December 2026", True),
        (date(2026, 12, 26), "Calibration due on 26 December 2026", False),
    ],
)
def test_a_tool_says_in_words_how_its_calibration_stands(at_bench, due, told, pressing):
    tool = make.make_tool(calibrated_on=date(2026, 1, 5), calibration_due_on=due)
    page = at_bench.get(TOOLS)
    assert told in words(page)
    assert ("state--late" in page.content.decode()) is pressing
    assert (f"Out of calibration, or soon: {tool}" in words(at_bench.get(HOME))) is pressing


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"code": "tw-1"}, "TW-1 is a torque wrench already"),
        ({"low": "80", "high": "80"}, "give more than 80 lbf·ft"),
        ({"low": "-5"}, "cannot be -5 lbf·ft"),
        ({"high": "300 psi"}, "“300 psi” cannot be read"),
        ({"calibrated_on": "2026-11-26"}, "26 November 2026 lies in the future"),
        ({"calibrated_on": "2026-02-30"}, "no day of the calendar"),
        ({"calibrated_on": ""}, "No day is given. Choose one"),
        ({"calibration_due_on": "2026-11-20"}, "20 November 2026 is not after the calibration"),
    ],
)
def test_a_tool_that_cannot_be_is_refused_and_stays_in_the_form(as_manager, typed, told):
    make.make_tool(code="TW-1")
    good = {"code": "TW-2", "low": "5", "high": "60", "calibrated_on": "2026-11-20"}
    page = send(as_manager, f"{TOOLS}new/torque_wrench/", **good | typed)
    assert page.status_code == 422
    assert told in words(page)
    assert form(page)["high"] == (good | typed)["high"]
    assert Tool.objects.count() == 1


def test_a_kind_of_tool_that_nobody_knows_leads_nowhere(as_manager):
    assert as_manager.get(f"{TOOLS}new/hammer/").status_code == 404


def test_a_tool_out_of_use_comes_back_with_its_next_calibration(as_manager):
    tool = make.make_tool(calibrated_on=date(2026, 1, 5), calibration_due_on=date(2027, 1, 5))
    url = f"{TOOLS}{tool.pk}/"
    assert as_manager.post(f"{url}out-of-use/", {"out-why": ""}).status_code == 422
    page = as_manager.post(f"{url}out-of-use/", {"out-why": "dropped"}, follow=True)
    assert "out of use: dropped" in words(page)
    assert "Out of use" in words(as_manager.get(TOOLS))
    page = as_manager.post(f"{url}calibration/", {"calibrated_on": "2025-12-31"})
    assert page.status_code == 422
    assert "was calibrated on 5 January 2026, after 31 December 2025" in words(page)
    as_manager.post(f"{url}calibration/", {"calibrated_on": "2026-11-24"})
    tool.refresh_from_db()
    assert (tool.in_use, tool.calibration_due_on) == (True, date(2027, 11, 24))
    assert tool.why_not(NOON.date()) == ""


# --- lists -----------------------------------------------------------------------------------------------------------


def fill(rows):
    for n in range(rows):
        vehicle, damper = make.make_vehicle_model(), make.make_damper_model()
        make.make_fitment(vehicle, Position.REAR_LEFT, damper)
        make.make_kit_line(damper, f"SK-X{rows}-{n}")
        make.make_sheet(damper)
        make.make_container(make.make_part(), 10)
        make.make_tool(ToolKind.GAUGE, low_si=0, high_si=300 * PSI)


@pytest.mark.parametrize("url", [HOME, VEHICLES, DAMPERS, PARTS, TOOLS])
def test_a_list_asks_the_database_as_often_for_many_rows_as_for_few(at_bench, url, django_assert_num_queries):
    fill(1)
    with CaptureQueriesContext(
        connection,
    ) as few:
        at_bench.get(url)
    fill(6)
    with django_assert_num_queries(len(few)):
        assert at_bench.get(url).status_code == 200


@pytest.mark.parametrize(
    ("url", "text", "other"), [(VEHICLES, "ridge", "Trace"), (DAMPERS, "hall", "E5"), (PARTS, "f-02", "SK-H2")]
)
def test_a_list_is_searched_by_any_word(at_bench, url, text, other):
    make.make_vehicle_model(maker="Ostrander", name="Ridge 900")
    make.make_vehicle_model(maker="Velloway", name="Trace")
    make.make_damper_model(maker="Hallinde", name="H2")
    make.make_damper_model(maker="Quoin", name="E5")
    make.make_part("TARN-5", bin="F-02")
    make.make_part("SK-H2", bin="B-07")
    page = words(at_bench.get(url, {"q": text}))
    assert other not in page
    assert "No such" not in page
    assert "No such" in words(at_bench.get(url, {"q": "nothing of the kind"}))
    assert at_bench.get(url, {"q": "\0"}).status_code == 422


@pytest.mark.parametrize("posted", ["", "x", "9" * 40, "-1"])
def test_nonsense_for_a_row_to_remove_changes_nothing(as_manager, posted):
    fitment = make.make_fitment(make.make_vehicle_model(), Position.REAR_LEFT, make.make_damper_model())
    answer = as_manager.post(f"{VEHICLES}{fitment.vehicle_model_id}/corners/remove/", {"fitment": posted})
    assert answer.status_code in (302, 404)
    assert Fitment.objects.filter(pk=fitment.pk).exists()


def test_the_catalogue_leads_to_what_lacks_and_a_damper_model_to_its_sheets(as_manager):
    model = make.make_damper_model()
    make.make_sheet(model, status="draft")
    page = as_manager.get(reverse("manage:catalogue")).content.decode()
    for name in ("sheets_queue", "coverage_overview", "exchange"):
        assert f'<a href="{reverse(f"manage:{name}")}">' in page.split("<main")[1]
    told = as_manager.get(reverse("manage:damper_model", args=[model.pk])).content.decode()
    for name in ("sheet_new", "sheets_table"):
        address = f"{reverse(f'manage:{name}')}?damper_model={model.pk}"
        assert f'href="{address}"' in told
        assert as_manager.get(address).status_code == 200
