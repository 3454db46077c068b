"""What each table does with its rows: entered, changed, left alone, or told what speaks against it."""

import pytest

from shop.customers.models import Consent, Customer, Vehicle
from shop.customers.services import record_consent
from shop.exchange.models import RunState
from shop.parts.models import Part
from shop.specs.models import KitLine, SheetStatus, SpecSheet
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.exchange.files import brought_in, checked, csv_file, told
from tests.factories import NOON, PSI

pytestmark = pytest.mark.django_db
PARTS = ["Part number", "Name", "Measured in", "Bin"]
CUSTOMERS = ["Name", "E-mail", "Phone", "Address", "Note", "Wants reminders"]
VEHICLES = ["Customer", "Customer's e-mail", "Maker", "Model", "Model year", "VIN or frame number", "Plate", "Note"]
KIT_LINES = ["Damper maker", "Damper model", "Part number", "Name", "Amount for one damper", "From model year"]


def outcome(run):
    return run.state, run.new, run.changed, run.unchanged


# --- stock items


def test_a_file_of_stock_items_is_entered_once_and_again_changes_nothing(desk):
    file = csv_file(
        PARTS, ["SK-1", "seal kit", "pieces", "B-07"], ["OIL-5", "Tarn No. 5", "volume", ""], name="shelf.csv"
    )
    assert outcome(brought_in("parts", file, desk)) == (RunState.DONE, 2, 0, 0)
    assert outcome(brought_in("parts", file, desk)) == (RunState.DONE, 0, 0, 2)
    part = Part.objects.get(number="OIL-5")
    assert (part.name, part.measure, part.bin) == ("Tarn No. 5", "volume", "")
    entry = AuditEntry.objects.get(kind="part", key=str(part.pk))
    assert entry.what == "entered: OIL-5 Tarn No. 5, measured in volume (from shelf.csv, line 3)"
    assert entry.who == str(desk)


def test_a_check_writes_nothing_and_tells_all_that_is_wrong_with_every_line(desk):
    make.make_kit_line(make.make_damper_model(name="H9"), "SK-3", amount=1)
    make.make_part("SK-4", name="wiper", bin="B-01")
    run = checked(
        "parts",
        csv_file(
            PARTS,
            ["SK-1", "seal kit", "pieces", "B-07"],
            ["", "", "kilos", "a bin whose name is too long"],
            ["SK-3", "oil", "volume", ""],
            ["SK-4", "wiper ring", "pieces", "B-02"],
            ["sk-1", "seal kit", "pieces", "B-07"],
            ["SK-1", "another kit", "pieces", "B-07"],
            ["SK-5", "ring", "pieces", "a bin whose name is too long"],
        ),
        desk,
    )
    assert outcome(run)[0] == RunState.REFUSED
    assert [(line, column) for line, column, _ in told(run)] == [
        (3, "Part number"), (3, "Name"), (3, "Measured in"), (4, "Measured in"), (5, "Name"), (5, "Bin"),
        (6, "Part number"), (7, ""), (8, "Bin"),
    ]  # fmt: skip
    sentences = [sentence for _, _, sentence in told(run)]
    assert "The parts list of Hallinde H9 takes SK-3 seal kit measured in pieces." in sentences[3]
    assert sentences[4].startswith("SK-4 wiper is in the book already, here with “wiper”.")
    assert sentences[6] == "SK-1 seal kit is a stock item already. Open that one."
    assert sentences[7].startswith("Line 2 is about SK-1 seal kit too")
    assert sentences[8] == "This has 28 characters; the book takes at most 20 characters. Shorten it."
    assert run.problem_count == 9
    assert Part.objects.count() == 1
    assert not AuditEntry.objects.filter(kind="part").exists()


def test_one_bad_line_among_many_keeps_all_out(desk):
    rows = [[f"SK-{n}", "seal kit", "pieces", ""] for n in range(1200)]
    run = checked("parts", csv_file(PARTS, *rows, ["", "x", "pieces", ""]), desk)
    assert (run.state, run.rows, [line for line, _, _ in told(run)]) == (RunState.REFUSED, 1201, [1202])
    assert not Part.objects.exists()


# --- customers


