"""Vehicle models, what sits at their corners, damper models: read by all, written by managers."""

from django.db.models import prefetch_related_objects
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.dampers import DamperModelOutput
from api.endpoint import Endpoint, Listing
from api.fields import Brief, Choice, Input, QuantityInput, Ref
from api.permissions import Allows
from api.vehicles import YEARS, VehicleModelOutput
from shop.customers.models import VehicleModel
from shop.customers.services import create_vehicle_model
from shop.dampers.geometry import SIZES
from shop.dampers.models import AdjusterKind, CapStyle, Construction, DamperModel, Fitment, Position
from shop.dampers.selectors import carried
from shop.dampers.services import (
    change_fitment,
    change_vehicle_model,
    copy_fitment,
    create_damper_model,
    remove_fitment,
    remove_vehicle_model,
    set_adjusters,
    set_fitments,
    set_geometry,
)
from shop.workorders.selectors import booked_in_vain
from shop.workorders.services import change_damper_model

NAMES = ["maker", "name"]
BUILT = [*NAMES, "year_from", "year_to"]
DESCRIBED = [*NAMES, "construction", "serviceable", "why_not", "cap_style"]
PLACED = ["position", "damper_model", "year_from", "year_to"]
TO_LAST = "Empty: it is still built."


class Version(serializers.IntegerField):
    def __init__(self):
        super().__init__(min_value=1, help_text="As it was when you read it; 409 when it is not any more.")


class SearchQuery(Input):
    search = serializers.CharField(max_length=100, required=False, help_text="Words of maker and model; a model year.")


# --- vehicle models -------------------------------------------------------------------------------------------------


class VehicleModelInput(Input):
    maker = serializers.CharField(max_length=60)
    name = serializers.CharField(max_length=60)
    year_from = serializers.IntegerField(**YEARS)
    year_to = serializers.IntegerField(allow_null=True, default=None, help_text=TO_LAST, **YEARS)


class VehicleModelChange(Input):
    """Fields left out stay as they are."""

    version = Version()
    maker = serializers.CharField(max_length=60, required=False)
    name = serializers.CharField(max_length=60, required=False)
    year_from = serializers.IntegerField(required=False, **YEARS)
    year_to = serializers.IntegerField(allow_null=True, required=False, help_text=TO_LAST, **YEARS)


class FitmentInput(Input):
    """The same damper model at several corners, all of them or none."""

    positions = serializers.ListField(child=Choice(Position.choices), min_length=1, max_length=len(Position))
    damper_model = Ref(queryset=DamperModel.objects.all())
    year_from = serializers.IntegerField(
        allow_null=True, default=None, help_text="Empty: the first in which the vehicle was built.", **YEARS
    )
    year_to = serializers.IntegerField(allow_null=True, default=None, help_text="Empty: to the last.", **YEARS)


class FitmentChange(Input):
    """Fields left out stay as they are."""

    version = Version()
    position = Choice(Position.choices, required=False)
    damper_model = Ref(queryset=DamperModel.objects.all(), required=False)
    year_from = serializers.IntegerField(required=False, **YEARS)
    year_to = serializers.IntegerField(allow_null=True, required=False, help_text="Empty: to the last.", **YEARS)


class FitmentCopy(Input):
    positions = serializers.ListField(child=Choice(Position.choices), min_length=1, max_length=len(Position))


class FitmentOutput(serializers.ModelSerializer):
    damper_model = Brief()

    class Meta:
        model = Fitment
        fields = ["id", *PLACED, "version"]
        read_only_fields = fields


class VehicleModelDetailOutput(VehicleModelOutput):
    """A vehicle model with what sits at its corners."""

    fitments = FitmentOutput(many=True)
    gaps = serializers.SerializerMethodField(help_text="Corners of which nothing is known, in sentences by years.")

    class Meta(VehicleModelOutput.Meta):
        fields = [*VehicleModelOutput.Meta.fields, "fitments", "gaps"]
        read_only_fields = fields

    def get_gaps(self, model) -> list[str]:
        return [years.gap for years in carried(model) if years.gap]


def _with_corners(model):
    prefetch_related_objects([model], "fitments__damper_model")
    return VehicleModelDetailOutput(model).data


