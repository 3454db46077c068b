from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.response import Response

from api.agreements import AgreementInput
from api.day import PlannedOutput
from api.endpoint import Endpoint, Listing
from api.fields import (
    Brief,
    Choice,
    Day,
    Input,
    Key,
    Moment,
    Money,
    QuantityInput,
    QuantityOutput,
    Ref,
    base_amount,
    in_shop_unit,
    read,
)
from api.jobs import JobRow
from api.permissions import Allows
from shop.core.images import MOST_SIGNATURE, signature_of
from shop.customers.models import METER_QUANTITY, Customer, Meter, Vehicle
from shop.dampers.measures import QUANTITY, Measure
from shop.dampers.models import Damper
from shop.documents.services import job_card
from shop.picklists.models import PickLine
from shop.workorders.agreed import AGREED, agreed_in_words, agreed_total
from shop.workorders.finding import orders
from shop.workorders.models import DamperJob, OrderStatus, WorkOrder
from shop.workorders.services import book, call_off, change_booking, check_in, close_order, hand_back, keep_picture
from shop.workorders.telephone import answer as telephone_answer
from shop.workorders.telephone import for_answers, state_in_words


class BookInput(Input):
    customer = Ref(queryset=Customer.objects.all())
    vehicle = Ref(queryset=Vehicle.objects.all(), default=None, allow_null=True, help_text="Empty: loose dampers.")
    dampers = serializers.ListField(child=Ref(queryset=Damper.objects.all()), min_length=1, max_length=50)
    complaint = serializers.CharField(max_length=1000, help_text="In the customer's words.")
    arrives_on = Day(help_text="The day the customer brings it.")
    promised_for = Moment(
        required=False, help_text="Empty: the end of bench time of the last planned day, if the shop has bench hours."
    )
    bench_from = Day(required=False, help_text="The first bench day; empty: the first that fits.")
    proposed = Day(required=False, help_text="The first day of the proposal you read; 409 when it is gone meanwhile.")
    anyway = serializers.BooleanField(default=False, help_text="Book it although the day is full, with anyway_why.")
    anyway_why = serializers.CharField(max_length=300, allow_blank=True, default="")
    promise_anyway = serializers.BooleanField(
        default=False, help_text="Promise it although the benches are not done by then, or nobody is here."
    )


class ChangeInput(Input):
    """Fields left out stay as they are. On the benches only promise, minutes and bench days can be changed."""

    version = serializers.IntegerField(
        min_value=1, help_text="As it was when you read the order; 409 when it is not any more."
    )
    dampers = serializers.ListField(
        child=Ref(queryset=Damper.objects.all()), min_length=1, max_length=50, required=False
    )
    complaint = serializers.CharField(max_length=1000, allow_blank=True, required=False)
    arrives_on = Day(required=False)
    promised_for = Moment(required=False)
    minutes = serializers.IntegerField(
        min_value=1, max_value=24000, required=False, help_text="Bench minutes by hand, with why."
    )
    bench_from = Day(required=False, help_text="The first bench day; empty: the days stay, or the first that fit.")
    proposed = Day(required=False, help_text="The first day of the proposal you read; 409 when it is gone meanwhile.")
    anyway = serializers.BooleanField(default=False, help_text="Book it although the day is full, with anyway_why.")
    anyway_why = serializers.CharField(max_length=300, allow_blank=True, default="")
    promise_anyway = serializers.BooleanField(default=False)
    why = serializers.CharField(
        max_length=300, allow_blank=True, default="", help_text="Asked for when the promise becomes later."
    )


class MeterFound(Input):
    meter = Choice(Meter.choices)
    entered = QuantityInput(help_text="With its unit: “1204 mi”, “86.5 h”.")

    def validate(self, data):
        return data["meter"], read(data["entered"], METER_QUANTITY[data["meter"]], "entered")


class SettingFound(Input):
    job = Ref(queryset=DamperJob.objects.all())
    measure = Choice(Measure.choices, help_text="A setting: clicks or preload.")
    entered = QuantityInput(help_text="With its unit: “8 clicks”, “3 1/2 in”.")

    def validate(self, data):
        return data["job"], data["measure"], read(data["entered"], QUANTITY[data["measure"]], "entered")


class ConditionInput(Input):
    """The state of one damper, or of the order as a whole, and what came along."""

    job = Ref(queryset=DamperJob.objects.all(), allow_null=True, default=None, help_text="Empty: the whole order.")
    words = serializers.CharField(max_length=500, allow_blank=True, default="", help_text="Leaks, damage, dirt.")
    came_along = serializers.CharField(max_length=300, allow_blank=True, default="")

    def validate(self, data):
        return data["job"], data["words"], data["came_along"]