def test_customers_are_entered_found_again_and_changed_and_what_the_file_leaves_out_stays(desk):
    known = make.make_customer(name="Ines Calloway", email="ines@example.com", phone="555-0142", note="calls back")
    rows = [["Ines Calloway", "INES@example.com", "555-0143"], ["Omar Whitlock", "omar@example.org", ""]]
    file = csv_file(["Name", "E-mail", "Phone"], *rows)
    assert outcome(brought_in("customers", file, desk)) == (RunState.DONE, 1, 1, 0)
    assert outcome(brought_in("customers", file, desk)) == (RunState.DONE, 0, 0, 2)
    known.refresh_from_db()
    assert (known.phone, known.note, known.version) == ("555-0143", "calls back", 2)
    entry = AuditEntry.objects.filter(kind="customer", key=str(known.pk)).first()
    assert entry.what == "changed (from table.csv, line 2)"
    assert Customer.objects.get(name="Omar Whitlock").reminder_consent == Consent.NOT_ASKED


def test_a_customer_with_a_new_address_is_found_by_name_and_phone(desk):
    known = make.make_customer(name="Ines Calloway", email="old@example.com", phone="555 0142")
    row = ["Ines Calloway", "new@example.com", "555-0142"]
    assert brought_in("customers", csv_file(["Name", "E-mail", "Phone"], row), desk).changed == 1
    known.refresh_from_db()
    assert known.email == "new@example.com"


def test_somebody_elses_address_a_pair_of_twins_and_no_address_at_all_are_told(desk):
    make.make_customer(name="Ines Calloway", email="home@example.com")
    for _ in range(2):
        make.make_customer(name="Omar Whitlock", email="omar@example.org")
    rows = [
        ["Jo Calloway", "home@example.com", ""],
        ["Omar Whitlock", "omar@example.org", "555-0199"],
        ["X", "nobody", ""],
    ]
    run = checked("customers", csv_file(["Name", "E-mail", "Phone"], *rows), desk)
    assert [(line, column) for line, column, _ in told(run)] == [(2, "E-mail"), (3, "Name"), (4, "E-mail")]
    sentences = [sentence for _, _, sentence in told(run)]
    assert sentences[0].startswith("This is the address of Ines Calloway in the book.")
    assert sentences[2] == "“nobody” is no e-mail address. Write it like name@example.com."


def test_two_lines_about_one_new_customer_are_one_when_they_agree_and_told_when_not(desk):
    row = ["Ines Calloway", "ines@example.com", "555-0142"]
    assert outcome(checked("customers", csv_file(["Name", "E-mail", "Phone"], row, row), desk)) == (
        RunState.CHECKED, 1, 0, 1,
    )  # fmt: skip
    other = ["Ines Calloway", "ines@example.com", "555-0199"]
    ((line, _, sentence),) = told(checked("customers", csv_file(["Name", "E-mail", "Phone"], row, other), desk))
    assert line == 3
    assert sentence.startswith("Line 2 is about Ines Calloway too")


def test_an_answer_about_reminders_is_taken_from_a_file_only_while_the_customer_has_given_none(desk):
    asked = make.make_customer(name="Ines Calloway", email="ines@example.com")
    record_consent(customer=asked, wants=False, by=desk, at=NOON, how="on the phone")
    run = checked("customers", csv_file(CUSTOMERS, ["Ines Calloway", "ines@example.com", "", "", "", "yes"]), desk)
    ((line, column, sentence),) = told(run)
    assert (line, column) == (2, "Wants reminders")
    assert "wants none" in sentence
    brought_in("customers", csv_file(CUSTOMERS, ["Omar Whitlock", "omar@example.org", "", "", "", "yes"]), desk)
    omar = Customer.objects.get(name="Omar Whitlock")
    assert omar.reminder_consent == Consent.YES
    said = [entry.what for entry in AuditEntry.objects.filter(kind="customer", key=str(omar.pk))]
    assert "wants reminders (as a file says) (from table.csv, line 2)" in said


# --- vehicles


@pytest.fixture
def ridge(db):
    make.make_customer(name="Ines Calloway", email="ines@example.com")
    return make.make_vehicle_model(maker="Ostrander", name="Ridge 900", year_from=2010, year_to=2020)


def vehicle(**words):
    row = {
        "Customer": "Ines Calloway", "Customer's e-mail": "", "Maker": "Ostrander", "Model": "Ridge 900",
        "Model year": "2015", "VIN or frame number": "OS-142", "Plate": "LG 142", "Note": "",
    }  # fmt: skip
    return list((row | words).values())


