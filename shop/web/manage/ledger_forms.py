"""What is filled in about the ledger of a part and in a stock take: shapes and labels; the rules live in the domain."""

from django import forms
from django.utils.html import format_html

from shop.core.amounts import stock_amount, to_base_unit
from shop.parts.models import Drum, MovementKind, Part, Reservation
from shop.parts.takes import TWO_OPENED
from shop.web.forms import AskedForm, Form, KeyedForm
from shop.web.manage.forms import LosesField, stock_field


class MovementsForm(Form):
    """Which movements of a part are shown."""

    kind = forms.ChoiceField(label="What happened", required=False, choices=[("", "everything"), *MovementKind.choices])

    @property
    def status(self) -> int:
        return 422 if self.errors else 200


class PlaceField(forms.TypedChoiceField):
    """A size and lot of a part, by what stands there; cleans to its portion."""

    def __init__(self, portions, **kwargs):
        by_place = {
            f"{one.container.pk if one.container else 0}-{one.lot.pk if one.lot else 0}": one for one in portions
        }
        choices = [(place, self._says(one)) for place, one in by_place.items()]
        super().__init__(choices=choices, coerce=by_place.get, **kwargs)

    @staticmethod
    def _says(one):
        return f"{one}: {stock_amount(one.amount, one.part.measure)}{', past its date' if one.expired else ''}"


class WriteOffForm(AskedForm):
    amount = forms.Field()
    reason = forms.CharField(max_length=200, label="Why", help_text="Past its date, spilt, a torn bag.")

    def __init__(self, *args, part, portions, **kwargs):
        super().__init__(*args, **kwargs)
        self.part = part
        self.fields["place"] = PlaceField(portions, label="What")
        self.fields["amount"] = stock_field(part, label="How much", above_zero=True)
        if part.measure == "volume":
            self.fields["drum"] = forms.ModelChoiceField(
                Drum.objects.filter(retired_at=None), required=False, empty_label="not into a drum",
                label="Poured into drum", help_text="The used-oil log notes it with the same act.",
            )  # fmt: skip
            self.fields["elsewhere"] = forms.CharField(
                max_length=100, required=False, label="If not into a drum, where it went",
                help_text="Back to the supplier; spilt and taken up with absorbent.",
            )  # fmt: skip
        held = part.reservations.filter(state="held").select_related("part")
        if held:
            self.fields["loses"] = LosesField(held)
        self.order_fields(["request_key", "place", "amount", "reason", "drum", "elsewhere", "loses", "sure"])

    def clean(self):
        data = super().clean()
        if place := data.pop("place", None):
            data["container"], data["lot"] = place.container, place.lot
        if entered := data.get("amount"):
            data["amount"] = to_base_unit(entered.si, self.part.measure)
        return data


class CorrectForm(KeyedForm):
    reason = forms.CharField(max_length=200, label="What was wrong", help_text="A slip of the finger, another box.")

    def __init__(self, *args, movement, **kwargs):
        super().__init__(*args, **kwargs)
        self.movement = movement
        self.fields["right"] = stock_field(movement.part, label="It should have said")
        self.fields["right"].help_text = "As an amount without a sign: it came, went or was missing as before."
        held = movement.part.reservations.filter(state="held").select_related("part")
        if held and movement.amount > 0:
            self.fields["loses"] = LosesField(held)
        self.order_fields(["request_key", "right", "reason", "loses"])

    def clean(self):
        data = super().clean()
        if entered := data.get("right"):
            amount = to_base_unit(entered.si, self.movement.part.measure)
            data["right"] = -amount if self.movement.amount < 0 else amount
        return data


class KeepingForm(KeyedForm):
    days = forms.IntegerField(
        label="Days it keeps once opened",
        required=False,
        min_value=1,
        max_value=3650,
        help_text="From its label or data sheet. Empty: no limit is known.",
        widget=forms.TextInput({"inputmode": "numeric"}),
    )


