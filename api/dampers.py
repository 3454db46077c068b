from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Choice, Input, Key, Ref
from api.permissions import Allows
from api.vehicles import YEARS
from shop.customers.models import Customer, Vehicle
from shop.dampers.geometry import SIZES
from shop.dampers.models import Damper, DamperModel, Position
from shop.dampers.services import create_damper, fit_dampers
from shop.workorders.services import change_damper, take_off_damper


class DamperModelOutput(serializers.ModelSerializer):
    class Meta:
        model = DamperModel
        fields = [
            "id", "maker", "name", "construction", "serviceable", "why_not", "cap_style",
            *[size.name for size in SIZES], "version",
        ]  # fmt: skip
        read_only_fields = fields
        extra_kwargs = {
            "why_not": {"help_text": "For a model that is not serviced here: what to tell the customer."},
            "cap_style": {"help_text": "How the cap over the IFP is held; empty: not known."},
        } | {size.name: {"help_text": f"{size.label}, SI. {size.help or 'Empty: not known.'}"} for size in SIZES}


class DamperInput(Input):
    """On a corner of a vehicle, or loose: then without vehicle, and a position only says where it came from."""

    customer = Ref(queryset=Customer.objects.all())
    vehicle = Ref(queryset=Vehicle.objects.all(), default=None, allow_null=True)
    position = Choice(Position.choices, allow_blank=True, default="")
    model = Ref(queryset=DamperModel.objects.all())
    model_year = serializers.IntegerField(**YEARS)
    serial = serializers.CharField(max_length=40, allow_blank=True, default="")


class DamperChange(Input):
    """Fields left out stay as they are."""

    position = Choice(Position.choices, required=False)
    model = Ref(queryset=DamperModel.objects.all(), required=False)
    model_year = serializers.IntegerField(required=False, **YEARS)
    serial = serializers.CharField(max_length=40, allow_blank=True, required=False)


class DamperOutput(serializers.ModelSerializer):
    customer = Brief()
    vehicle = Brief(allow_null=True)
    position = serializers.CharField(help_text="Empty: loose, and where it came from is not known.")
    model = DamperModelOutput()

    class Meta:
        model = Damper
        fields = ["id", "customer", "vehicle", "position", "model", "model_year", "serial"]
        read_only_fields = fields


class DamperQuery(Input):
    customer = Key(required=False)
    vehicle = Key(required=False)


def with_names():
    return Damper.objects.select_related("customer", "vehicle__model", "model")


class DamperList(Listing):
    permission_classes = [Allows("look", write="keep_customers")]

    @extend_schema(parameters=[DamperQuery], responses=DamperOutput(many=True))
    def get(self, request):
        """List dampers, of a customer or a vehicle if you say so."""
        return self.page(with_names().filter(**self.query(DamperQuery)), DamperOutput)

    @extend_schema(request=DamperInput, responses={201: DamperOutput})
    def post(self, request):
        """Enter a damper, on a vehicle's corner or loose."""
        damper = self.do(create_damper, **self.body(DamperInput))
        return Response(DamperOutput(damper).data, status=201)


class DamperDetail(Endpoint):
    permission_classes = [Allows("look", write="keep_customers")]

    @extend_schema(responses=DamperOutput)
    def get(self, request, pk):
        """Read a damper."""
        return Response(DamperOutput(self.find(with_names(), pk)).data)

    @extend_schema(request=DamperChange, responses=DamperOutput)
    def patch(self, request, pk):
        """Correct a damper; 409 while it is on the bench, where its figures are frozen."""
        damper = self.find(with_names(), pk)
        known = {name: getattr(damper, name) for name in ("position", "model", "model_year", "serial")}
        damper = self.do(change_damper, damper=damper, **known | self.body(DamperChange))
        return Response(DamperOutput(self.find(with_names(), damper.pk)).data)


class DamperTakeOff(Endpoint):
    permission_classes = [Allows("keep_customers")]

    @extend_schema(request=None, responses=DamperOutput)
    def post(self, request, pk):
        """Note that a damper sits on its vehicle no more: it is loose from then on."""
        self.body(Input)
        damper = self.do(take_off_damper, damper=self.find(Damper, pk))
        return Response(DamperOutput(self.find(with_names(), damper.pk)).data)


class FitDampers(Endpoint):
    permission_classes = [Allows("keep_customers")]

    @extend_schema(request=None, responses={200: DamperOutput(many=True)})
    def post(self, request, pk):
        """Enter the dampers that a vehicle of this model and year carries, at every corner that has none yet.

        The answer is all dampers on the vehicle.
        """
        self.body(Input)
        vehicle = self.do(fit_dampers, vehicle=self.find(Vehicle, pk), answer=self.find(Vehicle, pk))
        return Response(DamperOutput(with_names().filter(vehicle=vehicle), many=True).data)
