"""Whatever somebody sends, the answer is a sentence that says where and what to do; never an error of ours."""

import io
import zipfile
from datetime import date, datetime

import pytest
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from shop.exchange.files import reading
from shop.exchange.files.store import Upload
from shop.exchange.models import RunState
from tests import factories as make
from tests.exchange.files import brought_in, checked, csv_file, told, xlsx_file

pytestmark = pytest.mark.django_db
HEADER = ["Part number", "Name", "Measured in", "Bin"]
ROW = ["SK-1", "seal kit", "pieces", "B-07"]


def parts(*rows, header=HEADER, **given):
    return csv_file(header, *rows, **given)


def raw(content: bytes, name="parts.csv"):
    return Upload(name, content)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_every_usual_way_to_save_a_csv_file_is_read(manager, delimiter, encoding):
    file = parts(["SK-1", "Dichtsatz Größe 14, „kurz“", "pieces", "B;07"], delimiter=delimiter, encoding=encoding)
    run = brought_in("parts", file, manager)
    assert (run.state, run.new) == (RunState.DONE, 1)
    part = make.Part.objects.get()
    assert (part.name, part.bin) == ("Dichtsatz Größe 14, „kurz“", "B;07")


def test_columns_come_in_any_order_whatever_their_capitals_and_one_that_is_not_needed_may_lack(manager):
    file = parts(["pieces", "seal kit", "SK-1"], header=["measured IN", " Name ", "PART  NUMBER"])
    run = brought_in("parts", file, manager)
    assert run.state == RunState.DONE
    assert make.Part.objects.get().bin == ""


def test_letters_in_another_encoding_are_not_guessed(manager):
    run = checked("parts", parts(["SK-1", "Größe", "pieces", ""], encoding="latin-1"), manager)
    ((line, column, sentence),) = told(run)
    assert (line, column) == (0, "")
    assert "not in UTF-8" in sentence
    assert "CSV UTF-8" in sentence


def test_every_column_that_is_unknown_missing_or_twice_is_named_and_near_words_are_offered(manager):
    run = checked("parts", parts(["1", "2", "3", "4"], header=["Part numbr", "Name", "name", ""]), manager)
    sentences = [sentence for _, _, sentence in told(run)]
    assert "There is no column “Part numbr” in this table. Near to it: Part number." in sentences
    assert "The column “Name” is there twice. Take one out." in sentences
    assert "The column “Part number” is missing: every stock item needs it." in sentences
    assert "The column “Measured in” is missing: every stock item needs it." in sentences


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xef\xbb\xbf", "is empty"),
        (b"\n\n\n", "is empty"),
        (b"\x00\x01\x02\x03\xff" * 50, "UTF-8"),
        (b"Part number\x00,Name", "neither a CSV nor an XLSX"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b'Part number,Name,Measured in\n"SK-1,seal kit,pieces\n' + b"x\n" * 9, "never closed"),
        (b'Part number,Name,Measured in\nSK-1,"' + b"x" * 200_000 + b'",pieces\n', "field larger"),
        (b",".join(b"%d" % n for n in range(1_000_000)), "more than 100 columns"),
        (b"PK\x03\x04 and then nothing of the kind", "not whole"),
    ],
    ids=["mark", "blank lines", "bytes", "nul", "half utf-16", "open quote", "huge cell", "million columns", "no zip"],
)
def test_a_file_that_is_no_table_is_refused_with_a_sentence(manager, content, words):
    run = checked("parts", raw(content), manager)
    assert run.state == RunState.REFUSED
    assert any(words in sentence for _, _, sentence in told(run)), told(run)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\xd0\xcf\x11\xe0 old", "old format"),
        (b"%PDF-1.7", "not a print"),
        (b"x" * 10_000_001, "10 MB"),
    ],
    ids=["empty", "old", "print", "too long"],
)
def test_what_can_be_told_at_once_is_refused_before_it_is_kept(manager, content, words):
    with pytest.raises(reading.ValidationError, match=words):
        checked("parts", raw(content), manager)


def test_a_table_without_a_row_is_told(manager):
    for file in (parts(), parts([" ", "", "", ""]), xlsx_file(HEADER)):
        ((line, _, sentence),) = told(checked("parts", file, manager))
        assert (line, sentence) == (0, "This file has its first line and no other: there is no row to bring in.")


def test_a_line_with_too_many_or_too_few_cells_is_told_and_an_empty_one_is_left_out(manager):
    run = checked("parts", parts(ROW, [], ["", " ", "", ""], [*ROW, "one more"], ["SK-2", "oil"]), manager)
    assert [(line, sentence.partition(".")[0]) for line, _, sentence in told(run)] == [
        (5, "This line has 5 cells, the first line 4"),
        (6, "This line has 2 cells, the first line 4"),
    ]
    assert run.rows == 3


def test_lines_are_counted_as_a_spreadsheet_does_also_behind_a_cell_of_several_lines(manager):
    rows = [["SK-1", "seal kit", "pieces", ""], ["SK-2", "a\nb", "pieces", ""], ["", "", "", "C"]]
    run = checked("parts", parts(*rows), manager)
    assert {line for line, _, _ in told(run)} == {5}


