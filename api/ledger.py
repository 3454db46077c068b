"""The ledger of a part, used against picked, and stock takes."""

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Choice, Input, Key, QuantityInput, QuantityOutput, Ref, base_amount, stock_quantity
from api.parts import MovementOutput, PartOutput
from api.permissions import Allows
from api.pick_lists import PickSheetOutput, told
from shop.parts.models import (
    Container,
    Drum,
    Lot,
    Movement,
    MovementKind,
    Part,
    Reservation,
    StockTake,
    StockTakeRow,
)
from shop.parts.selectors import movements_of, stock_of
from shop.parts.services import (
    correct,
    enter_counts,
    finish_take,
    give_up_take,
    set_keeping,
    start_take,
    write_off,
)
from shop.parts.takes import rows_of, takes
from shop.picklists.selectors import used_against_picked
from shop.workorders.models import WorkOrder
from shop.workorders.services import put_all_back

LOSES = "Reservations that go without, when less stays than is held; see “held_for” of the part."


class LedgerOutput(MovementOutput):
    """A movement with what was on hand after it."""

    on_hand = serializers.SerializerMethodField(help_text="After it.")
    for_whom = serializers.SerializerMethodField(help_text="The order and tag it was for; empty for none.")

    class Meta(MovementOutput.Meta):
        fields = [*MovementOutput.Meta.fields, "on_hand", "for_whom"]
        read_only_fields = fields

    @extend_schema_field(QuantityOutput)
    def get_on_hand(self, movement):
        return stock_quantity(movement.on_hand, movement.part.measure)

    def get_for_whom(self, movement) -> str:
        return movement.reservation.purpose if movement.reservation else ""


class LedgerQuery(Input):
    kind = Choice(choices=MovementKind.choices, required=False, help_text="Only movements of this kind.")
    before = Key(required=False, help_text="Only movements before the one of this number, as the list goes on.")


class LosesInput(Input):
    loses = Ref(queryset=Reservation.objects.all(), many=True, required=False, default=list, help_text=LOSES)


class WriteOffInput(LosesInput):
    amount = QuantityInput(help_text="With its unit.")
    container = Ref(queryset=Container.objects.all(), default=None, allow_null=True)
    lot = Ref(queryset=Lot.objects.all(), default=None, allow_null=True)
    reason = serializers.CharField(max_length=200, help_text="Why it is thrown away.")
    drum = Ref(
        queryset=Drum.objects.all(), default=None, allow_null=True,
        help_text="Of a fluid: where it was poured; the used-oil log notes it with the same act.",
    )  # fmt: skip
    elsewhere = serializers.CharField(
        max_length=100, allow_blank=True, default="", help_text="Of a fluid that went into no drum: where it went."
    )
    sure = serializers.BooleanField(default=False, help_text="Answers what was asked: a drum that would run over.")

    def validate(self, data):
        data["amount"] = base_amount(data["amount"], self.context["part"].measure, "amount")
        return data


class WriteOffOutput(MovementOutput):
    oil_entry = serializers.SerializerMethodField(help_text="The number of its line in the used-oil log; null: none.")

    class Meta(MovementOutput.Meta):
        fields = [*MovementOutput.Meta.fields, "oil_entry"]
        read_only_fields = fields

    def get_oil_entry(self, movement) -> int | None:
        return movement.oil_entries.filter(corrects=None).values_list("pk", flat=True).first()


class MovementCorrectInput(LosesInput):
    right = QuantityInput(help_text="What the entry should have said, without a sign: it came or went as before.")
    reason = serializers.CharField(max_length=200, help_text="What was wrong.")

    def validate(self, data):
        movement = self.context["movement"]
        amount = base_amount(data["right"], movement.part.measure, "right")
        data["right"] = -amount if movement.amount < 0 else amount
        return data


class KeepingInput(Input):
    days = serializers.IntegerField(
        min_value=1, max_value=3650, allow_null=True, help_text="Days it keeps once opened; null: no limit is known."
    )


class PartMovements(Listing):
    permission_classes = [Allows("look")]

    @extend_schema(parameters=[LedgerQuery], responses=LedgerOutput(many=True))
    def get(self, request, pk):
        """List the movements of a part, the latest first, each with what was on hand after it."""
        part = self.find(Part, pk)
        return self.page(movements_of(part, **self.query(LedgerQuery)).select_related("part"), LedgerOutput)


