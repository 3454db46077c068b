"""What is filled in on the pages of the spec table: shapes and labels; the rules live in the domain."""

from functools import wraps

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q

from shop.calc import units
from shop.calc.atmosphere import HIGHEST_M
from shop.calc.errors import CalcError
from shop.calc.tolerance import limits
from shop.calc.units import Entered
from shop.core.amounts import altitude_unit, in_shop_unit, shop_unit
from shop.customers.models import VehicleModel
from shop.dampers.measures import QUANTITY, SPECIFIED, Measure, in_a_sentence
from shop.dampers.models import DamperModel
from shop.specs.history import content_of, difference
from shop.specs.models import (
    COLDEST_BENCH_K,
    REFERENCE_K,
    WARMEST_BENCH_K,
    SheetPosition,
    SheetStatus,
    SpecSheet,
)
from shop.specs.services import Copy, NewValue
from shop.specs.services.stored import in_unit, values_of
from shop.specs.tolerances import agreed_limits
from shop.web.fields import QuantityField
from shop.web.forms import FindForm, KeyedForm, text_field, year_field
from shop.web.manage.forms import PrintedField

# The fields of one figure: charge, charge_unit …
_PARTS = ("", "_unit", "_tolerance", "_low", "_high", "_page", "_note")
MOST_PLACES = 4  # behind the point, of limits that are shown exactly


class SheetsForm(FindForm):
    status = forms.ChoiceField(choices=[("", "every status"), *SheetStatus.choices], required=False)


class QuestionsForm(KeyedForm):
    """Figures that are asked about: the ticks that answer appear with the questions, which stand at their figures."""

    keep_flagged = forms.BooleanField(label="The source says so: keep these figures in the draft", required=False)
    sure = forms.BooleanField(
        label="It is right: I have compared these figures and their units with the source", required=False
    )

    def place(self, sentence: str) -> str | None:
        """The field that a sentence about a figure belongs to: such a sentence begins with the figure's name."""
        return next((one.value for one in SPECIFIED if sentence.startswith(one.label)), None)

    def add_error(self, field, error):
        if field is None and not hasattr(error, "error_dict"):
            for one in ValidationError(error).error_list:
                super().add_error(self.place(one.messages[0]), one)
        else:
            super().add_error(field, error)

    @property
    def asks_if_sure(self) -> bool:
        """Whether a figure was doubted, or was confirmed and something else is wrong."""
        return self._has("doubtful") or bool(self.is_bound and self.data.get("sure"))

    @property
    def asks_to_keep(self) -> bool:
        """Whether the figures were flagged: only then is it asked whether they stay."""
        return self._has("flagged") or bool(self.is_bound and self.data.get("keep_flagged"))

    def _has(self, code):
        return any(self.has_error(name, code) for name in self.errors)


