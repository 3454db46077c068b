from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import AsEntered, Brief, Choice, Day, Input, Key, QuantityInput, Ref, read
from api.permissions import Allows
from shop.customers.models import (
    METER_QUANTITY,
    MODEL_YEARS,
    Customer,
    Meter,
    MeterReading,
    ReadingSource,
    Vehicle,
    VehicleModel,
)
from shop.customers.services import create_vehicle, mark_sold, record_meter, take_back_sold
from shop.staff.models import Role
from shop.workorders import finding
from shop.workorders.services import change_vehicle, pass_on_vehicle

KNOWN = ["model", "model_year", "vin", "plate", "severe_use", "note"]
YEARS = {"min_value": MODEL_YEARS[0], "max_value": MODEL_YEARS[1]}


class VehicleModelOutput(serializers.ModelSerializer):
    class Meta:
        model = VehicleModel
        fields = ["id", "maker", "name", "year_from", "year_to", "version"]
        read_only_fields = fields


class VehicleInput(Input):
    customer = Ref(queryset=Customer.objects.all())
    model = Ref(queryset=VehicleModel.objects.all())
    model_year = serializers.IntegerField(**YEARS)
    vin = serializers.CharField(max_length=30, allow_blank=True, default="", help_text="VIN or frame number.")
    plate = serializers.CharField(max_length=15, allow_blank=True, default="")
    severe_use = serializers.BooleanField(default=False, help_text="Mud, dunes, racing, hauling: service comes sooner.")
    note = serializers.CharField(max_length=1000, allow_blank=True, default="")


class VehicleChange(Input):
    """Fields left out stay as they are."""

    version = serializers.IntegerField(
        min_value=1, help_text="As it was when you read the vehicle; 409 when it is not any more."
    )
    model = Ref(queryset=VehicleModel.objects.all(), required=False)
    model_year = serializers.IntegerField(required=False, **YEARS)
    vin = serializers.CharField(max_length=30, allow_blank=True, required=False)
    plate = serializers.CharField(max_length=15, allow_blank=True, required=False)
    severe_use = serializers.BooleanField(required=False)
    note = serializers.CharField(max_length=1000, allow_blank=True, required=False)
    dampers_too = serializers.BooleanField(
        default=True, help_text="With another model year, change its dampers of the old one too; refused at work."
    )


class SoldInput(Input):
    on = Day()


class NotSoldInput(Input):
    why = serializers.CharField(max_length=300)


class OwnerInput(Input):
    to = Ref(queryset=Customer.objects.all(), help_text="Whose it is from now on.")


class WarningOutput(serializers.Serializer):
    field = serializers.CharField()
    text = serializers.CharField()


class VehicleOutput(serializers.ModelSerializer):
    customer = Brief()
    model = VehicleModelOutput()
    warnings = serializers.SerializerMethodField(help_text="What to compare with the machine; nothing is refused.")

    class Meta:
        model = Vehicle
        fields = ["id", "customer", *KNOWN, "sold_on", "version", "created_at", "warnings"]
        read_only_fields = fields

    @extend_schema_field(WarningOutput(many=True))
    def get_warnings(self, vehicle):
        return [{"field": "vin", "text": vehicle.vin_doubt}] if vehicle.vin_doubt else []


class VehicleQuery(Input):
    customer = Key(required=False)
    search = serializers.CharField(
        max_length=100, required=False, help_text="Parts of VIN, plate, maker, model, or of the owner."
    )


class MeterInput(Input):
    """What a meter showed: the odometer in mi or km, the hour meter in h."""

    meter = Choice(Meter.choices)
    entered = QuantityInput(help_text="With its unit: “1204 mi”, “86.5 h”.")
    read_on = Day()
    corrects = Ref(queryset=MeterReading.objects.all(), default=None, help_text="The reading that was wrong.")

    def validate(self, data):
        data["entered"] = read(data["entered"], METER_QUANTITY[data["meter"]], "entered")
        return data


