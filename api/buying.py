"""What to buy, purchase orders, deliveries and reorder points."""

from django.db.models import Prefetch
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Choice, Day, Input, QuantityInput, QuantityOutput, Ref, base_amount, stock_quantity
from api.permissions import Allows
from api.suppliers import Price, money
from api.workorders import Pdf
from shop.core.clock import local_day
from shop.documents.services import purchase_paper, purchase_text
from shop.parts.models import (
    MOST_UNITS,
    Part,
    PurchaseLine,
    PurchaseOrder,
    PurchaseStatus,
    Receipt,
    ReceiptLine,
    SentHow,
    Supplier,
    SupplierItem,
)
from shop.parts.reorder import reorder
from shop.parts.services import (
    Arrived,
    Wanted,
    call_off_rest,
    correct_receipt,
    fix_reorder,
    receive_delivery,
    send_order,
    set_line,
    start_order,
    unfix_reorder,
)
from shop.workorders.purchases import reorder_list, to_buy, waited_for
from shop.workorders.services import hold_for_waiting

UNITS = {"min_value": 1, "max_value": MOST_UNITS}
MOST_LINES = 200


class Amounts(serializers.Serializer):
    """Base for what tells amounts of one part."""

    def quantity(self, amount, measure):
        return None if amount is None else stock_quantity(amount, measure)


# --- what to buy ------------------------------------------------------------------------------------------------------


class WaitingOrderOutput(serializers.Serializer):
    """A running order that waits for a part."""

    order = Brief()
    promised = serializers.DateField()
    comes_on = serializers.DateField(source="arrival.day", allow_null=True, help_text="Empty: nobody can say.")
    at_risk = serializers.BooleanField(help_text="It comes after the promise, or nobody can say when.")
    late_by_days = serializers.IntegerField(source="late_by")
    words = serializers.CharField()


class BuyLineOutput(serializers.Serializer):
    item = Brief()
    units = serializers.IntegerField()
    net = money(allow_null=True, help_text="Empty: nobody noted a price.")


class SuggestionOutput(Amounts):
    """What to buy of one part."""

    part = Brief()
    need = serializers.SerializerMethodField(help_text="To order now.")
    drafted = serializers.SerializerMethodField(help_text="In drafts already.")
    buy = BuyLineOutput(source="buys", many=True)
    why = serializers.CharField(source="reorder.why")
    instead = serializers.CharField(help_text="Another supplier who is cheaper or sooner; empty: none is.")
    waits = WaitingOrderOutput(many=True)

    @extend_schema_field(QuantityOutput)
    def get_need(self, row):
        return self.quantity(row.need, row.part.measure)

    @extend_schema_field(QuantityOutput)
    def get_drafted(self, row):
        return self.quantity(row.drafted, row.part.measure)


class FromSupplierOutput(serializers.Serializer):
    supplier = Brief()
    delivers_on = serializers.DateField(help_text="If it is ordered today.")
    total = money()
    rows = SuggestionOutput(many=True)


class UnlistedOutput(Amounts):
    order = Brief()
    part_number = serializers.CharField()
    name = serializers.CharField()
    amount = serializers.SerializerMethodField()

    @extend_schema_field(QuantityOutput)
    def get_amount(self, row):
        return self.quantity(row.amount, row.measure)


class ToBuyOutput(serializers.Serializer):
    suppliers = FromSupplierOutput(many=True)
    unsold = SuggestionOutput(many=True, help_text="Needed, and nobody is known to sell it.")
    unlisted = UnlistedOutput(many=True, help_text="Needed, and not in the stock list.")
    covered = SuggestionOutput(many=True, help_text="Waited for, and on its way, drafted or on the shelf.")


class ToBuyList(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=ToBuyOutput)
    def get(self, request):
        """What to order now and from whom: for orders that wait, and for what is at or under its reorder point."""
        self.query(Input)
        return Response(ToBuyOutput(to_buy(now=timezone.now())).data)


# --- purchase orders --------------------------------------------------------------------------------------------------


class PurchaseLineOutput(serializers.ModelSerializer):
    item = Brief()
    part = Brief()
    unit = serializers.CharField(source="item.unit_name")
    received = serializers.IntegerField()
    to_come = serializers.IntegerField()
    expected_on = serializers.DateField(source="due_on", allow_null=True)
    net = money(allow_null=True)

    class Meta:
        model = PurchaseLine
        fields = [
            "id", "item", "part", "unit", "units", "received", "called_off", "to_come", "expected_on", "price", "net",
        ]  # fmt: skip
        read_only_fields = fields


