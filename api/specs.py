from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import AsEntered, Brief, Choice, Input, QuantityOutput, Ref, in_shop_unit
from api.permissions import Allows
from api.vehicles import YEARS
from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel, Position
from shop.specs.candidates import explain
from shop.specs.models import SheetStatus
from shop.specs.selectors import sheet_for

CAUTION = "The maker's current service manual for the exact unit prevails."


class SpecQuery(Input):
    damper_model = Ref(queryset=DamperModel.objects.all())
    model_year = serializers.IntegerField(**YEARS)
    position = Choice(Position.choices, allow_blank=True, default="", help_text="Empty: not known.")
    vehicle_model = Ref(queryset=VehicleModel.objects.all(), default=None, help_text="Empty: loose, or not known.")


class ValueOutput(serializers.Serializer):
    """A figure of a spec sheet: as printed in its source, and the limits in the shop's unit."""

    measure = serializers.CharField()
    value = AsEntered(source="*")
    low = serializers.SerializerMethodField()
    high = serializers.SerializerMethodField()
    tolerance = serializers.CharField()
    page = serializers.CharField()
    note = serializers.CharField()

    @extend_schema_field(QuantityOutput)
    def get_low(self, value):
        return in_shop_unit(value.low_si, value.quantity)

    @extend_schema_field(QuantityOutput)
    def get_high(self, value):
        return in_shop_unit(value.high_si, value.quantity)


class SheetOutput(serializers.Serializer):
    id = serializers.IntegerField()
    code = serializers.CharField()
    version = serializers.IntegerField()
    years = serializers.CharField()
    position = serializers.CharField()
    vehicle_model = Brief(allow_null=True)
    source = serializers.CharField(help_text="Document, revision, page.")
    note = serializers.CharField()
    reference_temperature = serializers.SerializerMethodField(help_text="At which the charge is meant.")
    reference_altitude_m = serializers.FloatField(help_text="At which the charge is meant.")
    entered_by = Brief()
    verified_by = Brief(allow_null=True)
    verified_at = serializers.DateTimeField(allow_null=True)
    values = ValueOutput(source="values.all", many=True)

    @extend_schema_field(QuantityOutput)
    def get_reference_temperature(self, sheet):
        return in_shop_unit(sheet.reference_k, "temperature")


class CandidateOutput(serializers.Serializer):
    """A sheet of the damper model, and why it holds at this place or what speaks against it."""

    sheet = Brief()
    status = serializers.CharField(source="sheet.status")
    holds = serializers.BooleanField()
    why = serializers.CharField()


class FoundOutput(serializers.Serializer):
    state = serializers.ChoiceField(["verified", "DRAFT", "none"], help_text="Only verified figures are for the bench.")
    rule = serializers.CharField(help_text="Why this sheet and no other; when there is none, what was looked for.")
    caution = serializers.CharField()
    sheet = SheetOutput(allow_null=True)
    candidates = CandidateOutput(many=True, help_text="Every sheet of the damper model, by how close it comes.")


class Spec(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(parameters=[SpecQuery], responses=FoundOutput)
    def get(self, request):
        """Look up the spec sheet that holds for a damper model, model year and position.

        The most specific verified sheet; failing that the newest draft, marked DRAFT; failing that state is "none".
        """
        asked = self.query(SpecQuery)
        found = sheet_for(**asked)
        if found.sheet is None:
            state = "none"
        else:
            state = "verified" if found.sheet.status == SheetStatus.VERIFIED else "DRAFT"
        answer = {"state": state, "rule": found.rule, "caution": CAUTION, "sheet": found.sheet}
        answer["candidates"] = explain(**asked)
        return Response(FoundOutput(answer).data)
