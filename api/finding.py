from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import Brief, Choice, Input
from api.permissions import Allows
from shop.customers.duplicates import likely_same
from shop.workorders import finding


class FindQuery(Input):
    q = serializers.CharField(
        max_length=100,
        help_text="Parts of names and numbers; every word has to be found. One or two letters begin a word.",
    )
    kinds = serializers.CharField(
        max_length=60,
        required=False,
        help_text=f"Of these only, with commas between: {', '.join(finding.Kind.values)}.",
    )
    most = serializers.IntegerField(min_value=1, max_value=50, default=20)

    def validate_kinds(self, text):
        kinds = [kind.strip() for kind in text.split(",") if kind.strip()]
        if strange := [kind for kind in kinds if kind not in finding.Kind.values]:
            allowed = ", ".join(finding.Kind.values)
            raise serializers.ValidationError(f"“{strange[0]}” is none of: {allowed}.", code="invalid_choice")
        return kinds


class HitOutput(serializers.Serializer):
    kind = Choice(choices=finding.Kind.choices)
    id = serializers.IntegerField(
        source="row.pk", help_text="Of the customer, vehicle, damper or order; of a tag, the job."
    )
    title = serializers.CharField()
    sentence = serializers.CharField(help_text="What it is, whose, in which state.")
    told = serializers.CharField(help_text="Of an order: the answer for the telephone, in one line; else empty.")
    past = serializers.BooleanField(help_text="Sold, called off or merged: it comes last.")
    by_owner = serializers.BooleanField(source="beside", help_text="Found only by whose it is or what it sits on.")
    url = serializers.CharField(help_text="Its page.")


class FindOutput(serializers.Serializer):
    found = HitOutput(many=True)
    more = serializers.BooleanField()
    words = serializers.CharField(
        help_text="When nothing says what was asked: what was looked for instead; else empty."
    )


class Find(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(parameters=[FindQuery], responses=FindOutput)
    def get(self, request):
        """Find customers, vehicles, dampers, bag tags and orders by any part of a name or number."""
        asked = self.query(FindQuery)
        answer = finding.find(asked["q"], now=timezone.now(), kinds=asked.get("kinds"), most=asked["most"])
        return Response(FindOutput(answer).data)


class TwinQuery(Input):
    name = serializers.CharField(max_length=120, allow_blank=True, default="")
    phone = serializers.CharField(max_length=40, allow_blank=True, default="")
    email = serializers.CharField(max_length=254, allow_blank=True, default="")
    vin = serializers.CharField(max_length=30, allow_blank=True, default="")


class TwinOutput(serializers.Serializer):
    customer = Brief()
    why = serializers.CharField()
    vehicle = Brief(allow_null=True)


class Twins(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(parameters=[TwinQuery], responses=TwinOutput(many=True))
    def get(self, request):
        """Who may be in the book already: ask before entering a customer."""
        return Response(TwinOutput(likely_same(**self.query(TwinQuery)), many=True).data)
