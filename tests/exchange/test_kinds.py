"""What each table does with its rows: entered, changed, left alone, or told what speaks against it."""

import pytest

from shop.customers.models import Consent, Customer, Vehicle
from shop.customers.services import record_consent
from shop.exchange.files.store import Upload
from shop.exchange.files.writing import csv_lines
from shop.exchange.kinds import KINDS
from shop.exchange.models import RunState
from shop.parts.models import Part
from shop.specs.models import KitLine, SheetStatus, SpecSheet
from shop.specs.parts_lists import in_order
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.exchange.files import brought_in, checked, csv_file, told
from tests.factories import LBF_FT, NOON, PSI

pytestmark = pytest.mark.django_db
PARTS = ["Part number", "Name", "Measured in", "Bin"]
CUSTOMERS = ["Name", "E-mail", "Phone", "Address", "Note", "Wants reminders"]
VEHICLES = ["Customer", "Customer's e-mail", "Maker", "Model", "Model year", "VIN or frame number", "Plate", "Note"]
MORE = ["Only if needed", "Stands in for"]
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


def test_severe_use_is_taken_from_a_file_and_stays_where_the_file_says_nothing(desk, ridge):
    def bring(word):
        return outcome(brought_in("vehicles", csv_file([*VEHICLES, "Severe use"], [*vehicle(), word]), desk))

    assert bring("") == (RunState.DONE, 1, 0, 0)
    assert Vehicle.objects.get().severe_use is False
    assert bring("yes") == (RunState.DONE, 0, 1, 0)
    assert bring("") == (RunState.DONE, 0, 0, 1)
    plate = vehicle(Plate="LG 143")
    assert outcome(brought_in("vehicles", csv_file(VEHICLES, plate), desk)) == (RunState.DONE, 0, 1, 0)
    assert (Vehicle.objects.get().severe_use, Vehicle.objects.get().plate) == (True, "LG 143")
    assert bring("No")[:3] == (RunState.DONE, 0, 1)
    assert Vehicle.objects.get().severe_use is False
    ((_, column, sentence),) = told(
        checked("vehicles", csv_file([*VEHICLES, "Severe use"], [*vehicle(), "often"]), desk)
    )
    assert (column, sentence) == ("Severe use", "“often” is none of: yes, no.")


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


def test_a_line_that_names_no_amount_or_an_unknown_damper_is_told(manager):
    model = make.make_damper_model(name="H9")
    make.make_kit_line(model, "SK-1", amount=1)
    rows = [
        kit_line(), kit_line(**{"Amount for one damper": "2"}),
        kit_line(**{"Amount for one damper": "1.5 pcs"}), kit_line(**{"Damper model": "H99"}),
        kit_line(**{"From model year": "2015"}), kit_line(**{"From model year": "15"}),
        kit_line(**{"Amount for one damper": "3 clicks"}),
    ]  # fmt: skip
    run = checked("kit-lines", csv_file(KIT_LINES, *rows), manager)
    assert [(line, column) for line, column, _ in told(run)] == [
        (3, "Amount for one damper"), (4, "Amount for one damper"), (5, "Damper model"),
        (6, "Part number"), (7, "From model year"), (8, "Amount for one damper"),
    ]  # fmt: skip
    sentences = [sentence for _, _, sentence in told(run)]
    assert "“2” is no amount with a unit." in sentences[0]
    assert "Near to it: Hallinde H9." in sentences[2]
    assert KitLine.objects.count() == 1


def parts_list(*changes):
    rows = [
        [*kit_line(**{name: text for name, text in one.items() if name not in MORE}), *(one.get(n, "") for n in MORE)]
        for one in changes
    ]
    return csv_file([*KIT_LINES, *MORE], *rows)


def says(model):
    """What a parts list says, in its order, a line's alternates by rank behind it."""
    return [
        (one.part_number, one.name, one.amount, one.optional, str(one.stands_in_for or ""), one.year_from, one.year_to)
        for one in in_order(model.kit_lines.select_related("stands_in_for"))
    ]


