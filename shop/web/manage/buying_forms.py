"""What is filled in for buying: shapes and labels; the rules live in the domain."""

from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError

from shop.calc.bench_time import WEEKDAYS
from shop.core.amounts import price_in_words, to_base_unit
from shop.parts.models import MOST_UNITS, Container, Part, SentHow
from shop.parts.models.suppliers import LONGEST_LEAD_DAYS
from shop.parts.services import Arrived, Wanted
from shop.web.fields import DayField, MoneyField
from shop.web.forms import KeyedForm, VersionedForm, text_field
from shop.web.manage.forms import stock_field

MOST_PRICE = Decimal("999999.9999")  # what the tables keep
NUMBERS = {"inputmode": "numeric", "autocomplete": "off"}


class ExactPriceField(MoneyField):
    """Money for one piece or container; small things are priced in less than a cent."""

    def __init__(self, **kwargs):
        super().__init__(decimals=4, most=MOST_PRICE, **kwargs)

    def prepare_value(self, value):
        if not isinstance(value, Decimal):
            return value
        text = price_in_words(value)
        # Three figures behind the point might be thousands when they are read again: 1.2340 cannot be.
        return f"{text}0" if text[-4:-3] == "." else text


def units_field(label, least=0, **kwargs):
    return forms.IntegerField(
        label=label, min_value=least, max_value=MOST_UNITS, widget=forms.TextInput(NUMBERS), **kwargs
    )


class WeekdaysField(forms.MultipleChoiceField):
    """Days to tick; cleans to what the book keeps of them: 024."""

    def prepare_value(self, value):
        return list(value) if isinstance(value, str) else value

    def clean(self, value):
        return "".join(sorted(super().clean(value)))


class SupplierForm(KeyedForm):
    name = forms.CharField(max_length=80)
    account_number = forms.CharField(
        max_length=40, required=False, label="Account number", help_text="Ours in their books; printed on orders."
    )
    email = forms.EmailField(required=False, label="E-mail", help_text="Where orders go.")
    phone = forms.CharField(max_length=40, required=False, label="Telephone")
    lead_days = forms.IntegerField(
        label="Lead time in working days",
        min_value=0,
        max_value=LONGEST_LEAD_DAYS,
        widget=forms.TextInput(NUMBERS),
        help_text="From the order to the delivery.",
    )
    lead_deviation_days = forms.IntegerField(
        label="Give or take, in working days",
        min_value=0,
        max_value=LONGEST_LEAD_DAYS,
        initial=0,
        widget=forms.TextInput(NUMBERS),
        help_text="How much it usually differs (standard deviation). It makes the safety stock larger.",
    )
    order_days = WeekdaysField(
        choices=[(str(n), name) for n, name in enumerate(WEEKDAYS[:5])],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Takes orders on",
        help_text="No tick: on any working day.",
    )
    address = text_field(300, required=False)
    note = text_field(500, required=False)


class SupplierChangeForm(VersionedForm, SupplierForm):
    in_use = forms.BooleanField(required=False, label="In use: orders may go there")

    def _sent(self, name):
        if name == "order_days":
            return "".join(sorted(self.data.getlist(self.add_prefix(name))))
        return super()._sent(name)

    def _in_words(self, name, value):
        if name == "order_days":
            return ", ".join(WEEKDAYS[int(one)] for one in value) or "any working day"
        return super()._in_words(name, value)


class ItemForm(KeyedForm):
    """What a supplier sells: the part is chosen first, since its containers hang on it."""

    their_number = forms.CharField(max_length=40, required=False, label="Their number")
    pack = units_field("Whole packs of", 1, initial=1, help_text="Pieces or containers.")
    minimum = units_field("At least", 1, initial=1, help_text="The fewest pieces or containers they send.")

    def __init__(self, *args, part: Part, **kwargs):
        super().__init__(*args, **kwargs)
        containers = part.containers.all()
        if containers or part.measure != "count":
            piece = "by the piece" if part.measure == "count" else None
            self.fields["container"] = forms.ModelChoiceField(
                Container.objects.filter(part=part), label="Sold in", empty_label=piece, required=not piece
            )
        self.fields["price"] = ExactPriceField(
            label="Price of one", required=False, help_text="From today on. Empty: nobody knows it yet."
        )
        self.order_fields(["request_key", "container", "their_number", "price", "pack", "minimum"])


class ItemChangeForm(VersionedForm):
    their_number = forms.CharField(max_length=40, required=False, label="Their number")
    pack = units_field("Whole packs of", 1)
    minimum = units_field("At least", 1)
    in_use = forms.BooleanField(required=False, label="In use: it may be ordered")


class PriceForm(KeyedForm):
    price = ExactPriceField(label="Price of one")
    from_day = DayField(label="From")


