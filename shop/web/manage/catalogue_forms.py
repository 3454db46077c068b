"""What is filled in for the catalogue: shapes and labels; the rules live in the domain."""

from django import forms

from shop.calc.units import figures
from shop.core.amounts import OTHER_UNIT, shop_unit, to_base_unit
from shop.customers.services import MOST_METER_SI
from shop.dampers.geometry import SIZES
from shop.dampers.measures import MOST_CLICKS, QUANTITY
from shop.dampers.models import AdjusterKind, CapStyle, Construction, DamperModel, Position
from shop.parts.models import BASE_UNIT_SI, MOST_AT_ONCE_SI
from shop.specs.intervals import as_seen as as_seen_interval
from shop.specs.models import KitMeasure
from shop.specs.parts_lists import as_seen
from shop.specs.services import ListedPart
from shop.specs.services.kit import MOST_LINES
from shop.web.fields import DamperModelField, DayField, MoneyField, QuantityField
from shop.web.forms import KeyedForm, VersionedForm, text_field, year_field
from shop.web.manage.forms import PrintedField
from shop.workorders.models import TOOL_FOR

MOST_DIGITS = 6  # behind the point, of a figure that a form begins with
MOST_MONTHS = 240
TOOL_QUANTITY = {kind: QUANTITY[measure] for measure, kind in TOOL_FOR.items()}


class VehicleModelForm(KeyedForm):
    maker = forms.CharField(max_length=60)
    name = forms.CharField(max_length=60, label="Model")
    year_from = year_field(label="Built from model year")
    year_to = year_field(label="To model year", required=False, help_text="Empty: it is still built.")


class VehicleModelChangeForm(VersionedForm, VehicleModelForm):
    pass


CORNERS = [(value, label.capitalize()) for value, label in Position.choices]


class CornersForm(KeyedForm):
    positions = forms.MultipleChoiceField(
        choices=CORNERS,
        widget=forms.CheckboxSelectMultiple,
        label="Corners",
        error_messages={"required": "Tick at least one corner."},
    )


