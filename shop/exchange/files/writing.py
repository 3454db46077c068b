"""A table that goes out, a row at a time: what comes out comes in again, and nothing in it runs in a spreadsheet."""

import csv
import io
import re
from collections.abc import Iterable, Iterator

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from shop.exchange.cells import guard, unguard
from shop.exchange.table import Kind

CSV_TYPE = "text/csv; charset=utf-8"
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
TYPES = {"csv": CSV_TYPE, "xlsx": XLSX_TYPE}
# What XML 1.0 has no way to write.
NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")


def csv_lines(kind: type[Kind], rows: Iterable[dict[str, str]]) -> Iterator[bytes]:
    """UTF-8 with a mark at its beginning, without which spreadsheets take it for something else."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    yield b"\xef\xbb\xbf"
    for row in _with_header(kind, rows):
        writer.writerow([guard(cell) for cell in row])
        yield buffer.getvalue().encode("utf-8", "replace")
        buffer.seek(0)
        buffer.truncate()


def write_xlsx(kind: type[Kind], rows: Iterable[dict[str, str]], file) -> None:
    """One sheet, every cell text and formatted as such, so that no part number turns into a day in May."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet(kind.name.label)
    sheet.freeze_panes = "A2"
    for index, column in enumerate(kind.columns, 1):
        sheet.column_dimensions[get_column_letter(index)].width = max(12, len(column.header) + 2)
    font = Font(bold=True)
    for number, row in enumerate(_with_header(kind, rows)):
        written = [_text_cell(sheet, cell) for cell in row]
        if number == 0:
            for one in written:
                one.font = font
        sheet.append(written)
    book.save(file)


def _text_cell(sheet, text: str) -> WriteOnlyCell:
    text = NO_XML.sub("�", text)
    # A text cell runs nothing; an apostrophe is put only before what would else lose its own on the way back.
    cell = WriteOnlyCell(sheet, guard(text) if unguard(text) != text else text)
    cell.data_type, cell.number_format = "s", "@"
    return cell


def _with_header(kind: type[Kind], rows: Iterable[dict[str, str]]) -> Iterator[list[str]]:
    yield [one.header for one in kind.columns]
    for row in rows:
        yield [row.get(one.name, "").replace("\r\n", "\n") for one in kind.columns]
