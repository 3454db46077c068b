"""What is filled in for the catalogue: shapes and labels; the rules live in the domain."""

import re

from django import forms
from django.conf import settings

from shop.calc.units import figures
from shop.core.amounts import shop_unit, to_base_unit
from shop.customers.services import MOST_METER_SI
from shop.dampers.geometry import SIZES
from shop.dampers.measures import MOST_CLICKS, QUANTITY
from shop.dampers.models import AdjusterKind, CapStyle, Construction, DamperModel, Position
from shop.parts.models import MOST_AT_ONCE_SI
from shop.specs.models import KitMeasure
from shop.web.fields import DamperModelField, DayField, QuantityField
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
        typed = {name: "" if si is None else trimmed(si, self.fields[name].unit) for name, si in known.items()}
        return {"version": row.version} | typed


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


class KitLineForm(KeyedForm):
    """A line of a parts list; cleans to what add_kit_line takes. The unit of the amount is chosen beside it."""

    BY_SHEET = "sheet"

    part_number = forms.CharField(max_length=40, widget=forms.TextInput({"list": "part-numbers"}))
    name = forms.CharField(max_length=120, help_text="As the parts list prints it.")
    measured = forms.ChoiceField(label="Measured")
    year_from = year_field(label="From model year", required=False, help_text="Empty: from the first.")
    year_to = year_field(label="To model year", required=False, help_text="Empty: to the last.")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["measured"].choices = [
            (KitMeasure.COUNT, "in pieces"),
            (KitMeasure.VOLUME, f"by volume, in {shop_unit('volume')}"),
            (KitMeasure.MASS, f"by mass, in {shop_unit('mass')}"),
            (self.BY_SHEET, "the oil volume of the spec sheet"),
        ]
        chosen = self.data.get(self.add_prefix("measured"))
        quantity = chosen if chosen in KitMeasure.values else KitMeasure.COUNT
        amount = PrintedField(
            str(quantity),
            unit="pcs" if quantity == KitMeasure.COUNT else None,
            label="Amount for one damper",
            required=False,
            above_zero=True,
            high_si=MOST_AT_ONCE_SI[quantity],
        )
        if chosen == self.BY_SHEET:
            amount = forms.CharField(label=amount.label, required=False, max_length=60)
        amount.help_text = "Empty for the oil volume of the spec sheet."
        self.fields["amount"] = amount
        self.order_fields(["request_key", "part_number", "name", "amount", "measured"])

    def clean(self):
        data = super().clean()
        measured, entered = data.pop("measured", None), data.pop("amount", None)
        if measured == self.BY_SHEET and entered:
            self.add_error("amount", "Leave this empty: the sheet gives the amount. Or choose how it is measured.")
        elif measured and measured != self.BY_SHEET and not entered and "amount" not in self.errors:
            self.add_error("amount", "Give the amount that one damper takes.")
        elif not self.errors:
            by_sheet = measured == self.BY_SHEET
            data["measure"] = KitMeasure.VOLUME.value if by_sheet else measured
            data["amount"] = None if by_sheet else to_base_unit(entered.si, measured)
        return data


class IntervalForm(KeyedForm):
    months = forms.IntegerField(
        min_value=1, max_value=MOST_MONTHS, required=False, widget=forms.TextInput({"inputmode": "numeric"})
    )
    distance = QuantityField("distance", required=False, above_zero=True, high_si=MOST_METER_SI["distance"])
    hours = QuantityField("time", label="Engine hours", required=False, above_zero=True, high_si=MOST_METER_SI["hours"])
    source = forms.CharField(max_length=200, help_text="Document and page, or “the shop's own”.")
    source.wide = True
    months.unit = "months"

    @staticmethod
    def filled_from(interval):
        """What a form begins with that replaces this interval."""
        filled = {"months": interval.months, "source": interval.source}
        for name, si, unit in (
            ("distance", interval.distance_m, shop_unit("distance")),
            ("hours", interval.hours_s, shop_unit("time")),
        ):
            filled[name] = figures(si, unit, 6).rstrip("0").rstrip(".") if si else None
        return filled


class PartForm(KeyedForm):
    number = forms.CharField(max_length=40, label="Part number", help_text="As the parts lists of the dampers name it.")
    name = forms.CharField(max_length=120)
    measure = forms.ChoiceField(label="Measured in", choices=KitMeasure.choices, widget=forms.RadioSelect)
    bin = forms.CharField(max_length=20, required=False, help_text="Where it lies.")


class PriceField(forms.DecimalField):
    """Money, in figures alone: 21.50 or 21,50."""

    def __init__(self, **kwargs):
        super().__init__(max_digits=9, decimal_places=2, min_value=0, **kwargs)
        self.unit = settings.CURRENCY

    def to_python(self, value):
        if isinstance(value, str) and re.fullmatch(r"\s*\d+,\d{1,2}\s*", value):
            value = value.replace(",", ".")
        return super().to_python(value)


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
        self.fields["price"] = PriceField(
            label="Price of one",
            widget=forms.TextInput({"inputmode": "decimal", "autocomplete": "off"}),
            error_messages={"invalid": "This cannot be read as a price. Write it like 21.50."},
        )

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
