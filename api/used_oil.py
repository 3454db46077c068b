"""The used-oil log and its drums, and the order in which one walks past the bins."""

from functools import wraps

from django.core.exceptions import ValidationError
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import Brief, Choice, Day, Input, QuantityInput, QuantityOutput, Ref, stock_quantity
from api.permissions import Allows
from shop.core.errors import renamed
from shop.parts.models import Drum, DrumKind, Fluid, Look, OilEntry
from shop.parts.services import (
    add_drum,
    correct_entry,
    hand_over,
    pour_in,
    retire_drum,
    set_walking_order,
)
from shop.parts.used_oil import PERIODS, drum_states, exact_ml, oil_log, span_of, words_of
from shop.parts.walking import present_walk, stretches
from shop.workorders.models import DamperJob
from shop.workorders.services import note_drained_oil

SURE = "Answers what was asked back: a bag noted before, a drum that runs over, more than the book has."


class DrumOutput(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    holds = serializers.CharField(help_text="oil, mixed or solvent.")
    capacity = serializers.SerializerMethodField()
    held = serializers.SerializerMethodField(help_text="By the book, now.")
    warning = serializers.SerializerMethodField(help_text="A sentence when it nears its capacity; else empty.")
    retired_at = serializers.DateTimeField(allow_null=True)

    @extend_schema_field(QuantityOutput)
    def get_capacity(self, drum):
        return stock_quantity(drum.capacity, "volume")

    @extend_schema_field(QuantityOutput)
    def get_held(self, drum):
        return stock_quantity(self._state(drum).held, "volume")

    def get_warning(self, drum) -> str:
        return self._state(drum).warning

    def _state(self, drum):
        return self.context["states"][drum.pk]


class OilEntryOutput(serializers.Serializer):
    id = serializers.IntegerField()
    drum = Brief()
    kind = serializers.CharField(help_text="in, out or found (a difference found at handing over).")
    fluid = serializers.CharField()
    amount = serializers.SerializerMethodField(help_text="Below zero when it leaves the drum.")
    entered = serializers.SerializerMethodField(help_text="Figures and unit as somebody wrote them.")
    estimated = serializers.BooleanField(help_text="Nobody measured it: the volume that the sheet gives.")
    look = serializers.CharField()
    bag = serializers.CharField()
    source = serializers.CharField()
    on = serializers.DateField()
    hauler = serializers.CharField()
    document = serializers.CharField()
    emptied = serializers.BooleanField()
    movement = serializers.IntegerField(
        source="movement_id", allow_null=True, help_text="The stock's entry that wrote it off; null for none."
    )
    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)
    why = serializers.CharField()
    words = serializers.SerializerMethodField()
    by = Brief()
    at = serializers.DateTimeField()

    @extend_schema_field(QuantityOutput)
    def get_amount(self, entry):
        return stock_quantity(entry.amount, "volume")

    def get_entered(self, entry) -> str:
        return f"{entry.figures} {entry.unit}"

    def get_words(self, entry) -> str:
        return words_of(entry)


class OilLineOutput(serializers.Serializer):
    entry = OilEntryOutput()
    counts = serializers.BooleanField(help_text="False: a later line corrects it.")
    note = serializers.CharField()


class DrumLogOutput(serializers.Serializer):
    """opening + poured - handed_over + difference = closing, in millilitres to the last microlitre."""

    drum = Brief()
    opening = serializers.CharField()
    poured = serializers.CharField()
    handed_over = serializers.CharField()
    difference = serializers.CharField()
    closing = serializers.CharField()
    lines = OilLineOutput(many=True)


class OilLogOutput(serializers.Serializer):
    first = serializers.DateField()
    last = serializers.DateField()
    drums = DrumLogOutput(many=True)


class LogQuery(Input):
    period = Choice(choices=PERIODS, default="month")
    on = Day(required=False, help_text="A day that lies in it; default: today.")


class DrumInput(Input):
    name = serializers.CharField(max_length=40, help_text="As it is marked.")
    holds = Choice(choices=DrumKind.choices)
    capacity = QuantityInput("volume", help_text="To what it may be filled, with its unit.")


POURED = [(one.value, one.label) for one in Fluid if one != Fluid.EXPIRED]


class PourInput(Input):
    drum = Ref(queryset=Drum.objects.all())
    fluid = Choice(
        choices=POURED, default=Fluid.OIL.value,
        help_text="What is past its date is written off from its part, which notes it here.",
    )  # fmt: skip
    job = Ref(queryset=DamperJob.objects.all(), default=None, allow_null=True, help_text="From which damper.")
    volume = QuantityInput("volume", required=False, help_text="Empty for a damper: the sheet's, as an estimate.")
    look = Choice(choices=[("", "not looked at"), *Look.choices], default="")
    source = serializers.CharField(max_length=120, allow_blank=True, default="", help_text="Where it came from.")
    on = Day(required=False, help_text="Default: today.")
    sure = serializers.BooleanField(default=False, help_text=SURE)

    def validate(self, data):
        if not data["job"] and "volume" not in data:
            raise serializers.ValidationError({"volume": "Give the volume. Only oil of a damper can be estimated."})
        return data


class HandOverInput(Input):
    hauler = serializers.CharField(max_length=120)
    document = serializers.CharField(max_length=60, allow_blank=True, default="", help_text="Manifest or receipt.")
    volume = QuantityInput("volume", required=False, help_text="Empty for a drum that was emptied: all of it.")
    emptied = serializers.BooleanField(default=False)
    on = Day(required=False, help_text="Default: today.")
    sure = serializers.BooleanField(default=False, help_text=SURE)


