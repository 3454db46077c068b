"""The pick list for a day over all orders."""

from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint
from api.fields import Brief, Day, Input, Key, QuantityOutput, Ref, stock_quantity
from api.permissions import Allows
from api.pick_lists import AlternateOutput, BuyOutput, PickLineOutput
from shop.picklists.models import PickLine
from shop.workorders.day_picks import day_picks, orders_to_gather, picked_in_words
from shop.workorders.models import WorkOrder
from shop.workorders.services import pick_everywhere, pick_scanned, put_back_last

WITHOUT = "Orders that are left out."


class DayQuery(Input):
    day = Day(required=False, help_text="Default: today. Orders that arrive by then, or are on the benches.")
    without = serializers.CharField(max_length=2000, required=False, help_text=f"{WITHOUT} Their numbers with commas.")

    def validate_without(self, text):
        keys = [one.strip() for one in text.split(",") if one.strip()]
        if any(not (one.isascii() and one.isdigit() and len(one) <= 18) for one in keys):
            raise serializers.ValidationError("Give the numbers of orders with commas between: 12,15.")
        return [int(one) for one in keys]


class ScanInput(Input):
    code = serializers.CharField(max_length=200, trim_whitespace=False, help_text="What the scanner read.")
    day = Day(required=False, help_text="Default: today.")
    without = serializers.ListField(child=Key(), default=list, max_length=500, help_text=WITHOUT)


class PickEverywhereInput(Input):
    part_number = serializers.CharField(max_length=40)
    order = Ref(
        queryset=WorkOrder.objects.all(), default=None, allow_null=True, help_text="Empty: every order of the day."
    )
    day = Day(required=False, help_text="Default: today.")
    without = serializers.ListField(child=Key(), default=list, max_length=500, help_text=WITHOUT)


class ScanOutput(serializers.Serializer):
    said = serializers.CharField(help_text="Aloud, what goes where and how many bags still wait.")
    line = PickLineOutput(help_text="Of a whole part the last line that was picked.")


class DayBagOutput(serializers.Serializer):
    order = serializers.IntegerField()
    where = serializers.CharField(help_text="Where the damper sits.")
    line = PickLineOutput()


class DayPickRowOutput(serializers.Serializer):
    """One part over all orders: needed = picked + to_take + short."""

    part_number = serializers.CharField()
    name = serializers.CharField()
    in_stock_list = serializers.BooleanField()
    bin = serializers.CharField()
    needed = serializers.SerializerMethodField()
    picked = serializers.SerializerMethodField()
    to_take = serializers.SerializerMethodField()
    short = serializers.SerializerMethodField()
    from_draft = serializers.BooleanField(help_text="DRAFT: an amount comes from a sheet that nobody has verified.")
    done = serializers.BooleanField(help_text="Whether every bag has it.")
    plan = serializers.ListField(child=serializers.CharField(), help_text="One plan of containers for all orders.")
    buy = serializers.SerializerMethodField(help_text="The cheapest whole containers for what is short.")
    alternates = AlternateOutput(many=True, help_text="For what is short.")
    bags = DayBagOutput(many=True)

    def _amount(self, row, name):
        return stock_quantity(row[name], row["measure"])

    @extend_schema_field(QuantityOutput)
    def get_needed(self, row):
        return self._amount(row, "needed")

    @extend_schema_field(QuantityOutput)
    def get_picked(self, row):
        return self._amount(row, "picked")

    @extend_schema_field(QuantityOutput)
    def get_to_take(self, row):
        return self._amount(row, "to_take")

    @extend_schema_field(QuantityOutput)
    def get_short(self, row):
        return self._amount(row, "short")

    @extend_schema_field(BuyOutput(many=True))
    def get_buy(self, row):
        return [{"container": str(container), "count": count} for container, count in row["buy"]]


class AtRiskOutput(serializers.Serializer):
    order = Brief()
    promised_for = serializers.DateTimeField(source="order.promised_for")
    part_numbers = serializers.ListField(child=serializers.CharField())


class DayPicksOutput(serializers.Serializer):
    day = serializers.DateField()
    orders = Brief(many=True, help_text="The earliest promise first.")
    left_out = Brief(many=True)
    dampers = serializers.IntegerField()
    rows = DayPickRowOutput(many=True, help_text="In walking order.")
    at_risk = AtRiskOutput(many=True, help_text="Orders whose promise hangs on parts that are not there.")


def _told(found):
    order_of = found.order_of
    names = ("part_number", "name", "measure", "bin", "needed", "picked", "to_take", "short", "from_draft", "done")
    rows = [
        {name: getattr(row, name) for name in (*names, "plan", "buy", "alternates")}
        | {
            "in_stock_list": row.part is not None,
            "bags": [
                {"order": order_of[line.pick_list_id].pk, "where": found.bags.get(line.tag, ""), "line": line}
                for line in row.lines
            ],
        }
        for row in found.rows
    ]
    names = ("day", "orders", "left_out", "dampers", "at_risk")
    return DayPicksOutput({name: getattr(found, name) for name in names} | {"rows": rows}).data


class DayPicks(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(parameters=[DayQuery], responses=DayPicksOutput)
    def get(self, request):
        """Read the pick list for a day over all orders, in walking order."""
        asked, today = self.query(DayQuery), timezone.localdate()
        return Response(_told(day_picks(asked.get("day", today), today=today, without=asked.get("without", ()))))


class DayScan(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=ScanInput, responses=ScanOutput)
    def post(self, request):
        """Take a scanned part for the next bag that waits for it, the earliest promise first.

        Refused when the number is on none of the lists, when every bag has it (409) and when it is short (409).
        """
        data = self.body(ScanInput)
        orders = _orders(data)
        line = self.do(pick_scanned, code=data["code"], orders=orders)
        return Response(ScanOutput({"said": picked_in_words(line, orders), "line": line}).data)


class DayPick(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=PickEverywhereInput, responses=ScanOutput)
    def post(self, request):
        """Take a part for every bag that waits for it, of one order or of all of the day."""
        data = self.body(PickEverywhereInput)
        orders = [data["order"]] if data["order"] else _orders(data)
        line = self.do(pick_everywhere, part_number=data["part_number"], orders=orders)
        return Response(ScanOutput({"said": picked_in_words(line, orders), "line": line}).data)


class Undo(Endpoint):
    permission_classes = [Allows("pick")]

    @extend_schema(request=None, responses=PickLineOutput)
    def post(self, request, pk):
        """Put back what one has picked oneself; refused (409) when somebody else has picked it since."""
        self.body(Input)
        return Response(PickLineOutput(self.do(put_back_last, line=self.find(PickLine, pk))).data)


def _orders(data):
    today = timezone.localdate()
    found = orders_to_gather(data.get("day", today), today=today)
    return [order for order in found if order.pk not in data["without"]]