class AgreedInput(AgreementInput):
    """As at the desk; with a signature that was drawn on a screen, or the word that it is signed on paper."""

    signature = serializers.CharField(
        required=False, max_length=MOST_SIGNATURE, help_text="A PNG as a data URL: “data:image/png;base64,…”."
    )
    on_paper = serializers.BooleanField(default=False, help_text="It is signed on paper.")

    def validate(self, data):
        drawn = data.pop("signature", "")
        try:
            data["signature"] = keep_picture(signature_of(drawn)) if drawn else None
        except ValidationError as error:
            raise serializers.ValidationError({"signature": error.messages}) from None
        return super().validate(data)["agreed"]


class CheckInInput(Input):
    meters = MeterFound(many=True, default=list)
    as_found = SettingFound(many=True, default=list)
    complaint = serializers.CharField(max_length=1000, required=False, help_text="If the customer says more now.")
    bench_temperature = QuantityInput(
        "temperature", required=False, help_text="For the charge to aim at, on the card: “43 °F”."
    )
    confirmed = serializers.BooleanField(default=False, help_text="A meter that hardly fits earlier readings is right.")
    conditions = ConditionInput(many=True, default=list, help_text="In what state it came in.")
    agreed = AgreedInput(allow_null=True, default=None, help_text="What was agreed and up to which price.")

    def validate_meters(self, meters):
        if len({meter for meter, _ in meters}) < len(meters):
            raise serializers.ValidationError("A meter is named twice.")
        return meters

    def validate_as_found(self, as_found):
        if len({(job.pk, measure) for job, measure, _ in as_found}) < len(as_found):
            raise serializers.ValidationError("A setting of a damper is named twice.")
        return as_found


class CallOffInput(Input):
    why = serializers.CharField(max_length=300)


class UsedInput(Input):
    line = Ref(queryset=PickLine.objects.all())
    amount = QuantityInput(help_text="With its unit: “310 mL”, “1 pcs”, “4 g”.")

    def validate(self, data):
        return data["line"], base_amount(data["amount"], data["line"].measure, "amount")


class CloseInput(Input):
    used = UsedInput(many=True, default=list, help_text="Lines that are not named used what they asked for.")

    def validate_used(self, used):
        if len({line.pk for line, _ in used}) < len(used):
            raise serializers.ValidationError("A line of the pick list is named twice.")
        return used


class HandBackInput(Input):
    collected_by = serializers.CharField(max_length=120, allow_blank=True, default="", help_text="Who took it.")
    meters = MeterFound(many=True, default=list, help_text="Read once more at hand-back.")
    confirmed = serializers.BooleanField(default=False, help_text="A meter that hardly fits earlier readings is right.")
    wants_reminders = serializers.BooleanField(
        allow_null=True, default=None, help_text="The customer's answer; empty when nobody asked."
    )
    told_unfinished = serializers.BooleanField(
        default=False, help_text="The customer knows what was closed unfinished; asked only when something was."
    )


class OrderRow(serializers.ModelSerializer):
    """A work order in a list."""

    number = serializers.CharField(help_text="As the customer hears it.")
    customer = Brief()
    vehicle = Brief(allow_null=True)
    status = serializers.CharField()

    class Meta:
        model = WorkOrder
        fields = [
            "id", "number", "status", "customer", "vehicle", "service", "complaint", "arrives_on", "promised_for",
            "booked_at", "checked_in_at", "closed_at", "handed_back_at", "collected_by",
        ]  # fmt: skip
        read_only_fields = fields


class ConditionOutput(serializers.Serializer):
    job = Brief(allow_null=True)
    words = serializers.CharField()
    came_along = serializers.CharField()


class OrderOutput(OrderRow):
    """A work order with its damper jobs."""

    state = serializers.SerializerMethodField(help_text="What it waits for, in words.")
    answer = serializers.SerializerMethodField(help_text="The whole answer for the telephone, in one line.")
    bench_temperature = serializers.SerializerMethodField(help_text="At check-in; empty: nobody gave it.")
    bench_plan = PlannedOutput(many=True, help_text="On which days its bench minutes are planned.")
    agreed = serializers.SerializerMethodField(help_text="The last agreement, in words; empty: nothing is noted.")
    agreed_up_to = serializers.SerializerMethodField(help_text="Empty: no limit was agreed, or nothing is noted.")
    conditions = ConditionOutput(many=True)
    jobs = JobRow(many=True)
    booked_by = Brief()
    checked_in_by = Brief(allow_null=True)
    closed_by = Brief(allow_null=True)
    handed_back_by = Brief(allow_null=True)

    class Meta(OrderRow.Meta):
        fields = [
            *OrderRow.Meta.fields, "version", "state", "answer", "agreed", "agreed_up_to", "conditions",
            "bench_temperature", "bench_minutes", "bench_plan", "bench_over_why", "jobs", "booked_by",
            "checked_in_by", "closed_by",
            "handed_back_by", "called_off_why",
        ]  # fmt: skip
        read_only_fields = fields

    def get_agreed(self, order) -> str:
        return agreed_in_words(order)

    @extend_schema_field(Money(allow_null=True))
    def get_agreed_up_to(self, order):
        up_to = agreed_total(order)
        return None if up_to is None else f"{up_to:.2f}"

    def get_state(self, order) -> str:
        return state_in_words(order)

    def get_answer(self, order) -> str:
        return telephone_answer(order, timezone.now()).words

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_bench_temperature(self, order):
        kelvin = order.bench_temperature_k
        return None if kelvin is None else in_shop_unit(kelvin, "temperature")


