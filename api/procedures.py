from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Choice, Input, Key, Ref
from api.permissions import Allows
from shop.dampers.measures import SPECIFIED
from shop.dampers.models import CapStyle, Construction
from shop.specs.models import Pressure, Procedure, Step
from shop.specs.procedures import differences, what_is_wrong
from shop.specs.services import (
    add_step,
    change_procedure,
    change_step,
    discard_draft,
    make_current,
    move_step,
    remove_step,
    start_procedure,
)

SAID = ["stage", "title", "text", "caution", "tool", "reading", "as_left", "critical", "pressure", "constructions",
        "cap_styles"]  # fmt: skip
READINGS = [(one.value, one.label) for one in SPECIFIED]
NUMBER = {"min_value": 1, "max_value": 32_767}


class ProcedureInput(Input):
    name = serializers.CharField(max_length=80)
    copy_of = Ref(
        queryset=Procedure.objects.all(), default=None, allow_null=True, help_text="Whose steps it begins with."
    )


class StepInput(Input):
    number = serializers.IntegerField(**NUMBER, default=None, allow_null=True, help_text="Its place; empty: the last.")
    stage = serializers.CharField(max_length=40)
    title = serializers.CharField(max_length=120)
    text = serializers.CharField(max_length=1000, allow_blank=True, default="")
    caution = serializers.CharField(max_length=600, allow_blank=True, default="")
    tool = serializers.CharField(max_length=120, allow_blank=True, default="")
    reading = Choice(READINGS, allow_blank=True, default="", help_text="Figure to record here; empty: none.")
    as_left = serializers.BooleanField(default=False, help_text="The settings as left are recorded here.")
    critical = serializers.BooleanField(default=False, help_text="A second person checks it.")
    pressure = Choice(Pressure.choices, allow_blank=True, default="", help_text="What it does to the stored gas.")
    constructions = serializers.ListField(
        child=Choice(Construction.choices), default=list, help_text="Empty: for all dampers."
    )
    cap_styles = serializers.ListField(child=Choice(CapStyle.choices), default=list, help_text="Empty: for all caps.")


class StepChange(Input):
    """Fields left out stay as they are."""

    edition = serializers.IntegerField(
        **NUMBER, help_text="As it was when you read the step; 409 when it is not any more."
    )
    stage = serializers.CharField(max_length=40, required=False)
    title = serializers.CharField(max_length=120, required=False)
    text = serializers.CharField(max_length=1000, allow_blank=True, required=False)
    caution = serializers.CharField(max_length=600, allow_blank=True, required=False)
    tool = serializers.CharField(max_length=120, allow_blank=True, required=False)
    reading = Choice(READINGS, allow_blank=True, required=False)
    as_left = serializers.BooleanField(required=False)
    critical = serializers.BooleanField(required=False)
    pressure = Choice(Pressure.choices, allow_blank=True, required=False)
    constructions = serializers.ListField(child=Choice(Construction.choices), required=False)
    cap_styles = serializers.ListField(child=Choice(CapStyle.choices), required=False)


class MoveInput(Input):
    number = serializers.IntegerField(**NUMBER, help_text="Its new place.")


class MakeCurrentInput(Input):
    edition = serializers.IntegerField(
        **NUMBER, help_text="Of the version that you have read; 409 when it is not any more."
    )
    instead_of = Ref(
        queryset=Procedure.objects.all(), allow_null=True, help_text="The version that is current; null: none is."
    )
    why = serializers.CharField(max_length=300, help_text="Why the shop works by it from now on.")


class CompareQuery(Input):
    vars()["with"] = Key(help_text="The earlier version.")


