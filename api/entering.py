from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.customers import CustomerInput
from api.day import ProposalOutput
from api.endpoint import Endpoint
from api.fields import Choice, Day, Input, Ref
from api.permissions import Allows
from api.vehicles import YEARS
from api.workorders import BookInput, OrderEndpoint, OrderOutput
from shop.customers.models import Customer, Vehicle, VehicleModel
from shop.dampers.models import DamperModel, Position
from shop.workorders.bench_time import propose
from shop.workorders.services import book_new
from shop.workorders.services.entering import DamperTyped, VehicleTyped, dampers_to_be


class VehicleTypedInput(Input):
    model = Ref(queryset=VehicleModel.objects.all())
    model_year = serializers.IntegerField(**YEARS)
    vin = serializers.CharField(max_length=30, allow_blank=True, default="")
    plate = serializers.CharField(max_length=15, allow_blank=True, default="")
    severe_use = serializers.BooleanField(default=False)


class DamperTypedInput(Input):
    model = Ref(queryset=DamperModel.objects.all())
    model_year = serializers.IntegerField(**YEARS)
    position = Choice(Position.choices, allow_blank=True, default="")
    serial = serializers.CharField(max_length=40, allow_blank=True, default="")


class CornerInput(Input):
    position = Choice(Position.choices)
    serial = serializers.CharField(max_length=40, allow_blank=True, default="")


class BookNewInput(BookInput):
    """A customer of the book or a new one, a vehicle of the book, a new one or none, and what is booked of it."""

    customer = Ref(queryset=Customer.objects.all(), default=None, allow_null=True)
    new_customer = CustomerInput(required=False)
    new_vehicle = VehicleTypedInput(required=False)
    corners = CornerInput(
        many=True, default=list, help_text="Of the vehicle. A new one gets all dampers known for its model and year."
    )
    dampers = DamperTypedInput(many=True, default=list, help_text="Others: at a corner of the vehicle, or loose.")
    somebody_else = serializers.BooleanField(
        default=False, help_text="The customer is somebody else than those who are likely the same."
    )

    def validate(self, data):
        if (data["customer"] is None) == ("new_customer" not in data):
            raise serializers.ValidationError({"customer": "Give a customer of the book or a new one, one of both."})
        if not data["corners"] and not data["dampers"]:
            raise serializers.ValidationError({"dampers": "Nothing is booked: give corners of the vehicle or dampers."})
        if len({one["position"] for one in data["corners"]}) < len(data["corners"]):
            raise serializers.ValidationError({"corners": "A corner is named twice."})
        return _typed(data)


class TypedProposalInput(Input):
    """What a booking of somebody new would book."""

    vehicle = Ref(queryset=Vehicle.objects.select_related("model"), allow_null=True, default=None)
    new_vehicle = VehicleTypedInput(required=False)
    corners = CornerInput(many=True, default=list)
    dampers = DamperTypedInput(many=True, default=list)
    arrives_on = Day(help_text="The day the customer brings it.")

    def validate(self, data):
        if not data["corners"] and not data["dampers"]:
            raise serializers.ValidationError({"dampers": "Nothing is given: name corners of the vehicle or dampers."})
        return _typed(data)


def _typed(data):
    data["corners"] = {one["position"]: one["serial"] for one in data["corners"]}
    data["dampers"] = [DamperTyped(**one, place=f"dampers.{at}") for at, one in enumerate(data["dampers"])]
    if "new_vehicle" in data:
        data["new_vehicle"] = VehicleTyped(**data["new_vehicle"])
    return data


class BookNew(OrderEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=BookNewInput, responses={201: OrderOutput})
    def post(self, request):
        """Enter customer, vehicle and dampers that are new and book them, all of it or nothing.

        A customer who is likely in the book already is refused under “somebody_else”; GET customers/duplicates/ tells
        who. The bench days are those of any booking: POST work-orders/book-new/proposal/ tells them before.
        """
        return self.answer(self.do(book_new, **self.body(BookNewInput)), 201)


class TypedProposal(Endpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=TypedProposalInput, responses=ProposalOutput)
    def post(self, request):
        """Which bench days dampers would get that are not entered yet. Writes nothing.

        Corners of which nothing is known are left out.
        """
        asked = self.body(TypedProposalInput)
        arrives_on = asked.pop("arrives_on")
        found = propose(dampers=dampers_to_be(**asked), arrives_on=arrives_on, now=timezone.now())
        return Response(ProposalOutput(found).data)