class PartWriteOff(Endpoint):
    permission_classes = [Allows("write_off")]

    @extend_schema(request=WriteOffInput, responses={201: WriteOffOutput})
    def post(self, request, pk):
        """Write stock off that is past its date, spoilt or spilt."""
        part = self.find(Part, pk)
        made = self.do(write_off, part=part, **self.body(WriteOffInput, part=part))
        return Response(WriteOffOutput(made).data, status=201)


class PartKeeping(Endpoint):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=KeepingInput, responses=PartOutput)
    def post(self, request, pk):
        """Say how many days a part keeps once its container is opened."""
        part = self.do(set_keeping, part=self.find(Part, pk), **self.body(KeepingInput))
        return Response(PartOutput(part, context={"stock": stock_of([part])}).data)


class MovementCorrect(Endpoint):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=MovementCorrectInput, responses={201: MovementOutput})
    def post(self, request, pk):
        """Correct a wrong movement by another one that names it; the answer is that one."""
        movement = self.find(Movement.objects.select_related("part", "container", "lot"), pk)
        made = self.do(correct, movement=movement, **self.body(MovementCorrectInput, movement=movement))
        return Response(MovementOutput(made).data, status=201)


# --- used against picked


class AccountOutput(serializers.Serializer):
    """What one line of a pick list asked for, what was taken for it, and what it used."""

    line = serializers.IntegerField(source="line.pk")
    tag = serializers.CharField(source="line.tag")
    part_number = serializers.CharField(source="line.part_number")
    name = serializers.CharField(source="line.name")
    asked_for = serializers.SerializerMethodField()
    issued = serializers.SerializerMethodField(help_text="Picked.")
    returned = serializers.SerializerMethodField(help_text="Put back, before the end or at closing.")
    straight = serializers.SerializerMethodField(help_text="Taken from the shelf at closing, without being picked.")
    used = serializers.SerializerMethodField(help_text="Known when the order is closed.")
    in_words = serializers.CharField()

    def _told(self, account, amount):
        return None if amount is None else stock_quantity(amount, account.line.measure)

    @extend_schema_field(QuantityOutput)
    def get_asked_for(self, account):
        return self._told(account, account.line.asks_for)

    @extend_schema_field(QuantityOutput)
    def get_issued(self, account):
        return self._told(account, account.issued)

    @extend_schema_field(QuantityOutput)
    def get_returned(self, account):
        return self._told(account, account.returned)

    @extend_schema_field(QuantityOutput)
    def get_straight(self, account):
        return self._told(account, account.straight)

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_used(self, account):
        return self._told(account, account.used)


class UsedOutput(serializers.Serializer):
    lines = AccountOutput(many=True)


class UsedAgainstPicked(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=UsedOutput)
    def get(self, request, pk):
        """Tell for each line of an order what was picked, put back and used."""
        order = self.find(WorkOrder.objects.select_related("pick_list"), pk)
        return Response(UsedOutput({"lines": used_against_picked(order.pick_list)}).data)


class PutAllBack(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=None, responses=PickSheetOutput)
    def post(self, request, pk):
        """Put everything that lies in the bags of an order back on the shelf."""
        self.body(Input)
        self.do(put_all_back, order=self.find(WorkOrder.objects.select_related("pick_list"), pk))
        return Response(told(self.find(WorkOrder.objects.select_related("pick_list"), pk)))


# --- stock takes


class TakeOutput(serializers.ModelSerializer):
    started_by = Brief()
    finished_by = Brief(allow_null=True)
    places = serializers.IntegerField(help_text="Sizes and lots of parts to count.")
    counted = serializers.IntegerField(help_text="How many of them are counted.")
    open = serializers.BooleanField()

    class Meta:
        model = StockTake
        fields = [
            "id", "title", "blind", "started_by", "started_at", "finished_by", "finished_at", "given_up", "open",
            "places", "counted",
        ]  # fmt: skip
        read_only_fields = fields


class TakeRowOutput(serializers.Serializer):
    """One place of a count. What the book expects is hidden while a blind one is open."""

    id = serializers.IntegerField(source="pk")
    part = Brief()
    bin = serializers.CharField(source="part.bin")
    container = Brief(allow_null=True)
    lot = Brief(allow_null=True)
    expected = serializers.SerializerMethodField(help_text="At the start.")
    in_book = serializers.SerializerMethodField(help_text="When it was counted.")
    found = serializers.SerializerMethodField(help_text="Null until somebody counted it.")
    difference = serializers.SerializerMethodField()
    counted_by = serializers.SerializerMethodField(help_text="Empty until somebody counted it.")
    reason = serializers.CharField()

    def _told(self, row, amount, secret=False):
        hidden = amount is None or (secret and self.context["hidden"])
        return None if hidden else stock_quantity(amount, row.part.measure)

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_expected(self, row):
        return self._told(row, row.expected, secret=True)

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_in_book(self, row):
        return self._told(row, row.last and row.last.in_book, secret=True)

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_found(self, row):
        return self._told(row, row.last and row.last.found)

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_difference(self, row):
        return self._told(row, row.last and row.last.difference, secret=True)

    def get_counted_by(self, row) -> str:
        return str(row.last.by) if row.last else ""


