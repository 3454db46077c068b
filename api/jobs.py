from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.response import Response

from api.dampers import DamperOutput
from api.endpoint import Endpoint, Listing
from api.fields import Brief, Input, Named, QuantityOutput, Ref, in_shop_unit
from api.permissions import Allows
from api.pick_lists import OfferOutput
from api.readings import ReadingOutput
from api.specs import CAUTION, ValueOutput
from shop.core.errors import Conflict, refused
from shop.dampers.measures import Measure
from shop.picklists.selectors import offers_of
from shop.staff.models import User
from shop.staff.services import confirm_bench_pin
from shop.workorders.charge import gauge_note
from shop.workorders.models import DamperJob, Moment, Reading
from shop.workorders.selectors import bench_jobs, figures_changed, job_steps, missing, on_bench, settings_of
from shop.workorders.services import (
    close_job,
    drop_damper,
    finish_step,
    pass_over_step,
    reopen_damper,
    second_check,
    take_present_sheet,
)


class CheckInput(Input):
    checker = Named(
        slug_field="username", queryset=User.objects.filter(is_active=True), help_text="The second person's log-in."
    )
    pin = serializers.CharField(max_length=8, write_only=True, help_text="The second person's bench PIN.")
    reading = Ref(
        queryset=Reading.objects.all(), required=False, allow_null=True,
        help_text="Where the step has one: the reading that the second person has seen.",
    )  # fmt: skip


class ReopenInput(Input):
    why = serializers.CharField(max_length=300, help_text="What went wrong, or what has to be done once more.")


class TakeSheetInput(Input):
    why = serializers.CharField(max_length=300, help_text="Prints with the rule that chose the sheet.")


class DropInput(Input):
    why = serializers.CharField(max_length=300, help_text="Stands in the order's history.")


class CloseJobInput(Input):
    override_reason = serializers.CharField(
        max_length=500, allow_blank=True, default="",
        help_text="Managers only: why it is closed although something lacks. Prints on the service record.",
    )  # fmt: skip


class JobRow(serializers.Serializer):
    """A damper job in a list."""

    id = serializers.IntegerField()
    tag = serializers.CharField(help_text="What stands on the damper's bag.")
    order = Brief()
    damper = Brief()
    position = serializers.CharField(source="damper.position")
    status = serializers.CharField()


class FrozenSheetOutput(serializers.Serializer):
    """The figures the job is held against, as they were at check-in. Without a sheet the code is empty."""

    code = serializers.CharField()
    version = serializers.IntegerField()
    verified = serializers.BooleanField(help_text="Draft figures never satisfy the closing check.")
    years = serializers.CharField()
    position = serializers.CharField()
    vehicle = serializers.CharField()
    rule = serializers.CharField()
    source = serializers.SerializerMethodField()
    entered_by = serializers.CharField()
    verified_by = serializers.CharField()
    verified_on = serializers.CharField()
    note = serializers.CharField()
    reference_temperature = serializers.SerializerMethodField(
        help_text="At which the charge is meant; empty: frozen before sheets said so, the figure holds as printed."
    )
    reference_altitude_m = serializers.FloatField(allow_null=True, help_text="At which the charge is meant.")
    bench_altitude_m = serializers.FloatField(allow_null=True, help_text="Of the shop, at check-in.")
    caution = serializers.SerializerMethodField()
    values = serializers.SerializerMethodField()

    def get_source(self, sheet) -> str:
        return sheet.source if sheet else ""

    def get_caution(self, sheet) -> str:
        return CAUTION

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_reference_temperature(self, sheet):
        return None if sheet.reference_k is None else in_shop_unit(sheet.reference_k, "temperature")

    @extend_schema_field(ValueOutput(many=True))
    def get_values(self, sheet):
        return ValueOutput(sheet.values.values(), many=True).data


class SignedOutput(serializers.Serializer):
    by = Brief()
    at = serializers.DateTimeField()


class StepOutput(serializers.Serializer):
    number = serializers.IntegerField(source="step.number")
    stage = serializers.CharField(source="step.stage")
    title = serializers.CharField(source="step.title")
    text = serializers.CharField(source="step.text")
    caution = serializers.CharField(source="step.caution")
    tool = serializers.CharField(source="step.tool", help_text="Tools in words, beside the one that a reading needs.")
    doubt = serializers.CharField(
        help_text="For which caps the step is, when nobody knows the damper's: it may be passed over. Else empty."
    )
    passed_over = serializers.BooleanField(help_text="Whether somebody found that it does not apply.")
    measure = serializers.CharField(source="step.reading", help_text="Figure to record here; empty: none.")
    as_left = serializers.BooleanField(source="step.as_left", help_text="The settings as left are recorded here.")
    critical = serializers.BooleanField(source="step.critical", help_text="A second person checks it.")
    state = serializers.CharField(source="words")
    complete = serializers.BooleanField()
    reading = ReadingOutput(allow_null=True)
    done = SignedOutput(allow_null=True)
    second_check = SignedOutput(source="check", allow_null=True)


class SettingOutput(serializers.Serializer):
    measure = serializers.CharField()
    found = ReadingOutput(allow_null=True)
    left = ReadingOutput(allow_null=True)


class LackingOutput(serializers.Serializer):
    text = serializers.CharField()
    step = serializers.IntegerField(source="step.number", default=None, allow_null=True)


