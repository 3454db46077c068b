"""What goes out comes in again as it was, other programs read it, and nothing in it runs in a spreadsheet."""

import io
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from shop.customers.models import Consent, Customer
from shop.exchange.cells import guard, unguard
from shop.exchange.files.store import Upload
from shop.exchange.files.writing import csv_lines, write_xlsx
from shop.exchange.kinds import KINDS
from shop.exchange.models import RunState
from shop.specs.models import SheetStatus
from tests import factories as make
from tests.exchange.files import checked, read_csv, read_xlsx, told
from tests.factories import NOON, PSI

pytestmark = pytest.mark.django_db


def as_csv(name):
    return b"".join(csv_lines(KINDS[name], KINDS[name].rows()))


def as_xlsx(name):
    file = io.BytesIO()
    write_xlsx(KINDS[name], KINDS[name].rows(), file)
    return file.getvalue()


WRITERS = pytest.mark.parametrize("write", [as_csv, as_xlsx])


@pytest.fixture
def book(manager):
    """Some of everything, also what is odd."""
    model, vehicle_model = make.make_damper_model(name="H9"), make.make_vehicle_model(name="Ridge 900")
    sheet = make.make_sheet(model, code="H9-A", year_to=2014, note="two\r\nlines")
    make.make_sheet(
        model, code="H9-A", version=2, status=SheetStatus.DRAFT, charge=110, replaces=sheet, year_to=2014,
        reference_k=283.7, reference_altitude_m=-12.3,
    )  # fmt: skip
    make.make_sheet(model, code="H9-B", vehicle_model=vehicle_model, position="rear_left", year_from=2015, depth=None,
                    printed={"charge": {"figures": "100.0", "page": "p. 41", "note": "droop"}})  # fmt: skip
    make.make_kit_line(model, "SK-1", amount=2, year_to=2014)
    make.make_kit_line(model, "OIL", amount=None, measure="volume")
    make.make_kit_line(model, "GREASE", amount=4123, measure="mass", optional=True)
    make.make_alternate(make.make_kit_line(model, "SK-1", year_from=2015), "SK-1B", year_from=2018)
    make.make_part("SK-1", name='seal kit 14 mm, "long"', bin="")
    make.make_part("=1+1", name="+cmd|' /C calc'!A0", bin="@B")
    for name in ("Ines Calloway", "-Omar; Whitlock", "'=quoted", "Ines Calloway"):
        make.make_customer(name=name, phone="+1 555-0142", address="4 Mill Lane\r\nLarkspur Gulch")
    silent = make.make_customer(name="Jo Silent", email="", reminder_consent=Consent.NO, reminder_consent_at=NOON)
    make.make_vehicle(customer=silent, model=vehicle_model, vin="OS-1", sold_on=NOON.date(), severe_use=True)
    for _ in range(2):
        make.make_vehicle(customer=silent, model=vehicle_model, note="two of a kind")


@WRITERS
@pytest.mark.parametrize("name", list(KINDS))
def test_what_goes_out_comes_in_again_unchanged(manager, book, name, write):
    run = checked(name, Upload(f"{name}.out", write(name)), manager)
    assert (run.state, told(run)) == (RunState.CHECKED, [])
    assert (run.new, run.changed, run.unchanged) == (0, 0, len(list(KINDS[name].rows())))
    assert run.unchanged > 0


@pytest.mark.parametrize("name", list(KINDS))
def test_the_example_line_of_the_empty_table_is_not_taken(manager, name):
    kind = KINDS[name]
    example = {column.name: column.example for column in kind.columns}
    file = io.BytesIO()
    write_xlsx(kind, [example], file)
    run = checked(name, Upload("empty.xlsx", file.getvalue()), manager)
    ((line, column, sentence),) = told(run)
    assert (line, column) == (2, "")
    assert "example line" in sentence


