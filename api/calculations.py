"""The bench calculators: one endpoint each, made from the same definitions as the pages."""

from decimal import Decimal

from django.core.exceptions import ValidationError
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import Input, QuantityInput
from api.permissions import Allows
from shop.calc import units
from shop.calc.errors import CalcError
from shop.figures.asked import Number, Quantity
from shop.figures.calculator import Calculator, Refused
from shop.figures.catalogue import CALCULATORS
from shop.figures.own_units import quantity_of


class AskedQuantity(QuantityInput):
    """Figures with their unit, within the range of the input."""

    def __init__(self, asked, **kwargs):
        self.asked = asked
        super().__init__(**kwargs)

    def to_internal_value(self, data):
        return read(self.asked, super().to_internal_value(data))


@extend_schema_field(
    {
        "oneOf": [{"type": "number"}, {"type": "string", "maxLength": units.LONGEST_TEXT}],
        "description": "A plain number, as JSON number or as text.",
    }
)
class AskedNumber(serializers.Field):
    default_error_messages = {"shape": "Give a number, as JSON number or as text."}

    def __init__(self, asked, **kwargs):
        self.asked = asked
        super().__init__(**kwargs)

    def to_internal_value(self, data):
        if isinstance(data, bool) or not isinstance(data, (int, float, str)):
            self.fail("shape")
        if isinstance(data, int) and abs(data) >= 10**units.LONGEST_TEXT:
            self.fail("shape")
        return read(self.asked, data if isinstance(data, str) else f"{Decimal(repr(data)):f}")


@extend_schema_field({"type": "string", "maxLength": units.LONGEST_TEXT})
class AskedText(serializers.Field):
    """A word of a choice, a day, what stands on a plate."""

    default_error_messages = {"shape": "Give text."}

    def __init__(self, asked, **kwargs):
        self.asked = asked
        super().__init__(**kwargs)

    def to_internal_value(self, data):
        if not isinstance(data, str):
            self.fail("shape")
        return read(self.asked, data)


def read(asked, text):
    """The value of a text with its unit, else the typed error's own sentence."""
    try:
        if not text.strip():
            raise asked.missing()
        return asked.read(text, own=False)
    except CalcError as error:
        raise serializers.ValidationError(str(error), code="quantity") from None


class FigureOutput(serializers.Serializer):
    """A result in the unit of this shop; text in figures and no unit where it is no number."""

    name = serializers.CharField()
    label = serializers.CharField()
    figures = serializers.CharField()
    unit = serializers.CharField(source="symbol")
    si = serializers.FloatField(allow_null=True, help_text="Pa, N·m, m, m³, K, N, N/m, m²/s, J or a plain number.")


class SentenceOutput(serializers.Serializer):
    """Something to say beside the figures; state is ok, care, refused, or empty for a plain remark."""

    text = serializers.CharField()
    state = serializers.CharField()


class ColumnOutput(serializers.Serializer):
    label = serializers.CharField()
    quantity = serializers.CharField()


class TableOutput(serializers.Serializer):
    """Rows of SI values, one for each column."""

    caption = serializers.CharField()
    columns = ColumnOutput(many=True)
    rows = serializers.ListField(child=serializers.ListField(child=serializers.FloatField()))


class AnswerOutput(serializers.Serializer):
    """The first figure is the one the calculation is there for. The maker's current service manual prevails."""

    figures = FigureOutput(many=True)
    sentences = SentenceOutput(many=True)
    table = TableOutput(allow_null=True)


class AskedOutput(serializers.Serializer):
    name = serializers.CharField()
    label = serializers.CharField()
    quantity = serializers.CharField(help_text="Empty for plain numbers, days, choices and text.")
    allowed = serializers.CharField(help_text="The range in words, in the unit of this shop; empty if any will do.")
    example = serializers.CharField()
    default = serializers.CharField(help_text="What is taken when the input is left out; empty for none.")
    required = serializers.BooleanField()
    help = serializers.CharField()


class CalculationOutput(serializers.Serializer):
    name = serializers.CharField()
    title = serializers.CharField()
    purpose = serializers.CharField()
    inputs = AskedOutput(many=True)
    formula = serializers.ListField(child=serializers.CharField())
    validity = serializers.CharField()
    source = serializers.CharField()
    caution = serializers.CharField()


class CalculationList(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=CalculationOutput(many=True))
    def get(self, request):
        """What can be worked out here, with inputs, formula, range and source."""
        return Response(CalculationOutput([told(one) for one in CALCULATORS.values()], many=True).data)


class Calculation(Endpoint):
    """Base of the endpoints of one calculator each. Nothing is recorded, so no key is needed."""

    permission_classes = [Allows("look")]
    keyed = False
    calculator: Calculator
    asks: type[Input]

    def work_out(self):
        given = self.body(self.asks)
        try:
            # Defaults come from the definition; what was given is read already.
            values = self.calculator.defaults(but=given) | given
            return Response(AnswerOutput(self.calculator.answer(values)).data)
        except Refused as refused:
            raise ValidationError({name or "__all__": text for name, text in refused.errors.items()}) from None


def told(one: Calculator) -> dict:
    return {
        "name": one.name,
        "title": one.title,
        "purpose": one.purpose,
        "inputs": [
            {
                "name": asked.name,
                "label": asked.label,
                "quantity": quantity_of(asked.quantity) if isinstance(asked, Quantity) else "",
                "allowed": asked.allowed,
                "example": asked.example,
                "default": asked.default_text(),
                "required": needed(asked),
                "help": asked.help,
            }
            for asked in one.inputs
        ],
        "formula": one.formula,
        "validity": one.validity,
        "source": one.source,
        "caution": " ".join(one.caution).strip(),
    }


def needed(asked) -> bool:
    return asked.required and not asked.default


def _field(asked):
    words = [asked.label + "."]
    if asked.allowed:
        words.append(f"Allowed: {asked.allowed}.")
    words.append(asked.help)
    given = {"required": needed(asked), "help_text": " ".join(words).strip()}
    match asked:
        case Quantity():
            return AskedQuantity(asked, **given)
        case Number():
            return AskedNumber(asked, **given)
    return AskedText(asked, **given)


def _endpoint(one: Calculator) -> type[Calculation]:
    """The class of one calculator's endpoint, with its own body in the OpenAPI document."""
    title = "".join(word.capitalize() for word in one.name.split("-"))
    asks = type(f"{title}Input", (Input,), {asked.name: _field(asked) for asked in one.inputs})

    def post(self, request):
        return self.work_out()

    post.__doc__ = f"{one.title}: {one.purpose[0].lower()}{one.purpose[1:]}"
    described = extend_schema(request=asks, responses=AnswerOutput, operation_id=f"v1_calculations_{one.name}")(post)
    return type(title, (Calculation,), {"calculator": one, "asks": asks, "post": described})


ENDPOINTS = {name: _endpoint(one) for name, one in CALCULATORS.items()}
