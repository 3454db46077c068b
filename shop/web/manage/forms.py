"""What the manager fills in: shapes and labels; the rules live in the domain."""

from django import forms
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.db.models import Sum

from shop.core.amounts import stock_amount, to_base_unit
from shop.parts.models import MOST_AT_ONCE_SI, Container, ReservationState
from shop.parts.takes import TWO_OPENED
from shop.staff.models import Role
from shop.web.fields import DayField, QuantityField
from shop.web.forms import Form, KeyedForm, NewPasswordForm


class PrintedField(QuantityField):
    """A figure as its source prints it: the unit is chosen in a field of its own, so none stands beside this one."""

    unit = ""


def stock_field(part, **kwargs):
    """The field for an amount of a stock item: pieces, or in the shop's unit."""
    unit = "pcs" if part.measure == "count" else None
    return QuantityField(part.measure, unit=unit, high_si=MOST_AT_ONCE_SI[part.measure], **kwargs)


class LosesField(forms.ModelMultipleChoiceField):
    """Orders that go without what was held for them."""

    def __init__(self, queryset, **kwargs):
        words = {
            "label": "Who goes without",
            "help_text": "Only when less stays than is held: what is held for these is let go, and they are short.",
        }
        super().__init__(queryset, required=False, widget=forms.CheckboxSelectMultiple, **words | kwargs)

    def label_from_instance(self, one):
        return f"{one.purpose}: {stock_amount(one.amount, one.part.measure)} of {one.part.number}"


class ReceiveForm(KeyedForm):
    """A delivery of one part: whole containers where it comes in such, else an amount; cleans to what receive takes."""

    container = forms.ModelChoiceField(Container.objects.none(), label="Container", empty_label=None)
    count = forms.IntegerField(
        label="How many", min_value=1, max_value=100_000, widget=forms.TextInput({"inputmode": "numeric"})
    )
    lot_code = forms.CharField(
        max_length=40, label="Lot on the label", required=False, help_text="Its code, if the label has one."
    )
    use_by = DayField(label="Use by", required=False, help_text="The last day on which it may be used.")
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
        lots = part.lots.annotate(there=Sum("movements__amount")).filter(there__gt=0)
        if lots:
            self.fields["lot"] = forms.ModelChoiceField(
                lots, label="Lot", required=False, empty_label="no lot noted", help_text="One lot at a time is counted."
            )
        held = part.reservations.filter(state=ReservationState.HELD).select_related("part")
        if held:
            self.fields["loses"] = LosesField(held)
        self.order_fields(["request_key", "container", "lot", "full", "found", "reason", "loses"])

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
            self.add_error("found", f"A full {container} holds {size}; an opened one less. {TWO_OPENED}")
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