def test_vehicles_are_entered_found_again_by_their_vin_and_changed(desk, ridge):
    assert outcome(brought_in("vehicles", csv_file(VEHICLES, vehicle()), desk)) == (RunState.DONE, 1, 0, 0)
    assert outcome(brought_in("vehicles", csv_file(VEHICLES, vehicle()), desk)) == (RunState.DONE, 0, 0, 1)
    changed = vehicle(**{"Plate": "LG 143", "VIN or frame number": "os-142"})
    assert outcome(brought_in("vehicles", csv_file(VEHICLES, changed), desk)) == (RunState.DONE, 0, 1, 0)
    row = Vehicle.objects.get()
    assert (row.vin, row.plate, row.version, str(row.model)) == ("OS-142", "LG 143", 2, "Ostrander Ridge 900")


def test_whom_and_what_a_vehicle_names_has_to_be_known(desk, ridge):
    rows = [
        vehicle(Customer="Jo Calloway", Model="Ridge 90"), vehicle(**{"Model year": "2023"}),
        vehicle(**{"Customer's e-mail": "other@example.com"}),
    ]  # fmt: skip
    run = checked("vehicles", csv_file(VEHICLES, *rows), desk)
    assert [(line, column) for line, column, _ in told(run)] == [
        (2, "Customer"), (2, "Model"), (3, "Model year"), (4, "Customer"),
    ]  # fmt: skip
    assert "Near to it: Ostrander Ridge 900." in run.problems[1]["sentence"]


def test_a_vehicle_of_another_customer_is_not_taken_over(desk, ridge):
    make.make_vehicle(model=ridge, vin="OS-142")
    ((line, column, sentence),) = told(checked("vehicles", csv_file(VEHICLES, vehicle()), desk))
    assert (line, column) == (2, "VIN or frame number")
    assert "belongs to" in sentence


def test_two_new_vehicles_that_nobody_can_tell_apart_are_told(desk, ridge):
    bare = vehicle(**{"VIN or frame number": "", "Plate": ""})
    ((line, _, sentence),) = told(checked("vehicles", csv_file(VEHICLES, bare, bare), desk))
    assert line == 3
    assert sentence.startswith("Line 2 says exactly the same.")


# --- parts lists


def kit_line(**words):
    row = {
        "Damper maker": "Hallinde", "Damper model": "H9", "Part number": "SK-1", "Name": "seal kit",
        "Amount for one damper": "1 pcs", "From model year": "",
    }  # fmt: skip
    return list((row | words).values())


def test_a_parts_list_is_added_with_amounts_in_any_unit_and_again_changes_nothing(manager):
    model = make.make_damper_model(name="H9")
    amounts = {"SK-1": "2 pcs", "OIL": "oil volume of the spec sheet", "GREASE": "0.25 oz", "OIL-2": "1/2 L"}
    file = csv_file(
        KIT_LINES, *(kit_line(**{"Part number": one, "Amount for one damper": amounts[one]}) for one in amounts)
    )
    assert outcome(brought_in("kit-lines", file, manager)) == (RunState.DONE, 4, 0, 0)
    assert outcome(brought_in("kit-lines", file, manager)) == (RunState.DONE, 0, 0, 4)
    assert {line.part_number: (line.measure, line.amount) for line in model.kit_lines.all()} == {
        "SK-1": ("count", 2), "OIL": ("volume", None), "GREASE": ("mass", 7087), "OIL-2": ("volume", 500_000),
    }  # fmt: skip


def test_a_line_that_differs_names_no_amount_or_an_unknown_damper_is_told(manager):
    model = make.make_damper_model(name="H9")
    make.make_kit_line(model, "SK-1", amount=1)
    rows = [
        kit_line(**{"Amount for one damper": "2 pcs"}), kit_line(**{"Amount for one damper": "2"}),
        kit_line(**{"Amount for one damper": "1.5 pcs"}), kit_line(**{"Damper model": "H99"}),
        kit_line(**{"From model year": "2015"}), kit_line(**{"From model year": "15"}),
        kit_line(**{"Amount for one damper": "3 clicks"}),
    ]  # fmt: skip
    run = checked("kit-lines", csv_file(KIT_LINES, *rows), manager)
    assert [(line, column) for line, column, _ in told(run)] == [
        (2, "Amount for one damper"), (3, "Amount for one damper"), (4, "Amount for one damper"), (5, "Damper model"),
        (6, "Part number"), (7, "From model year"), (8, "Amount for one damper"),
    ]  # fmt: skip
    sentences = [sentence for _, _, sentence in told(run)]
    assert "here with “1 pcs”" in sentences[0]
    assert "“2” is no amount with a unit." in sentences[1]
    assert "Near to it: Hallinde H9." in sentences[3]
    assert KitLine.objects.count() == 1


