from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Listing
from api.fields import AsEntered, Brief, Choice, Input, Named, QuantityInput, QuantityOutput, Ref, in_shop_unit, read
from api.permissions import Allows
from shop.dampers.measures import QUANTITY, Measure
from shop.workorders.models import DamperJob, Moment, Reading, Tool
from shop.workorders.services import record_reading


class ReadingInput(Input):
    """A figure read on the damper. A second one of the same figure names the one it corrects, and says why."""

    measure = Choice(Measure.choices)
    moment = Choice(Moment.choices, default=Moment.SET)
    entered = QuantityInput(help_text="With its unit: “22 lbf·ft”, “100 psi”, “8 clicks”.")
    tool = Named(slug_field="code", queryset=Tool.objects.all(), default=None, help_text="Code of the tool used.")
    bench_temperature = QuantityInput("temperature", required=False, help_text="With the charge: “68 °F”.")
    corrects = Ref(queryset=Reading.objects.all(), default=None)
    why = serializers.CharField(max_length=200, allow_blank=True, default="")

    def validate(self, data):
        data["entered"] = read(data["entered"], QUANTITY[data["measure"]], "entered")
        return data


class ReadingOutput(serializers.ModelSerializer):
    entered = AsEntered(source="*")
    tool = serializers.CharField(source="tool.code", default=None, allow_null=True)
    bench_temperature = serializers.SerializerMethodField()
    by = Brief()

    class Meta:
        model = Reading
        fields = ["id", "measure", "moment", "entered", "tool", "bench_temperature", "by", "at", "corrects", "why"]
        read_only_fields = fields

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_bench_temperature(self, reading):
        kelvin = reading.bench_temperature_k
        return None if kelvin is None else in_shop_unit(kelvin, "temperature")


class ReadingList(Listing):
    permission_classes = [Allows("look", write="work")]

    @extend_schema(responses=ReadingOutput(many=True))
    def get(self, request, pk):
        """List every reading of a damper job, also those that were corrected, in the order they were taken."""
        self.query(Input)
        job = self.find(DamperJob, pk)
        return self.page(job.readings.select_related("by", "tool"), ReadingOutput)

    @extend_schema(request=ReadingInput, responses={201: ReadingOutput})
    def post(self, request, pk):
        """Record a reading, or the correction of one.

        Out of the frozen sheet's tolerance it is refused, and the refusal names the allowed range.
        """
        reading = self.do(record_reading, job=self.find(DamperJob, pk), **self.body(ReadingInput))
        return Response(ReadingOutput(reading).data, status=201)
