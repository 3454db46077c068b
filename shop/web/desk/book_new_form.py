"""The booking of somebody new on one page: what is typed, and how it goes to the one service that enters all of it."""

from datetime import datetime

from django import forms
from django.core.exceptions import ValidationError
from django.forms.utils import ErrorDict

from shop.core.errors import renamed
from shop.customers.models import Customer, Vehicle, VehicleModel
from shop.dampers.models import Damper, DamperModel, Position
from shop.staff.models import User
from shop.web.desk.bench_forms import BookOnDaysForm
from shop.web.desk.forms import CustomerNewForm, VehicleForm
from shop.web.fields import DamperModelField
from shop.web.forms import year_field
from shop.workorders.models import WorkOrder
from shop.workorders.services import book_new
from shop.workorders.services.entering import DamperTyped, VehicleTyped

MOST_ROWS = 12
OF_CUSTOMER = ["name", "phone", "email", "address", "note"]
OF_VEHICLE = ["model", "model_year", "vin", "plate", "severe_use"]
OF_ROW = ["model", "model_year", "position", "serial"]
OF_BOOKING = [name for name in BookOnDaysForm.base_fields if name not in ("request_key", "dampers")]


def enter_and_book(*, by: User, at: datetime, **typed) -> WorkOrder:
    """book_new(), with its refusals under the names of the page's fields."""
    try:
        return book_new(by=by, at=at, **typed)
    except ValidationError as error:
        names = {}
        for name in error.update_error_dict({}):
            names[name] = name.removeprefix("customer.").removeprefix("vehicle.").replace(".", "_")
        raise renamed(error, **names) from error


class BookNewForm(BookOnDaysForm):
    """A booking with its bench days, whose dampers are typed instead of ticked.

    Judged only once Book was pressed; every other button shows the page again with what is typed.
    """

    taken = forms.ModelChoiceField(Customer.objects.present(), required=False, widget=forms.HiddenInput)
    rows = forms.IntegerField(min_value=0, max_value=MOST_ROWS, required=False, widget=forms.HiddenInput)
    vehicle = forms.ModelChoiceField(
        Vehicle.objects.none(), label="Vehicle of the book", required=False, empty_label="A new one, or loose dampers"
    )

    def __init__(self, data=None, *, customer=None, **kwargs):
        super().__init__(data, dampers=Damper.objects.none(), **kwargs)
        del self.fields["dampers"]
        self.pressed_book = data is not None and "book" in data
        self.customer = customer
        who = CustomerNewForm().fields
        self.fields |= {name: who[name] for name in OF_CUSTOMER} | {"somebody_else": who["anyway"]}
        self.fields |= {name: field for name, field in VehicleForm().fields.items() if name in OF_VEHICLE}
        for name in ("model", "model_year"):
            self.fields[name].required = False
        self.fields["model"].label, self.fields["model"].empty_label = "Vehicle model", "None: loose dampers"
        self.fields["model"].queryset = VehicleModel.objects.all()
        for position in Position:
            tick = forms.BooleanField(label=f"{position.label.capitalize()}", required=False)
            self.fields[f"corner_{position.value}"] = tick
            label = f"Serial number, {position.label}"
            self.fields[f"serial_{position.value}"] = forms.CharField(label=label, max_length=40, required=False)
        if customer:
            self.fields["name"].required = False
            self.fields["vehicle"].queryset = customer.vehicles.filter(sold_on=None).select_related("model")
        else:
            del self.fields["vehicle"]
        self.row_count = self._rows_asked()
        for at in range(self.row_count):
            self._add_row(at)
        self.order_fields([name for name in self.fields if name not in OF_BOOKING])  # refusals as the page is read

    def _rows_asked(self) -> int:
        asked = str(self.data.get("rows") or "") if self.is_bound else "1"
        return min(int(asked), MOST_ROWS) if asked.isascii() and asked.isdigit() and len(asked) < 4 else 1

    def _add_row(self, at):
        number = f", damper {at + 1}"
        model = DamperModelField(DamperModel.objects.all(), label=f"Model{number}", required=False, empty_label="None")
        year = year_field(label=f"Model year{number}", required=False)
        choices = [("", "Loose, corner not known"), *Position.choices]
        position = forms.ChoiceField(label=f"Corner{number}", choices=choices, required=False)
        serial = forms.CharField(label=f"Serial number{number}", max_length=40, required=False)
        for name, one in zip(OF_ROW, (model, year, position, serial), strict=True):
            self.fields[f"row{at}_{name}"] = one

    def full_clean(self):
        if self.is_bound and not self.pressed_book:
            self._errors, self.cleaned_data = ErrorDict(), {}
            return
        super().full_clean()

    def add_error(self, field, error):
        if field == "somebody_else":
            self.fields["somebody_else"].widget = forms.CheckboxInput()
        super().add_error(field, error)

    def clean_somebody_else(self):
        if self.cleaned_data["somebody_else"]:
            self.fields["somebody_else"].widget = forms.CheckboxInput()
        return self.cleaned_data["somebody_else"]

    def clean(self):
        data = super().clean()
        corners = {one: data.get(f"serial_{one}", "") for one in Position.values if data.get(f"corner_{one}")}
        vehicle, rows = data.get("vehicle"), [self._row(at, data) for at in range(self.row_count)]
        new_vehicle = self._new_vehicle(data) if not vehicle else None
        rows = [row for row in rows if row]
        if not self.errors and not corners and not rows:
            raise ValidationError("No damper is ticked or entered. Tick the corners, or fill in a damper.", code="none")
        return {
            "request_key": data.get("request_key", ""),
            "customer": self.customer,
            "new_customer": None if self.customer else {name: data.get(name, "") for name in OF_CUSTOMER},
            "vehicle": vehicle,
            "new_vehicle": new_vehicle,
            "corners": corners,
            "dampers": rows,
            "somebody_else": data.get("somebody_else", False),
            **{name: data.get(name) for name in OF_BOOKING},
        }

    def _new_vehicle(self, data):
        if not data.get("model"):
            for name in ("vin", "plate", "model_year"):
                if data.get(name) and not self.errors:
                    self.add_error("model", "Choose the vehicle model, or clear what is typed of a vehicle.")
            return None
        if not data.get("model_year"):
            if not self.has_error("model_year"):
                self.add_error("model_year", "Give the model year of the vehicle: its figures hang on it.")
            return None
        return VehicleTyped(**{name: data.get(name) or "" for name in OF_VEHICLE} | {"severe_use": data["severe_use"]})

    def _row(self, at, data):
        typed = {name: data.get(f"row{at}_{name}") for name in OF_ROW}
        if not typed["model"]:
            if any(typed.values()):
                self.add_error(f"row{at}_model", "Choose the model of this damper, or clear its other fields.")
            return None
        typed["model_year"] = typed["model_year"] or data.get("model_year")
        if not typed["model_year"]:
            if not self.has_error(f"row{at}_model_year"):
                self.add_error(f"row{at}_model_year", "Give the model year of this damper: its figures hang on it.")
            return None
        return DamperTyped(**typed | {"place": f"row{at}"})

    def of_customer(self):
        return [self[name] for name in OF_CUSTOMER]

    def of_vehicle(self):
        return [self[name] for name in OF_VEHICLE]

    def of_rows(self):
        return [[self[f"row{at}_{name}"] for name in OF_ROW] for at in range(self.row_count)]