class SheetForm(QuestionsForm):
    """A sheet as its source prints it; cleans to what enter_sheet takes. A figure has fields charge, charge_unit …"""

    damper_model = forms.ModelChoiceField(DamperModel.objects.all(), empty_label="Choose one")
    vehicle_model = forms.ModelChoiceField(
        VehicleModel.objects.all(), label="Only on", empty_label="whatever vehicle it sits on", required=False
    )
    position = forms.ChoiceField(choices=SheetPosition.choices)
    year_from = year_field(label="From model year", required=False)
    year_to = year_field(label="To model year", required=False)
    code = forms.CharField(max_length=30, label="Sheet code", help_text="The shop's own name for it, such as H2-A.")
    replaces = forms.ModelChoiceField(
        SpecSheet.objects.none(),
        label="Next version of",
        empty_label="a new sheet",
        required=False,
        help_text="When this one is verified, that one is withdrawn. It keeps that one's code.",
    )
    source_document = forms.CharField(max_length=200, label="Document", help_text="As its title page prints it.")
    source_revision = forms.CharField(max_length=40, label="Revision or date")
    source_page = forms.CharField(max_length=40, label="Page")
    note = text_field(1000, required=False)
    why = forms.CharField(
        max_length=300,
        label="Why there is a next version",
        help_text="Such as: a new revision of the manual, a misread figure.",
        required=False,
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.allowed = {}  # what each tolerance allows, in words
        self.fields["replaces"].queryset = SpecSheet.objects.exclude(
            Q(status=SheetStatus.WITHDRAWN, verified_by=None)
            | Q(
                pk__in=SpecSheet.objects.exclude(status=SheetStatus.WITHDRAWN)
                .filter(replaces__isnull=False)
                .values("replaces")
            )
        ).select_related("damper_model")
        for measure in SPECIFIED:
            self._add_figure(measure)
        self.fields["reference_temperature"] = QuantityField(
            "temperature",
            label="Charge meant at",
            name="Temperature of the charge",
            low_si=COLDEST_BENCH_K,
            high_si=WARMEST_BENCH_K,
            required=False,
            initial=in_shop_unit(REFERENCE_K, "temperature"),
            help_text="As the source says; if it says nothing, the usual 20 °C (68 °F).",
        )
        self.fields["reference_altitude"] = QuantityField(
            "length",
            unit=altitude_unit(),
            label="and altitude",
            name="Altitude of the charge",
            high_si=HIGHEST_M,
            required=False,
            initial="0",
            help_text="Zero is sea level, the usual one.",
        )

    def _add_figure(self, measure):
        choices = [(one.symbol, one.symbol) for one in units.QUANTITIES[QUANTITY[measure]]]
        unit = forms.ChoiceField(choices=choices, label="Unit", required=False)
        chosen = self.data.get(self.add_prefix(f"{measure}_unit"), "")
        own = chosen if chosen in units.UNITS and units.UNITS[chosen].quantity == QUANTITY[measure] else None
        self.fields[f"{measure}_unit"] = unit
        self.fields[f"{measure}_tolerance"] = forms.CharField(
            max_length=40, label="Tolerance as printed", required=False
        )
        for part, label in (("", measure.label), ("_low", "or lowest"), ("_high", "and highest")):
            name = f"{measure.label}, {'lowest' if part == '_low' else 'highest'}" if part else measure.label
            self.fields[f"{measure}{part}"] = figure = PrintedField.of(
                measure, name=name, label=label, unit=own, above_zero=not part, required=False
            )
        unit.initial = figure.bare_unit()
        self.fields[f"{measure}_page"] = forms.CharField(max_length=40, label="Page, if another", required=False)
        self.fields[f"{measure}_note"] = forms.CharField(max_length=200, label="Note", required=False)

    def source_fields(self):
        return [self[name] for name in ("source_document", "source_revision", "source_page", "note")]

    def cover_fields(self):
        names = ("damper_model", "vehicle_model", "position", "year_from", "year_to", "code", "replaces", "why")
        return [self[name] for name in names if name in self.fields]

    def figure_rows(self):
        """(measure, label, fields, what is allowed in words) of each figure, the value first."""
        for measure in SPECIFIED:
            names = [measure.value] + [f"{measure}{part}" for part in _PARTS[1:]]
            if measure == Measure.CHARGE:
                names += ["reference_temperature", "reference_altitude"]
            allowed = (self.allowed if self.is_bound else self.initial).get(f"{measure}_allowed", "")
            yield measure.value, measure.label, [self[name] for name in names], allowed

    def clean(self):
        data = super().clean()
        values = [value for measure in SPECIFIED if (value := self._value(measure, data))]
        own = {f"{measure}{part}" for measure in SPECIFIED for part in _PARTS}
        return {name: one for name, one in data.items() if name not in own} | {"values": values}

    def _value(self, measure: Measure, data) -> NewValue | None:
        entered, low, high = (data.get(f"{measure}{part}") for part in ("", "_low", "_high"))
        tolerance = data.get(f"{measure}_tolerance", "")
        broken = any(f"{measure}{part}" in self.errors for part in _PARTS)
        if broken or not (entered or low or high or tolerance):
            return None
        if not entered:
            self.add_error(measure.value, f"{measure.label}: give the value itself.")
            return None
        try:
            low, high = agreed_limits(measure, entered, tolerance, low, high)
        except ValidationError as error:
            for part, errors in error.error_dict.items():
                self.add_error(f"{measure}_{part}", errors)
            return None
        self.allowed[f"{measure}_allowed"] = allowed_in_words(low, high, entered.unit)
        return NewValue(
            measure.value,
            entered,
            low,
            high,
            tolerance,
            data.get(f"{measure}_page", ""),
            data.get(f"{measure}_note", ""),
        )


def allowed_in_words(low: Entered, high: Entered, unit: str) -> str:
    """Limits in the unit of their value: exactly, as long as that is short. Empty when they are the wrong way round."""
    if low.si > high.si:
        return ""
    ends = [in_unit(one.si, unit).figures for one in (low, high)]
    if all(len(one.partition(".")[2]) <= MOST_PLACES for one in ends):
        return f"{ends[0]} to {ends[1]} {unit}"
    return units.show_range(low.si, high.si, unit)


class ChangeForm(SheetForm):
    """A draft, filled with what it says; cleans to what change_draft takes. Its damper and its code stay."""

    now = ()
    edition = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name in ("damper_model", "code", "replaces"):
            del self.fields[name]
        why = self.fields["why"]
        why.label, why.required = "Why it is changed", True
        why.help_text = "Such as: page misread, a better source."
        why.error_messages["required"] = "Say why the draft is changed: a misread figure, a better source."

    def take_present(self, sheet: SpecSheet) -> None:
        """After a conflict: take the draft's present edition; .now tells what has changed since it was opened."""
        opened = sheet.editions.filter(number=self.cleaned_data["edition"]).first()
        self.data = self.data.copy()
        self.data["edition"] = sheet.edition
        self.now = [
            (one.what, f"{one.after or 'nothing'} (before: {one.before or 'nothing'})")
            for one in (difference(opened.content, content_of(sheet)) if opened else [])
        ]


class VerifyForm(KeyedForm):
    """One tick for each thing that was compared with the source; all of them are needed."""

    edition = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args, sheet, flags=(), **kwargs):
        super().__init__(*args, **kwargs)
        for value in sheet.values.all():
            self._add_tick(
                f"read_{value.measure}",
                f"{Measure(value.measure).label}: same figure, unit and tolerance in the source",
                f"Compare the {in_a_sentence(value.measure)} with the source first, then tick this.",
            )
        self._add_tick(
            "read_place",
            "Damper, model years and position: the same in the source",
            "Compare damper, model years and position with the source first, then tick this.",
        )
        if flags:
            self.fields["flag_reason"] = forms.CharField(
                max_length=300,
                label="Why the flagged figures are right",
                help_text="Stays on the sheet, with your name.",
                widget=forms.Textarea({"rows": 2}),
                required=False,
            )

    def _add_tick(self, name, label, required):
        self.fields[name] = forms.BooleanField(label=label, error_messages={"required": required})

    def tick(self, measure):
        return self[f"read_{measure}"]

    def clean(self):
        data = super().clean()
        return {name: value for name, value in data.items() if not name.startswith("read_")}