def test_optional_parts_and_alternates_come_in_as_such_and_again_change_nothing(manager):
    model = make.make_damper_model(name="H9")
    make.make_alternate(make.make_kit_line(model, "SK-1"), "SK-1B")
    file = parts_list(
        {"Part number": "SK-1"},
        {"Part number": "SK-1C", "Stands in for": "SK-1"},
        {"Part number": "SHIM", "Only if needed": "yes"},
        {"Part number": "SK-1D", "Stands in for": "SK-1", "Only if needed": "no"},
    )
    assert outcome(brought_in("kit-lines", file, manager)) == (RunState.DONE, 3, 0, 1)
    assert outcome(brought_in("kit-lines", file, manager)) == (RunState.DONE, 0, 0, 4)
    assert [(one[0], one[3], one[4]) for one in says(model)] == [
        ("SK-1", False, ""), ("SK-1B", False, "SK-1 seal kit"), ("SK-1C", False, "SK-1 seal kit"),
        ("SK-1D", False, "SK-1 seal kit"), ("SHIM", True, ""),
    ]  # fmt: skip
    assert [one.rank for one in in_order(model.kit_lines.all())] == [0, 1, 2, 3, 0]


def test_a_line_that_is_there_is_changed_and_keeps_what_the_file_does_not_say(manager):
    model = make.make_damper_model(name="H9")
    head = make.make_kit_line(model, "SK-1", amount=1)
    for number in ("SK-1B", "SK-1C"):
        make.make_alternate(head, number)
    make.make_kit_line(model, "SHIM", optional=True)
    rows = [
        kit_line(**{"Amount for one damper": "2 pcs"}), kit_line(**{"Part number": "SK-1B", "Name": "ring"}),
        kit_line(**{"Part number": "SHIM", "Name": "shim"}),
    ]  # fmt: skip
    assert outcome(brought_in("kit-lines", csv_file(KIT_LINES, *rows), manager)) == (RunState.DONE, 0, 3, 0)
    assert [one[:5] for one in says(model)] == [
        ("SK-1", "seal kit", 2, False, ""), ("SK-1B", "ring", 1, False, "SK-1 seal kit"),
        ("SK-1C", "seal kit", 1, False, "SK-1 seal kit"), ("SHIM", "shim", 1, True, ""),
    ]  # fmt: skip
    entry = AuditEntry.objects.filter(kind="dampermodel", key=str(model.pk)).order_by("pk").first()
    assert entry.what.startswith("parts list changed: SK-1 seal kit, 1, all model years; now SK-1 seal kit, 2,")
    assert entry.what.endswith("(from table.csv, line 2)")
    file = parts_list({"Part number": "SHIM", "Name": "shim", "Only if needed": "no"}, {"Part number": "SK-1C"})
    assert outcome(brought_in("kit-lines", file, manager)) == (RunState.DONE, 0, 2, 0)
    assert [one[0] for one in says(model)] == ["SK-1", "SK-1B", "SK-1C", "SHIM"]
    assert not KitLine.objects.filter(optional=True).exists()
    assert KitLine.objects.get(part_number="SK-1C").stands_in_for is None


def test_what_cannot_stand_in_and_a_line_named_twice_are_told(manager):
    model = make.make_damper_model(name="H9")
    make.make_alternate(make.make_kit_line(model, "SK-1", year_to=2014), "SK-1B", year_to=2014)
    make.make_kit_line(model, "SK-2")
    run = checked(
        "kit-lines",
        parts_list(
            {"Part number": "A", "Stands in for": "sk-2"},
            {"Part number": "B", "Stands in for": "SK-2", "Only if needed": "yes"},
            {"Part number": "C", "Stands in for": "SK-2", "Amount for one damper": "4 g"},
            {"Part number": "D", "Stands in for": "SK-1", "From model year": "2015"},
            {"Part number": "E", "Stands in for": "SK-1B"},
            {"Part number": "SK-2"},
            {"Part number": "SK-2", "Amount for one damper": "2 pcs"},
        ),
        manager,
    )
    assert [(line, column) for line, column, _ in told(run)] == [
        (2, "Stands in for"), (3, "Only if needed"), (4, "Stands in for"), (5, "Stands in for"), (6, "Stands in for"),
        (8, ""),
    ]  # fmt: skip
    sentences = [sentence for _, _, sentence in told(run)]
    assert sentences[0] == (
        "sk-2 is not in the parts list of Hallinde H9 for all model years. Bring that line in first, or put it above "
        "this one. Near to it: SK-2, SK-1."
    )
    assert sentences[3].startswith("SK-1 is not in the parts list of Hallinde H9 for model years from 2015.")
    assert "is itself an alternate" in sentences[4]
    assert sentences[5].startswith("Line 7 is about SK-2 seal kit too and says something else.")