def test_other_programs_read_what_goes_out(book):
    rows = read_csv(as_csv("parts"))
    assert rows[-1] == {
        "Part number": "SK-1", "Name": 'seal kit 14 mm, "long"', "Measured in": "pieces", "Bin": "",
    }  # fmt: skip
    header, *cells = read_xlsx(as_xlsx("sheets"))
    found = [dict(zip(header, row, strict=True)) for row in cells]
    assert [(one["Sheet code"], one["Version"], one["Status"]) for one in found] == [
        ("H9-A", "1", "verified"), ("H9-A", "2", "DRAFT"), ("H9-B", "1", "verified"),
    ]  # fmt: skip
    assert found[1]["Nitrogen charge"] == "110 psi"
    assert found[1]["Nitrogen charge, lowest"] == "105 psi"
    assert as_csv("parts").startswith(b"\xef\xbb\xbf")


# What spreadsheets take for the beginning of a formula: OWASP, "CSV Injection".
DANGEROUS = ["=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C calc'!A0", " =1", "＝1+1", "'=1", "''+1"]


@pytest.mark.parametrize("text", DANGEROUS)
def test_nothing_that_goes_out_begins_like_a_formula(text):
    make.make_customer(name=text.strip() or "x", note=text)
    for row in read_csv(as_csv("customers")):
        assert all(cell.lstrip("\n ")[:1] not in list("=+-@\t\r＝＋－＠") or not cell for cell in row.values()), row
    for name in ("customers", "parts"):
        for row in read_xlsx(as_xlsx(name)):
            assert all(value is None or isinstance(value, str) for value in row)


@pytest.mark.parametrize("text", ["x;=1+1", "x; =1+1", "x;'=1", "x;;@SUM(A1)", "x\t-1", "x;＝1"])
def test_a_spreadsheet_that_parts_the_line_at_semicolons_or_tabs_finds_no_formula_either(text):
    make.make_customer(note=text)
    for line in as_csv("customers").decode("utf-8-sig").splitlines():
        for cell in re.split("[;\t]", line):
            assert cell.strip()[:1] not in list("=+-@＝＋－＠") or not cell.strip(), line


def test_a_formula_in_a_spreadsheet_that_goes_out_is_text():
    make.make_part("=1+1", name="=HYPERLINK(1)")
    sheet = make_sheet_of(as_xlsx("parts"))
    assert [cell.data_type for cell in sheet[2]] == ["s", "s", "s", "s"]
    assert sheet["A2"].value == "=1+1"


def make_sheet_of(content):
    return load_workbook(io.BytesIO(content)).worksheets[0]


@given(st.text() | st.text("x'=+-@;\t \n"))
def test_the_guard_comes_off_again_and_takes_nothing_with_it(text):
    assert unguard(guard(text)) == text


@given(st.text().filter(lambda text: guard(text) == text))
def test_what_needs_no_guard_loses_nothing(text):
    assert unguard(text) == text


# What a form lets through: no NUL. Nothing that XML cannot write, for the half of the files that are XLSX.
TEXT = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], include_characters="\n\t", exclude_characters="\ufffe\uffff")
)


@WRITERS
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.tuples(TEXT, TEXT, TEXT), min_size=1, max_size=5))
def test_customers_with_whatever_text_come_back_unchanged(manager, write, rows):
    Customer.objects.all().delete()
    for name, phone, note in rows:
        make.make_customer(name=name.strip()[:120] or "x", email="", phone=phone[:40], note=note[:1000])
    run = checked("customers", Upload("customers", write("customers")), manager)
    assert (run.state, told(run), run.unchanged) == (RunState.CHECKED, [], len(rows))


def test_digits_of_a_limit_survive_the_way_through_text(manager):
    """Limits are kept in SI alone; in the unit of the sheet they are no round numbers."""
    model = make.make_damper_model()
    for n in range(30):
        limits = {"low_si": (90 - n / 7) * PSI, "high_si": (110 + n / 3) * PSI}
        make.make_sheet(model, code=f"S-{n}", status=SheetStatus.DRAFT, printed={"charge": limits})
    run = checked("sheets", Upload("sheets.csv", as_csv("sheets")), manager)
    assert (run.state, run.unchanged) == (RunState.CHECKED, 30)
