from django.core.exceptions import ValidationError
from django.db.models import Q
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Choice, Input, Key, QuantityInput, Ref, read
from api.permissions import Allows
from api.specs import SheetOutput
from api.vehicles import YEARS
from shop.calc.units import Entered, figures, from_si
from shop.customers.models import VehicleModel
from shop.dampers.measures import QUANTITY, SPECIFIED_CHOICES, Measure
from shop.dampers.models import DamperModel
from shop.specs.history import content_of, difference, editions_of
from shop.specs.models import SheetPosition, SheetStatus, SpecSheet
from shop.specs.search import Asked, find_sheets
from shop.specs.services import NewValue, change_draft, enter_sheet, send_back, verify_sheet, withdraw_sheet
from shop.specs.tolerances import agreed_limits


class ValueInput(Input):
    """A figure as its source prints it, with its tolerance as printed or with both limits; given both, they agree."""

    measure = Choice(SPECIFIED_CHOICES)
    value = QuantityInput(help_text="With the unit of the source: “18 lbf·ft”.")
    tolerance = serializers.CharField(
        max_length=40, allow_blank=True, default="", help_text="As printed: “± 5 %”, “+5/−0”, “195 to 205 psi”."
    )
    low = QuantityInput(required=False, help_text="Empty: the tolerance as printed gives it.")
    high = QuantityInput(required=False, help_text="Empty: the tolerance as printed gives it.")
    page = serializers.CharField(max_length=40, allow_blank=True, default="", help_text="If it is not the sheet's.")
    note = serializers.CharField(max_length=200, allow_blank=True, default="")

    def validate(self, data):
        quantity = QUANTITY[data["measure"]]
        entered = read(data["value"], quantity, "value")
        low, high = (read(data[end], quantity, end) if end in data else None for end in ("low", "high"))
        try:
            low, high = agreed_limits(Measure(data["measure"]), entered, data["tolerance"], low, high)
        except ValidationError as error:
            raise serializers.ValidationError(error.message_dict, code="quantity") from None
        return NewValue(data["measure"], entered, low, high, data["tolerance"], data["page"], data["note"])


class SheetContent(Input):
    vehicle_model = Ref(
        queryset=VehicleModel.objects.all(), allow_null=True, default=None, help_text="Empty: whatever it sits on."
    )
    position = Choice(SheetPosition.choices)
    year_from = serializers.IntegerField(allow_null=True, default=None, **YEARS)
    year_to = serializers.IntegerField(allow_null=True, default=None, **YEARS)
    source_document = serializers.CharField(max_length=200)
    source_revision = serializers.CharField(max_length=40)
    source_page = serializers.CharField(max_length=40)
    note = serializers.CharField(max_length=1000, allow_blank=True, default="")
    reference_temperature = QuantityInput(
        "temperature", allow_null=True, default=None, help_text="At which the charge is meant; empty: 20 °C."
    )
    reference_altitude = QuantityInput(
        "length", allow_null=True, default=None, help_text="At which the charge is meant; empty: sea level."
    )
    values = ValueInput(many=True)
    keep_flagged = serializers.BooleanField(default=False, help_text="Keep figures whose gas is flagged.")
    sure = serializers.BooleanField(default=False, help_text="An unusual figure was compared with the source.")

    def validate_values(self, values):
        measures = [one.measure for one in values]
        if twice := {one for one in measures if measures.count(one) > 1}:
            raise serializers.ValidationError(f"Given more than once: {', '.join(sorted(twice))}. Give each once.")
        return values


class SheetInput(SheetContent):
    damper_model = Ref(queryset=DamperModel.objects.all())
    code = serializers.CharField(
        max_length=30, allow_blank=True, default="", help_text="The shop's name for it; a next version keeps its own."
    )
    replaces = Ref(
        queryset=SpecSheet.objects.all(), allow_null=True, default=None, help_text="The sheet it is a next version of."
    )
    why = serializers.CharField(max_length=300, allow_blank=True, default="", help_text="Why there is a next version.")


