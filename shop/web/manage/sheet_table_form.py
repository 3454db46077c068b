"""The table of drafts: a row for each, a text cell for everything that it says, as spreadsheets have it."""

from dataclasses import dataclass
from hashlib import sha256

from django import forms
from django.core.exceptions import ValidationError

from shop.customers.models import VehicleModel
from shop.dampers.measures import SPECIFIED, Measure, in_a_sentence, shop_unit
from shop.dampers.models import DamperModel
from shop.specs.models import SheetPosition, SpecSheet
from shop.specs.services import DraftRow, NewValue
from shop.specs.services.stored import values_of
from shop.specs.tolerances import agreed_limits
from shop.web.fields import QuantityField
from shop.web.forms import year_field
from shop.web.manage.sheet_forms import RowsForm, allowed_in_words, says_its_limits

SOURCE = ("source_document", "source_revision", "source_page")
PLACE = ("vehicle_model", "position", "year_from", "year_to")
COLUMNS = ["damper_model", "code", *PLACE]
for _measure in SPECIFIED:
    COLUMNS += [_measure.value, f"{_measure}_tolerance"]
COLUMNS += SOURCE
NEEDED = ("damper_model", "code", *SOURCE)
HINTS = {"damper_model": "Damper", "code": "New code", "vehicle_model": "any vehicle", "position": "any position"}


class NamedField(forms.CharField):
    """A row of a catalogue by its name, as a cell of a spreadsheet has it; cleans to the row, or None when empty."""

    def __init__(self, names, **kwargs):
        super().__init__(max_length=140, **kwargs)
        self.names = names

    def clean(self, value):
        text = " ".join(super().clean(value).split())
        if text and text.casefold() not in self.names:
            raise ValidationError(f"“{text}” is none of the catalogue. Write a name as the list offers it.")
        return self.names.get(text.casefold())


class PositionField(forms.CharField):
    """A position in words; empty for any."""

    def clean(self, value):
        text = " ".join(super().clean(value).casefold().replace("_", " ").split())
        words = {one.label: one.value for one in SheetPosition} | {
            "any": SheetPosition.ANY.value,
            "": SheetPosition.ANY,
        }
        if text not in words:
            raise ValidationError(
                f"“{value}” is no position. Give one of: {', '.join(one.label for one in SheetPosition)}."
            )
        return words[text]


class FigureField(QuantityField):
    """A figure with its unit in one cell."""

    unit = ""

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"inputmode": "text"}


def vehicle_names() -> dict[str, VehicleModel]:
    """Vehicle models by maker and name, with the first model year where two are called the same."""
    named = {}
    for one in VehicleModel.objects.all():
        named.setdefault(str(one), []).append(one)
    return {name if len(ones) == 1 else f"{name} {one.year_from}": one for name, ones in named.items() for one in ones}


def damper_names() -> dict[str, DamperModel]:
    return {str(one): one for one in DamperModel.objects.all()}


@dataclass(frozen=True)
class TypedRow(DraftRow):
    """A row that is known by what was typed, so that a table that is sent twice is recognised and saved once."""

    typed: str = ""

    def __str__(self):
        return self.typed


