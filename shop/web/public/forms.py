from django import forms

from shop.customers.models import METER_QUANTITY
from shop.web.fields import QuantityField
from shop.web.forms import KeyedForm


class MeterForm(KeyedForm):
    """What the meters show today: one field for each meter we ask for, named like it ("distance", "hours")."""

    confirmed = forms.BooleanField(required=False, label="The figure is right")

    def __init__(self, *args, meters, **kwargs):
        super().__init__(*args, **kwargs)
        for meter in meters:
            self.fields[meter.value] = QuantityField(
                METER_QUANTITY[meter],
                label=f"{meter.label} today",
                required=len(meters) == 1,
                error_messages={"required": "Type what the meter shows today."},
            )
        self.order_fields([meter.value for meter in meters])

    @property
    def readings(self):
        return [field for field in self.visible_fields() if field.name != "confirmed"]

    @property
    def asks_to_confirm(self) -> bool:
        """Whether a figure was doubted, or was confirmed and something else is wrong."""
        doubted = any(self.has_error(field.name, "doubtful") for field in self.readings)
        return doubted or bool(self.is_bound and self.data.get("confirmed"))