class MeterReadingOutput(serializers.ModelSerializer):
    entered = AsEntered(source="*")
    by = Brief(allow_null=True)

    class Meta:
        model = MeterReading
        fields = ["id", "meter", "entered", "read_on", "source", "by", "recorded_at", "corrects"]
        read_only_fields = fields


class VehicleList(Listing):
    permission_classes = [Allows("look", write="keep_customers")]

    @extend_schema(parameters=[VehicleQuery], responses=VehicleOutput(many=True))
    def get(self, request):
        """Find vehicles."""
        asked = self.query(VehicleQuery)
        rows = Vehicle.objects.select_related("customer", "model")
        if "customer" in asked:
            rows = rows.filter(customer=asked["customer"])
        if text := asked.get("search"):
            rows, _ = finding.vehicles(text, rows)
        return self.page(rows, VehicleOutput)

    @extend_schema(request=VehicleInput, responses={201: VehicleOutput})
    def post(self, request):
        """Enter a customer's vehicle."""
        return Response(VehicleOutput(self.do(create_vehicle, **self.body(VehicleInput))).data, status=201)


class VehicleDetail(Endpoint):
    permission_classes = [Allows("look", write="keep_customers")]

    @extend_schema(responses=VehicleOutput)
    def get(self, request, pk):
        """Read a vehicle."""
        return Response(VehicleOutput(self.find(Vehicle.objects.select_related("customer", "model"), pk)).data)

    @extend_schema(request=VehicleChange, responses=VehicleOutput)
    def patch(self, request, pk):
        """Change a vehicle, as long as nobody else has changed it since."""
        vehicle = self.find(Vehicle, pk)
        known = {name: getattr(vehicle, name) for name in KNOWN}
        vehicle = self.do(change_vehicle, vehicle=vehicle, **known | self.body(VehicleChange))
        return Response(VehicleOutput(vehicle).data)


class VehicleSold(Endpoint):
    permission_classes = [Allows("keep_customers")]

    @extend_schema(request=SoldInput, responses=VehicleOutput)
    def post(self, request, pk):
        """Note that the customer has sold the vehicle: nobody is reminded about it any more."""
        vehicle = self.do(mark_sold, vehicle=self.find(Vehicle, pk), **self.body(SoldInput))
        return Response(VehicleOutput(vehicle).data)


class VehicleNotSold(Endpoint):
    permission_classes = [Allows("keep_customers")]

    @extend_schema(request=NotSoldInput, responses=VehicleOutput)
    def post(self, request, pk):
        """Take back that a vehicle was sold."""
        vehicle = self.do(take_back_sold, vehicle=self.find(Vehicle, pk), **self.body(NotSoldInput))
        return Response(VehicleOutput(vehicle).data)


class VehicleOwner(Endpoint):
    permission_classes = [Allows("keep_customers")]

    @extend_schema(request=OwnerInput, responses=VehicleOutput)
    def post(self, request, pk):
        """Give a vehicle to another customer, with the dampers on it; earlier orders stay with who gave them."""
        vehicle = self.do(pass_on_vehicle, vehicle=self.find(Vehicle, pk), **self.body(OwnerInput))
        return Response(VehicleOutput(vehicle).data)


class MeterReadingList(Listing):
    permission_classes = [Allows("look", write="read_meter")]

    @extend_schema(responses=MeterReadingOutput(many=True))
    def get(self, request, pk):
        """List what a vehicle's meters showed, oldest first."""
        self.query(Input)
        vehicle = self.find(Vehicle, pk)
        return self.page(vehicle.meter_readings.select_related("by"), MeterReadingOutput)

    @extend_schema(request=MeterInput, responses={201: MeterReadingOutput})
    def post(self, request, pk):
        """Note what a meter shows, or correct an earlier reading."""
        vehicle = self.find(Vehicle, pk)
        source = ReadingSource.BENCH if request.user.role == Role.TECHNICIAN else ReadingSource.DESK
        reading = self.do(record_meter, vehicle=vehicle, source=source, **self.body(MeterInput))
        return Response(MeterReadingOutput(reading).data, status=201)
