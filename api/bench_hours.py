"""The working calendar: hours of the shop and of people, absences, closed days, and labour times."""

from datetime import timedelta

from django.db.models import Q
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Choice, Day, Input, Ref
from api.permissions import Allows
from shop.calc.bench_time import MINUTES_OF_A_DAY
from shop.dampers.models import DamperModel
from shop.specs.labour import as_seen, labour_time_for
from shop.specs.models import MOST_MINUTES, LabourTime
from shop.specs.services import remove_labour_time, set_labour_time
from shop.staff.models import Absence, ClosedDay, User
from shop.staff.models.hours import MONTH_CHOICES, NTH_CHOICES, WEEKDAY_CHOICES
from shop.staff.services import (
    add_absence,
    add_closed_day,
    end_absence,
    end_closed_day,
    set_bench_hours,
    set_working_hours,
)
from shop.workorders.bench_time import Bench

MOST_DAYS = 92
TIME = {"format": "%H:%M", "input_formats": ["%H:%M"]}


class DaysQuery(Input):
    first = Day(required=False, help_text="Empty: today.")
    last = Day(required=False, help_text="Empty: two weeks later; at most 92 days in all.")


class AtBenchOutput(serializers.Serializer):
    """A person on a day."""

    id = serializers.IntegerField(source="person_id")
    name = serializers.CharField()
    minutes = serializers.IntegerField()
    why_less = serializers.CharField(source="words", help_text="Empty: as usual.")


class BenchDayOutput(serializers.Serializer):
    """A day: bench minutes there are, and booked."""

    day = serializers.DateField(source="day.on")
    opens = serializers.TimeField(source="shift.opens", allow_null=True, format="%H:%M")
    closes = serializers.TimeField(source="shift.closes", allow_null=True, format="%H:%M")
    minutes = serializers.IntegerField(source="day.minutes")
    booked = serializers.IntegerField(source="day.booked")
    free = serializers.IntegerField(source="day.free", help_text="Of today only what can still be done counts.")
    why_none = serializers.CharField(source="day.why_none", help_text="Why there are no bench hours; empty: there are.")
    people = AtBenchOutput(source="shift.people", many=True)


class SpanInput(Input):
    opens = serializers.TimeField(**TIME)
    closes = serializers.TimeField(**TIME)

    def validate(self, data):
        return data["opens"], data["closes"]


class WorkingHoursInput(Input):
    from_day = Day(help_text="Today or later: what was before stays as it is.")
    week = serializers.ListField(
        child=SpanInput(allow_null=True), min_length=7, max_length=7,
        help_text="Monday to Sunday; null on a day on which the shop does not work.",
    )  # fmt: skip


class BenchHoursInput(Input):
    from_day = Day(help_text="Today or later: what was before stays as it is.")
    week = serializers.ListField(
        child=serializers.IntegerField(min_value=0, max_value=MINUTES_OF_A_DAY), min_length=7, max_length=7,
        help_text="Minutes at the benches, Monday to Sunday.",
    )  # fmt: skip


class WeekOutput(serializers.Serializer):
    """What was set, from its day on."""

    from_day = serializers.DateField()


class AbsenceInput(Input):
    person = Ref(queryset=User.objects.filter(is_active=True))
    first_day = Day()
    last_day = Day()
    minutes_left = serializers.IntegerField(
        min_value=0, max_value=MINUTES_OF_A_DAY, default=0, help_text="Still at the benches on each of these days."
    )
    why = serializers.CharField(max_length=100)


class AbsenceOutput(serializers.ModelSerializer):
    """Days on which somebody is away."""

    person = Brief()

    class Meta:
        model = Absence
        fields = ["id", "person", "first_day", "last_day", "minutes_left", "why"]
        read_only_fields = fields


class ClosedDayInput(Input):
    """Days from first_day to last_day; or every year, by month with day, or with nth and weekday."""

    name = serializers.CharField(max_length=80)
    first_day = Day(help_text="Of a yearly one: the day from which on it counts.")
    last_day = Day(required=False, allow_null=True, help_text="Empty: that one day, or every year.")
    month = Choice(MONTH_CHOICES, required=False, allow_null=True)
    day = serializers.IntegerField(min_value=1, max_value=31, required=False, allow_null=True)
    weekday = Choice(WEEKDAY_CHOICES, required=False, allow_null=True, help_text="0 is Monday.")
    nth = Choice(NTH_CHOICES, required=False, allow_null=True, help_text="Which one of the month; −1 is the last.")


class ClosedDayOutput(serializers.ModelSerializer):
    """Days on which the shop is closed."""

    rule = serializers.CharField(help_text="When, in words.")

    class Meta:
        model = ClosedDay
        fields = ["id", "name", "first_day", "last_day", "month", "day", "weekday", "nth", "rule"]
        read_only_fields = fields


class LabourInput(Input):
    minutes = serializers.IntegerField(min_value=1, max_value=MOST_MINUTES, help_text="For one damper.")
    seen = serializers.CharField(
        max_length=64, allow_blank=True, help_text="As you read it, empty when there was none; 409 when it changed."
    )


class ShopLabourInput(LabourInput):
    order_minutes = serializers.IntegerField(
        min_value=0, max_value=MOST_MINUTES, help_text="Once for each order: wash, tags, paper."
    )


class LabourRemoveInput(Input):
    seen = serializers.CharField(max_length=64, allow_blank=True, help_text="As you read it; 409 when it changed.")


class LabourOutput(serializers.Serializer):
    """The labour time that holds, and why."""

    minutes = serializers.IntegerField(help_text="For one damper.")
    order_minutes = serializers.IntegerField(allow_null=True, help_text="Once for each order; of the default only.")
    rule = serializers.CharField(help_text="Why this one holds.")
    own = serializers.BooleanField(help_text="Whether it was set for this very model, or for the shop.")
    seen = serializers.CharField(help_text="Send it back with a change, so that two people do not undo each other's.")