class ReceiptLineOutput(serializers.ModelSerializer):
    line = serializers.IntegerField(source="line_id")
    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)
    movement = serializers.IntegerField(source="movement_id")

    class Meta:
        model = ReceiptLine
        fields = ["id", "line", "units", "price", "why", "corrects", "movement"]
        read_only_fields = fields


class ReceiptOutput(serializers.ModelSerializer):
    by = Brief()
    lines = ReceiptLineOutput(many=True)

    class Meta:
        model = Receipt
        fields = ["id", "delivery_note", "by", "at", "lines"]
        read_only_fields = fields


class PurchaseBrief(serializers.ModelSerializer):
    number = serializers.CharField()
    supplier = Brief()

    class Meta:
        model = PurchaseOrder
        fields = ["id", "number", "supplier", "status", "made_at", "sent_at", "expected_on"]
        read_only_fields = fields


class PurchaseOutput(PurchaseBrief):
    sent_how = serializers.CharField(help_text="email, phone, site or counter; empty before it was sent.")
    made_by = Brief()
    sent_by = Brief(allow_null=True)
    late = serializers.SerializerMethodField()
    lines = PurchaseLineOutput(many=True)
    receipts = ReceiptOutput(many=True)

    class Meta(PurchaseBrief.Meta):
        fields = [
            *PurchaseBrief.Meta.fields, "sent_how", "sent_by", "made_by", "currency", "note", "ended_at", "ended_why",
            "late", "lines", "receipts",
        ]  # fmt: skip
        read_only_fields = fields

    def get_late(self, order) -> bool:
        return order.running and order.late(local_day(timezone.now()))


class PurchaseQuery(Input):
    status = Choice(PurchaseStatus.choices, required=False)


class WantedInput(Input):
    item = Ref(queryset=SupplierItem.objects.select_related("part", "container", "supplier"))
    units = serializers.IntegerField(help_text="Pieces or containers.", **UNITS)
    price = Price(default=None, allow_null=True, help_text="Of one; empty: the one that holds today.")


class PurchaseInput(Input):
    supplier = Ref(queryset=Supplier.objects.all())
    lines = WantedInput(many=True, allow_empty=False, max_length=MOST_LINES)
    note = serializers.CharField(max_length=300, allow_blank=True, default="")


class PurchaseLineInput(Input):
    item = Ref(queryset=SupplierItem.objects.select_related("part", "container", "supplier"))
    units = serializers.IntegerField(min_value=0, max_value=MOST_UNITS, help_text="In all; 0 takes it off a draft.")
    price = Price(default=None, allow_null=True)
    expected_on = Day(default=None, allow_null=True, help_text="Empty: with the rest of the order.")
    why = serializers.CharField(
        max_length=200, allow_blank=True, default="", help_text="Needed once the order was sent."
    )


class SendInput(Input):
    how = Choice(SentHow.choices)
    expected_on = Day()


class ArrivedInput(Input):
    line = Ref(queryset=PurchaseLine.objects.select_related("item__part"))
    units = serializers.IntegerField(help_text="Pieces or containers that came.", **UNITS)
    price = Price(default=None, allow_null=True, help_text="What was paid for one, if it differs.")
    why = serializers.CharField(
        max_length=200, allow_blank=True, default="", help_text="Why more is kept than was ordered."
    )
    lot_code = serializers.CharField(max_length=40, allow_blank=True, default="", help_text="On the label.")
    use_by = Day(default=None, allow_null=True, help_text="On the label: the last day on which it may be used.")


class DeliveryInput(Input):
    delivery_note = serializers.CharField(max_length=60, help_text="One note is entered once for an order.")
    lines = ArrivedInput(many=True, allow_empty=False, max_length=MOST_LINES)


class DeliveryCorrectInput(Input):
    units = serializers.IntegerField(min_value=0, max_value=MOST_UNITS, help_text="What really came.")
    why = serializers.CharField(max_length=200)


class RestOffInput(Input):
    why = serializers.CharField(max_length=300)


