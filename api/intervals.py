"""When service is due: intervals of damper models, of vehicle models and of the shop, and which of them holds."""

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import Brief, Input, QuantityInput, QuantityOutput, in_shop_unit
from api.permissions import Allows
from shop.customers.models import Vehicle, VehicleModel
from shop.dampers.models import DamperModel
from shop.reminders.selectors import interval_of
from shop.specs.intervals import as_seen, interval_for, limits
from shop.specs.models import ServiceInterval
from shop.specs.services import remove_interval, set_interval

CAUTION = "The maker's current service manual for the exact unit prevails."


class IntervalInput(Input):
    """Service is due at whichever comes first; what is left out does not count."""

    months = serializers.IntegerField(min_value=1, max_value=240, allow_null=True, default=None)
    distance = QuantityInput("distance", allow_null=True, default=None, help_text="With its unit: “1500 mi”.")
    hours = QuantityInput("time", allow_null=True, default=None, help_text="Engine hours: “40 h”.")
    severe_factor = serializers.FloatField(
        default=1.0, help_text="What of it is left in severe use, above 0 to 1: 0.5 is service twice as often."
    )
    source = serializers.CharField(max_length=200, help_text="Document and page, or the shop's own.")
    seen = serializers.CharField(
        max_length=64, allow_blank=True, help_text="As you read it, empty when there was none; 409 when it changed."
    )


class RemoveInput(Input):
    seen = serializers.CharField(max_length=64, allow_blank=True, help_text="As you read it; 409 when it changed.")


class LimitsOutput(serializers.Serializer):
    """Months, distance and hours; empty: that does not count."""

    months = serializers.IntegerField(allow_null=True)
    distance = serializers.SerializerMethodField()
    hours = serializers.SerializerMethodField()

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_distance(self, one):
        return None if one.distance_m is None else in_shop_unit(one.distance_m, "distance")

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_hours(self, one):
        return None if one.hours_s is None else in_shop_unit(one.hours_s, "time")


class IntervalOutput(LimitsOutput):
    severe_factor = serializers.FloatField(help_text="What of it is left in severe use.")
    source = serializers.CharField()
    damper_model = Brief(allow_null=True)
    vehicle_model = Brief(allow_null=True, help_text="Neither model: the shop's default.")


class HoldsOutput(serializers.Serializer):
    """The interval that holds, and why."""

    interval = IntervalOutput(allow_null=True)
    rule = serializers.CharField(help_text="Why this one holds and no other.")
    caution = serializers.CharField()


class OwnIntervalOutput(HoldsOutput):
    own = IntervalOutput(allow_null=True, help_text="Its own; empty: another rule holds.")
    seen = serializers.CharField(help_text="Send it back with a change, so that two people do not undo each other's.")


class VehicleIntervalOutput(HoldsOutput):
    severe_use = serializers.BooleanField()
    limits = LimitsOutput(allow_null=True, help_text="What holds for this vehicle, severe use reckoned in.")


class IntervalEndpoint(Endpoint):
    """Of a model, or of the shop: subclasses say of which table."""

    permission_classes = [Allows("look", write="keep_specs")]

    def models(self, pk):
        return {}

    def found(self, models):
        return interval_for([])

    def own(self, models):
        given = {"damper_model": None, "vehicle_model": None} | models
        return ServiceInterval.objects.select_related("damper_model", "vehicle_model").filter(**given).first()

    def answer(self, models):
        own, found = self.own(models), self.found(models)
        told = {"interval": found.interval, "rule": found.rule, "caution": CAUTION, "own": own, "seen": as_seen(own)}
        return Response(OwnIntervalOutput(told).data)


class OfDamperModel:
    def models(self, pk):
        return {"damper_model": self.find(DamperModel, pk)}

    def found(self, models):
        return interval_for([models["damper_model"]])


class OfVehicleModel:
    def models(self, pk):
        return {"vehicle_model": self.find(VehicleModel, pk)}

    def found(self, models):
        carried = DamperModel.objects.filter(fitments__vehicle_model=models["vehicle_model"]).distinct()
        return interval_for(list(carried), models["vehicle_model"])


class Interval(IntervalEndpoint):
    @extend_schema(responses=OwnIntervalOutput)
    def get(self, request, pk=None):
        """Read the service interval, which one holds and why."""
        return self.answer(self.models(pk))

    @extend_schema(request=IntervalInput, responses=OwnIntervalOutput)
    def post(self, request, pk=None):
        """Set the service interval in the place of the one before; the forecasts that rest on it follow."""
        models = self.models(pk)
        self.do(set_interval, **models, **self.body(IntervalInput))
        return self.answer(models)


class IntervalRemove(IntervalEndpoint):
    @extend_schema(request=RemoveInput, responses=OwnIntervalOutput)
    def post(self, request, pk=None):
        """Remove the interval, so that the next rule holds. Twice is as good as once."""
        models, asked = self.models(pk), self.body(RemoveInput)
        if own := self.own(models):
            self.do(remove_interval, interval=own, answer=own, **asked)
        return self.answer(models)


class DamperModelInterval(OfDamperModel, Interval):
    pass


class DamperModelIntervalRemove(OfDamperModel, IntervalRemove):
    pass


class VehicleModelInterval(OfVehicleModel, Interval):
    pass


class VehicleModelIntervalRemove(OfVehicleModel, IntervalRemove):
    pass


class VehicleInterval(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=VehicleIntervalOutput)
    def get(self, request, pk):
        """Which service interval holds for a vehicle, why, and what severe use leaves of it."""
        vehicle = self.find(Vehicle.objects.select_related("model"), pk)
        found = interval_of(vehicle)
        left = found.interval and limits(found.interval, vehicle.severe_use)
        told = {"interval": found.interval, "rule": found.rule, "caution": CAUTION}
        return Response(VehicleIntervalOutput(told | {"severe_use": vehicle.severe_use, "limits": left}).data)