class FitmentCopyForm(CornersForm):
    """The other corners that are to carry the same."""

    def __init__(self, *args, fitment, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["positions"].choices = [one for one in CORNERS if one[0] != fitment.position]


class FitmentForm(CornersForm):
    damper_model = DamperModelField(DamperModel.objects.all(), empty_label="Choose one")
    year_from = year_field(label="From model year", required=False, help_text="Empty: from the first.")
    year_to = year_field(label="To model year", required=False, help_text="Empty: to the last.")


class FitmentChangeForm(VersionedForm):
    position = forms.ChoiceField(choices=CORNERS, label="Corner")
    damper_model = DamperModelField(DamperModel.objects.all(), empty_label="Choose one")
    year_from = year_field(label="From model year", required=False, help_text="Empty: from the first.")
    year_to = year_field(label="To model year", required=False, help_text="Empty: to the last.")


class DamperModelForm(KeyedForm):
    maker = forms.CharField(max_length=60)
    name = forms.CharField(max_length=60, label="Model")
    construction = forms.ChoiceField(choices=[("", "Choose one"), *Construction.choices])
    cap_style = forms.ChoiceField(
        label="Cap over the IFP",
        choices=[("", "not known"), *CapStyle.choices],
        required=False,
        help_text="How it is held: that decides how it comes off.",
    )
    serviceable = forms.TypedChoiceField(
        label="Serviced here",
        choices=[("yes", "Yes"), ("no", "No")],
        coerce=lambda answer: answer == "yes",
        widget=forms.RadioSelect,
        initial="yes",
    )
    why_not = text_field(
        300,
        rows=2,
        label="Why not, and what the customer is told",
        required=False,
        help_text="Only for one that is not serviced here. The desk reads it out when somebody brings one.",
    )


class DamperModelChangeForm(VersionedForm, DamperModelForm):
    @classmethod
    def filled_from(cls, row):
        return super().filled_from(row) | {"serviceable": "yes" if row.serviceable else "no"}


class SizesForm(VersionedForm):
    """What is known of a damper model's sizes; cleans to what set_geometry takes."""

    def __init__(self, *args, model, **kwargs):
        super().__init__(*args, **kwargs)
        for size in SIZES:
            self.fields[size.argument] = QuantityField(
                size.quantity,
                label=size.label,
                help_text=size.help,
                low_si=size.low_si,
                high_si=size.high_si,
                required=False,
            )
        self.initial = self.filled_from(model)

    def filled_from(self, row):
        known = {size.argument: getattr(row, size.name) for size in SIZES}
        typed = {name: "" if si is None else self._typed(si, self.fields[name]) for name, si in known.items()}
        return {"version": row.version} | typed

    @staticmethod
    def _typed(si, field):
        """As it was most likely typed: the other unit where it takes fewer figures, "51 mm" and not 2.007874 in."""
        own, other = trimmed(si, field.unit), OTHER_UNIT.get(field.unit)
        there = trimmed(si, other) if other else own
        return f"{there} {other}" if len(there) < len(own) - 1 else own


class AdjustersForm(VersionedForm):
    """How many clicks each adjuster of a damper model has; cleans to what set_adjusters takes."""

    def __init__(self, *args, model, **kwargs):
        super().__init__(*args, **kwargs)
        for kind in AdjusterKind:
            self.fields[kind.value] = QuantityField(
                "count", label=kind.label.capitalize(), low_si=1, high_si=MOST_CLICKS, required=False
            )
        self.initial = self.filled_from(model)

    def filled_from(self, row):
        known = {one.kind: one.clicks for one in row.adjusters.all()}
        return {"version": row.version} | {kind.value: known.get(kind, "") for kind in AdjusterKind}


def trimmed(value_si, unit):
    """Figures to type on from: as many as matter, no zeros behind."""
    text = figures(value_si, unit, MOST_DIGITS)
    return text.rstrip("0").rstrip(".") if "." in text else text


class PartsListForm(KeyedForm):
    """A parts list as a table, a row for each line and a few empty ones; cleans to what write_parts_list takes.

    The fields of a row are named after its place: lines.2.part_number. A new row in which nothing is typed is left out.
    """

    BY_SHEET = "sheet"
    EMPTY_ROWS = 3
    TYPED = ("part_number", "name", "amount", "year_from", "year_to", "optional", "stands_in_for", "rank", "remove")

    seen = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    rows = forms.IntegerField(min_value=0, max_value=2 * MOST_LINES, widget=forms.HiddenInput)

    def __init__(self, *args, lines=(), **kwargs):
        super().__init__(*args, **kwargs)
        self.lines = {str(line.pk): line for line in lines}
        self.fields["seen"].initial, self.fields["rows"].initial = as_seen(lines), len(lines) + self.EMPTY_ROWS
        for number in range(self._count()):
            self._add_row(number, lines[number] if number < len(lines) else None)

    def _count(self) -> int:
        """Rows of the table that was sent; of one that is opened, those of the list and some more."""
        if not self.is_bound:
            return self.fields["rows"].initial
        sent = self.data.get("rows", "")
        return min(int(sent), 2 * MOST_LINES) if sent.isascii() and sent.isdigit() and len(sent) < 4 else 0

    def _add_row(self, number, line):
        place = f"lines.{number}."
        measured = self.data.get(f"{place}measured", self._measured(line) if line else KitMeasure.COUNT)
        quantity = measured if measured in KitMeasure.values else KitMeasure.VOLUME
        fields = {
            "line": forms.CharField(max_length=18, required=False, widget=forms.HiddenInput),
            "part_number": forms.CharField(max_length=40, label="Part number"),
            "name": forms.CharField(max_length=120, label="Name"),
            "amount": PrintedField(
                quantity,
                name="Amount",
                unit="pcs" if quantity == KitMeasure.COUNT else None,
                label="Amount",
                above_zero=True,
                high_si=MOST_AT_ONCE_SI[quantity],
            ),
            "measured": forms.ChoiceField(choices=self._measures(), label="Measured", initial=KitMeasure.COUNT.value),
            "year_from": year_field(label="From model year"),
            "year_to": year_field(label="To model year"),
            "optional": forms.BooleanField(label="Only if the inspection asks for it"),
            "stands_in_for": forms.CharField(max_length=40, label="In the place of"),
            "rank": forms.IntegerField(
                min_value=1, max_value=MOST_LINES, label="Rank", widget=forms.TextInput({"inputmode": "numeric"})
            ),
            "remove": forms.BooleanField(label="Remove"),
        }
        fields["part_number"].widget.attrs["list"] = "part-numbers"
        fields["stands_in_for"].widget.attrs["list"] = "lines"
        for name, field in fields.items():
            field.required = False
            field.label = f"{field.label}, row {number + 1}"
            if name != "line":
                field.widget.attrs["aria-label"] = field.label
            self.fields[place + name] = field
        for name, value in (self._initial(line) if line else {}).items():
            self.fields[place + name].initial = value

    def _measures(self):
        return [
            (KitMeasure.COUNT.value, "pieces"),
            (KitMeasure.VOLUME.value, f"volume, {shop_unit('volume')}"),
            (KitMeasure.MASS.value, f"mass, {shop_unit('mass')}"),
            (self.BY_SHEET, "oil, by sheet"),
        ]

    def _measured(self, line):
        return self.BY_SHEET if line.amount is None else line.measure

    def _initial(self, line):
        unit = None if line.amount is None or line.measure == KitMeasure.COUNT else shop_unit(line.measure)
        amount = line.amount
        if unit:
            amount = trimmed(line.amount * BASE_UNIT_SI[line.measure], unit)
        return {
            "line": line.pk,
            "part_number": line.part_number,
            "name": line.name,
            "amount": "" if amount is None else amount,
            "measured": self._measured(line),
            "year_from": line.year_from,
            "year_to": line.year_to,
            "optional": line.optional,
            "stands_in_for": line.stands_in_for.part_number if line.stands_in_for else "",
            "rank": line.rank or "",
        }

    def table(self):
        """For each row its bound fields by name, whether it is new, and its errors as (field, sentences)."""
        for number in range(self._count()):
            place = f"lines.{number}."
            row = {name.removeprefix(place): self[name] for name in self.fields if name.startswith(place)}
            yield {
                "cells": row,
                "new": not row["line"].value(),
                "errors": [(field, field.errors) for field in row.values() if field.errors],
            }

    def clean(self):
        data = super().clean()
        lines, left_out = [], []
        for number in range(self._count()):
            place = f"lines.{number}."
            row = {name: data.pop(place + name, None) for name in ("line", *self.TYPED, "measured")}
            # Only a row that says something counts: an empty one shows where the next part may be typed.
            if row["remove"]:
                left_out += [name for name in self.errors if name.startswith(place)]
            elif (row["line"] or self._typed(place)) and (listed := self._listed(place, row)):
                lines.append((number, listed))
        for name in left_out:  # what is taken off need not be right
            del self._errors[name]
        self._places = [number for number, _ in lines]
        data.pop("rows", None)
        return data | {"lines": [listed for _, listed in lines]}

    def _typed(self, place) -> bool:
        return any(str(self.data.get(place + name, "")).strip() for name in self.TYPED)

    def own_names(self):
        """The fields of this table by the names that the domain gives those of the lines."""
        return {
            f"lines.{line}.{name}": f"lines.{place}.{'measured' if name == 'measure' else name}"
            for line, place in enumerate(self._places)
            for name in (*self.TYPED, "measure")
        }

    def _listed(self, place, row):
        measured, entered = row["measured"], row["amount"]
        for name, words in (
            ("part_number", "Give the part number, or tick Remove."),
            ("name", "Give the name, as the parts list prints it."),
            ("measured", "Choose how it is measured."),
        ):
            if not row[name] and f"{place}{name}" not in self.errors:
                self.add_error(f"{place}{name}", words)
        if measured == self.BY_SHEET and entered:
            self.add_error(
                f"{place}amount", "Leave this empty: the sheet gives the amount. Or choose how it is measured."
            )
        elif measured and measured != self.BY_SHEET and not entered and f"{place}amount" not in self.errors:
            self.add_error(f"{place}amount", "Give the amount that one damper takes.")
        if any(name.startswith(place) for name in self.errors):
            return None
        by_sheet = measured == self.BY_SHEET
        return ListedPart(
            part_number=row["part_number"],
            name=row["name"],
            measure=KitMeasure.VOLUME.value if by_sheet else measured,
            amount=None if by_sheet else to_base_unit(entered.si, measured),
            year_from=row["year_from"],
            year_to=row["year_to"],
            optional=row["optional"],
            stands_in_for=row["stands_in_for"],
            rank=row["rank"],
            line=self.lines.get(row["line"]),
        )

    def catch_up(self, lines):
        """After a conflict: the next try is held against the list as it is now, and keeps what was added to it."""
        count = self._count()
        known = {self.data.get(f"lines.{number}.line") for number in range(count)}
        added = [line for line in lines if str(line.pk) not in known]
        self.data = self.data.copy()
        self.data["seen"], self.data["rows"] = as_seen(lines), str(count + len(added))
        for number, line in enumerate(added, count):
            for name, value in self._initial(line).items():
                sent = "on" if value is True else "" if value in (None, False) else str(value)
                self.data[f"lines.{number}.{name}"] = sent
            self._add_row(number, line)


class CopyPartsListForm(KeyedForm):
    """Which damper model the parts list is copied from or to."""

    other = forms.ModelChoiceField(DamperModel.objects.none(), empty_label="Choose one")

    def __init__(self, *args, others, label, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["other"].queryset, self.fields["other"].label = others, label


class IntervalForm(KeyedForm):
    months = forms.IntegerField(
        min_value=1, max_value=MOST_MONTHS, required=False, widget=forms.TextInput({"inputmode": "numeric"})
    )
    distance = QuantityField("distance", required=False, above_zero=True, high_si=MOST_METER_SI["distance"])
    hours = QuantityField("time", label="Engine hours", required=False, above_zero=True, high_si=MOST_METER_SI["hours"])
    severe_factor = forms.FloatField(
        label="Share of it in severe use",
        initial=1,
        widget=forms.TextInput({"inputmode": "decimal", "autocomplete": "off"}),
        help_text="0.5 is service twice as often, 1 leaves it as it is. Mud, dunes, racing, hauling.",
        error_messages={"invalid": "This is no number. Write it like 0.5."},
    )
    source = forms.CharField(max_length=200, help_text="Document and page, or “the shop's own”.")
    source.wide = True
    months.unit = "months"
    seen = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    @staticmethod
    def filled_from(interval):
        """What a form begins with that replaces this interval; None: there is none."""
        if interval is None:
            return {"seen": ""}
        filled = {
            "months": interval.months,
            "severe_factor": f"{interval.severe_factor:g}",
            "source": interval.source,
            "seen": as_seen_interval(interval),
        }
        for name, si, unit in (
            ("distance", interval.distance_m, shop_unit("distance")),
            ("hours", interval.hours_s, shop_unit("time")),
        ):
            filled[name] = trimmed(si, unit) if si else None
        return filled

    def catch_up(self, interval):
        """After a conflict: the next try is held against the interval as it is now."""
        self.data = self.data.copy()
        self.data["seen"] = as_seen_interval(interval)


class PartForm(KeyedForm):
    number = forms.CharField(max_length=40, label="Part number", help_text="As the parts lists of the dampers name it.")
    name = forms.CharField(max_length=120)
    measure = forms.ChoiceField(label="Measured in", choices=KitMeasure.choices, widget=forms.RadioSelect)
    bin = forms.CharField(max_length=20, required=False, help_text="Where it lies.")


class ContainerForm(KeyedForm):
    """A size in which a part is bought; cleans to what add_container takes."""

    name = forms.CharField(max_length=40, help_text="As one says it: 1 L bottle.")

    def __init__(self, *args, part, **kwargs):
        super().__init__(*args, **kwargs)
        self.part = part
        unit = "pcs" if part.measure == KitMeasure.COUNT else None
        self.fields["size"] = QuantityField(
            part.measure, unit=unit, label="Holds when full", above_zero=True, high_si=MOST_AT_ONCE_SI[part.measure]
        )
        self.fields["price"] = MoneyField(label="Price of one")

    def clean(self):
        data = super().clean()
        if data.get("size"):
            data["size"] = to_base_unit(data["size"].si, self.part.measure)
        return data


class CalibrationForm(KeyedForm):
    calibrated_on = DayField(label="Calibrated on", help_text="The day on the certificate.")
    calibration_due_on = DayField(
        label="Calibration due on", required=False, help_text="Empty: 12 months after the calibration."
    )


class ToolForm(CalibrationForm):
    """A tool of one kind; its range is in what tools of this kind measure."""

    code = forms.CharField(max_length=20, help_text="As it is marked on the tool.")
    code.wide = True

    def __init__(self, *args, kind, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["low"] = QuantityField(TOOL_QUANTITY[kind], label="Measures from")
        self.fields["high"] = QuantityField(TOOL_QUANTITY[kind], label="Measures to", above_zero=True)
        self.order_fields(["request_key", "code", "low", "high"])


class OutOfUseForm(KeyedForm):
    why = forms.CharField(max_length=300, label="Why it is taken out of use")