class SendBackForm(KeyedForm):
    edition = forms.IntegerField(widget=forms.HiddenInput)
    why = text_field(300, rows=2, label="What differs from the source", help_text="Which figure, and what is printed.")
    why.error_messages["required"] = "Say what differs from the source: which figure, and what the source prints."


class WithdrawForm(KeyedForm):
    why = forms.CharField(max_length=300, label="Why it is withdrawn")

    def __init__(self, *args, draft=False, **kwargs):
        super().__init__(*args, **kwargs)
        if draft:
            self.fields["why"].label = "Why it is discarded"


def filled_from(sheet: SpecSheet) -> dict:
    """What a form begins with that is filled from a sheet: everything but its code and what it follows."""
    names = ("damper_model", "vehicle_model", "position", "year_from", "year_to")
    names += ("source_document", "source_revision", "source_page", "note")
    filled = {name: getattr(sheet, name) for name in names} | {
        "reference_temperature": in_unit(sheet.reference_k, shop_unit("temperature")).figures,
        "reference_altitude": in_unit(sheet.reference_altitude_m, altitude_unit()).figures,
    }
    for one in values_of(sheet):
        filled |= {
            one.measure: one.entered.figures, f"{one.measure}_unit": one.entered.unit,
            f"{one.measure}_tolerance": one.tolerance, f"{one.measure}_page": one.page,
            f"{one.measure}_note": one.note,
            f"{one.measure}_allowed": allowed_in_words(one.low, one.high, one.entered.unit),
        }  # fmt: skip
        if not says_its_limits(one):
            filled |= {f"{one.measure}_low": one.low.figures, f"{one.measure}_high": one.high.figures}
    return filled


