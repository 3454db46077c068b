"""Parts lists of damper models, and at a job: taking up, taking back, one part in the place of another."""

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import Brief, Choice, Input, QuantityInput, QuantityOutput, Ref, base_amount, stock_quantity
from api.permissions import Allows
from api.pick_lists import PickLineOutput
from api.vehicles import YEARS
from shop.dampers.models import DamperModel
from shop.picklists.models import PickLine
from shop.specs.models import KitLine, KitMeasure
from shop.specs.parts_lists import as_seen, in_order
from shop.specs.services import (
    ListedPart,
    add_kit_line,
    change_kit_line,
    copy_parts_list,
    remove_kit_line,
    write_parts_list,
)
from shop.specs.services.kit import MOST_LINES
from shop.workorders.models import DamperJob
from shop.workorders.services import swap_line, take_back_part, take_up_part

PLACE = "The part number of the line of this list in whose place it may be taken; empty: it is no alternate."


class LineInput(Input):
    """A line of a parts list."""

    part_number = serializers.CharField(max_length=40)
    name = serializers.CharField(max_length=120, help_text="As the parts list prints it.")
    measure = Choice(KitMeasure.choices)
    amount = QuantityInput(
        allow_null=True, default=None, help_text="For one damper: “1 pcs”, “4 g”. Empty: the sheet's oil volume."
    )
    year_from = serializers.IntegerField(allow_null=True, default=None, **YEARS)
    year_to = serializers.IntegerField(allow_null=True, default=None, **YEARS)
    optional = serializers.BooleanField(default=False, help_text="Taken only when the inspection asks for it.")
    rank = serializers.IntegerField(
        min_value=1, max_value=MOST_LINES, allow_null=True, default=None, help_text="Of an alternate: lower goes first."
    )

    def validate(self, data):
        if data["amount"] is not None:
            data["amount"] = base_amount(data["amount"], data["measure"], "amount")
        return data


class OneLineInput(LineInput):
    stands_in_for = Ref(
        queryset=KitLine.objects.all(), allow_null=True, default=None,
        help_text="The line in whose place it may be taken; empty: it is no alternate.",
    )  # fmt: skip


class ChangeLineInput(OneLineInput):
    """The whole line as it shall be."""

    seen = serializers.CharField(max_length=64, help_text="Of the parts list when you read it; 409 when it changed.")


class ListedInput(LineInput):
    id = Ref(queryset=KitLine.objects.all(), source="line", allow_null=True, default=None, help_text="Empty: new.")
    stands_in_for = serializers.CharField(max_length=40, allow_blank=True, default="", help_text=PLACE)


class PartsListInput(Input):
    """The whole list as it shall be; lines that are not named come off."""

    seen = serializers.CharField(max_length=64, help_text="Of the parts list when you read it; 409 when it changed.")
    lines = ListedInput(many=True)

    def validate_lines(self, lines):
        return [ListedPart(**line) for line in lines]


class LineOutput(serializers.Serializer):
    """A line of a parts list."""

    id = serializers.IntegerField()
    part_number = serializers.CharField()
    name = serializers.CharField()
    measure = serializers.CharField()
    amount = serializers.SerializerMethodField(help_text="For one damper; empty: the oil volume of the spec sheet.")
    year_from = serializers.IntegerField(allow_null=True)
    year_to = serializers.IntegerField(allow_null=True)
    optional = serializers.BooleanField(help_text="Taken only when the inspection asks for it.")
    stands_in_for = Brief(allow_null=True, help_text="The line in whose place it may be taken.")
    rank = serializers.IntegerField(help_text="Of an alternate, lower goes first; 0: it is none.")

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_amount(self, line):
        return None if line.amount is None else stock_quantity(line.amount, line.measure)


class PartsListOutput(serializers.Serializer):
    damper_model = Brief()
    seen = serializers.CharField(help_text="Send it back with a change, so that two people do not undo each other's.")
    lines = LineOutput(many=True)


class CopyInput(Input):
    to = Ref(queryset=DamperModel.objects.all(), help_text="A damper model that has no parts list yet.")


