from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import Brief, Input, QuantityOutput, stock_quantity
from api.permissions import Allows
from shop.picklists.models import PickLine
from shop.picklists.selectors import pick_sheet
from shop.workorders.kit import parts_changed
from shop.workorders.models import WorkOrder
from shop.workorders.services import hold_parts, pick_line, put_back_line


class PickLineOutput(serializers.Serializer):
    """One part for one bag."""

    id = serializers.IntegerField()
    tag = serializers.CharField(help_text="The damper's bag tag.")
    part_number = serializers.CharField()
    instead_of = serializers.CharField(help_text="The number in whose place it was chosen; empty: it was asked for.")
    amount = serializers.SerializerMethodField()
    held = serializers.SerializerMethodField(help_text="What is set aside for this line and offered to nobody else.")
    issued = serializers.SerializerMethodField(help_text="What was taken from the shelf for it and not put back.")
    over = serializers.SerializerMethodField(help_text="What lies in the bag beyond what is asked for: put it back.")
    not_asked = serializers.BooleanField(help_text="Nothing asks for it any more; it stays until it is put back.")
    from_draft = serializers.BooleanField(help_text="DRAFT: the amount comes from a sheet that nobody has verified.")
    picked_at = serializers.DateTimeField(allow_null=True)
    picked_by = Brief(allow_null=True)
    taken_up_at = serializers.DateTimeField(
        allow_null=True, help_text="After an inspection; empty: the parts list itself asks for it."
    )
    taken_up_by = Brief(allow_null=True)
    used = serializers.SerializerMethodField(help_text="Known when the order is closed.")

    @extend_schema_field(QuantityOutput)
    def get_amount(self, line):
        return stock_quantity(line.amount, line.measure)

    @extend_schema_field(QuantityOutput)
    def get_held(self, line):
        return stock_quantity(line.held, line.measure)

    @extend_schema_field(QuantityOutput)
    def get_issued(self, line):
        return stock_quantity(line.issued, line.measure)

    @extend_schema_field(QuantityOutput)
    def get_over(self, line):
        return stock_quantity(line.over, line.measure)

    @extend_schema_field(QuantityOutput(allow_null=True))
    def get_used(self, line):
        return None if line.used is None else stock_quantity(line.used, line.measure)


class BuyOutput(serializers.Serializer):
    container = serializers.CharField()
    count = serializers.IntegerField()


class AlternateOutput(serializers.Serializer):
    """A part that may be taken instead for a bag that is short."""

    part_number = serializers.CharField()
    name = serializers.CharField()
    free = serializers.SerializerMethodField(help_text="What nobody holds.")
    enough = serializers.BooleanField(help_text="For at least one of the bags that wait.")

    @extend_schema_field(QuantityOutput)
    def get_free(self, one):
        return stock_quantity(one.free, one.measure)


class OfferOutput(serializers.Serializer):
    """An optional part of one bag: taken only when the inspection asks for it and somebody takes it up."""

    tag = serializers.CharField(source="need.tag")
    part_number = serializers.CharField(source="need.part_number")
    name = serializers.CharField(source="need.name")
    amount = serializers.SerializerMethodField(help_text="For one damper, as the parts list has it.")
    taken_up = PickLineOutput(source="line", allow_null=True)

    @extend_schema_field(QuantityOutput)
    def get_amount(self, offer):
        return stock_quantity(offer.need.amount, offer.need.measure)


class PickRowOutput(serializers.Serializer):
    """One part, summed over the bags."""

    part_number = serializers.CharField()
    name = serializers.CharField()
    in_stock_list = serializers.SerializerMethodField()
    bin = serializers.CharField()
    needed = serializers.SerializerMethodField()
    held = serializers.SerializerMethodField()
    short = serializers.SerializerMethodField()
    on_hand = serializers.SerializerMethodField()
    from_draft = serializers.BooleanField(help_text="DRAFT: an amount comes from a sheet that nobody has verified.")
    picked = serializers.BooleanField()
    plan = serializers.ListField(child=serializers.CharField(), help_text="From which containers to take it.")
    buy = serializers.SerializerMethodField(help_text="The cheapest whole containers for what is short.")
    alternates = AlternateOutput(many=True, help_text="For what is short.")
    lines = PickLineOutput(many=True)

    def get_in_stock_list(self, row) -> bool:
        return row.part is not None

    @extend_schema_field(QuantityOutput)
    def get_needed(self, row):
        return stock_quantity(row.needed, row.measure)

    @extend_schema_field(QuantityOutput)
    def get_held(self, row):
        return stock_quantity(row.held, row.measure)

    @extend_schema_field(QuantityOutput)
    def get_short(self, row):
        return stock_quantity(row.short, row.measure)

    @extend_schema_field(QuantityOutput)
    def get_on_hand(self, row):
        return stock_quantity(row.on_hand, row.measure)

    @extend_schema_field(BuyOutput(many=True))
    def get_buy(self, row):
        return [{"container": str(container), "count": count} for container, count in row.buy]


class PickSheetOutput(serializers.Serializer):
    short = serializers.BooleanField(help_text="Whether any part is short.")
    picked = serializers.BooleanField(help_text="Whether every line is picked.")
    changed = serializers.CharField(
        help_text="A sentence when the parts lists ask for something else now than the list was filled with."
    )
    rows = PickRowOutput(many=True)
    optional = OfferOutput(source="offers", many=True, help_text="Only if the inspection asks for it.")


def told(order):
    """An order's pick list as it is told."""
    sheet = pick_sheet(order.pick_list)
    return PickSheetOutput(
        {
            "short": sheet.short,
            "picked": sheet.picked,
            "changed": parts_changed(order),
            "rows": sheet.rows,
            "offers": sheet.offers,
        }
    ).data


class PickListDetail(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=PickSheetOutput)
    def get(self, request, pk):
        """Read an order's pick list, in the order of the bins."""
        return Response(told(self.find(WorkOrder.objects.select_related("pick_list"), pk)))


class PickListHold(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=None, responses=PickSheetOutput)
    def post(self, request, pk):
        """Hold for an order what was short and is there by now."""
        self.body(Input)
        order = self.find(WorkOrder.objects.select_related("pick_list"), pk)
        self.do(hold_parts, order=order)
        return Response(told(self.find(WorkOrder.objects.select_related("pick_list"), pk)))


class Pick(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=None, responses=PickLineOutput)
    def post(self, request, pk):
        """Take a line's part from the shelf: what was held is issued. Somebody else's pick is told (409)."""
        self.body(Input)
        return Response(PickLineOutput(self.do(pick_line, line=self.find(PickLine, pk))).data)


class Unpick(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=None, responses=PickLineOutput)
    def post(self, request, pk):
        """Put a line's part back on the shelf: it counts as not picked, and is held again."""
        self.body(Input)
        return Response(PickLineOutput(self.do(put_back_line, line=self.find(PickLine, pk))).data)