class OilCorrectInput(Input):
    volume = QuantityInput("volume", required=False, help_text="The right one; empty strikes the line out.")
    strike_out = serializers.BooleanField(default=False)
    on = Day(required=False)
    look = Choice(choices=[("", "not looked at"), *Look.choices], required=False)
    hauler = serializers.CharField(max_length=120, required=False)
    document = serializers.CharField(max_length=60, allow_blank=True, required=False)
    why = serializers.CharField(max_length=200)

    def validate(self, data):
        if data.pop("strike_out") is ("volume" in data):
            raise serializers.ValidationError({"volume": "Give the right volume, or strike the line out: one of both."})
        return data


def _drums(drums):
    states = {one.drum.pk: one for one in drum_states(drums)}
    return DrumOutput(drums, many=True, context={"states": states}).data


def _by_volume(service):
    """The function with its refusals of "entered" under the name that the API gives it."""

    @wraps(service)
    def call(**given):
        try:
            return service(**given)
        except ValidationError as error:
            raise renamed(error, entered="volume") from error

    return call


def _day(data):
    return data.get("on") or timezone.localdate()


class DrumList(Endpoint):
    permission_classes = [Allows("look", write="keep_drums")]

    @extend_schema(responses=DrumOutput(many=True))
    def get(self, request):
        """List the drums with what they hold."""
        self.query(Input)
        return Response(_drums(list(Drum.objects.all())))

    @extend_schema(request=DrumInput, responses={201: DrumOutput})
    def post(self, request):
        """Enter a drum that collects one kind of waste."""
        drum = self.do(add_drum, **self.body(DrumInput))
        return Response(_drums([drum])[0], status=201)


class DrumRetire(Endpoint):
    permission_classes = [Allows("keep_drums")]

    @extend_schema(request=None, responses=DrumOutput)
    def post(self, request, pk):
        """Take an empty drum out of use."""
        self.body(Input)
        return Response(_drums([self.do(retire_drum, drum=self.find(Drum, pk))])[0])


class DrumHandOver(Endpoint):
    permission_classes = [Allows("keep_drums")]

    @extend_schema(request=HandOverInput, responses={201: OilEntryOutput})
    def post(self, request, pk):
        """Enter what a hauler took from a drum. More than the book has is asked about under “sure”."""
        data, drum = self.body(HandOverInput), self.find(Drum, pk)
        on, entered = _day(data), data.pop("volume", None)
        entry = self.do(_by_volume(hand_over), drum=drum, **data | {"on": on, "entered": entered})
        return Response(OilEntryOutput(entry).data, status=201)


class OilLog(Endpoint):
    permission_classes = [Allows("look", write="log_oil")]

    @extend_schema(parameters=[LogQuery], responses=OilLogOutput)
    def get(self, request):
        """Read the used-oil log of a day, a month or a year, drum by drum."""
        asked = self.query(LogQuery)
        found = oil_log(*span_of(asked["period"], asked.get("on") or timezone.localdate()))
        names = ("opening", "poured", "handed_over", "difference", "closing")
        drums = [
            {"drum": one.drum, "lines": one.lines} | {name: exact_ml(getattr(one, name)) for name in names}
            for one in found.drums
        ]
        return Response(OilLogOutput({"first": found.first, "last": found.last, "drums": drums}).data)

    @extend_schema(request=PourInput, responses={201: OilEntryOutput})
    def post(self, request):
        """Note used oil or another waste fluid that was poured into a drum."""
        data = self.body(PourInput)
        on, entered, job, source = _day(data), data.pop("volume", None), data.pop("job"), data.pop("source")
        given = data | {"on": on, "entered": entered}
        entry = (
            self.do(_by_volume(note_drained_oil), job=job, **given)
            if job
            else self.do(_by_volume(pour_in), source=source, **given)
        )
        return Response(OilEntryOutput(entry).data, status=201)


class OilCorrect(Endpoint):
    permission_classes = [Allows("keep_drums")]

    @extend_schema(request=OilCorrectInput, responses={201: OilEntryOutput})
    def post(self, request, pk):
        """Put a wrong line right by a new one that names it."""
        data, entry = self.body(OilCorrectInput), self.find(OilEntry, pk)
        entered = data.pop("volume", None)
        made = self.do(_by_volume(correct_entry), entry=entry, entered=entered, **data)
        return Response(OilEntryOutput(made).data, status=201)


class StretchOutput(serializers.Serializer):
    prefix = serializers.CharField(help_text="How its bins begin.")
    items = serializers.IntegerField(help_text="Stock items that lie there.")
    place = serializers.IntegerField(allow_null=True, help_text="On the way; empty: by letter and number, after those.")


class WalkOutput(serializers.Serializer):
    prefixes = serializers.ListField(child=serializers.CharField())
    seen = serializers.CharField(help_text="Sent back with a change, it tells whether somebody else was first.")
    stretches = StretchOutput(many=True)


class WalkInput(Input):
    prefixes = serializers.ListField(
        child=serializers.CharField(max_length=20), max_length=200, help_text="How bins begin, as one walks past them."
    )
    seen = serializers.CharField(max_length=64, required=False)


class WalkingOrder(Endpoint):
    permission_classes = [Allows("look", write="keep_stock")]

    @extend_schema(responses=WalkOutput)
    def get(self, request):
        """Read in which order one walks past the bins."""
        self.query(Input)
        return Response(self._told())

    @extend_schema(request=WalkInput, responses=WalkOutput)
    def post(self, request):
        """Say in which order one walks past the bins; pick lists and papers follow it."""
        self.do(set_walking_order, **self.body(WalkInput))
        return Response(self._told())

    def _told(self):
        walk = present_walk()
        return WalkOutput({"prefixes": list(walk.prefixes), "seen": walk.seen, "stretches": stretches(walk)}).data
