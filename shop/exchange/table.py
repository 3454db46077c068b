"""What every kind of table has: its columns, how a row is found again, how it is written, what is wrong with it."""

import difflib
from array import array
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from enum import Enum
from typing import ClassVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import IntegrityError, models

from shop.core.errors import LOST_RACE, is_duplicate
from shop.exchange import cells
from shop.exchange.models import KindName
from shop.staff.models import User
from shop.staff.services import coming_from

NUL = "There is a hidden character in this, most likely copied along with it. Type it by hand."
EXAMPLE = "This is the example line of the empty table. Take it out."
NEAR_NAMES = 3


@dataclass(frozen=True)
class Column:
    """One column: the word above it, what stands in it, and how that is read.

    name is what the service calls it, so that its refusals find the column. A column that is told only stands in what
    goes out; when it comes in again nothing reads it.
    """

    name: str
    header: str
    help: str
    example: str = ""
    required: bool = False
    read: Callable[[str, str], object] = cells.text
    told_only: bool = False


@dataclass(frozen=True)
class Problem:
    """What is wrong, and where: a line of the file as a spreadsheet counts it, the column's word, the value."""

    line: int
    column: str
    value: str
    sentence: str

    def as_dict(self) -> dict:
        return asdict(self)


class Outcome(Enum):
    NEW = "new"
    CHANGED = "changed"
    UNCHANGED = "unchanged"


@dataclass(frozen=True)
class Given:
    """A line of the file after reading: its cells as text and, by name of the column, as values; empty ones as None.

    What is in no column of the file is in neither, so that it says nothing about what the book has.
    """

    line: int
    cells: dict[str, str]
    values: dict[str, object]

    def get(self, name: str, default=None):
        found = self.values.get(name)
        return default if found is None else found

    def says(self, name: str) -> bool:
        """Whether the file has this column at all."""
        return name in self.values