class StartTakeInput(Input):
    parts = Ref(queryset=Part.objects.all(), many=True, required=False, default=list, help_text="Only these parts.")
    bin_from = serializers.CharField(max_length=20, allow_blank=True, default="", help_text="Only bins from this one.")
    bin_to = serializers.CharField(max_length=20, allow_blank=True, default="", help_text="To this one.")
    blind = serializers.BooleanField(default=False, help_text="Who counts does not see what the book expects.")


class FoundInput(Input):
    row = Ref(queryset=StockTakeRow.objects.select_related("part"))
    found = QuantityInput(help_text="What is there, with its unit, opened containers included.")

    def validate(self, data):
        data["found"] = base_amount(data["found"], data["row"].part.measure, "found")
        return data


class CountsInput(Input):
    figures = FoundInput(many=True, allow_empty=False)
    recount = serializers.BooleanField(default=False, help_text="Places that are counted already are counted anew.")


class ReasonInput(Input):
    row = Ref(queryset=StockTakeRow.objects.all())
    reason = serializers.CharField(max_length=150)


class FinishInput(LosesInput):
    reason = serializers.CharField(max_length=150, allow_blank=True, default="", help_text="For all differences.")
    reasons = ReasonInput(
        many=True, required=False, default=list, help_text="For single places, before the one for all."
    )
    leave_uncounted = serializers.BooleanField(default=False, help_text="Places without a figure stay as they are.")


class Take(Endpoint):
    """What the endpoints of one stock take share."""

    def take(self, pk):
        return self.find(StockTake, pk)

    def told(self, pk, status=200):
        return Response(TakeOutput(self.find(takes(), pk)).data, status=status)


class TakeList(Listing):
    permission_classes = [Allows("look", write="keep_stock")]

    @extend_schema(responses=TakeOutput(many=True))
    def get(self, request):
        """List stock takes, the latest first."""
        return self.page(takes(), TakeOutput)

    @extend_schema(request=StartTakeInput, responses={201: TakeOutput})
    def post(self, request):
        """Begin a stock take of some parts, of a range of bins, or of the whole stock."""
        made = self.do(start_take, **self.body(StartTakeInput))
        return Response(TakeOutput(self.find(takes(), made.pk)).data, status=201)


class TakeDetail(Take):
    permission_classes = [Allows("look")]

    @extend_schema(responses=TakeOutput)
    def get(self, request, pk):
        """Read a stock take."""
        return self.told(pk)


class TakeRows(Listing):
    permission_classes = [Allows("look")]

    @extend_schema(responses=TakeRowOutput(many=True))
    def get(self, request, pk):
        """List the places of a stock take in walking order, with what was found."""
        take = self.find(StockTake, pk)
        hidden = {"hidden": take.blind and take.open}
        return self.page(rows_of(take), lambda found, many: TakeRowOutput(found, many=many, context=hidden))


class TakeCounts(Take):
    permission_classes = [Allows("count_stock")]

    @extend_schema(request=CountsInput, responses=TakeOutput)
    def post(self, request, pk):
        """Enter what was found in some places, all or none."""
        body = self.body(CountsInput)
        figures = [(one["row"], one["found"]) for one in body.pop("figures")]
        self.do(enter_counts, take=self.take(pk), figures=figures, **body)
        return self.told(pk)


class TakeFinish(Take):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=FinishInput, responses=TakeOutput)
    def post(self, request, pk):
        """Correct the book by all differences of a stock take at once."""
        body = self.body(FinishInput)
        reasons = [(one["row"], one["reason"]) for one in body.pop("reasons")]
        self.do(finish_take, take=self.take(pk), reasons=reasons, **body)
        return self.told(pk)


class TakeGiveUp(Take):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=None, responses=TakeOutput)
    def post(self, request, pk):
        """End a stock take without correcting the book."""
        self.body(Input)
        self.do(give_up_take, take=self.take(pk))
        return self.told(pk)
