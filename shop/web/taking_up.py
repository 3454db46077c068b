"""How much of an optional part is taken up for a bag: the same form at the desk and at the bench."""

from django import forms

from shop.calc.units import figures
from shop.core.amounts import to_base_unit
from shop.parts.models import BASE_UNIT_SI, MOST_AT_ONCE_SI
from shop.picklists.needs import Need
from shop.web.fields import QuantityField
from shop.web.forms import KeyedForm


class TakeUpForm(KeyedForm):
    """Filled in with what the parts list has for one damper; cleans to what take_up_part takes."""

    within_price = forms.BooleanField(
        label="It stays within the agreed price, or the customer agreed to it", required=False, widget=forms.HiddenInput
    )

    def __init__(self, *args, need: Need, template_name=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.need = need
        unit = "pcs" if need.measure == "count" else None
        self.fields["amount"] = field = QuantityField(
            need.measure,
            unit=unit,
            label=f"How much {need.name}",
            above_zero=True,
            high_si=MOST_AT_ONCE_SI[need.measure],
            template_name=template_name,
        )
        text = figures(need.amount * BASE_UNIT_SI[need.measure], field.unit, 6)
        field.initial = text.rstrip("0").rstrip(".") if "." in text else text
        if need.measure == "count":
            field.step = "1"

    @property
    def asks_price(self) -> bool:
        """Whether a price was agreed, so that somebody has to say that the part stays within it."""
        return self.has_error("within_price") or bool(self.is_bound and self.data.get("within_price"))

    def add_error(self, field, error):
        if field == "within_price":
            self.fields[field].widget = forms.CheckboxInput()
        super().add_error(field, error)

    def clean_within_price(self):
        if self.cleaned_data["within_price"]:
            self.fields["within_price"].widget = forms.CheckboxInput()
        return self.cleaned_data["within_price"]

    def clean(self):
        data = super().clean()
        entered = data.pop("amount", None)
        if entered:
            # As it stood it is the parts list's own amount, whatever its figures were rounded to.
            field = self.fields["amount"]
            as_listed = (entered.figures, entered.unit) == (field.initial, field.unit)
            data["amount"] = None if as_listed else to_base_unit(entered.si, self.need.measure)
        return data | {"part_number": self.need.part_number}