class DraftForm(KeyedForm):
    """So many of each thing that a supplier sells; cleans to what start_order takes."""

    def __init__(self, *args, items, units=(), **kwargs):
        super().__init__(*args, **kwargs)
        self.items, units = list(items), dict(units)
        for item in self.items:
            self.fields[f"units_{item.pk}"] = units_field(str(item), required=False, initial=units.get(item.pk))
        self.fields["note"] = forms.CharField(
            max_length=300, required=False, label="Note to the supplier", help_text="Printed on the order."
        )

    @property
    def rows(self):
        return [(item, self[f"units_{item.pk}"]) for item in self.items]

    def clean(self):
        data = super().clean()
        found = [(item, data.pop(f"units_{item.pk}", None)) for item in self.items]
        data["wanted"] = [Wanted(item, units) for item, units in found if units]
        return data


class SendForm(KeyedForm):
    how = forms.ChoiceField(choices=SentHow.choices, label="How it went out")
    expected_on = DayField(label="Delivery expected on")


class LineForm(KeyedForm):
    units = units_field("Ordered", help_text="In all, with what came already.")
    price = ExactPriceField(label="Price of one", required=False)
    expected_on = DayField(label="Expected on", required=False, help_text="Empty: with the rest of the order.")
    why = forms.CharField(max_length=200, label="Why", help_text="What the supplier said, and when.")

    def __init__(self, *args, draft, **kwargs):
        super().__init__(*args, **kwargs)
        if draft:
            del self.fields["why"]
            self.fields["units"].help_text = "0 takes the line off."


class DeliveryForm(KeyedForm):
    """What came with one delivery note, line by line; cleans to what receive_delivery takes."""

    delivery_note = forms.CharField(
        max_length=60,
        label="Delivery note",
        help_text="Its number; the day if it has none. One note is entered once.",
        widget=forms.TextInput({"autofocus": True, "autocomplete": "off"}),
    )

    def __init__(self, *args, lines, **kwargs):
        super().__init__(*args, **kwargs)
        self.lines = list(lines)
        for line in self.lines:
            self.fields[f"units_{line.pk}"] = units_field(f"{line.item}: came", required=False)
            self.fields[f"price_{line.pk}"] = ExactPriceField(label=f"{line.item}: paid for one", required=False)
            self.fields[f"why_{line.pk}"] = forms.CharField(
                max_length=200, required=False, label=f"{line.item}: why more is kept"
            )
            if line.item.container_id:  # fluids keep for a while only
                self.fields[f"lot_{line.pk}"] = forms.CharField(max_length=40, required=False, label="Lot")
                self.fields[f"use_by_{line.pk}"] = DayField(required=False, label="Use by")

    @property
    def rows(self):
        """Each line with its fields; why more is kept is asked only where more came, the label's only of containers."""
        return [
            (
                line,
                self[f"units_{line.pk}"],
                self[f"price_{line.pk}"],
                self[f"why_{line.pk}"] if self._more(line) else None,
                [self[f"{name}_{line.pk}"] for name in ("lot", "use_by")] if line.item.container_id else [],
            )
            for line in self.lines
        ]

    def _more(self, line):
        typed = (self.data or {}).get(f"units_{line.pk}", "")
        return typed.isdigit() and len(typed) < 9 and int(typed) > line.to_come

    def clean(self):
        data = super().clean()
        arrived = []
        for line in self.lines:
            typed = [data.pop(f"{name}_{line.pk}", None) for name in ("units", "price", "why", "lot", "use_by")]
            units, price, why, lot, use_by = typed
            if units:
                arrived.append(Arrived(line, units, price, why or "", lot or "", use_by))
        data["arrived"] = arrived
        return data


class CorrectForm(KeyedForm):
    units = units_field("Really came")
    why = forms.CharField(max_length=200, label="Why", help_text="What was misread, or what went back to the supplier.")


class WhyForm(KeyedForm):
    why = forms.CharField(max_length=300, label="Why", help_text="Not needed any more, or they cannot deliver.")


class ReorderForm(KeyedForm):
    """A reorder point by hand; cleans to what fix_reorder takes."""

    why = forms.CharField(max_length=200, label="Why", help_text="A season that begins, a part that ends.")

    def __init__(self, *args, part: Part, **kwargs):
        super().__init__(*args, **kwargs)
        self.part = part
        self.fields["point"] = stock_field(part, label="Order when so much is left")
        self.fields["amount"] = stock_field(part, label="At a time", help_text="0: it is not ordered again.")
        self.order_fields(["request_key", "point", "amount", "why"])

    def clean(self):
        data = super().clean()
        for name in ("point", "amount"):
            if data.get(name) is not None:
                data[name] = to_base_unit(data[name].si, self.part.measure)
        return data


class PartNumberForm(KeyedForm):
    """The first question on the way to what a supplier sells; a scanner may type it."""

    number = forms.CharField(
        max_length=40, label="Part number", widget=forms.TextInput({"autofocus": True, "autocomplete": "off"})
    )

    def clean_number(self):
        part = Part.objects.filter(number__iexact=self.cleaned_data["number"].strip()).first()
        if part is None:
            number = self.cleaned_data["number"]
            raise ValidationError(f"“{number}” is no stock item. Enter it under Catalogue, Stock items, first.")
        self.part = part
        return part.number