class BenchDays(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(parameters=[DaysQuery], responses=BenchDayOutput(many=True))
    def get(self, request):
        """Bench hours day by day: how many there are, how many are booked, who is there."""
        asked = self.query(DaysQuery)
        first = asked.get("first") or timezone.localdate()
        last = asked.get("last") or first + timedelta(days=13)
        if not timedelta(0) <= last - first < timedelta(days=MOST_DAYS):
            raise serializers.ValidationError({"last": f"Ask for 1 to {MOST_DAYS} days at once."})
        bench = Bench.of(first, last, timezone.now())
        rows = [{"day": day, "shift": bench.calendar.shift(day.on)} for day in bench.days]
        return Response(BenchDayOutput(rows, many=True).data)


class WorkingHours(Endpoint):
    permission_classes = [Allows("keep_hours")]

    @extend_schema(request=WorkingHoursInput, responses=WeekOutput)
    def post(self, request):
        """Set from when to when the shop works, from a day on."""
        return Response(WeekOutput(self.do(set_working_hours, **self.body(WorkingHoursInput))).data)


class BenchHoursOfPerson(Endpoint):
    permission_classes = [Allows("keep_hours")]

    @extend_schema(request=BenchHoursInput, responses=WeekOutput)
    def post(self, request, pk):
        """Set a person's minutes at the benches on each weekday, from a day on."""
        made = self.do(set_bench_hours, person=self.find(User, pk), **self.body(BenchHoursInput))
        return Response(WeekOutput(made).data)


class AbsenceList(Listing):
    permission_classes = [Allows("look", write="keep_hours")]

    @extend_schema(responses=AbsenceOutput(many=True))
    def get(self, request):
        """List who is away, today and later."""
        rows = Absence.objects.filter(last_day__gte=timezone.localdate()).select_related("person")
        return self.page(rows, AbsenceOutput)

    @extend_schema(request=AbsenceInput, responses={201: AbsenceOutput})
    def post(self, request):
        """Enter that somebody is away."""
        return Response(AbsenceOutput(self.do(add_absence, **self.body(AbsenceInput))).data, status=201)


class AbsenceEnd(Endpoint):
    permission_classes = [Allows("keep_hours")]

    @extend_schema(request=Input, responses=AbsenceOutput)
    def post(self, request, pk):
        """From today on somebody is here after all. Twice is as good as once."""
        row = self.find(Absence.objects.select_related("person"), pk)
        told = AbsenceOutput(row).data
        self.do(end_absence, absence=row, answer=row)
        return Response(told)


class ClosedDayList(Listing):
    permission_classes = [Allows("look", write="keep_hours")]

    @extend_schema(responses=ClosedDayOutput(many=True))
    def get(self, request):
        """List the days on which the shop is closed, today and later, and the yearly ones."""
        today = timezone.localdate()
        return self.page(ClosedDay.objects.filter(Q(last_day=None) | Q(last_day__gte=today)), ClosedDayOutput)

    @extend_schema(request=ClosedDayInput, responses={201: ClosedDayOutput})
    def post(self, request):
        """Close the shop on some days, or every year."""
        return Response(ClosedDayOutput(self.do(add_closed_day, **self.body(ClosedDayInput))).data, status=201)


class ClosedDayEnd(Endpoint):
    permission_classes = [Allows("keep_hours")]

    @extend_schema(request=Input, responses=ClosedDayOutput)
    def post(self, request, pk):
        """From today on the shop works on these days after all. Twice is as good as once."""
        row = self.find(ClosedDay, pk)
        told = ClosedDayOutput(row).data
        self.do(end_closed_day, closed_day=row, answer=row)
        return Response(told)


class LabourEndpoint(Endpoint):
    permission_classes = [Allows("look", write="keep_hours")]

    def answer(self, model):
        row, rule = labour_time_for(model)
        own = LabourTime.objects.filter(damper_model=model).first()
        told = {"minutes": row.minutes, "order_minutes": row.order_minutes, "rule": rule}
        return Response(LabourOutput(told | {"own": own is not None, "seen": as_seen(own)}).data)


class ShopLabour(LabourEndpoint):
    @extend_schema(responses=LabourOutput)
    def get(self, request):
        """Read how long a damper takes by default, and what each order adds."""
        return self.answer(None)

    @extend_schema(request=ShopLabourInput, responses=LabourOutput)
    def post(self, request):
        """Set how long a damper takes by default. Orders that are booked keep their minutes."""
        self.do(set_labour_time, **self.body(ShopLabourInput))
        return self.answer(None)


class DamperModelLabour(LabourEndpoint):
    @extend_schema(responses=LabourOutput)
    def get(self, request, pk):
        """Read how long a damper of a model takes, and why."""
        return self.answer(self.find(DamperModel, pk))

    @extend_schema(request=LabourInput, responses=LabourOutput)
    def post(self, request, pk):
        """Set how long a damper of a model takes."""
        model = self.find(DamperModel, pk)
        self.do(set_labour_time, damper_model=model, **self.body(LabourInput))
        return self.answer(model)


class DamperModelLabourRemove(LabourEndpoint):
    @extend_schema(request=LabourRemoveInput, responses=LabourOutput)
    def post(self, request, pk):
        """Remove a model's own labour time, so that the default holds. Twice is as good as once."""
        model, asked = self.find(DamperModel, pk), self.body(LabourRemoveInput)
        if LabourTime.objects.filter(damper_model=model).exists():
            self.do(remove_labour_time, damper_model=model, answer=model, **asked)
        return self.answer(model)
