"""What the desk fills in: shapes and labels; the rules live in the domain."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from shop.customers.models import METER_QUANTITY, Meter, VehicleModel
from shop.dampers.models import Damper, DamperModel, Position
from shop.web.fields import DamperModelField, DayField, MomentField, QuantityField
from shop.web.forms import FindForm, KeyedForm, VersionedForm, text_field, year_field
from shop.workorders.models import OrderStatus

MOST_NAME = 120
METERS = [("distance", Meter.DISTANCE, "Odometer"), ("hours", Meter.HOURS, "Hour meter")]


class CustomerForm(KeyedForm):
    name = forms.CharField(max_length=MOST_NAME)
    phone = forms.CharField(max_length=40, required=False, widget=forms.TextInput({"type": "tel"}))
    email = forms.EmailField(label="E-mail", required=False)
    address = text_field(300, required=False)
    note = text_field(1000, required=False, help_text="Only for the shop.")


class CustomerNewForm(CustomerForm):
    """Shows its tick once somebody like this customer was found in the book."""

    anyway = forms.BooleanField(label="It is somebody else: enter anyway", required=False, widget=forms.HiddenInput)

    def add_error(self, field, error):
        if field == "anyway":
            self.fields["anyway"].widget = forms.CheckboxInput()
        super().add_error(field, error)

    def clean_anyway(self):
        if self.cleaned_data["anyway"]:
            self.fields["anyway"].widget = forms.CheckboxInput()
        return self.cleaned_data["anyway"]


class CustomerChangeForm(VersionedForm, CustomerForm):
    pass


class ConsentForm(KeyedForm):
    wants = forms.TypedChoiceField(
        label="Service reminders by e-mail",
        choices=[("yes", "wants them"), ("no", "wants none")],
        coerce=lambda answer: answer == "yes",
        widget=forms.RadioSelect,
    )
    how = forms.ChoiceField(
        label="How we know",
        choices=[(words, words) for words in ("asked at the desk", "asked on the phone", "written by the customer")],
    )


class VehicleForm(KeyedForm):
    model = forms.ModelChoiceField(VehicleModel.objects.all(), empty_label="Choose one")
    model_year = year_field()
    vin = forms.CharField(label="VIN or frame number", max_length=30, required=False)
    plate = forms.CharField(max_length=15, required=False)
    severe_use = forms.BooleanField(
        label="Severe use",
        required=False,
        help_text="Mud, dunes, racing or hauling: service comes sooner, as the interval says.",
    )
    note = text_field(1000, required=False, help_text="Only for the shop.")


class VehicleNewForm(VehicleForm):
    fit = forms.BooleanField(
        label="Enter the dampers known for this model and year",
        required=False,
        initial=True,
        help_text="All corners at once. You can enter others later.",
    )


class VehicleChangeForm(VersionedForm, VehicleForm):
    dampers_too = forms.BooleanField(
        label="Change its dampers of the same model year too", required=False, initial=True
    )

    def __init__(self, *args, year, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["dampers_too"].label = f"Its dampers of {year} are of the vehicle's model year: change them too"
        self.fields[
            "dampers_too"
        ].help_text = (
            "Only when the model year above changes. Their figures hang on it: torque, charge, IFP depth, oil."
        )


class SoldForm(KeyedForm):
    on = DayField(label="Sold on", initial=lambda: timezone.localdate())


class NotSoldForm(KeyedForm):
    why = text_field(300, rows=2, label="Why it is not sold")


class OwnerForm(KeyedForm):
    pass


class AsksForm(KeyedForm):
    """A form with meter readings: one that hardly fits the earlier ones is asked about, and taken when confirmed."""

    confirmed = forms.BooleanField(label="The meter reading is right", required=False)

    @property
    def asks_to_confirm(self) -> bool:
        """Whether a figure was doubted, or was confirmed and something else is wrong."""
        doubted = any(self.has_error(name, "doubtful") for name in ("distance", "hours") if name in self.fields)
        return doubted or bool(self.is_bound and self.data.get("confirmed"))


class MeterForm(AsksForm):
    """One or both meters of a vehicle; for a correction, only the meter that is corrected."""

    distance = QuantityField("distance", label="Odometer", required=False)
    hours = QuantityField("time", label="Hour meter", required=False)
    read_on = DayField(label="Read on", initial=lambda: timezone.localdate())

    def __init__(self, *args, only=None, **kwargs):
        super().__init__(*args, **kwargs)
        if only:
            del self.fields["hours" if only == "distance" else "distance"]
            self.fields[only].required = True

    def clean(self):
        data = super().clean()
        if not self.errors and not data.get("distance") and not data.get("hours"):
            raise ValidationError("Neither meter has a reading. Fill in the odometer or the hour meter.")
        return data


class DamperForm(KeyedForm):
    model = DamperModelField(DamperModel.objects.all(), empty_label="Choose one")
    model_year = year_field(help_text="Of the damper: an exchanged one may be older or newer than the vehicle.")
    position = forms.ChoiceField(choices=[("", "Choose one"), *Position.choices])
    serial = forms.CharField(label="Serial number", max_length=40, required=False)

    def __init__(self, *args, loose=False, **kwargs):
        super().__init__(*args, **kwargs)
        if loose:
            self.fields["position"].required = False
            self.fields["position"].help_text = "Where it came from, if the customer knows."


class DamperChangeForm(DamperForm):
    pass


class TakeOffForm(KeyedForm):
    pass


class DampersField(forms.ModelMultipleChoiceField):
    """Dampers by their keys; a number that no key can be would overflow SQLite in the query that looks for it."""

    def clean(self, value):
        for key in value or []:
            if len(key) > 18:
                raise ValidationError(
                    self.error_messages["invalid_choice"], code="invalid_choice", params={"value": key}
                )
        return super().clean(value)


class BookForm(KeyedForm):
    """The dampers are ticked on the page itself, which shows why one cannot be chosen; the domain refuses it anyway."""

    dampers = DampersField(
        Damper.objects.none(),
        error_messages={"required": "Tick at least one damper."},
    )
    complaint = text_field(1000, label="What the customer says")
    arrives_on = DayField(label="Arrives on", initial=lambda: timezone.localdate())
    promised_for = MomentField(label="Promised for")

    def __init__(self, *args, dampers, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["dampers"].queryset = dampers


class HandBackForm(AsksForm):
    wants_reminders = forms.TypedChoiceField(
        label="Does the customer want service reminders by e-mail?",
        choices=[("yes", "Yes"), ("no", "No"), ("", "Not asked")],
        coerce=lambda answer: answer == "yes",
        empty_value=None,
        initial="",
        required=False,
        widget=forms.RadioSelect,
    )

    collected_by = forms.CharField(label="Who collected it", max_length=MOST_NAME)

    def __init__(self, *args, order, **kwargs):
        super().__init__(*args, initial={"collected_by": order.customer.name}, **kwargs)
        self.meter_names = []
        if order.vehicle:
            for name, meter, label in METERS:
                self.fields[name] = QuantityField(METER_QUANTITY[meter], label=f"{label} now", required=False)
                self.meter_names.append((name, meter))

    def meters(self):
        return [self[name] for name, _ in self.meter_names]

    def clean(self):
        data = super().clean()
        read = {name: data.pop(name, None) for name, _ in self.meter_names}
        return data | {"meters": [(meter, read[name]) for name, meter in self.meter_names if read[name]]}


class HandBackUnfinishedForm(HandBackForm):
    told_unfinished = forms.BooleanField(label="The customer knows", required=False)


class CallOffForm(KeyedForm):
    why = text_field(300, rows=2, label="Why the job does not take place")


class DropDamperForm(KeyedForm):
    why = text_field(300, rows=2, label="Why it is not done")


class OrdersForm(FindForm):
    state = forms.ChoiceField(
        choices=[("", "every state"), ("running", "not over yet"), *OrderStatus.choices], required=False
    )
    before = forms.IntegerField(min_value=1, required=False, widget=forms.HiddenInput)