class VehicleModelList(Listing):
    permission_classes = [Allows("look", write="keep_specs")]

    @extend_schema(parameters=[SearchQuery], responses=VehicleModelOutput(many=True))
    def get(self, request):
        """Find the vehicle models the shop knows."""
        text = self.query(SearchQuery).get("search", "")
        return self.page(VehicleModel.objects.matching(text), VehicleModelOutput)

    @extend_schema(request=VehicleModelInput, responses={201: VehicleModelOutput})
    def post(self, request):
        """Enter a vehicle model and the model years in which it was built."""
        model = self.do(create_vehicle_model, **self.body(VehicleModelInput))
        return Response(VehicleModelOutput(model).data, status=201)


class VehicleModelDetail(Endpoint):
    permission_classes = [Allows("look", write="keep_specs")]

    @extend_schema(responses=VehicleModelDetailOutput)
    def get(self, request, pk):
        """Read a vehicle model, what sits at its corners, and what is not known about them."""
        return Response(_with_corners(self.find(VehicleModel, pk)))

    @extend_schema(request=VehicleModelChange, responses=VehicleModelDetailOutput)
    def patch(self, request, pk):
        """Correct a vehicle model; refused when a vehicle or an entry of a corner would be left outside its years."""
        model = self.find(VehicleModel, pk)
        known = {name: getattr(model, name) for name in BUILT}
        model = self.do(change_vehicle_model, vehicle_model=model, **known | self.body(VehicleModelChange))
        return Response(_with_corners(model))


class VehicleModelRemove(Endpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=None, responses=VehicleModelOutput)
    def post(self, request, pk):
        """Take a vehicle model that nothing hangs on out of the catalogue. The answer is what it was."""
        self.body(Input)
        model = self.find(VehicleModel, pk)
        told = VehicleModelOutput(model).data
        self.do(remove_vehicle_model, vehicle_model=model)
        return Response(told)


class FitmentList(Listing):
    permission_classes = [Allows("look", write="keep_specs")]

    @extend_schema(responses=FitmentOutput(many=True))
    def get(self, request, pk):
        """List what a vehicle model carries, by corner and model year."""
        self.query(Input)
        model = self.find(VehicleModel, pk)
        return self.page(model.fitments.select_related("damper_model"), FitmentOutput)

    @extend_schema(request=FitmentInput, responses={201: VehicleModelDetailOutput})
    def post(self, request, pk):
        """Say what a vehicle model carries at one or several corners. The answer is the whole vehicle model."""
        model = self.find(VehicleModel, pk)
        self.do(set_fitments, vehicle_model=model, **self.body(FitmentInput))
        return Response(_with_corners(model), status=201)


class FitmentDetail(Endpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=FitmentChange, responses=FitmentOutput)
    def patch(self, request, pk):
        """Correct what sits at a corner; vehicles in the book keep the dampers that were entered for them."""
        fitment = self.find(Fitment.objects.select_related("damper_model"), pk)
        known = {name: getattr(fitment, name) for name in PLACED}
        fitment = self.do(change_fitment, fitment=fitment, **known | self.body(FitmentChange))
        return Response(FitmentOutput(fitment).data)


class FitmentCopied(Endpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=FitmentCopy, responses={201: VehicleModelDetailOutput})
    def post(self, request, pk):
        """Say that other corners carry the same in the same years. The answer is the whole vehicle model."""
        fitment = self.find(Fitment.objects.select_related("vehicle_model", "damper_model"), pk)
        self.do(copy_fitment, fitment=fitment, **self.body(FitmentCopy))
        return Response(_with_corners(fitment.vehicle_model), status=201)


class FitmentRemove(Endpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=None, responses=VehicleModelDetailOutput)
    def post(self, request, pk):
        """Take an entry away that is wrong. The answer is the vehicle model without it."""
        self.body(Input)
        fitment = self.find(Fitment.objects.select_related("vehicle_model", "damper_model"), pk)
        self.do(remove_fitment, fitment=fitment, answer=fitment.vehicle_model)
        return Response(_with_corners(fitment.vehicle_model))


# --- damper models --------------------------------------------------------------------------------------------------


class DamperModelInput(Input):
    maker = serializers.CharField(max_length=60)
    name = serializers.CharField(max_length=60)
    construction = Choice(Construction.choices)
    serviceable = serializers.BooleanField(default=True, help_text="Whether this shop rebuilds it.")
    why_not = serializers.CharField(
        max_length=300, allow_blank=True, default="", help_text="What the customer is told."
    )
    cap_style = Choice(CapStyle.choices, allow_blank=True, default="", help_text="Empty: not known.")


