"""A file that somebody brings, line by line, in the memory of one line. Whatever it is, the answer is a sentence."""

import codecs
import csv
import io
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path

from django.core.exceptions import ValidationError
from openpyxl import load_workbook

from shop.core.rows import one_line
from shop.exchange import cells
from shop.exchange.table import Column, Kind, Problem, near

MOST_ROWS = 20_000
MOST_LINES = 100_000  # empty ones between the rows included
MOST_COLUMNS = 100
MOST_CELL = 5_000  # characters; the longest text of the book has 1000
MOST_UNPACKED = 200_000_000  # bytes: an XLSX file is an archive that can hold a thousand times its size
MOST_MEMBERS = 1_000
DELIMITERS = ",;\t"

AS_UTF8 = "Save it from the spreadsheet as “CSV UTF-8”, or as XLSX, and send that."
NO_TABLE = "This is neither a CSV nor an XLSX file."


class BadFile(ValidationError):
    """The file cannot be gone through at all."""


@dataclass(frozen=True)
class Broken:
    """A cell that holds no text: what is wrong with it."""

    sentence: str


def kind_of_file(start: bytes) -> str:
    """csv or xlsx, by the first bytes of the file and never by its name."""
    if start.startswith(b"PK\x03\x04"):
        return "xlsx"
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        raise BadFile("This is a spreadsheet in an old format. Save it as XLSX or as “CSV UTF-8”, and send that.")
    if start.startswith(b"%PDF"):
        raise BadFile(f"{NO_TABLE} Send the table itself, not a print of it.")
    return "csv"


@dataclass(frozen=True)
class Line:
    """A line of the file by name of the column, and what is wrong with it before anybody asks what it means."""

    number: int
    row: dict[str, str]
    problems: list[Problem]


@contextmanager
def opened(path: Path, kind: type[Kind]):
    """Yield the lines of a file under this kind's columns, empty lines left out.

    BadFile (whole sentences) for what is no such table: when it is opened, or when the lines come to that place.
    """
    try:
        with path.open("rb") as file:
            if kind_of_file(file.read(8)) == "xlsx":
                with _workbook(file) as rows:
                    yield _lines(rows, kind)
            else:
                file.seek(0)
                yield _lines(_csv_rows(file, kind), kind)
    except UnicodeError:
        raise BadFile(f"This file is not in UTF-8: its letters cannot be told for certain. {AS_UTF8}") from None
    except csv.Error as error:
        raise BadFile(f"This file is no whole CSV: {error}. Look for a quotation mark that is never closed.") from None


def _lines(rows: Iterator[tuple[int, list]], kind: type[Kind]) -> Iterator[Line]:
    """Rows as (number, cells); the first is the header. A cell is text or Broken."""
    header = next(rows, None)
    if header is None:
        raise BadFile("This file is empty. The first line names the columns; the empty table shows them.")
    columns = _columns([one if isinstance(one, str) else "" for one in header[1]], kind)
    for count, (number, found) in enumerate(rows, 1):
        if count > MOST_ROWS:
            raise BadFile(f"This file has more than {MOST_ROWS} rows. Divide it into several.")
        yield _line(number, found, columns)


def _line(number: int, found: list, columns: list[Column]) -> Line:
    problems, row = [], {}
    beyond = [one for one in found[len(columns) :] if one]
    if beyond or (len(found) < len(columns)):
        counted = max(index for index, one in enumerate(found) if one) + 1 if beyond else len(found)
        words = (
            f"This line has {counted} cells, the first line {len(columns)}. Look for a separator too many or too few, "
            "or for a text with a comma in it that lacks its quotation marks."
        )
        return Line(number, {}, [Problem(number, "", "", words)])
    for column, cell in zip(columns, found, strict=False):
        if isinstance(cell, Broken):
            problems.append(Problem(number, column.header, "", cell.sentence))
        elif isinstance(cell, Day) and column.read is not cells.day:
            words = "The spreadsheet has made a day of this. Format the cell as text and type it again."
            problems.append(Problem(number, column.header, cell, words))
        elif len(cell) > MOST_CELL:
            words = f"This has {len(cell)} characters; the book takes at most {MOST_CELL} in a cell. Shorten it."
            problems.append(Problem(number, column.header, cells.shortened(cell), words))
        else:
            row[column.name] = cells.unguard(cell).replace("\r\n", "\n").replace("\r", "\n").strip()
    return Line(number, row, problems)


