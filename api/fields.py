"""What travels: quantities with their unit, references to rows, and choices whose refusal names what is allowed."""

from collections.abc import Mapping

from django.core.exceptions import ObjectDoesNotExist
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from shop.calc import money, units
from shop.calc.errors import CalcError, OutOfRange
from shop.calc.units import Entered
from shop.core.amounts import BASE_UNIT, shop_unit, stock_amount, to_base_unit
from shop.parts.models import MOST_AT_ONCE, MOST_AT_ONCE_SI

MOST_KEY_DIGITS = 18  # a longer number fits no column of a database
MOST_FIGURES = 20  # what the tables keep of the figures as entered
QUANTITY_IN = {
    "oneOf": [
        {"type": "string", "example": "18.2 lbf·ft", "maxLength": units.LONGEST_TEXT},
        {
            "type": "object",
            "properties": {
                "figures": {"type": "string", "example": "18.2", "maxLength": MOST_FIGURES},
                "unit": {"type": "string", "example": "lbf·ft"},
            },
            "required": ["figures", "unit"],
        },
    ],
    "description": "Figures as text with their unit, so that nothing is mixed up: “200 psi”, “12 clicks”, “3 1/2 in”.",
}


@extend_schema_field(QUANTITY_IN)
class QuantityInput(serializers.Field):
    """Figures and unit as text or as two keys; cleans to units.Entered, or to text where the quantity is not known yet.

    Without a quantity the serializer's validate() calls read() once it knows what is measured.
    """

    default_error_messages = {
        "shape": "Write the figures as text with their unit: “18.2 lbf·ft” or {{“figures”: “18.2”, “unit”: “lbf·ft”}}.",
    }

    def __init__(self, quantity=None, **kwargs):
        self.quantity = quantity
        super().__init__(**kwargs)

    def to_internal_value(self, data):
        if isinstance(data, dict):
            if set(data) != {"figures", "unit"} or not all(isinstance(part, str) for part in data.values()):
                self.fail("shape")
            data = f"{data['figures']} {data['unit']}"
        elif not isinstance(data, str):
            self.fail("shape")
        if self.quantity is None:
            return data
        try:
            return _parsed(data, self.quantity, self.field_name)
        except CalcError as error:
            raise serializers.ValidationError(str(error), code="quantity") from None


def read(text: str, quantity: str, field: str) -> Entered:
    """For validate(): text with an explicit unit to a quantity, else the typed error's own sentence under the field."""
    try:
        return _parsed(text, quantity, field)
    except CalcError as error:
        raise serializers.ValidationError({field: str(error)}, code="quantity") from None


def base_amount(text: str, measure: str, field: str) -> int:
    """For validate(): text with an explicit unit to an amount of stock, a whole number of base units."""
    try:
        entered = _parsed(text, measure, field, counted="pcs")
        if entered.si > MOST_AT_ONCE_SI[measure]:
            raise OutOfRange(field, str(entered), f"at most {stock_amount(MOST_AT_ONCE[measure], measure)}")
    except CalcError as error:
        raise serializers.ValidationError({field: str(error)}, code="quantity") from None
    return to_base_unit(entered.si, measure)


def _parsed(text: str, quantity: str, field: str, counted: str = "clicks") -> Entered:
    entered = units.parse(text, quantity, field=field)
    if quantity == "count" and entered.unit != counted:  # turns are no clicks, and clicks are no pieces
        entered = units.parse(text, quantity, counted, field=field)
    if len(entered.figures) > MOST_FIGURES:
        raise OutOfRange(field, entered.figures, f"at most {MOST_FIGURES} figures")
    if quantity == "count" and not entered.value.is_integer():
        raise OutOfRange(field, str(entered), f"a whole number of {entered.unit}")
    return entered


class QuantityOutput(serializers.Serializer):
    """Figures and unit as they were entered or as this shop reads them, and the value in SI."""

    figures = serializers.CharField()
    unit = serializers.CharField()
    si = serializers.FloatField(help_text="Pa, N·m, m, m³, kg, s or a count.")


class AsEntered(QuantityOutput):
    """For rows with figures, unit and value_si: AsEntered(source="*")."""

    si = serializers.FloatField(source="value_si", help_text="Pa, N·m, m, m³, kg, s or a count.")


def in_shop_unit(value_si: float, quantity: str) -> dict:
    """A value nobody typed, in the unit of this shop."""
    unit = shop_unit(quantity)
    return {"figures": units.figures(value_si, unit), "unit": unit, "si": value_si}