class ProcedureRow(serializers.Serializer):
    """A version of a procedure in a list."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    version = serializers.IntegerField()
    state = serializers.CharField(help_text="draft, current or former.")
    edition = serializers.IntegerField(help_text="Goes up with every change of a draft.")
    copied_from = Brief(allow_null=True)
    drafted_by = Brief(allow_null=True, help_text="Empty: it came with Damperbook.")
    drafted_at = serializers.DateTimeField(allow_null=True)
    made_current_by = Brief(allow_null=True)
    made_current_at = serializers.DateTimeField(allow_null=True)
    why = serializers.CharField(help_text="Why it was made current.")


class ProcedureStepOutput(serializers.ModelSerializer):
    """A step of a version. edition: for changing it."""

    class Meta:
        model = Step
        fields = ["id", "number", *SAID, "origin", "edition"]
        read_only_fields = fields


class ProcedureOutput(ProcedureRow):
    """A version of a procedure with its steps."""

    steps = ProcedureStepOutput(source="steps.all", many=True)
    unfit = serializers.SerializerMethodField(help_text="Of a draft: what keeps it from being made current.")

    def get_unfit(self, procedure) -> list[str]:
        return what_is_wrong(list(procedure.steps.all())) if procedure.draft else []


class ChangeOutput(serializers.Serializer):
    field = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class DifferenceOutput(serializers.Serializer):
    title = serializers.CharField()
    words = serializers.CharField(help_text="Added, removed, moved, changed, in a few words.")
    was = serializers.IntegerField(allow_null=True, help_text="Its number in the earlier version; empty: not there.")
    now = serializers.IntegerField(allow_null=True, help_text="Its number in this version; empty: not there.")
    moved = serializers.BooleanField()
    changes = serializers.SerializerMethodField()

    def get_changes(self, difference) -> ChangeOutput(many=True):
        return [{"field": label, "before": was, "after": now} for label, was, now in difference.changes]


class ProcedureEndpoint(Endpoint):
    permission_classes = [Allows("look", write="keep_specs")]

    def procedure(self, pk):
        return self.find(Procedure.objects.with_people().prefetch_related("steps"), pk)

    def step(self, pk, step):
        return self.find(Step.objects.filter(procedure=pk).select_related("procedure"), step)

    def answer(self, pk, status=200):
        return Response(ProcedureOutput(self.procedure(pk)).data, status=status)


class ProcedureList(Listing, ProcedureEndpoint):
    @extend_schema(responses=ProcedureRow(many=True))
    def get(self, request):
        """List the procedures, every version, the newest of each first."""
        self.query(Input)
        return self.page(Procedure.objects.with_people(), ProcedureRow)

    @extend_schema(request=ProcedureInput, responses={201: ProcedureOutput})
    def post(self, request):
        """Begin the draft of a procedure of another name."""
        made = self.do(start_procedure, **self.body(ProcedureInput))
        return self.answer(made.pk, status=201)


class ProcedureDetail(ProcedureEndpoint):
    @extend_schema(responses=ProcedureOutput)
    def get(self, request, pk):
        """Read a version of a procedure with its steps."""
        return self.answer(pk)


class ProcedureCompare(ProcedureEndpoint):
    @extend_schema(parameters=[CompareQuery], responses=DifferenceOutput(many=True))
    def get(self, request, pk):
        """List what differs from another version, step by step."""
        before = self.procedure(self.query(CompareQuery)["with"])
        return Response(DifferenceOutput(differences(before, self.procedure(pk)), many=True).data)


class ProcedureChange(ProcedureEndpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=None, responses={201: ProcedureOutput})
    def post(self, request, pk):
        """Begin the draft of the next version, as a copy of this one."""
        self.body(Input)
        made = self.do(change_procedure, procedure=self.find(Procedure, pk))
        return self.answer(made.pk, status=201)


class ProcedureMakeCurrent(ProcedureEndpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=MakeCurrentInput, responses=ProcedureOutput)
    def post(self, request, pk):
        """Let every job that is checked in from now on follow this version."""
        self.do(make_current, procedure=self.find(Procedure, pk), **self.body(MakeCurrentInput))
        return self.answer(pk)


class ProcedureDiscard(ProcedureEndpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=None, responses={204: None})
    def post(self, request, pk):
        """Throw a draft away."""
        self.body(Input)
        self.do(discard_draft, procedure=self.find(Procedure, pk), answer=request.user)
        return Response(status=204)


class StepList(ProcedureEndpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=StepInput, responses={201: ProcedureOutput})
    def post(self, request, pk):
        """Add a step to a draft."""
        self.do(add_step, procedure=self.find(Procedure, pk), **self.body(StepInput))
        return self.answer(pk, status=201)


class StepDetail(ProcedureEndpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=StepChange, responses=ProcedureOutput)
    def patch(self, request, pk, step):
        """Change a step of a draft, as long as nobody else has changed it since."""
        row = self.step(pk, step)
        known = {name: getattr(row, name) for name in SAID}
        self.do(change_step, step=row, **known | self.body(StepChange))
        return self.answer(pk)


class StepMove(ProcedureEndpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=MoveInput, responses=ProcedureOutput)
    def post(self, request, pk, step):
        """Give a step of a draft another place; the others close up."""
        self.do(move_step, step=self.step(pk, step), **self.body(MoveInput))
        return self.answer(pk)


class StepRemove(ProcedureEndpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=None, responses=ProcedureOutput)
    def post(self, request, pk, step):
        """Take a step out of a draft; those behind it close up."""
        self.body(Input)
        self.do(remove_step, step=self.step(pk, step))
        return self.answer(pk)
