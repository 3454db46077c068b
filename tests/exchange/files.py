"""Files as people send them, made by the standard library and by openpyxl alone: none of our own writers."""

import csv
import io

from openpyxl import Workbook, load_workbook

from shop.exchange.files.store import Upload
from shop.exchange.models import ImportRun
from shop.exchange.services import bring_in, receive_file, work
from tests.factories import NOON


def csv_file(*rows, name="table.csv", encoding="utf-8", **dialect) -> Upload:
    text = io.StringIO(newline="")
    csv.writer(text, **dialect).writerows(rows)
    return Upload(name, text.getvalue().encode(encoding))


def xlsx_file(*rows, name="table.xlsx") -> Upload:
    book, content = Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(content)
    return Upload(name, content.getvalue())


def read_csv(content: bytes) -> list[dict[str, str]]:
    """As Python's own reader reads it."""
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def read_xlsx(content: bytes) -> list[list]:
    """As openpyxl reads it, formulas as formulas."""
    sheet = load_workbook(io.BytesIO(content)).worksheets[0]
    return [[cell.value for cell in row] for row in sheet.iter_rows()]


def checked(kind, file, by, at=NOON) -> ImportRun:
    """A file that a worker has checked."""
    return work(pk=receive_file(kind=kind, file=file, by=by, at=at).pk, at=at)


def brought_in(kind, file, by, at=NOON) -> ImportRun:
    """A file that was checked and brought in; a refused one as it came back from the check."""
    run = checked(kind, file, by, at)
    if run.state != "checked":
        return run
    return work(pk=bring_in(run=run, by=by, at=at).pk, at=at)


def told(run) -> list[tuple]:
    """The problems of a run: line, column, sentence."""
    return [(one["line"], one["column"], one["sentence"]) for one in run.problems]