class GotOutput(Amounts):
    order = Brief()
    part = Brief()
    amount = serializers.SerializerMethodField()
    lacks = serializers.SerializerMethodField()

    @extend_schema_field(QuantityOutput)
    def get_amount(self, got):
        return self.quantity(got.amount, got.part.measure)

    @extend_schema_field(QuantityOutput)
    def get_lacks(self, got):
        return self.quantity(got.lacks, got.part.measure)


class HeldOutput(serializers.Serializer):
    held = GotOutput(many=True, help_text="Who got what; empty when it was done under this key before.")


class PurchaseText(serializers.Serializer):
    text = serializers.CharField()


def purchases():
    """Orders with all that is told of them, in a constant number of queries."""
    lines = PurchaseLine.objects.with_received().select_related("item__container", "item__part", "part", "order")
    return PurchaseOrder.objects.select_related("supplier", "made_by", "sent_by").prefetch_related(
        Prefetch("lines", lines.order_by("pk")), "receipts__by", "receipts__lines"
    )


def told(pk, status=200):
    return Response(PurchaseOutput(purchases().get(pk=pk)).data, status=status)


class PurchaseList(Listing):
    permission_classes = [Allows("look", write="keep_stock")]

    @extend_schema(parameters=[PurchaseQuery], responses=PurchaseBrief(many=True))
    def get(self, request):
        """List purchase orders, newest first."""
        return self.page(PurchaseOrder.objects.filter(**self.query(PurchaseQuery)).select_related("supplier"),
                         PurchaseBrief)  # fmt: skip

    @extend_schema(request=PurchaseInput, responses={201: PurchaseOutput})
    def post(self, request):
        """Draft an order; nothing is on its way before it is sent."""
        body = self.body(PurchaseInput)
        wanted = [Wanted(**line) for line in body.pop("lines")]
        return told(self.do(start_order, wanted=wanted, **body).pk, 201)


class PurchaseDetail(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=PurchaseOutput)
    def get(self, request, pk):
        """Read an order with its lines and deliveries."""
        return Response(PurchaseOutput(self.find(purchases(), pk)).data)


class PurchaseLines(Endpoint):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=PurchaseLineInput, responses=PurchaseOutput)
    def post(self, request, pk):
        """Change a line of an order or add one; once it was sent, with a reason."""
        order = self.find(PurchaseOrder, pk)
        return told(self.do(set_line, order=order, **self.body(PurchaseLineInput)).pk)


class PurchaseSend(Endpoint):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=SendInput, responses=PurchaseOutput)
    def post(self, request, pk):
        """Note that an order went out, how, and when the delivery is expected."""
        return told(self.do(send_order, order=self.find(PurchaseOrder, pk), **self.body(SendInput)).pk)


class PurchaseDelivery(Endpoint):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=DeliveryInput, responses={201: PurchaseOutput})
    def post(self, request, pk):
        """Enter what came with one delivery note; it is on hand from now on.

        409 when the note was entered already. More than is still to come is kept only with a reason.
        """
        order, body = self.find(PurchaseOrder, pk), self.body(DeliveryInput)
        arrived = [Arrived(**line) for line in body["lines"]]
        self.do(receive_delivery, order=order, delivery_note=body["delivery_note"], arrived=arrived)
        return told(order.pk, 201)


class DeliveryLineCorrect(Endpoint):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=DeliveryCorrectInput, responses=PurchaseOutput)
    def post(self, request, pk):
        """Put right a line of a delivery on which more was written than came."""
        received = self.find(ReceiptLine.objects.select_related("receipt__order"), pk)
        self.do(correct_receipt, received=received, **self.body(DeliveryCorrectInput))
        return told(received.receipt.order_id)


class PurchaseCallOff(Endpoint):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=RestOffInput, responses=PurchaseOutput)
    def post(self, request, pk):
        """Nothing more will come of an order."""
        return told(self.do(call_off_rest, order=self.find(PurchaseOrder, pk), **self.body(RestOffInput)).pk)


class PurchaseHold(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=None, responses=HeldOutput)
    def post(self, request, pk):
        """Hold what came for the running orders that lack it, the earliest promise first."""
        self.body(Input)
        order, held = self.find(PurchaseOrder, pk), []

        def hold(**given):
            held.extend(hold_for_waiting(**given))

        hold.__module__, hold.__name__ = hold_for_waiting.__module__, hold_for_waiting.__name__
        self.do(hold, answer=order, parts=list(Part.objects.filter(purchase_lines__order=order).distinct()))
        return Response(HeldOutput({"held": held}).data)