class JobOutput(JobRow):
    """A damper job with all that the bench needs."""

    damper = DamperOutput()
    procedure = Brief(allow_null=True, help_text="The version that the job began with.")
    sheet = FrozenSheetOutput()
    figures_changed = serializers.SerializerMethodField(help_text="A sentence when the spec table says otherwise now.")
    optional_parts = serializers.SerializerMethodField(help_text="Only if the inspection asks for it.")
    steps = serializers.SerializerMethodField()
    settings = serializers.SerializerMethodField()
    gauge_note = serializers.SerializerMethodField(
        help_text="What putting the gauge on once more does to the charge on record; empty while there is none."
    )
    missing = serializers.SerializerMethodField(help_text="What it lacks before it can be closed.")
    closed_by = Brief(allow_null=True)
    closed_at = serializers.DateTimeField(allow_null=True)
    override_reason = serializers.CharField()

    def get_figures_changed(self, job) -> str:
        return figures_changed(job)

    @extend_schema_field(OfferOutput(many=True))
    def get_optional_parts(self, job):
        pick_list = job.order.pick_list
        lines = list(pick_list.lines.select_related("reservation", "picked_by", "taken_up_by"))
        return OfferOutput(offers_of(pick_list, lines, job.tag), many=True).data

    @extend_schema_field(StepOutput(many=True))
    def get_steps(self, job):
        return StepOutput(job_steps(job), many=True).data

    @extend_schema_field(SettingOutput(many=True))
    def get_settings(self, job):
        return SettingOutput(settings_of(job), many=True).data

    def get_gauge_note(self, job) -> str:
        charge = job.standing_readings().get((Measure.CHARGE, Moment.SET))
        return gauge_note(job.sheet, charge.value_si, charge.bench_temperature_k) if charge else ""

    @extend_schema_field(LackingOutput(many=True))
    def get_missing(self, job):
        return LackingOutput(missing(job), many=True).data


class JobEndpoint(Endpoint):
    def step(self, pk, number):
        """A job and one step of the procedure it keeps."""
        job = self.find(DamperJob.objects.select_related("procedure"), pk)
        if job.procedure is None:
            raise Conflict(f"Damper {job.tag} is {job.get_status_display()}: it has no steps.", code="not_open")
        step = job.procedure.steps.filter(number=number).first()
        if step is None:
            raise NotFound(f"There is no step {number} in {job.procedure}.")
        return job, step

    def answer(self, pk, status=200):
        return Response(JobOutput(self.find(on_bench(), pk)).data, status=status)


class BenchList(Listing):
    permission_classes = [Allows("look")]

    @extend_schema(responses=JobRow(many=True))
    def get(self, request):
        """List the jobs on the benches, the earliest promise first."""
        self.query(Input)
        return self.page(bench_jobs(), JobRow)


class JobDetail(JobEndpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=JobOutput)
    def get(self, request, pk):
        """Read a damper job: its frozen figures, its steps and what it lacks."""
        return self.answer(pk)


class StepDone(JobEndpoint):
    permission_classes = [Allows("work")]

    @extend_schema(request=None, responses=JobOutput)
    def post(self, request, pk, number):
        """Sign that a step is done."""
        self.body(Input)
        job, step = self.step(pk, number)
        self.do(finish_step, job=job, step=step)
        return self.answer(pk)


class StepPassOver(JobEndpoint):
    permission_classes = [Allows("work")]

    @extend_schema(request=None, responses=JobOutput)
    def post(self, request, pk, number):
        """Sign that a step for some caps does not apply to a damper whose cap style nobody knows."""
        self.body(Input)
        job, step = self.step(pk, number)
        self.do(pass_over_step, job=job, step=step)
        return self.answer(pk)


class StepCheck(JobEndpoint):
    permission_classes = [Allows("work")]

    @extend_schema(request=CheckInput, responses=JobOutput)
    def post(self, request, pk, number):
        """Have a second person confirm a critical step with their bench PIN."""
        asked = self.body(CheckInput)
        job, step = self.step(pk, number)
        reading = asked.get("reading")
        if step.reading and reading is None:
            raise refused("reading", "Say which reading the second person has seen: its number.", "reading_missing")
        # Outside the write's transaction: a wrong PIN counts although nothing else is kept.
        confirm_bench_pin(user=asked["checker"], pin=asked["pin"], at=timezone.now())
        self.do(second_check, job=job, step=step, reading=reading, by=asked["checker"])
        return self.answer(pk)

    def asked(self):
        return {name: value for name, value in self.request.data.items() if name != "pin"}


class JobReopen(JobEndpoint):
    permission_classes = [Allows("work")]

    @extend_schema(request=ReopenInput, responses=JobOutput)
    def post(self, request, pk):
        """Vent a damper and begin its steps anew, zero pressure first; the record of before stays."""
        self.do(reopen_damper, job=self.find(DamperJob, pk), **self.body(ReopenInput))
        return self.answer(pk)


class JobTakeSheet(JobEndpoint):
    permission_classes = [Allows("override")]

    @extend_schema(request=TakeSheetInput, responses=JobOutput)
    def post(self, request, pk):
        """Hold an open job against the sheet that the spec table gives today.

        When a figure has been set already, its steps begin anew, zero pressure first.
        """
        self.do(take_present_sheet, job=self.find(DamperJob, pk), **self.body(TakeSheetInput))
        return self.answer(pk)


class JobDrop(JobEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=DropInput, responses=JobOutput)
    def post(self, request, pk):
        """Take one damper off a booked order, which goes on without it; not the last one."""
        self.do(drop_damper, job=self.find(DamperJob, pk), **self.body(DropInput))
        return self.answer(pk)


class JobClose(JobEndpoint):
    permission_classes = [Allows("work")]

    @extend_schema(request=CloseJobInput, responses=JobOutput)
    def post(self, request, pk):
        """Close a damper job that lacks nothing; else one sentence for each thing it lacks."""
        self.do(close_job, job=self.find(DamperJob, pk), **self.body(CloseJobInput))
        return self.answer(pk)