def test_parts_lists_come_back_from_a_file_as_they_were(manager):
    """Also with one number for two ranges of years, alternates of some of them, and gaps between ranks."""
    models = [make.make_damper_model(name=name) for name in ("H9", "H8")]
    for model in models:
        late = make.make_kit_line(model, "SK-1", year_from=2015, amount=2)
        early = make.make_kit_line(model, "SK-1", year_to=2014)
        make.make_kit_line(model, "SHIM", optional=True)
        make.make_alternate(early, "ANY", rank=7)
        make.make_alternate(late, "NEW", rank=4)
        make.make_alternate(late, "NEWER", year_from=2018, rank=2)
        make.make_alternate(make.make_kit_line(model, "OIL", amount=None, measure="volume"), "OIL-2", amount=340_000)
    file = Upload("lists.csv", b"".join(csv_lines(KINDS["kit-lines"], KINDS["kit-lines"].rows())))
    before = [says(model) for model in models]
    assert outcome(brought_in("kit-lines", file, manager)) == (RunState.DONE, 0, 0, 16)
    KitLine.objects.all().delete()
    assert outcome(brought_in("kit-lines", file, manager)) == (RunState.DONE, 16, 0, 0)
    assert [says(model) for model in models] == before
    alternate = KitLine.objects.get(damper_model=models[0], part_number="ANY")
    assert alternate.stands_in_for.year_to == 2014


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
    run = checked("sheets", sheets({"Nitrogen charge": "101 psi"}), manager)
    assert {(2, "Nitrogen charge"), (2, "Document")} <= {(line, column) for line, column, _ in told(run)}
    assert all("Enter this as its next version" in sentence for _, _, sentence in told(run))


def test_a_draft_is_changed_to_what_the_file_says_and_keeps_what_it_does_not_say(manager):
    model = make.make_damper_model(name="H9")
    make.make_sheet(
        model, code="H9-A", status=SheetStatus.DRAFT, torque=22, charge=110, position="front", year_from=2015,
        year_to=2018, note="of the first batch", reference_k=283.7,
        printed={"charge": {"note": "at full droop", "page": "p. 41"}},
    )  # fmt: skip
    file = sheets({"Charge meant at": "68 °F"})
    assert outcome(brought_in("sheets", file, manager)) == (RunState.DONE, 0, 1, 0)
    sheet = SpecSheet.objects.get()
    assert (sheet.status, sheet.edition, sheet.position, sheet.year_to) == (SheetStatus.DRAFT, 2, "rear", 2018)
    assert (sheet.note, sheet.source_page) == ("of the first batch", "p. 12")
    assert sheet.reference_k == pytest.approx(293.15)
    charge = sheet.values.get(measure="charge")
    assert (charge.figures, charge.tolerance, charge.page, charge.note) == ("100", "± 5", "p. 41", "at full droop")
    assert {one.measure for one in sheet.values.all()} == {"shaft_nut_torque", "charge", "ifp_depth", "oil_volume"}
    edition = sheet.editions.last()
    assert (edition.number, edition.by, edition.why) == (2, manager, "from table.csv, line 2")
    assert outcome(brought_in("sheets", file, manager)) == (RunState.DONE, 0, 0, 1)
    emptied = dict.fromkeys(FIGURES, "") | {name: text for name, text in FIGURES.items() if "charge" in name}
    assert outcome(brought_in("sheets", sheets(emptied), manager)) == (RunState.DONE, 0, 1, 0)
    assert not SpecSheet.objects.get().values.filter(measure="shaft_nut_torque").exists()