def _columns(header: list[str], kind: type[Kind]) -> list[Column]:
    """The columns in the file's order. BadFile names every one that is unknown, missing or there twice."""
    while header and not header[-1].strip():
        header.pop()
    if len(header) > MOST_COLUMNS:
        raise BadFile(f"This file has more than {MOST_COLUMNS} columns. Take the empty table and fill that in.")
    by_word = {_key(one.header): one for one in kind.columns}
    found, wrong = [], []
    for word in map(one_line, header):
        column = by_word.get(_key(cells.unguard(word)))
        if column is None and not word:
            wrong.append("A column has no word above it. Name it, or take it out.")
        elif column is None:
            shown = cells.shortened(word.replace("\x00", "�"))
            hint = near(word[:60], [one.header for one in kind.columns])
            wrong.append(f"There is no column “{shown}” in this table.{hint}")
        elif column in found:
            wrong.append(f"The column “{column.header}” is there twice. Take one out.")
        found.append(column)
    wrong += [
        f"The column “{one.header}” is missing: every {kind.one} needs it."
        for one in kind.columns
        if one.required and one not in found
    ]
    if wrong:
        raise BadFile(list(dict.fromkeys(wrong)))
    return found


def _key(word: str) -> str:
    return one_line(word).casefold()


# --- CSV --------------------------------------------------------------------------------------------------------------


def _csv_rows(file, kind: type[Kind]) -> Iterator[tuple[int, list[str]]]:
    start = file.read(4)
    file.seek(0)
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    else:
        encoding = "utf-8-sig"
    text = io.TextIOWrapper(file, encoding=encoding, errors="strict", newline="")
    first = text.readline(MOST_CELL * 20)
    if encoding == "utf-8-sig" and "\x00" in first:
        raise BadFile(f"{NO_TABLE} {AS_UTF8}")
    delimiter = _delimiter(first, kind)
    text.seek(0)
    reader = csv.reader(text, delimiter=delimiter, strict=True)
    began = 1
    for found in reader:
        if began > MOST_LINES:
            raise BadFile(f"This file has more than {MOST_LINES} lines. Divide it into several.")
        if any(one.strip() for one in found):
            yield began, found
        began = reader.line_num + 1


def _delimiter(first: str, kind: type[Kind]) -> str:
    """Of comma, semicolon and tab the one that makes the most known columns of the first line."""
    known = {_key(one.header) for one in kind.columns}

    def columns_known(delimiter):
        try:
            words = next(csv.reader([first], delimiter=delimiter), [])
        except csv.Error:
            return 0, 0
        return len({_key(one) for one in words} & known), first.count(delimiter)

    return max(DELIMITERS, key=columns_known)


# --- XLSX -------------------------------------------------------------------------------------------------------------


@contextmanager
def _workbook(file):
    """Yield the rows of the first sheet."""
    _check_archive(file)
    try:
        book = load_workbook(file, read_only=True, data_only=True, keep_links=False)
        sheet = book.worksheets[0]
    except Exception:  # the reader raises many kinds for a file that is no spreadsheet
        raise BadFile(
            "This XLSX file cannot be read. Open it in the spreadsheet, save it anew as XLSX, and send that."
        ) from None
    try:
        yield _sheet_rows(sheet)
    finally:
        book.close()


def _check_archive(file) -> None:
    try:
        with zipfile.ZipFile(file) as archive:
            members = archive.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        raise BadFile(f"{NO_TABLE} It begins like an XLSX file and is not whole: send it once more.") from None
    if "xl/workbook.xml" not in {one.filename for one in members}:
        raise BadFile(f"{NO_TABLE} {AS_UTF8}")
    if len(members) > MOST_MEMBERS or sum(one.file_size for one in members) > MOST_UNPACKED:
        most = MOST_UNPACKED // 1_000_000
        raise BadFile(
            f"Unpacked, this file has more than {most} MB. Save only the table, without pictures, as XLSX or CSV."
        )


def _sheet_rows(sheet) -> Iterator[tuple[int, list]]:
    sheet.reset_dimensions()  # what the file says of its own size is a claim
    width = None
    rows = sheet.iter_rows(max_row=MOST_LINES + 1, max_col=MOST_COLUMNS + 1)
    number = 0
    while True:
        try:
            found = next(rows, None)
        except Exception:  # as above, in the middle of the file
            words = f"This XLSX file cannot be read behind line {number}. Save it anew as XLSX, and send that."
            raise BadFile(words) from None
        if found is None:
            return
        number += 1
        if number > MOST_LINES:
            raise BadFile(f"This file has more than {MOST_LINES} lines. Divide it into several.")
        if not any(one.value is not None for one in found):
            continue
        row = [_cell(one) for one in found]
        while row and row[-1] == "":
            row.pop()
        width = width or len(row)
        yield number, row + [""] * (width - len(row))


def _cell(cell) -> str | Broken:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "e":
        return Broken(f"The spreadsheet shows an error here, {value}. Mend the formula, or type the value.")
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return _moment(value)


def _moment(value) -> str | Broken:
    if isinstance(value, datetime) and value.time() == time():
        value = value.date()
    if isinstance(value, date) and not isinstance(value, datetime):
        return Day(value.isoformat())
    return Broken("The spreadsheet has made a time of this. Format the cell as text and type it again.")


class Day(str):
    """A day of the calendar that the spreadsheet knows as one: right in a column of days, a guess in any other."""

    __slots__ = ()