class TableForm(RowsForm):
    """lines: the draft of each row, or None for an empty row, in which a new sheet may be entered."""

    why = forms.CharField(
        max_length=300,
        label="Why",
        help_text="One reason for the whole change: which manual was copied, what was misread.",
        error_messages={"required": "Say why: what these figures were copied from, or what was misread."},
    )
    why.wide = True
    count = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args, lines, damper_model=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.lines = lines
        self.now = {}  # by row: what the book says where something else is typed, after a conflict
        self.allowed = {}  # what the tolerance of a typed figure allows, in words
        self.vehicles, self.dampers = vehicle_names(), damper_names()
        self.vehicle_name = {one.pk: name for name, one in self.vehicles.items()}
        self.known = {
            "vehicle_model": {name.casefold(): one for name, one in self.vehicles.items()},
            "damper_model": {name.casefold(): one for name, one in self.dampers.items()},
        }
        self.stored = [{one.measure: one for one in values_of(sheet)} if sheet else {} for sheet in lines]
        self.fields["count"].initial = len(lines)
        for row, sheet in enumerate(lines):
            self._add_row(row, sheet, str(damper_model or ""))

    def _add_row(self, row, sheet: SpecSheet | None, damper):
        says = self._says(row, sheet) if sheet else dict.fromkeys(COLUMNS, "") | {"damper_model": damper}
        name = str(sheet) if sheet else f"New row {row - sum(map(bool, self.lines)) + 1}"
        for number, column in enumerate(COLUMNS):
            if sheet and column in ("damper_model", "code"):
                continue
            field = self._field(column)
            field.required, field.initial = False, says[column]
            field.label = f"{name}, {in_words(column)}"
            field.widget.attrs |= {
                "aria-label": field.label,
                "data-row": row,
                "data-col": number,
                "autocomplete": "off",
            }
            if column in HINTS:
                field.widget.attrs["placeholder"] = HINTS[column]
            self.fields[f"{row}-{column}"] = field
        hidden = {"opened": digest(says[column] for column in self._columns(row))}
        if sheet:
            hidden |= {"sheet": sheet.pk, "edition": sheet.edition}
        for column, value in hidden.items():
            kind = forms.CharField if column == "opened" else forms.IntegerField
            self.fields[f"{row}-{column}"] = kind(label=name, widget=forms.HiddenInput, required=False, initial=value)

    def _field(self, column):
        measure = column.removesuffix("_tolerance")
        if column in self.known:
            lists = {"vehicle_model": "vehicle-names", "damper_model": "damper-names"}
            return NamedField(self.known[column], widget=forms.TextInput({"list": lists[column]}))
        if column == "position":
            return PositionField(max_length=40, widget=forms.TextInput({"list": "position-names"}))
        if column in ("year_from", "year_to"):
            return year_field()
        if column in SPECIFIED:
            return FigureField.of(Measure(column), name=Measure(column).label, above_zero=True)
        if measure in SPECIFIED:
            return forms.CharField(max_length=40)
        return forms.CharField(max_length=30 if column == "code" else 200 if column == "source_document" else 40)

    def _says(self, row, sheet: SpecSheet) -> dict[str, str]:
        """What the cells of a draft hold when the table is opened."""
        says = {
            "vehicle_model": self.vehicle_name.get(sheet.vehicle_model_id, ""),
            "position": sheet.get_position_display(),
            "year_from": str(sheet.year_from or ""),
            "year_to": str(sheet.year_to or ""),
        }
        for measure in SPECIFIED:
            value, tolerance = figure_cells(self.stored[row].get(measure))
            says |= {measure.value: value, f"{measure}_tolerance": tolerance}
        return says | {name: getattr(sheet, name) for name in SOURCE}

    def _columns(self, row):
        return COLUMNS[2:] if self.lines[row] else COLUMNS

    def _typed(self, row, column) -> str:
        return str(self.data.get(f"{row}-{column}", ""))

    def clean(self):
        data = super().clean()
        self.written = [row for row in range(len(self.lines)) if self._is_touched(row)]
        rows = [self._draft(row, data) for row in self.written]
        return {name: data[name] for name in ("request_key", "why", "sure", "keep_flagged") if name in data} | {
            "rows": rows
        }

    def take_present(self) -> None:
        """After a conflict: such rows take the draft's present edition, so that a second save replaces what it says."""
        self.data = self.data.copy()
        for row in self.written:
            if not self.has_error(f"{row}-edition", "changed_meanwhile"):
                continue
            sheet = self.lines[row]
            self.data[f"{row}-edition"] = sheet.edition
            self.now[row] = [
                (self[f"{row}-{column}"].label, said or "nothing")
                for column, said in self._says(row, sheet).items()
                if plain(said) != plain(self._typed(row, column))
            ]

    def _is_touched(self, row) -> bool:
        """Whether anything was typed since the table was opened: other rows are nobody's change."""
        return digest(self._typed(row, column) for column in self._columns(row)) != self._typed(row, "opened")

    def _draft(self, row, data) -> TypedRow:
        sheet = self.lines[row]
        for column in NEEDED:
            name = f"{row}-{column}"
            if name in self.fields and not data.get(name) and name not in self.errors:
                self.add_error(name, "Nothing is typed here. Fill it in.")
        says = {name: data.get(f"{row}-{name}") for name in (*PLACE, *SOURCE)}
        values = [value for measure in SPECIFIED if (value := self._value(row, measure, data))]
        return TypedRow(
            typed="\t".join(self._typed(row, name) for name in (*self._columns(row), "sheet", "edition")),
            damper_model=sheet.damper_model if sheet else data.get(f"{row}-damper_model"),
            code=sheet.code if sheet else data.get(f"{row}-code", ""),
            values=values,
            sheet=sheet,
            edition=data.get(f"{row}-edition") or 0,
            **says,
        )

    def _value(self, row, measure, data) -> NewValue | None:
        """What was not touched stays as it is stored, to the last bit."""
        name = f"{row}-{measure}"
        stored = self.stored[row].get(measure)
        if stored and not self._retyped(row, measure):
            return stored
        if name in self.errors or f"{name}_tolerance" in self.errors:
            return None
        entered, tolerance = data.get(name), data.get(f"{name}_tolerance", "")
        if not entered:
            if tolerance:
                self.add_error(name, f"{measure.label}: give the value itself.")
            return None
        try:
            low, high = agreed_limits(measure, entered, tolerance)
        except ValidationError as error:
            self.add_error(f"{name}_tolerance", error.messages)
            return None
        self.allowed[name] = allowed_in_words(low, high, entered.unit)
        return NewValue(measure.value, entered, low, high, tolerance)

    def _allowed(self, row, measure) -> str:
        """What counts as in tolerance: by what is typed, else by what is stored; empty while that cannot be told."""
        name = f"{row}-{measure}"
        stored = self.stored[row].get(measure)
        if name in self.allowed or stored is None or (self.is_bound and self._retyped(row, measure)):
            return self.allowed.get(name, "")
        return allowed_in_words(stored.low, stored.high, stored.entered.unit)

    def _retyped(self, row, measure) -> bool:
        """Whether the cells of a stored figure hold something else than it."""
        typed = self._typed(row, measure), self._typed(row, f"{measure}_tolerance")
        return [plain(one) for one in typed] != [plain(one) for one in figure_cells(self.stored[row][measure])]

    def row_of(self, index):
        return self.written[index]

    def rows(self):
        """What a row shows: its draft, hidden fields, the cell of each column, each figure with its tolerance and
        what that allows, the cells that are refused, whose words stand below the row, where there is room for them,
        and after a conflict who was first and what the book says now."""
        for row, sheet in enumerate(self.lines):
            cells = {column: self[f"{row}-{column}"] for column in self._columns(row)}
            yield {
                "sheet": sheet,
                "hidden": [self[f"{row}-{name}"] for name in ("opened", *(("sheet", "edition") if sheet else ()))],
                "cells": cells,
                "figures": [
                    (cells[one.value], cells[f"{one}_tolerance"], self._allowed(row, one)) for one in SPECIFIED
                ],
                "refused": [cell for cell in cells.values() if cell.errors],
                "outrun": self[f"{row}-edition"].errors if sheet else [],
                "now": self.now.get(row, []),
            }


def figure_cells(value: NewValue | None) -> tuple[str, str]:
    """A figure as two cells: with its unit, and its tolerance, which gives the limits."""
    if value is None:
        return "", ""
    tolerance = value.tolerance if says_its_limits(value) else f"{value.low.figures} to {value.high.figures}"
    return str(value.entered), tolerance


def in_words(column: str) -> str:
    """What a column is called beside its row."""
    measure = column.removesuffix("_tolerance")
    if measure in SPECIFIED:
        return in_a_sentence(measure) + (", tolerance" if measure != column else "")
    return {
        "damper_model": "damper", "vehicle_model": "only on", "year_from": "from model year",
        "year_to": "to model year", "source_document": "document", "source_revision": "revision or date",
        "source_page": "page",
    }.get(column, column)  # fmt: skip


def measure_heads() -> list[tuple[str, str]]:
    """(name, unit of a number without one) of each figure's column."""
    return [(one.label, shop_unit(one)) for one in SPECIFIED]


def plain(text) -> str:
    return " ".join(str(text).split())


def digest(cells) -> str:
    """Of what a row holds, to tell whether somebody has typed into it."""
    return sha256("\t".join(plain(one) for one in cells).encode()).hexdigest()[:16]