# --- spec sheets

FIGURES = {
    "Shaft nut torque": "22 lbf·ft", "Shaft nut torque, lowest": "20.9 ft-lb",
    "Shaft nut torque, highest": "23.1 lbf·ft",
    "Nitrogen charge": "100 psi", "Nitrogen charge, lowest": "95 psi", "Nitrogen charge, highest": "105 psi",
}  # fmt: skip


def sheets(*changes):
    row = {
        "Sheet code": "H9-A", "Damper maker": "Hallinde", "Damper model": "H9", "Position": "rear",
        "From model year": "2015", "Document": "H9 bench manual", "Revision": "rev B", "Page": "p. 12",
        **FIGURES, "Charge meant at": "", "Figures are sure": "",
    }  # fmt: skip
    rows = [row | change for change in changes]
    return csv_file(list(rows[0]), *(list(one.values()) for one in rows))


def test_a_sheet_comes_in_as_a_draft_with_its_figures_as_printed_and_again_changes_nothing(manager):
    model = make.make_damper_model(name="H9")
    assert outcome(brought_in("sheets", sheets({}), manager)) == (RunState.DONE, 1, 0, 0)
    assert outcome(brought_in("sheets", sheets({}), manager)) == (RunState.DONE, 0, 0, 1)
    sheet = SpecSheet.objects.get()
    assert (sheet.status, sheet.entered_by, sheet.verified_by) == (SheetStatus.DRAFT, manager, None)
    assert (sheet.damper_model, sheet.position, sheet.years()) == (model, "rear", "model years from 2015")
    charge = sheet.values.get(measure="charge")
    assert (charge.figures, charge.unit) == ("100", "psi")
    assert charge.low_si == pytest.approx(95 * PSI, rel=1e-12)


def test_a_file_never_verifies_a_sheet_and_never_writes_over_one(manager):
    model = make.make_damper_model(name="H9")
    make.make_sheet(model, code="H9-A", torque=22, charge=100, depth=None, oil=None, position="rear", year_from=2015)
    make.make_sheet(model, code="H9-D", status=SheetStatus.DRAFT, position="front", year_from=2015)
    run = checked("sheets", sheets({"Nitrogen charge": "101 psi"}, {"Sheet code": "H9-D"}), manager)
    columns = {(line, column) for line, column, _ in told(run)}
    assert {(2, "Nitrogen charge"), (2, "Document"), (3, "Position"), (3, "Oil volume")} <= columns
    by_line = {line: sentence for line, _, sentence in told(run)}
    assert "Enter this as its next version" in by_line[2]
    assert "A draft of this code exists and says something else" in by_line[3]


def test_what_is_wrong_with_a_sheet_is_told_figure_by_figure(manager):
    model = make.make_damper_model(name="H9")
    make.make_sheet(model, code="H9-B", charge=200, year_to=2014)
    changes = [
        {"Nitrogen charge": "100", "Nitrogen charge, lowest": "95 lbf·ft", "Shaft nut torque, lowest": ""},
        {"Damper model": "H8", "Sheet code": "H8-A"},
        {"Sheet code": "H9-C", "Nitrogen charge": "1000 psi", "Nitrogen charge, lowest": "995 psi"},
        {"Sheet code": "H9-E", "Nitrogen charge": "20 psi", "Nitrogen charge, lowest": "15 psi",
         "Nitrogen charge, highest": "25 psi"},
        {"Sheet code": "H9-F", "Shaft nut torque, lowest": ""},
    ]  # fmt: skip
    run = checked("sheets", sheets(*changes), manager)
    assert [(line, column) for line, column, _ in told(run)] == [
        (2, "Nitrogen charge"), (2, "Nitrogen charge, lowest"), (3, "Damper model"), (4, "Nitrogen charge"),
        (5, "Nitrogen charge"), (6, "Shaft nut torque, lowest"),
    ]  # fmt: skip
    sentences = [sentence for _, _, sentence in told(run)]
    assert "a unit with the number" in sentences[0]
    assert "not in the catalogue" in sentences[2]
    assert "Near to it: Hallinde H9." in sentences[2]
    sure = {"Sheet code": "H9-E", "Figures are sure": "yes"} | changes[3]
    assert checked("sheets", sheets(sure), manager).state == RunState.CHECKED