def test_the_draft_of_a_next_version_is_changed_and_the_verified_one_stays(manager):
    model = make.make_damper_model(name="H9")
    first = make.make_sheet(model, code="H9-A", position="rear", year_from=2015)
    make.make_sheet(
        model, code="H9-A", version=2, status=SheetStatus.DRAFT, replaces=first, charge=110, position="rear",
        year_from=2015,
    )  # fmt: skip
    assert outcome(brought_in("sheets", sheets({}), manager)) == (RunState.DONE, 0, 1, 0)
    assert [(one.version, one.edition) for one in SpecSheet.objects.order_by("version")] == [(1, 1), (2, 2)]
    ((_, _, sentence),) = told(checked("sheets", sheets({"Position": "front"}), manager))
    assert "A next version of H9-A version 1 holds for the same place" in sentence


@pytest.mark.parametrize("changes", [({}, {"Page": "p. 13"}), ({"Page": "p. 13"}, {})])
def test_a_draft_that_the_file_names_twice_in_two_ways_is_told(manager, changes):
    make.make_damper_model(name="H9")
    brought_in("sheets", sheets({}), manager)
    ((line, _, sentence),) = told(checked("sheets", sheets(*changes), manager))
    assert line == 3
    assert sentence.startswith("Line 2 is about H9-A version 1 too and says something else.")


def test_a_draft_of_another_damper_model_is_not_taken_over(manager):
    make.make_sheet(make.make_damper_model(name="H8"), code="H9-A", status=SheetStatus.DRAFT)
    make.make_damper_model(name="H9")
    ((_, column, sentence),) = told(checked("sheets", sheets({}), manager))
    assert column == "Damper model"
    assert "here with “H8”. A draft keeps its damper model" in sentence


BARE = {
    "Shaft nut torque, lowest": "", "Shaft nut torque, highest": "", "Shaft nut torque, tolerance": "± 5 %",
    "Nitrogen charge, lowest": "", "Nitrogen charge, highest": "", "Nitrogen charge, tolerance": "95 to 105",
    "Nitrogen charge, note": "at full droop",
}  # fmt: skip


def test_limits_that_are_left_out_are_what_the_tolerance_prints(manager):
    model = make.make_damper_model(name="H9")
    assert outcome(brought_in("sheets", sheets(BARE), manager)) == (RunState.DONE, 1, 0, 0)
    assert outcome(brought_in("sheets", sheets(BARE), manager)) == (RunState.DONE, 0, 0, 1)
    limits = {"Nitrogen charge, lowest": "95 psi", "Shaft nut torque, highest": "23.1 lbf·ft"}
    assert outcome(brought_in("sheets", sheets(BARE | limits), manager)) == (RunState.DONE, 0, 0, 1)
    torque, charge = SpecSheet.objects.get(damper_model=model).values.order_by("pk")
    assert (torque.low_si / LBF_FT, torque.high_si / LBF_FT) == pytest.approx((20.9, 23.1))
    assert (charge.low_si / PSI, charge.high_si / PSI) == pytest.approx((95, 105))
    assert (torque.tolerance, charge.tolerance, charge.note) == ("± 5 %", "95 to 105", "at full droop")


@pytest.mark.parametrize(
    ("change", "column", "words"),
    [
        ({"Nitrogen charge, tolerance": "see table 4"}, "Nitrogen charge, tolerance", "cannot be read"),
        ({"Nitrogen charge, tolerance": "± 200 %"}, "Nitrogen charge, tolerance", "begins above zero"),
        ({"Nitrogen charge, tolerance": ""}, "Nitrogen charge, tolerance", "give the tolerance as printed"),
        (
            {"Nitrogen charge, tolerance": "", "Nitrogen charge, lowest": "95 psi"},
            "Nitrogen charge, highest", "give the highest value that is still in tolerance",
        ),
        ({"Nitrogen charge": ""}, "Nitrogen charge", "give the value itself"),
    ],
)  # fmt: skip
def test_a_figure_without_limits_and_without_a_clear_tolerance_is_told(manager, change, column, words):
    make.make_damper_model(name="H9")
    ((line, found, sentence),) = told(checked("sheets", sheets(BARE | change), manager))
    assert (line, found) == (2, column)
    assert words in sentence


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