class SheetChange(SheetContent):
    """Fields left out stay as they are; values are given all together."""

    edition = serializers.IntegerField(
        min_value=1, help_text="As it was when you read the sheet; 409 when it is not any more."
    )
    why = serializers.CharField(max_length=300)

    def get_fields(self):
        fields = super().get_fields()
        for name, field in fields.items():
            if name not in ("edition", "why", "keep_flagged", "sure"):
                field.required, field.default = False, serializers.empty
        return fields


class VerifyInput(Input):
    edition = serializers.IntegerField(min_value=1, help_text="The one that was compared with the source.")
    flag_reason = serializers.CharField(
        max_length=300, allow_blank=True, default="", help_text="Why flagged figures are right."
    )


class SendBackInput(Input):
    edition = serializers.IntegerField(min_value=1, help_text="The one that was compared with the source.")
    why = serializers.CharField(max_length=300, help_text="Which figure differs, and what the source prints.")


class WithdrawInput(Input):
    why = serializers.CharField(max_length=300)


class FullSheetOutput(SheetOutput):
    damper_model = Brief()
    status = serializers.CharField()
    year_from = serializers.IntegerField(allow_null=True)
    year_to = serializers.IntegerField(allow_null=True)
    edition = serializers.IntegerField(help_text="Counts the changes of the draft.")
    sent_back_why = serializers.CharField(allow_null=True, help_text="The note with which it was sent back.")
    replaces = Brief(allow_null=True)
    replaced_by = Brief(allow_null=True)
    source_document = serializers.CharField()
    source_revision = serializers.CharField()
    source_page = serializers.CharField()
    flags = serializers.ListField(child=serializers.CharField(), help_text="What is wrong with its gas.")
    flag_reason = serializers.CharField()
    scans = serializers.SerializerMethodField(help_text="Addresses of the source's pages, for who is logged in.")

    def get_scans(self, sheet) -> list[str]:
        return [one.get_absolute_url() for one in sheet.scans.all()]


class SheetDifferenceOutput(serializers.Serializer):
    what = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class SheetEditionOutput(serializers.Serializer):
    number = serializers.IntegerField()
    by = serializers.CharField()
    at = serializers.DateTimeField()
    why = serializers.CharField()
    changed = SheetDifferenceOutput(many=True)


class SheetQuery(Input):
    damper_model = Key(required=False)
    status = Choice(SheetStatus.choices, required=False)
    year = serializers.IntegerField(required=False, help_text="Sheets that hold in this model year.", **YEARS)
    search = serializers.CharField(
        max_length=100,
        required=False,
        help_text="Words and model years, as the spec table is searched: “H2 2015 rear”.",
    )


class CompareQuery(Input):
    other = Ref(queryset=SpecSheet.objects.all())


ROWS = SpecSheet.objects.select_related(
    "damper_model", "vehicle_model", "entered_by", "verified_by", "replaces"
).prefetch_related("values", "scans", "next_versions")


class SheetList(Listing):
    permission_classes = [Allows("look", write="keep_specs")]

    @extend_schema(parameters=[SheetQuery], responses=FullSheetOutput(many=True))
    def get(self, request):
        """List spec sheets of every state."""
        asked = self.query(SheetQuery)
        rows = ROWS
        if "damper_model" in asked:
            rows = rows.filter(damper_model=asked["damper_model"])
        if "status" in asked:
            rows = rows.filter(status=asked["status"])
        if year := asked.get("year"):
            rows = rows.filter(Q(year_from=None) | Q(year_from__lte=year), Q(year_to=None) | Q(year_to__gte=year))
        if text := asked.get("search"):
            rows = rows.filter(pk__in=find_sheets(Asked.of(text)).order_by().values("pk"))
        return self.page(rows, FullSheetOutput)

    @extend_schema(request=SheetInput, responses={201: FullSheetOutput})
    def post(self, request):
        """Enter a draft, or with replaces the next version of a sheet.

        Unusual figures and flagged gas are refused with the question to answer: sure and keep_flagged say yes to it.
        """
        sheet = self.do(enter_sheet, **self.body(SheetInput))
        return Response(FullSheetOutput(self.find(ROWS, sheet.pk)).data, status=201)


