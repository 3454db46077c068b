"""Fields for quantities: people type "18.2", "18,2 N·m" or "3 1/2 in", the domain gets figures, unit and SI value."""

from decimal import Decimal

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError

from shop.calc import money, units
from shop.calc.errors import CalcError, OutOfRange
from shop.calc.intervals import day_in_words
from shop.dampers.measures import QUANTITY
from shop.specs.models import COLDEST_BENCH_K, WARMEST_BENCH_K

NO_DAY = "This is no day of the calendar. Write it like 2026-11-25."
MOST_FIGURES = 20  # what the tables keep of the figures as entered


class QuantityField(forms.Field):
    """A quantity as text, in the shop's unit unless another is written behind the number; cleans to units.Entered.

    quantity is one of units.QUANTITIES; unit is what a bare number means (default: the shop's unit of the quantity).
    Zero is allowed unless above_zero, a fraction unless whole (counts are whole by default); low_si and high_si are
    limits in SI. A refusal is the typed error's own sentence, which calls the quantity by name (default: the label).
    The field template shows .unit beside the input.
    """

    default_error_messages = {"required": "Nothing is typed here. Type a number."}

    def __init__(
        self, quantity, *, name="", unit=None, above_zero=False, whole=None, low_si=None, high_si=None, **kwargs
    ):
        kwargs.setdefault("widget", forms.TextInput)
        self.quantity, self.name, self.own_unit, self.above_zero = quantity, name, unit, above_zero
        self.whole = quantity == "count" if whole is None else whole
        self.low_si, self.high_si = low_si, high_si
        super().__init__(**kwargs)

    @classmethod
    def of(cls, measure, **kwargs):
        """The field for one of the measures of a damper, labelled with its name unless told otherwise."""
        kwargs.setdefault("label", measure.label)
        return cls(QUANTITY[measure], **kwargs)

    @property
    def unit(self) -> str:
        """The unit that stands beside the input."""
        return self.bare_unit()

    def bare_unit(self) -> str:
        """What a number without a unit is in."""
        return self.own_unit or settings.SHOP_UNITS.get(self.quantity) or units.QUANTITIES[self.quantity][0].symbol

    def widget_attrs(self, widget):
        keys = "numeric" if self.whole else "decimal"
        return super().widget_attrs(widget) | {"inputmode": keys, "autocomplete": "off"}

    def prepare_value(self, value):
        if isinstance(value, units.Entered):
            return value.figures if value.unit == self.bare_unit() else str(value)
        return value

    def to_python(self, value):
        if isinstance(value, units.Entered) or value is None:
            return value
        text = str(value).strip()
        if not text:
            return None
        name = self.name or self.label or self.quantity
        try:
            entered = units.parse(
                text, self.quantity, self.bare_unit(), field=name, low_si=self.low_si, high_si=self.high_si
            )
            if len(entered.figures) > MOST_FIGURES:
                raise OutOfRange(name, entered.figures, f"at most {MOST_FIGURES} figures")
            if self.above_zero and entered.si <= 0:
                raise OutOfRange(name, str(entered), "more than zero")
            if self.whole and not entered.value.is_integer():
                raise OutOfRange(name, str(entered), f"a whole number of {entered.unit}")
        except CalcError as error:
            raise ValidationError(str(error), code="quantity") from error
        return entered


class MoneyField(forms.Field):
    """An amount of money as text, in figures alone; cleans to a Decimal with two decimals.

    A point or comma that may part thousands is asked about. name is what a refusal calls it (default: the label).
    """

    default_error_messages = {"required": "No amount is typed here. Type one like 420 or 420.50."}

    def __init__(self, *, name="", decimals=2, most=money.MOST, **kwargs):
        kwargs.setdefault("widget", forms.TextInput)
        self.name, self.decimals, self.most = name, decimals, most
        super().__init__(**kwargs)

    @property
    def unit(self) -> str:
        """The currency that stands beside the input."""
        return settings.CURRENCY

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"inputmode": "decimal", "autocomplete": "off"}

    def to_python(self, value):
        if value is None or isinstance(value, Decimal):
            return value
        text = str(value).strip().removesuffix(settings.CURRENCY).strip()
        if not text:
            return None
        try:
            return money.parse(text, self.name or self.label or "amount", decimals=self.decimals, most=self.most)
        except CalcError as error:
            raise ValidationError(str(error), code="money") from error


class DayField(forms.DateField):
    """A calendar day with the browser's own picker; years that no shop's book holds are slips of the finger."""

    def __init__(self, **kwargs):
        kwargs.setdefault("widget", forms.DateInput({"type": "date"}, format="%Y-%m-%d"))
        kwargs.setdefault("error_messages", {"invalid": NO_DAY})
        super().__init__(**kwargs)

    def validate(self, value):
        super().validate(value)
        if value is not None:
            check_day(value)


class MomentField(forms.SplitDateTimeField):
    """A day and a time of day at the shop."""

    def __init__(self, **kwargs):
        widget = forms.SplitDateTimeWidget(
            date_format="%Y-%m-%d",
            time_format="%H:%M",
            date_attrs={"type": "date", "aria-label": "Day"},
            time_attrs={"type": "time", "aria-label": "Time"},
        )
        messages = {
            "required": "Give the day and the time.",
            "invalid_date": NO_DAY,
            "invalid_time": "This is no time of day. Write it like 16:00.",
        }
        super().__init__(widget=widget, error_messages=messages, **kwargs)

    def compress(self, data_list):
        if data_list and all(data_list):
            check_day(data_list[0])
        elif any(data_list):  # half of an optional one
            raise ValidationError(self.error_messages["required"], code="required")
        try:
            return super().compress(data_list)
        except ValidationError:
            day, time = data_list
            raise ValidationError(
                f"On {day_in_words(day)} the clocks change: {time:%H:%M} is left out or comes twice. "
                "Give another time.",
                code="clocks_change",
            ) from None


class DamperModelField(forms.ModelChoiceField):
    """Damper models by name; one that is not serviced here says so."""

    def label_from_instance(self, model):
        return str(model) if model.serviceable else f"{model} (not serviced here)"


def check_day(day) -> None:
    """Raise ValidationError for a day outside 1990 to 2100."""
    if not 1990 <= day.year <= 2100:
        raise ValidationError(f"{day_in_words(day)} cannot be right. Give a day from 1990 to 2100.", code="day")


def bench_temperature_field(**kwargs):
    """The temperature at the bench, in the range in which a thermometer there can be read."""
    return QuantityField(
        "temperature", label="Bench temperature", low_si=COLDEST_BENCH_K, high_si=WARMEST_BENCH_K, **kwargs
    )