def test_a_hidden_character_in_a_cell_is_told(manager):
    run = checked("parts", raw(b"Part number,Name,Measured in\nSK-1,seal\x00kit,pieces\n"), manager)
    ((line, column, sentence),) = told(run)
    assert (line, column) == (2, "Name")
    assert "hidden character" in sentence


def test_the_example_line_is_not_taken_for_a_part(manager):
    run = checked("parts", parts(["SK-EXAMPLE", "seal kit 14 mm", "pieces", "B-07"]), manager)
    ((line, _, sentence),) = told(run)
    assert line == 2
    assert "example line" in sentence


def test_more_rows_than_a_worker_can_do_are_refused(manager, monkeypatch):
    monkeypatch.setattr(reading, "MOST_ROWS", 3)
    rows = [[f"SK-{n}", "seal kit", "pieces", ""] for n in range(4)]
    assert checked("parts", parts(*rows[:3]), manager).state == RunState.CHECKED
    ((_, _, sentence),) = told(checked("parts", parts(*rows), manager))
    assert sentence == "This file has more than 3 rows. Divide it into several."


# --- XLSX -------------------------------------------------------------------------------------------------------------


def test_a_spreadsheet_is_read_with_numbers_as_they_look(manager):
    rows = [[1001, "seal kit", "pieces", None], [2.5, "ring", "pieces", True]]
    run = brought_in("parts", xlsx_file(HEADER, *rows), manager)
    assert (run.state, run.problems) == (RunState.DONE, [])
    assert set(make.Part.objects.values_list("number", "bin")) == {("1001", ""), ("2.5", "yes")}


def test_what_the_spreadsheet_has_made_a_day_or_an_error_is_told_and_not_guessed(manager):
    rows = [[date(2026, 3, 4), "x", "pieces", ""], ["SK-2", datetime(2026, 3, 4, 9, 30), "pieces", ""]]
    run = checked("parts", xlsx_file(HEADER, *rows, ["SK-3", "#REF!", "pieces", ""]), manager)
    assert [(line, column) for line, column, _ in told(run)] == [(2, "Part number"), (3, "Name"), (4, "Name")]
    assert all("spreadsheet" in sentence for _, _, sentence in told(run))


def test_a_day_is_a_day_in_a_column_of_days(desk):
    vehicle = make.make_vehicle(vin="OS-1")
    header = ["Customer", "Maker", "Model", "Model year", "VIN or frame number", "Sold on"]
    row = [vehicle.customer.name, vehicle.model.maker, vehicle.model.name, 2015, "OS-1", date(2026, 3, 4)]
    assert brought_in("vehicles", xlsx_file(header, row), desk).changed == 1
    vehicle.refresh_from_db()
    assert vehicle.sold_on == date(2026, 3, 4)


def test_an_archive_that_unpacks_to_more_than_it_may_is_refused_before_it_is_unpacked(manager):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        archive.writestr("xl/worksheets/sheet1.xml", b"\x00" * (reading.MOST_UNPACKED + 1))
    assert len(content.getvalue()) < 1_000_000
    ((_, _, sentence),) = told(checked("parts", raw(content.getvalue()), manager))
    assert "more than 200 MB" in sentence


def test_an_archive_without_a_workbook_and_one_with_a_broken_one_are_refused(manager):
    for members, words in (({"mimetype": "ods"}, "neither a CSV nor"), ({"xl/workbook.xml": "<a"}, "cannot be read")):
        content = io.BytesIO()
        with zipfile.ZipFile(content, "w") as archive:
            for name, text in members.items():
                archive.writestr(name, text)
        ((_, _, sentence),) = told(checked("parts", raw(content.getvalue()), manager))
        assert words in sentence


def test_entities_of_a_document_type_are_not_unfolded(manager):
    """The old bomb of XML: ten names, each ten of the one before."""
    names = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    bomb = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a0 "ha">{names}]><worksheet>&a9;</worksheet>'
    content = io.BytesIO()
    good = zipfile.ZipFile(io.BytesIO(xlsx_file(HEADER, ROW).content))
    with zipfile.ZipFile(content, "w") as archive:
        for member in good.infolist():
            archive.writestr(member.filename, bomb if "sheet1.xml" in member.filename else good.read(member))
    ((_, _, sentence),) = told(checked("parts", raw(content.getvalue()), manager))
    assert "cannot be read" in sentence


def test_a_cell_at_the_far_end_of_the_sheet_costs_no_million_rows(manager):
    book, content = Workbook(), io.BytesIO()
    book.active.append(HEADER)
    book.active["A1048576"] = "SK-1"
    book.save(content)
    ((_, _, sentence),) = told(checked("parts", raw(content.getvalue()), manager))
    assert "more than 100000 lines" in sentence


def test_a_formula_comes_in_as_what_it_showed(manager):
    book, content = Workbook(write_only=True), io.BytesIO()
    sheet = book.create_sheet()
    sheet.append(HEADER)
    sheet.append(["SK-1", WriteOnlyCell(sheet, "=1+1"), "pieces", ""])
    book.save(content)  # never opened in a spreadsheet, so it has shown nothing yet
    ((line, column, sentence),) = told(checked("parts", raw(content.getvalue()), manager))
    assert (line, column) == (2, "Name")
    assert sentence == "Nothing stands here, and every stock item needs it."