class StartTakeForm(KeyedForm):
    """What is counted: some parts by number, a range of bins, or with neither the whole stock."""

    bin_from = forms.CharField(max_length=20, required=False, label="From bin")
    bin_to = forms.CharField(max_length=20, required=False, label="To bin")
    parts = forms.CharField(
        max_length=2000, required=False, label="Or these part numbers", help_text="With commas between them.",
        widget=forms.Textarea({"rows": 2}),
    )  # fmt: skip
    blind = forms.BooleanField(required=False, label="Who counts does not see what the book expects")

    def clean_parts(self):
        numbers = list(dict.fromkeys(one.strip() for one in self.cleaned_data["parts"].split(",") if one.strip()))
        found = {part.number: part for part in Part.objects.filter(number__in=numbers)}
        if strange := [one for one in numbers if one not in found]:
            raise forms.ValidationError(
                f"There is no stock item {', '.join(strange)}. Give numbers as the stock has them."
            )
        return list(found.values())

    def clean(self):
        data = super().clean()
        if data.get("parts") and (data.get("bin_from") or data.get("bin_to")):
            self.add_error("parts", "Give part numbers or bins, not both.")
        return data


def _short(seen: str, heard: str):
    """A label beside a row that says already what it is about; who only hears it, hears the whole."""
    return format_html('{}<span class="visually-hidden"> {}</span>', seen, heard)


class CountedForm(KeyedForm):
    """What was found in some places of a stock take; a place left empty is not counted yet. Cleans to enter_counts."""

    def __init__(self, *args, rows, recount=False, **kwargs):
        super().__init__(*args, **kwargs)
        self.places, self.recount = {}, recount
        for row in rows:
            typed = any(f"{what}_{row.pk}" in self.data for what in ("full", "found"))
            if row.last and not recount and not typed:  # what was typed while somebody else counted it stays to be read
                continue
            self.places[row.pk] = row
            named = str(row)
            if row.container:
                self.fields[f"full_{row.pk}"] = forms.IntegerField(
                    label=_short("Full ones", f"of {named}"), required=False, min_value=0, max_value=100_000,
                    widget=forms.TextInput({"inputmode": "numeric", "autocomplete": "off"}),
                )  # fmt: skip
            label = _short("In the opened one" if row.container else "Found", f"of {named}")
            self.fields[f"found_{row.pk}"] = stock_field(row.part, label=label, name=named, required=False)

    def fields_of(self, row):
        return [self[name] for name in (f"full_{row.pk}", f"found_{row.pk}") if name in self.fields]

    def clean(self):
        data = super().clean()
        figures = []
        for pk, row in self.places.items():
            full, entered = data.get(f"full_{pk}"), data.get(f"found_{pk}")
            if full is None and entered is None:
                continue
            found = to_base_unit(entered.si, row.part.measure) if entered else 0
            if row.container and found >= row.container.size:
                size = stock_amount(row.container.size, row.part.measure)
                words = f"A full {row.container} holds {size}; an opened one less. {TWO_OPENED}"
                self.add_error(f"found_{pk}", words)
            figures.append((row, found + (full or 0) * row.container.size if row.container else found))
        if not figures and not self.errors:
            raise forms.ValidationError("Nothing is typed here. Type what was found, 0 where nothing is.")
        return {"request_key": data.get("request_key", ""), "figures": figures, "recount": self.recount}


class FinishTakeForm(KeyedForm):
    """The reasons of the differences, what stays uncounted, and who goes without. Cleans to what finish_take takes."""

    reason = forms.CharField(
        max_length=150,
        required=False,
        label="Reason for all",
        help_text="A yearly count. A row's own reason goes before it.",
    )

    def __init__(self, *args, found, **kwargs):
        super().__init__(*args, **kwargs)
        self.rows = {f"reason_{row.pk}": row for row in found.differing}
        for name, row in self.rows.items():
            self.fields[name] = forms.CharField(max_length=150, required=False, label=_short("", f"Reason for {row}"))
        if found.uncounted:
            self.fields["leave_uncounted"] = forms.BooleanField(
                required=False, label=f"{len(found.uncounted)} places are not counted: they stay as the book has them"
            )
        if found.holding:
            keys = [one.pk for one in found.holding]
            self.fields["loses"] = LosesField(Reservation.objects.filter(pk__in=keys).select_related("part"))

    def reason_of(self, row):
        return self[f"reason_{row.pk}"] if f"reason_{row.pk}" in self.fields else ""

    def clean(self):
        data = super().clean()
        data["reasons"] = [(row, data.pop(name)) for name, row in self.rows.items() if data.get(name)]
        return {name: value for name, value in data.items() if name not in self.rows}