class DamperModelChange(Input):
    """Fields left out stay as they are."""

    version = Version()
    maker = serializers.CharField(max_length=60, required=False)
    name = serializers.CharField(max_length=60, required=False)
    construction = Choice(Construction.choices, required=False)
    serviceable = serializers.BooleanField(required=False)
    why_not = serializers.CharField(max_length=300, allow_blank=True, required=False)
    cap_style = Choice(CapStyle.choices, allow_blank=True, required=False)


# Made from the one list of sizes, as the form is.
SizesInput = type(
    "SizesInput",
    (Input,),
    {
        "__doc__": "All that is known; what is left out is not known any more.",
        "version": Version(),
        **{size.argument: QuantityInput(size.quantity, default=None, help_text=size.label) for size in SIZES},
    },
)


class AdjustersInput(Input):
    """The highest count, out from fully closed; what is left out it does not have, or nobody has counted it."""

    version = Version()
    compression = QuantityInput("count", default=None, help_text="“22 clicks”; where there is one for compression.")
    low_speed = QuantityInput("count", default=None, help_text="Of two for compression, the one for low speed.")
    high_speed = QuantityInput("count", default=None, help_text="And the one for high speed.")
    rebound = QuantityInput("count", default=None)


class AdjusterOutput(serializers.Serializer):
    kind = serializers.ChoiceField(AdjusterKind.choices)
    clicks = serializers.IntegerField(help_text="The highest count, out from fully closed.")


class DamperModelDetailOutput(DamperModelOutput):
    """A damper model with its adjusters, and the orders in which it is booked although it is not serviced here."""

    adjusters = AdjusterOutput(many=True)
    booked_in_vain = serializers.SerializerMethodField(help_text="Orders whose customers have to be told.")

    class Meta(DamperModelOutput.Meta):
        fields = [*DamperModelOutput.Meta.fields, "adjusters", "booked_in_vain"]
        read_only_fields = fields

    def get_booked_in_vain(self, model) -> list[str]:
        return [str(order) for order in booked_in_vain(model)]


class DamperModelList(Listing):
    permission_classes = [Allows("look", write="keep_specs")]

    @extend_schema(parameters=[SearchQuery], responses=DamperModelOutput(many=True))
    def get(self, request):
        """Find the damper models the shop knows, by their own name or the vehicle's, and whether it services them."""
        text = self.query(SearchQuery).get("search", "")
        return self.page(DamperModel.objects.matching(text), DamperModelOutput)

    @extend_schema(request=DamperModelInput, responses={201: DamperModelDetailOutput})
    def post(self, request):
        """Enter a damper model; one that is not serviced here with what the customer is told."""
        model = self.do(create_damper_model, **self.body(DamperModelInput))
        return Response(DamperModelDetailOutput(model).data, status=201)


class DamperModelDetail(Endpoint):
    permission_classes = [Allows("look", write="keep_specs")]

    @extend_schema(responses=DamperModelDetailOutput)
    def get(self, request, pk):
        """Read a damper model with its adjusters."""
        return Response(DamperModelDetailOutput(self.find(DamperModel, pk)).data)

    @extend_schema(request=DamperModelChange, responses=DamperModelDetailOutput)
    def patch(self, request, pk):
        """Correct a damper model. Construction and cap style are refused while one is on the benches."""
        model = self.find(DamperModel, pk)
        known = {name: getattr(model, name) for name in DESCRIBED}
        model = self.do(change_damper_model, damper_model=model, **known | self.body(DamperModelChange))
        return Response(DamperModelDetailOutput(model).data)


class DamperModelSizes(Endpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=SizesInput, responses=DamperModelDetailOutput)
    def post(self, request, pk):
        """Say all that is known of a damper model's sizes; jobs on the benches keep what they began with."""
        model = self.do(set_geometry, damper_model=self.find(DamperModel, pk), **self.body(SizesInput))
        return Response(DamperModelDetailOutput(model).data)


class DamperModelAdjusters(Endpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=AdjustersInput, responses=DamperModelDetailOutput)
    def post(self, request, pk):
        """Say which adjusters a damper model has and how many clicks; a higher count is refused from then on."""
        model = self.do(set_adjusters, damper_model=self.find(DamperModel, pk), **self.body(AdjustersInput))
        return Response(DamperModelDetailOutput(model).data)