class OrderQuery(Input):
    status = Choice(OrderStatus.choices, required=False)
    customer = Key(required=False)
    vehicle = Key(required=False)
    arrives_from = Day(required=False)
    arrives_to = Day(required=False)
    search = serializers.CharField(
        max_length=100, required=False, help_text="Its number, a bag tag, or parts of customer and vehicle."
    )


FILTERS = {
    "status": "status",
    "customer": "customer",
    "vehicle": "vehicle",
    "arrives_from": "arrives_on__gte",
    "arrives_to": "arrives_on__lte",
}


def with_jobs():
    """Orders with all that one answer tells."""
    people = ("booked_by", "checked_in_by", "closed_by", "handed_back_by")
    rows = for_answers(WorkOrder.objects.all()).select_related("customer", "vehicle__model", *people)
    return rows.prefetch_related(AGREED, "conditions__job__damper")


class OrderEndpoint(Endpoint):
    def answer(self, order, status=200):
        return Response(OrderOutput(self.find(with_jobs(), order.pk)).data, status=status)


class OrderList(OrderEndpoint, Listing):
    permission_classes = [Allows("look", write="book")]

    @extend_schema(parameters=[OrderQuery], responses=OrderRow(many=True))
    def get(self, request):
        """List work orders, the newest first."""
        asked = self.query(OrderQuery)
        rows = WorkOrder.objects.with_names()
        if text := asked.pop("search", ""):
            rows, _ = orders(text, rows)
        return self.page(rows.filter(**{FILTERS[name]: value for name, value in asked.items()}), OrderRow)

    @extend_schema(request=BookInput, responses={201: OrderOutput})
    def post(self, request):
        """Book a rebuild; the parts for it that are there are held."""
        return self.answer(self.do(book, **self.body(BookInput)), status=201)


class OrderDetail(OrderEndpoint):
    permission_classes = [Allows("look", write="book")]

    @extend_schema(responses=OrderOutput)
    def get(self, request, pk):
        """Read a work order."""
        return self.answer(self.find(WorkOrder, pk))

    @extend_schema(request=ChangeInput, responses=OrderOutput)
    def patch(self, request, pk):
        """Change what was booked, as long as nobody else has changed it since."""
        return self.answer(self.do(change_booking, order=self.find(WorkOrder, pk), **self.body(ChangeInput)))


class CheckIn(OrderEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=CheckInInput, responses=OrderOutput)
    def post(self, request, pk):
        """Check in: note meters and settings as found; the figures and the procedure are frozen into each job."""
        return self.answer(self.do(check_in, order=self.find(WorkOrder, pk), **self.body(CheckInInput)))


class CallOff(OrderEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=CallOffInput, responses=OrderOutput)
    def post(self, request, pk):
        """Call a booked order off; what was held for it is free again."""
        return self.answer(self.do(call_off, order=self.find(WorkOrder, pk), **self.body(CallOffInput)))


class CloseOrder(OrderEndpoint):
    permission_classes = [Allows("work")]

    @extend_schema(request=CloseInput, responses=OrderOutput)
    def post(self, request, pk):
        """Close an order whose dampers are all closed: the parts used leave the stock."""
        return self.answer(self.do(close_order, order=self.find(WorkOrder, pk), **self.body(CloseInput)))


class HandBack(OrderEndpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=HandBackInput, responses=OrderOutput)
    def post(self, request, pk):
        """Hand the dampers back, and note whether the customer wants service reminders."""
        return self.answer(self.do(hand_back, order=self.find(WorkOrder, pk), **self.body(HandBackInput)))


class Pdf(BaseRenderer):
    """So that a caller may ask for application/pdf; the paper itself is an HttpResponse."""

    media_type = "application/pdf"
    format = "pdf"


class JobCard(Endpoint):
    permission_classes = [Allows("look")]
    renderer_classes = [Pdf, JSONRenderer]

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request, pk):
        """The job card of a checked-in order as a PDF, with its card revision in the header Card-Revision."""
        paper = job_card(order=self.find(WorkOrder, pk), at=timezone.now())
        answer = HttpResponse(paper.pdf, content_type="application/pdf")
        answer["Content-Disposition"] = f'inline; filename="{paper.filename}"'
        answer["Card-Revision"] = str(paper.revision)
        return answer
