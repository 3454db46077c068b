from django import forms

from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel, Position
from shop.web.forms import Form, year_field


class WhyForm(Form):
    """What a sheet is looked up for; sent by its address, so that the answer can be passed on."""

    damper_model = forms.ModelChoiceField(DamperModel.objects.all(), empty_label="Choose one")
    year = year_field()
    position = forms.ChoiceField(choices=[("", "not known"), *Position.choices], required=False)
    vehicle_model = forms.ModelChoiceField(
        VehicleModel.objects.all(), label="On", empty_label="loose, or not known", required=False
    )

    @property
    def status(self) -> int:
        return 422 if self.errors else 200