def stock_quantity(amount: int, measure: str) -> dict:
    """An amount of stock, kept in base units, in the unit of this shop."""
    si = float(amount * units.unit(BASE_UNIT[measure]).factor)
    if measure == "count":
        return {"figures": str(amount), "unit": BASE_UNIT[measure], "si": si}
    return in_shop_unit(si, measure)


class Ref(serializers.PrimaryKeyRelatedField):
    """The number of a row; a number nobody has is refused under the field's own name."""

    default_error_messages = {
        "does_not_exist": "There is no {what} {pk_value}.",
        "incorrect_type": "Give the number of a {what}.",
    }

    def to_internal_value(self, data):
        queryset = self.get_queryset()
        what = queryset.model._meta.verbose_name
        if isinstance(data, str) and data.isascii() and data.isdigit() and len(data) <= MOST_KEY_DIGITS:
            data = int(data)
        if type(data) is not int:
            self.fail("incorrect_type", what=what)
        try:
            return queryset.get(pk=data)
        except ObjectDoesNotExist:
            self.fail("does_not_exist", what=what, pk_value=data)


class Key(serializers.IntegerField):
    """In a query: the number of a row, of a size that a database's column holds."""

    def __init__(self, **kwargs):
        super().__init__(min_value=1, max_value=10**MOST_KEY_DIGITS - 1, **kwargs)


class Named(serializers.SlugRelatedField):
    """A row by the name people know it by: a tool's code, a person's log-in."""

    default_error_messages = {
        "does_not_exist": "There is no {what} “{value}”.",
        "invalid": "Give the {slug} of a {what}.",
    }

    def to_internal_value(self, data):
        queryset = self.get_queryset()
        what = queryset.model._meta.verbose_name
        if not isinstance(data, str) or not data.isprintable():
            self.fail("invalid", what=what, slug=self.slug_field)
        try:
            return queryset.get(**{self.slug_field: data})
        except ObjectDoesNotExist:
            self.fail("does_not_exist", what=what, value=data[:60])


class Choice(serializers.ChoiceField):
    """One of a few words; a refusal names them."""

    default_error_messages = {"invalid_choice": "“{input}” is none of: {allowed}."}

    def fail(self, key, **kwargs):
        kwargs["input"] = str(kwargs.get("input"))[:60]
        super().fail(key, **kwargs, allowed=", ".join(str(choice) for choice in self.choices))


class Day(serializers.DateField):
    """A calendar day of this age."""

    default_error_messages = {"age": "“{input}” is no day a workshop knows. Give one from 1970 to 2100."}

    def to_internal_value(self, value):
        day = super().to_internal_value(value)
        if not 1970 <= day.year <= 2100:
            self.fail("age", input=day)
        return day


class Moment(serializers.DateTimeField):
    """A moment of this age, with its offset from UTC; without one it is the shop's local time."""

    default_error_messages = {"age": "“{input}” is no time a workshop knows. Give one from 1970 to 2100."}

    def to_internal_value(self, value):
        moment = super().to_internal_value(value)
        if not 1970 <= moment.year <= 2100:
            self.fail("age", input=moment.isoformat())
        return moment


# A docstring here would become the description of every body in the OpenAPI document.
class Input(serializers.Serializer):
    # A body or query: a name that means nothing here is refused, so that a slip of the finger is not lost silently.

    def to_internal_value(self, data):
        if isinstance(data, Mapping) and (strange := [str(name)[:40] for name in data if name not in self.fields]):
            known = ", ".join(self.fields) or "none"
            raise serializers.ValidationError(
                {name: [f"There is no field of this name here; known are: {known}."] for name in strange},
                code="unknown_field",
            )
        return super().to_internal_value(data)


class Brief(serializers.Serializer):
    """A row that is only pointed at: its number and how the shop calls it."""

    id = serializers.IntegerField(source="pk")
    name = serializers.CharField(source="__str__")


@extend_schema_field({"type": "string", "example": "420.50", "description": "Money, as text, in the shop's currency."})
class Money(serializers.Field):
    """An amount of money as text: "420" or "420.50"; a sign that may part thousands is asked about."""

    default_error_messages = {"shape": "Write the amount as text: “420” or “420.50”."}

    def to_internal_value(self, data):
        if not isinstance(data, str):
            self.fail("shape")
        try:
            return money.parse(data, self.field_name)
        except CalcError as error:
            raise serializers.ValidationError(str(error), code="money") from None

    def to_representation(self, value):
        return f"{value:.2f}"