class PartsListEndpoint(Endpoint):
    permission_classes = [Allows("look", write="keep_specs")]

    def answer(self, model, status=200):
        lines = in_order(model.kit_lines.select_related("stands_in_for"))
        return Response(
            PartsListOutput({"damper_model": model, "seen": as_seen(lines), "lines": lines}).data, status=status
        )


class PartsList(PartsListEndpoint):
    @extend_schema(responses=PartsListOutput)
    def get(self, request, pk):
        """Read the parts list of a damper model: what a rebuild of one takes and may take."""
        return self.answer(self.find(DamperModel, pk))

    @extend_schema(request=PartsListInput, responses=PartsListOutput)
    def post(self, request, pk):
        """Write the whole parts list, all of it or nothing."""
        model = self.find(DamperModel, pk)
        return self.answer(self.do(write_parts_list, damper_model=model, **self.body(PartsListInput)))


class PartsListLines(PartsListEndpoint):
    @extend_schema(request=OneLineInput, responses={201: PartsListOutput})
    def post(self, request, pk):
        """Add a line to a parts list. Orders take it up when they are filled next."""
        model = self.find(DamperModel, pk)
        self.do(add_kit_line, damper_model=model, **self.body(OneLineInput))
        return self.answer(model, status=201)


class PartsListCopy(PartsListEndpoint):
    @extend_schema(request=CopyInput, responses=PartsListOutput)
    def post(self, request, pk):
        """Copy a parts list to a damper model that has none; the answer is the copy."""
        return self.answer(self.do(copy_parts_list, damper_model=self.find(DamperModel, pk), **self.body(CopyInput)))


class KitLineDetail(PartsListEndpoint):
    @extend_schema(request=ChangeLineInput, responses=PartsListOutput)
    def patch(self, request, pk):
        """Change a line of a parts list in place. Orders on the benches keep what they were given."""
        line = self.find(KitLine.objects.select_related("damper_model"), pk)
        return self.answer(self.do(change_kit_line, line=line, **self.body(ChangeLineInput)).damper_model)


class KitLineRemove(PartsListEndpoint):
    @extend_schema(request=None, responses=PartsListOutput)
    def post(self, request, pk):
        """Take a line off a parts list, and its alternates with it."""
        self.body(Input)
        line = self.find(KitLine.objects.select_related("damper_model"), pk)
        self.do(remove_kit_line, line=line, answer=line.damper_model)
        return self.answer(line.damper_model)


class TakeUpInput(Input):
    part_number = serializers.CharField(max_length=40, help_text="One of the job's optional parts.")
    amount = QuantityInput(
        allow_null=True, default=None, help_text="With its unit: “1 pcs”. Empty: as the parts list has it."
    )
    within_price = serializers.BooleanField(
        default=False, help_text="Asked where a price was agreed: the part does not go past it."
    )


class PartInput(Input):
    part_number = serializers.CharField(max_length=40)


class TakeUp(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=TakeUpInput, responses={201: PickLineOutput})
    def post(self, request, pk):
        """Take up an optional part that the inspection of a damper asks for; what is there is held."""
        job = self.find(DamperJob.objects.select_related("order__pick_list"), pk)
        asked = self.body(TakeUpInput)
        offers = {need.part_number: need for need in job.order.pick_list.offered(job.tag)}
        if asked["amount"] is not None and (need := offers.get(asked["part_number"])):
            asked["amount"] = base_amount(asked["amount"], need.measure, "amount")
        return Response(PickLineOutput(self.do(take_up_part, job=job, **asked)).data, status=201)


class TakeBack(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=PartInput, responses=PickLineOutput(many=True))
    def post(self, request, pk):
        """Take back what was taken up for a damper; the answer is what is left in its bag."""
        job = self.do(take_back_part, job=self.find(DamperJob, pk), **self.body(PartInput))
        lines = job.order.pick_list.lines.filter(tag=job.tag).select_related("reservation", "picked_by")
        return Response(PickLineOutput(lines, many=True).data)


class Swap(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=PartInput, responses=PickLineOutput)
    def post(self, request, pk):
        """Take an alternate for a line of a pick list, or the part itself again."""
        return Response(PickLineOutput(self.do(swap_line, line=self.find(PickLine, pk), **self.body(PartInput))).data)