class Kind:
    """Base of the tables. One object is one run through a file, on behalf of one person."""

    name: ClassVar[KindName]
    one: ClassVar[str]  # what a line is, in a sentence: "stock item"
    ability: ClassVar[str]
    about: ClassVar[str]  # how a line is found again, and what happens to it
    columns: ClassVar[list[Column]]
    do_not_call_in_templates = True  # a page gets the class itself
    belongs: ClassVar[dict[str, str]] = {}  # a service's field that is no column -> the column its refusal is shown at

    def __init__(self, by: User, at: datetime, file_name: str):
        self.by, self.at, self.file_name = by, at, file_name
        # Rows of the book that this file is about, and on which line; sixteen bytes each, for files of any length.
        self._keys, self._lines = array("q"), array("q")

    def prepare(self, batch: list[Given]) -> None:
        """Look up at once what the rows of this batch are about."""

    def enter_together(self, batch: list[Given]) -> set[int]:
        """Enter at once those rows of a batch that are new and sound; answers their lines. The others come singly.

        A kind whose service takes many does this, because most files are new throughout.
        """
        return set()

    def bring(self, given: Given) -> Outcome:
        """Enter, change or leave one row, through the services. ValidationError by service field or column name."""
        raise NotImplementedError

    @classmethod
    def rows(cls) -> Iterator[dict[str, str]]:
        """All of the book, a row at a time, as text by name of the column."""
        raise NotImplementedError

    # --- reading --------------------------------------------------------------------------------------------------

    @classmethod
    def column(cls, name: str) -> Column | None:
        return next((one for one in cls.columns if one.name == name), None)

    @classmethod
    def read(cls, line: int, row: dict[str, str]) -> tuple[Given, list[Problem]]:
        """A line's cells, by name of the column, as values; and all that is wrong with them by themselves."""
        values, problems = {}, []
        if cls._is_example(row):
            return Given(line, row, {}), [Problem(line, "", "", EXAMPLE)]
        for column in cls.columns:
            if column.told_only or column.name not in row:
                continue
            cell = row[column.name]
            values[column.name] = None
            try:
                if "\x00" in cell:
                    raise ValidationError(NUL)
                if cell:
                    values[column.name] = column.read(cell, column.header)
                elif column.required:
                    raise ValidationError(f"Nothing stands here, and every {cls.one} needs it.")
            except ValidationError as error:
                shown = cells.shortened(cell.replace("\x00", "�"))
                problems += [Problem(line, column.header, shown, sentence) for sentence in error.messages]
        return Given(line, row, values), problems

    @classmethod
    def _is_example(cls, row: dict[str, str]) -> bool:
        return all(row.get(one.name) == one.example for one in cls.columns if not one.told_only)

    def bring_batch(self, batch: list[Given]) -> Iterator[tuple[Outcome | None, list[Problem]]]:
        """The outcome of each row, or all that speaks against it, in the order of the file."""
        self.prepare(batch)
        entered = self.enter_together(batch)
        for given in batch:
            if given.line in entered:
                yield Outcome.NEW, []
            else:
                with coming_from(self.origin(given)):
                    found = self.try_to_bring(given)
                yield found

    def origin(self, given: Given) -> str:
        """For the audit trail."""
        return f"from {self.file_name}, line {given.line}"

    def try_to_bring(self, given: Given) -> tuple[Outcome | None, list[Problem]]:
        """The outcome of one row, or all that the services say against it."""
        try:
            return self.bring(given), []
        except ValidationError as error:
            found = []
            for field, errors in error.update_error_dict({}).items():
                for sentence in map(_in_our_words, ValidationError(errors).error_list):
                    column = None if field == NON_FIELD_ERRORS else self.place(field, sentence)
                    value = given.cells.get(column.name, "") if column else ""
                    found.append(Problem(given.line, column.header if column else "", cells.shortened(value), sentence))
            return None, found
        except IntegrityError as error:
            if not is_duplicate(error):
                raise
            return None, [Problem(given.line, "", "", LOST_RACE)]

    def place(self, field: str, sentence: str) -> Column | None:
        """The column at which a refusal of a service is shown; None: it is about the whole line."""
        return self.column(self.belongs.get(field, field))

    # --- what kinds share -----------------------------------------------------------------------------------------

    def mentioned(self, row: models.Model, given: Given) -> None:
        """Remember that this line is about this row, so that a later one that says something else is refused."""
        self._keys.append(row.pk)
        self._lines.append(given.line)

    def line_of(self, row: models.Model) -> int | None:
        """The first line of this file that is about this row."""
        return self._lines[self._keys.index(row.pk)] if row.pk in self._keys else None

    def settle(self, row: models.Model, given: Given, differs: dict[str, str], where: str) -> None:
        """Refuse a row that is there with other words and cannot be changed from a file: where says what to do.

        differs: name of the column -> what the book has.
        """
        self.check_first_mention(row, given)
        raise ValidationError(
            {
                name: f"{row} is in the book already, here with “{has or 'nothing'}”. {where}"
                for name, has in differs.items()
            }
        )

    def check_first_mention(self, row: models.Model, given: Given) -> None:
        """Refuse a second line about a row, when the two do not say the same."""
        if first := self.line_of(row):
            raise ValidationError(f"Line {first} is about {row} too and says something else. Leave one of the two.")


def _in_our_words(error: ValidationError) -> str:
    """What the framework says of a column that is too short, as our forms say it."""
    if error.code == "max_length" and error.params:
        most, has = error.params["limit_value"], error.params["show_value"]
        return f"This has {has} characters; the book takes at most {most} characters. Shorten it."
    return error.messages[0]


def near(name: str, names: list[str]) -> str:
    """In a sentence, what a name that nobody knows may mean; empty when nothing comes near."""
    by_key = {one.casefold(): one for one in names}
    found = difflib.get_close_matches(name.casefold(), list(by_key), NEAR_NAMES, 0.7)
    return f" Near to it: {', '.join(by_key[one] for one in found)}." if found else ""