def says_its_limits(value: NewValue) -> bool:
    """Whether the printed tolerance alone gives the limits of a figure, so that nobody has to type them."""
    try:
        low, high = limits(value.entered, value.tolerance, QUANTITY[Measure(value.measure)])
    except CalcError:
        return False
    return all(abs(one.si - two.si) <= 1e-9 * two.si for one, two in ((low, value.low), (high, value.high)))


# --- several sheets at once


class RowsForm(QuestionsForm):
    """Many rows in one form: the fields of the first are called 0-code, 0-position …"""

    def at_cells(self, error: ValidationError) -> ValidationError:
        """The refusal of a service that writes many rows, told at the cells of this form."""
        placed = {}
        for name, errors in error.update_error_dict({}).items():
            index, dash, field = name.partition("-")
            for one in errors:
                cell = self._cell(self.row_of(int(index)), field, one) if dash else name
                placed.setdefault(cell, []).append(one)
        return type(error)(placed)

    def row_of(self, index: int) -> int:
        """The row of the form that was handed to the service as this one."""
        return index

    def _cell(self, row, field, error):
        if field == "values":
            field = self.place(error.messages[0])
        elif field == "keep_flagged":
            field = Measure.CHARGE.value
        cells = (f"{row}-{field}", f"{row}-code", f"{row}-edition")  # the first one that the row has
        return next(name for name in cells if name in self.fields)


def in_one(service, form: RowsForm):
    """A service that writes many rows, as submit() calls it: it answers one of them and refuses at the cells."""

    @wraps(service)
    def call(**kwargs):
        try:
            return service(**kwargs)[0]
        except ValidationError as error:
            raise form.at_cells(error) from error

    return call


class CopyForm(RowsForm):
    """A row for each sheet that is copied, and one source for all of them."""

    source_document = forms.CharField(
        max_length=200, label="Document", required=False, help_text="Empty: each copy keeps its own."
    )
    source_revision = forms.CharField(max_length=40, label="Revision or date", required=False)
    source_page = forms.CharField(
        max_length=40, label="Page", required=False, help_text="Where the other model years are printed."
    )

    def __init__(self, *args, sheets, **kwargs):
        super().__init__(*args, **kwargs)
        self.sheets = sheets
        for index, sheet in enumerate(sheets):
            row = {
                "code": forms.CharField(max_length=30, label="new code"),
                "year_from": year_field(label="from model year", required=False),
                "year_to": year_field(label="to model year", required=False),
                "position": forms.ChoiceField(choices=SheetPosition.choices, label="position", initial=sheet.position),
            }
            for name, field in row.items():
                field.label = f"{sheet}, {field.label}"
                field.widget.attrs["aria-label"] = field.label
                self.fields[f"{index}-{name}"] = field
        for name in ("source_document", "source_revision", "source_page"):
            said = {getattr(sheet, name) for sheet in sheets}
            self.fields[name].initial = said.pop() if len(said) == 1 else ""

    def rows(self):
        names = ("code", "year_from", "year_to", "position")
        return [(sheet, [self[f"{index}-{name}"] for name in names]) for index, sheet in enumerate(self.sheets)]

    def source_fields(self):
        return [self[name] for name in ("source_document", "source_revision", "source_page")]

    def clean(self):
        data = super().clean()
        names = ("code", "position", "year_from", "year_to")
        copies = [
            Copy(sheet, **{name: data.get(f"{index}-{name}") for name in names})
            for index, sheet in enumerate(self.sheets)
        ]
        return {name: one for name, one in data.items() if not name[0].isdigit()} | {"copies": copies}
