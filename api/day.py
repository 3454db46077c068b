"""The day sheet, the proposal of bench days, and the telephone answer."""

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import Brief, Day, Input, Ref
from api.permissions import Allows
from shop.dampers.models import Damper
from shop.workorders.bench_time import propose
from shop.workorders.day import day as day_sheet
from shop.workorders.models import WorkOrder
from shop.workorders.telephone import answer as telephone_answer
from shop.workorders.telephone import for_answers


class WaitOutput(serializers.Serializer):
    """One thing an order waits for."""

    kind = serializers.CharField(help_text="parts, answer or collect.")
    words = serializers.CharField()
    until = serializers.DateField(allow_null=True, help_text="When it can be over; empty: nobody can say.")


class TelephoneOutput(serializers.Serializer):
    """What is said on the telephone."""

    words = serializers.CharField(help_text="All of it in one line.")
    state = serializers.CharField()
    waits = WaitOutput(many=True)
    ready = serializers.CharField(help_text="When it will be ready, as a sentence; empty: no bench day is planned.")
    ready_at = serializers.DateTimeField(source="when", allow_null=True, help_text="Empty: nobody can say.")
    late = serializers.BooleanField(help_text="The promise is past, or will be.")


class DayRowOutput(serializers.Serializer):
    """An order on the day sheet."""

    id = serializers.IntegerField(source="order.pk")
    number = serializers.CharField(source="order.number")
    status = serializers.CharField(source="order.status")
    customer = Brief(source="order.customer")
    vehicle = Brief(source="order.vehicle", allow_null=True)
    arrives_on = serializers.DateField(source="order.arrives_on")
    promised_for = serializers.DateTimeField(source="order.promised_for")
    dampers = serializers.SerializerMethodField()
    minutes = serializers.IntegerField(help_text="Planned for it on this day.")
    late = serializers.BooleanField()
    beyond_why = serializers.CharField(
        source="order.bench_over_why", allow_null=True, help_text="Why it was booked although its days were full."
    )
    answer = TelephoneOutput()

    def get_dampers(self, row) -> int:
        return len(row.jobs)


class GroupOutput(serializers.Serializer):
    """Orders of which the desk does the same next."""

    key = serializers.CharField(
        help_text="Of today: late, arriving, on_bench, waiting, ready, coming. "
        "Of another day: arriving, planned, promised."
    )
    rows = DayRowOutput(many=True)


class HoursOutput(serializers.Serializer):
    """Bench minutes of a day."""

    day = serializers.DateField(source="day.on")
    minutes = serializers.IntegerField(source="day.minutes")
    booked = serializers.IntegerField(source="day.booked")
    free = serializers.IntegerField(source="day.free")
    words = serializers.CharField()


class DayOutput(serializers.Serializer):
    """The sheet of a day."""

    day = serializers.DateField(source="on")
    today = serializers.DateField()
    groups = GroupOutput(many=True)
    hours = HoursOutput(allow_null=True, help_text="Empty: the shop has no bench hours yet.")
    ahead = HoursOutput(many=True, help_text="The two weeks after it.")


class DayQuery(Input):
    day = Day(required=False, help_text="Empty: today.")


class DaySheet(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(parameters=[DayQuery], responses=DayOutput)
    def get(self, request):
        """The day sheet: who comes, what is in hand, what waits, what is ready, what is late, and the bench hours."""
        return Response(DayOutput(day_sheet(timezone.now(), self.query(DayQuery).get("day"))).data)


class BenchProposalInput(Input):
    dampers = serializers.ListField(child=Ref(queryset=Damper.objects.all()), min_length=1, max_length=50)
    arrives_on = Day(help_text="The day the customer brings it.")


class PlannedOutput(serializers.Serializer):
    """Minutes on a day."""

    day = serializers.DateField(source="on")
    minutes = serializers.IntegerField()


class ShortOutput(serializers.Serializer):
    """A part that is short, and when it is expected."""

    number = serializers.CharField()
    name = serializers.CharField()
    expected_on = serializers.DateField(source="day", allow_null=True, help_text="Empty: nobody can say.")
    late = serializers.BooleanField(help_text="Its supplier is late: expected_on is only the first day to count on.")
    words = serializers.CharField()


class ProposalOutput(serializers.Serializer):
    """The first bench days that fit, and why not sooner."""

    set_up = serializers.BooleanField(help_text="False: the shop has no bench hours, so nothing is proposed.")
    minutes = serializers.IntegerField()
    minutes_words = serializers.CharField(help_text="How the minutes come about.")
    first_day = serializers.DateField(allow_null=True, help_text="Send it as “proposed” when you book.")
    plan = PlannedOutput(many=True)
    promised_for = serializers.DateTimeField(allow_null=True, help_text="The end of bench time of the last day.")
    why_not_sooner = serializers.ListField(source="why", child=serializers.CharField())
    short = ShortOutput(many=True)


class ProposalEndpoint(Endpoint):
    permission_classes = [Allows("book")]

    @extend_schema(request=BenchProposalInput, responses=ProposalOutput)
    def post(self, request):
        """Which bench days a rebuild would get, what can be promised, and why not sooner. Writes nothing."""
        asked = self.body(BenchProposalInput)
        keys = [one.pk for one in asked["dampers"]]
        rows = Damper.objects.filter(pk__in=keys).select_related("model", "vehicle__model")
        dampers = list(rows.prefetch_related("model__kit_lines"))
        found = propose(dampers=dampers, arrives_on=asked["arrives_on"], now=timezone.now())
        return Response(ProposalOutput(found).data)


class TelephoneAnswer(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=TelephoneOutput)
    def get(self, request, pk):
        """What state an order is in, what it waits for, and when it will be ready: one line for the telephone."""
        order = self.find(for_answers(WorkOrder.objects.all()), pk)
        return Response(TelephoneOutput(telephone_answer(order, timezone.now())).data)