class SheetDetail(Endpoint):
    permission_classes = [Allows("look", write="keep_specs")]

    @extend_schema(responses=FullSheetOutput)
    def get(self, request, pk):
        """Read a spec sheet."""
        return Response(FullSheetOutput(self.find(ROWS, pk)).data)

    @extend_schema(request=SheetChange, responses=FullSheetOutput)
    def patch(self, request, pk):
        """Change a draft. What it said before stays in its history; a verified sheet gets a next version instead."""
        sheet = self.find(ROWS, pk)
        changed = self.do(change_draft, sheet=sheet, **_as_it_is(sheet) | self.body(SheetChange))
        return Response(FullSheetOutput(self.find(ROWS, changed.pk)).data)


class SheetVerify(Endpoint):
    permission_classes = [Allows("verify_specs")]

    @extend_schema(request=VerifyInput, responses=FullSheetOutput)
    def post(self, request, pk):
        """Confirm that a draft says what its source says; refused to whoever entered or changed it."""
        sheet = self.do(verify_sheet, sheet=self.find(SpecSheet, pk), **self.body(VerifyInput))
        return Response(FullSheetOutput(self.find(ROWS, sheet.pk)).data)


class SheetSendBack(Endpoint):
    permission_classes = [Allows("verify_specs")]

    @extend_schema(request=SendBackInput, responses=FullSheetOutput)
    def post(self, request, pk):
        """Tell whoever entered a draft what differs from its source. It keeps the note until it is changed."""
        sheet = self.do(send_back, sheet=self.find(SpecSheet, pk), **self.body(SendBackInput))
        return Response(FullSheetOutput(self.find(ROWS, sheet.pk)).data)


class SheetWithdraw(Endpoint):
    permission_classes = [Allows("keep_specs")]

    @extend_schema(request=WithdrawInput, responses=FullSheetOutput)
    def post(self, request, pk):
        """Take a sheet out of use, or discard a draft. Jobs that were checked in with it keep its figures."""
        sheet = self.do(withdraw_sheet, sheet=self.find(SpecSheet, pk), **self.body(WithdrawInput))
        return Response(FullSheetOutput(self.find(ROWS, sheet.pk)).data)


class SheetHistory(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=SheetEditionOutput(many=True))
    def get(self, request, pk):
        """Read how a sheet came to say what it says: who changed what, when and why, the newest first."""
        return Response(SheetEditionOutput(editions_of(self.find(ROWS, pk)), many=True).data)


class SheetDifferences(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(parameters=[CompareQuery], responses=SheetDifferenceOutput(many=True))
    def get(self, request, pk):
        """Compare a sheet with another one: what they say differently, first as this one says it."""
        other = self.query(CompareQuery)["other"]
        told = difference(content_of(self.find(ROWS, pk)), content_of(other))
        return Response(SheetDifferenceOutput(told, many=True).data)


def _as_it_is(sheet: SpecSheet) -> dict:
    """What change_draft is given for everything that the request leaves out."""
    names = ("vehicle_model", "position", "year_from", "year_to", "source_document", "source_revision", "source_page")
    return {name: getattr(sheet, name) for name in (*names, "note")} | {
        "reference_temperature": _entered(sheet.reference_k, "K"),
        "reference_altitude": _entered(sheet.reference_altitude_m, "m"),
        "values": [
            NewValue(
                one.measure,
                Entered(one.figures, from_si(one.value_si, one.unit), one.unit, one.value_si),
                _entered(one.low_si, one.unit),
                _entered(one.high_si, one.unit),
                one.tolerance,
                one.page,
                one.note,
            )
            for one in sheet.values.all()
        ],
    }


def _entered(si: float, unit: str) -> Entered:
    return Entered(figures(si, unit), from_si(si, unit), unit, si)