class PurchasePaper(Endpoint):
    permission_classes = [Allows("look")]
    renderer_classes = [Pdf, JSONRenderer]

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request, pk):
        """An order as a PDF."""
        paper = purchase_paper(order=self.find(PurchaseOrder, pk))
        answer = HttpResponse(paper.pdf, content_type="application/pdf")
        answer["Content-Disposition"] = f'inline; filename="{paper.filename}"'
        return answer


class PurchaseMail(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=PurchaseText)
    def get(self, request, pk):
        """An order as plain text, for an e-mail."""
        return Response({"text": purchase_text(order=self.find(PurchaseOrder, pk))})


# --- reorder points ---------------------------------------------------------------------------------------------------


class ReorderOutput(Amounts):
    """When a part is ordered again and how many at a time, with the reason in words."""

    part = Brief()
    on_hand = serializers.SerializerMethodField()
    held = serializers.SerializerMethodField()
    short = serializers.SerializerMethodField(help_text="What running orders lack.")
    on_order = serializers.SerializerMethodField()
    left = serializers.SerializerMethodField(help_text="When all has come and every order has its parts.")
    point = serializers.SerializerMethodField(help_text="Order when so much is left; empty: not ordered by itself.")
    amount = serializers.SerializerMethodField(help_text="How much at a time.")
    to_order = serializers.SerializerMethodField(help_text="Now.")
    by_hand = serializers.SerializerMethodField()
    why = serializers.CharField()

    @extend_schema_field(QuantityOutput)
    def get_on_hand(self, row):
        return self.quantity(row.stock.on_hand, row.part.measure)

    @extend_schema_field(QuantityOutput)
    def get_held(self, row):
        return self.quantity(row.stock.held, row.part.measure)

    @extend_schema_field(QuantityOutput)
    def get_short(self, row):
        return self.quantity(row.short, row.part.measure)

    @extend_schema_field(QuantityOutput)
    def get_on_order(self, row):
        return self.quantity(row.on_order, row.part.measure)

    @extend_schema_field(QuantityOutput)
    def get_left(self, row):
        return self.quantity(row.position, row.part.measure)

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_point(self, row):
        return self.quantity(row.point, row.part.measure)

    @extend_schema_field(QuantityOutput)
    def get_amount(self, row):
        return self.quantity(row.amount, row.part.measure)

    @extend_schema_field(QuantityOutput)
    def get_to_order(self, row):
        return self.quantity(row.to_order, row.part.measure)

    def get_by_hand(self, row) -> bool:
        return row.fix is not None


class ReorderInput(Input):
    point = QuantityInput(help_text="Order when so much is left.")
    amount = QuantityInput(help_text="So much at a time; zero: it is not ordered again.")
    why = serializers.CharField(max_length=200)

    def validate(self, data):
        for name in ("point", "amount"):
            data[name] = base_amount(data[name], self.context["part"].measure, name)
        return data


def figures(part):
    found = reorder([part], now=timezone.now(), short=waited_for([part]))
    return Response(ReorderOutput(found[part.pk]).data)


class ReorderList(Listing):
    permission_classes = [Allows("look")]

    @extend_schema(responses=ReorderOutput(many=True))
    def get(self, request):
        """List when each part is ordered again, those to be ordered now first."""
        self.query(Input)
        return self.page(reorder_list(now=timezone.now()), ReorderOutput)


class PartReorder(Endpoint):
    permission_classes = [Allows("look", write="keep_suppliers")]

    @extend_schema(responses=ReorderOutput)
    def get(self, request, pk):
        """Read when a part is ordered again, and why."""
        return figures(self.find(Part, pk))

    @extend_schema(request=ReorderInput, responses=ReorderOutput)
    def post(self, request, pk):
        """Set a part's reorder point by hand, with the reason."""
        part = self.find(Part, pk)
        self.do(fix_reorder, part=part, **self.body(ReorderInput, part=part))
        return figures(part)


class PartReorderAsReckoned(Endpoint):
    permission_classes = [Allows("keep_suppliers")]

    @extend_schema(request=None, responses=ReorderOutput)
    def post(self, request, pk):
        """Go by the reckoned reorder point again."""
        self.body(Input)
        return figures(self.do(unfix_reorder, part=self.find(Part, pk)))
