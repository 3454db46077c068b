"""What the manager fills in: shapes and labels; the rules live in the domain."""

from django import forms
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.core.exceptions import NON_FIELD_ERRORS

from shop.calc import units
from shop.calc.atmosphere import HIGHEST_M
from shop.core.amounts import altitude_unit, in_shop_unit, stock_amount, to_base_unit
from shop.customers.models import VehicleModel
from shop.dampers.measures import QUANTITY, SPECIFIED, Measure
from shop.dampers.models import DamperModel
from shop.parts.models import MOST_AT_ONCE_SI, Container
from shop.specs.models import (
    COLDEST_BENCH_K,
    REFERENCE_K,
    WARMEST_BENCH_K,
    SheetPosition,
    SheetStatus,
    SpecSheet,
)
from shop.specs.services import NewValue
from shop.staff.models import Role
from shop.web.fields import QuantityField
from shop.web.forms import FindForm, Form, KeyedForm, NewPasswordForm, text_field, year_field


class SheetsForm(FindForm):
    status = forms.ChoiceField(choices=[("", "every status"), *SheetStatus.choices], required=False)


class PrintedField(QuantityField):
    """A figure as its source prints it: the unit is chosen in a field of its own, so none stands beside this one."""

    unit = ""


class SheetForm(KeyedForm):
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
    keep_flagged = forms.BooleanField(label="The source says so: keep these figures in the draft", required=False)
    sure = forms.BooleanField(
        label="It is right: I have compared these figures and their units with the source", required=False
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["replaces"].queryset = SpecSheet.objects.filter(replaced_by=None).select_related("damper_model")
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
        self.fields[f"{measure}_unit"] = unit = forms.ChoiceField(choices=choices, label="Unit", required=False)
        chosen = self.data.get(self.add_prefix(f"{measure}_unit"), "")
        own = chosen if chosen in units.UNITS and units.UNITS[chosen].quantity == QUANTITY[measure] else None
        for part, label in (("", "Value"), ("_low", "Lowest allowed"), ("_high", "Highest allowed")):
            name = f"{measure.label}, {label.lower()}" if part else measure.label
            self.fields[f"{measure}{part}"] = figure = PrintedField.of(
                measure, name=name, label=label, unit=own, above_zero=not part, required=False
            )
        unit.initial = figure.bare_unit()
        self.fields[f"{measure}_tolerance"] = forms.CharField(
            max_length=40, label="Tolerance as printed", required=False
        )
        self.fields[f"{measure}_page"] = forms.CharField(max_length=40, label="Page, if another", required=False)

    @property
    def asks_if_sure(self) -> bool:
        """Whether a figure was doubted, or was confirmed and something else is wrong."""
        return self.has_error(NON_FIELD_ERRORS, "doubtful") or bool(self.is_bound and self.data.get("sure"))

    def source_fields(self):
        return [self[name] for name in ("source_document", "source_revision", "source_page", "note")]

    def cover_fields(self):
        names = ("damper_model", "vehicle_model", "position", "year_from", "year_to", "code", "replaces")
        return [self[name] for name in names]

    def asks_to_keep(self) -> bool:
        """Whether the figures were flagged: only then is it asked whether they stay."""
        return bool(self.errors.get("keep_flagged") or self.data.get(self.add_prefix("keep_flagged")))

    def figure_rows(self):
        """(label, fields) of each measure, the value first."""
        for measure in SPECIFIED:
            names = [measure.value] + [f"{measure}_{part}" for part in ("unit", "low", "high", "tolerance", "page")]
            if measure == Measure.CHARGE:
                names += ["reference_temperature", "reference_altitude"]
            yield measure.label, [self[name] for name in names]

    def clean(self):
        data = super().clean()
        values = [value for measure in SPECIFIED if (value := self._value(measure, data))]
        own = {f"{measure}{part}" for measure in SPECIFIED for part in _PARTS}
        return {name: one for name, one in data.items() if name not in own} | {"values": values}

    def _value(self, measure: Measure, data) -> NewValue | None:
        entered, low, high = (data.get(f"{measure}{part}") for part in ("", "_low", "_high"))
        broken = any(f"{measure}{part}" in self.errors for part in _PARTS)
        if broken or not (entered or low or high):
            return None
        for part, there, what in (
            ("", entered, "the value itself"), ("_low", low, "the lowest value that is still in tolerance"),
            ("_high", high, "the highest value that is still in tolerance"),
        ):  # fmt: skip
            if not there:
                self.add_error(f"{measure}{part}", f"{measure.label}: give {what}.")
        if not (entered and low and high):
            return None
        tolerance, page = data.get(f"{measure}_tolerance", ""), data.get(f"{measure}_page", "")
        return NewValue(measure.value, entered, low, high, tolerance, page)


_PARTS = ("", "_unit", "_low", "_high", "_tolerance", "_page")


class VerifyForm(KeyedForm):
    compared = forms.BooleanField(
        label="I have the source in my hands and compared every figure, its unit and the model years.",
        error_messages={"required": "Compare every figure with the source first, then tick this."},
    )

    def __init__(self, *args, flags=(), **kwargs):
        super().__init__(*args, **kwargs)
        if flags:
            self.fields["flag_reason"] = forms.CharField(
                max_length=300,
                label="Why the flagged figures are right",
                help_text="Stays on the sheet, with your name.",
                widget=forms.Textarea({"rows": 2}),
                required=False,
            )

    def clean(self):
        data = super().clean()
        return {name: value for name, value in data.items() if name != "compared"}


class WithdrawForm(KeyedForm):
    why = forms.CharField(max_length=300, label="Why it is withdrawn")


def stock_field(part, **kwargs):
    """The field for an amount of a stock item: pieces, or in the shop's unit."""
    unit = "pcs" if part.measure == "count" else None
    return QuantityField(part.measure, unit=unit, high_si=MOST_AT_ONCE_SI[part.measure], **kwargs)


class ReceiveForm(KeyedForm):
    """A delivery of one part: whole containers where it comes in such, else an amount; cleans to what receive takes."""

    container = forms.ModelChoiceField(Container.objects.none(), label="Container", empty_label=None)
    count = forms.IntegerField(
        label="How many", min_value=1, max_value=100_000, widget=forms.TextInput({"inputmode": "numeric"})
    )
    reason = forms.CharField(max_length=200, label="Delivery note", required=False)

    def __init__(self, *args, part, **kwargs):
        super().__init__(*args, **kwargs)
        self.part = part
        containers = part.containers.all()
        if containers:
            self.fields["container"].queryset = containers
        else:
            del self.fields["container"]
            del self.fields["count"]
            self.fields = {"amount": stock_field(part, label="Amount", above_zero=True), **self.fields}

    def clean(self):
        data = super().clean()
        container, count, entered = data.get("container"), data.pop("count", None), data.get("amount")
        if container and count:
            data["amount"] = container.size * count
        elif entered:
            data["amount"] = to_base_unit(entered.si, self.part.measure)
        return data


class CountForm(KeyedForm):
    """What was found on the shelf of a part; cleans to what count takes.

    Of a part that comes in containers: the full ones of one size and what the opened one holds, or what stands in none.
    """

    container = forms.ModelChoiceField(Container.objects.none(), label="Container")
    full = forms.IntegerField(
        label="Full ones",
        min_value=0,
        max_value=100_000,
        required=False,
        widget=forms.TextInput({"inputmode": "numeric"}),
    )
    reason = forms.CharField(max_length=200, label="Why", help_text="A yearly count, a bottle that broke.")

    def __init__(self, *args, part, **kwargs):
        super().__init__(*args, **kwargs)
        self.part = part
        containers = part.containers.all()
        self.fields["found"] = stock_field(part, label="Found")
        if not containers:
            del self.fields["container"]
            del self.fields["full"]
        else:
            self.fields["container"].queryset = containers
            self.fields["container"].empty_label = None
            self.fields["found"].label = "In the opened one"
            self.fields["found"].required = False
            if part.movements.filter(container=None).exists():
                self.fields["container"].required = False
                self.fields["container"].empty_label = "in no container"
                self.fields["found"].label = "In the opened one, or in no container"
        self.order_fields(["request_key", "container", "full", "found", "reason"])

    def clean(self):
        data = super().clean()
        container, full, entered = data.get("container"), data.pop("full", None), data.pop("found", None)
        if "full" in self.errors or "found" in self.errors or "container" in self.errors:
            return data
        found = to_base_unit(entered.si, self.part.measure) if entered else 0
        if full is None and not entered:
            self.add_error("full", "Nothing is typed here. Type 0 if none is there.")
        elif full and not container:
            self.add_error("full", "Choose the container that was counted, or empty this.")
        elif container and found >= container.size:
            size = stock_amount(container.size, self.part.measure)
            self.add_error("found", f"A full {container} holds {size}; an opened one less. Count full ones above.")
        else:
            data["found"] = found + (full or 0) * container.size if container else found
        return data


class PersonForm(NewPasswordForm, KeyedForm):
    username = forms.CharField(
        max_length=150,
        label="User name",
        validators=[UnicodeUsernameValidator()],
        help_text="To log in with.",
        error_messages={
            "invalid": "“%(value)s” cannot be a user name. Use letters, digits and @ . + - _, without blanks."
        },
    )
    first_name = forms.CharField(max_length=150)
    last_name = forms.CharField(max_length=150)
    role = forms.ChoiceField(choices=Role.choices, widget=forms.RadioSelect)
    field_order = ["request_key", "username", "first_name", "last_name", "role", "password", "again"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["password"].label = "First password"


class RoleForm(KeyedForm):
    role = forms.ChoiceField(choices=Role.choices, widget=forms.RadioSelect)


class PinForm(Form):
    """Without a key: a key would keep a digest of the PIN, and there are too few PINs to hide one in a digest."""

    pin = forms.CharField(
        max_length=8,
        label="New bench PIN",
        help_text="4 to 8 digits. The old one ends.",
        widget=forms.PasswordInput({"inputmode": "numeric", "autocomplete": "new-password"}),
    )
