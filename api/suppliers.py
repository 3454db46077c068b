"""Suppliers, what they sell, and at which price since when: read by all, written by managers."""

from django.db.models import Q
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.catalogue import Version
from api.endpoint import Endpoint, Listing
from api.fields import Brief, Day, Input, QuantityOutput, Ref, stock_quantity
from api.permissions import Allows
from shop.core.clock import local_day
from shop.parts.models import MOST_UNITS, Container, Part, Supplier, SupplierItem, SupplierPrice
from shop.parts.models.suppliers import LONGEST_LEAD_DAYS
from shop.parts.services import add_item, change_item, change_supplier, create_supplier, note_price

LEAD = {"min_value": 0, "max_value": LONGEST_LEAD_DAYS}
UNITS = {"min_value": 1, "max_value": MOST_UNITS}
TOLD = [
    "name", "email", "phone", "address", "account_number", "order_days", "lead_days", "lead_deviation_days", "note",
]  # fmt: skip
SOLD = ["their_number", "pack", "minimum", "in_use"]
DAYS = "Weekdays as digits, 0 is Monday: “024”. Empty: any working day."


class Price(serializers.DecimalField):
    """Money for one piece or container, with up to four figures behind the point, as text: "21.50"."""

    def __init__(self, **kwargs):
        super().__init__(max_digits=10, decimal_places=4, min_value=0, **kwargs)


def money(**kwargs):
    return serializers.DecimalField(max_digits=13, decimal_places=2, **kwargs)


class SupplierOutput(serializers.ModelSerializer):
    class Meta:
        model = Supplier
        fields = ["id", *TOLD, "in_use", "version"]
        read_only_fields = fields


class SupplierQuery(Input):
    search = serializers.CharField(max_length=100, required=False, help_text="Part of the name or account number.")


class SupplierInput(Input):
    name = serializers.CharField(max_length=80)
    email = serializers.EmailField(max_length=254, allow_blank=True, required=False)
    phone = serializers.CharField(max_length=40, allow_blank=True, default="")
    address = serializers.CharField(max_length=300, allow_blank=True, default="")
    account_number = serializers.CharField(max_length=40, allow_blank=True, default="")
    order_days = serializers.CharField(max_length=7, allow_blank=True, default="", help_text=DAYS)
    lead_days = serializers.IntegerField(help_text="Working days from order to delivery.", **LEAD)
    lead_deviation_days = serializers.IntegerField(default=0, help_text="Standard deviation, working days.", **LEAD)
    note = serializers.CharField(max_length=500, allow_blank=True, default="")


class SupplierChange(Input):
    """Fields left out stay as they are."""

    version = Version()
    name = serializers.CharField(max_length=80, required=False)
    email = serializers.EmailField(max_length=254, allow_blank=True, required=False)
    phone = serializers.CharField(max_length=40, allow_blank=True, required=False)
    address = serializers.CharField(max_length=300, allow_blank=True, required=False)
    account_number = serializers.CharField(max_length=40, allow_blank=True, required=False)
    order_days = serializers.CharField(max_length=7, allow_blank=True, required=False, help_text=DAYS)
    lead_days = serializers.IntegerField(required=False, **LEAD)
    lead_deviation_days = serializers.IntegerField(required=False, **LEAD)
    note = serializers.CharField(max_length=500, allow_blank=True, required=False)
    in_use = serializers.BooleanField(required=False, help_text="Nothing is ordered from one that is not.")


class SupplierItemOutput(serializers.ModelSerializer):
    supplier = Brief()
    part = Brief()
    container = Brief(allow_null=True)
    holds = serializers.SerializerMethodField(help_text="In one piece or container.")
    price = serializers.DecimalField(
        max_digits=11, decimal_places=4, allow_null=True, help_text="Of one, today; empty: nobody noted it."
    )

    class Meta:
        model = SupplierItem
        fields = ["id", "supplier", "part", "container", "holds", *SOLD, "price", "version"]
        read_only_fields = fields

    @extend_schema_field(QuantityOutput)
    def get_holds(self, item):
        return stock_quantity(item.size, item.part.measure)


class SupplierItemInput(Input):
    part = Ref(queryset=Part.objects.all())
    container = Ref(
        queryset=Container.objects.all(), default=None, allow_null=True, help_text="Empty: sold by the piece."
    )
    their_number = serializers.CharField(max_length=40, allow_blank=True, default="")
    pack = serializers.IntegerField(default=1, help_text="They send whole packs of so many.", **UNITS)
    minimum = serializers.IntegerField(default=1, help_text="The fewest they send.", **UNITS)
    price = Price(default=None, allow_null=True, help_text="Of one, from today on.")


class SupplierItemChange(Input):
    """Fields left out stay as they are."""

    version = Version()
    their_number = serializers.CharField(max_length=40, allow_blank=True, required=False)
    pack = serializers.IntegerField(required=False, **UNITS)
    minimum = serializers.IntegerField(required=False, **UNITS)
    in_use = serializers.BooleanField(required=False)


class SupplierPriceOutput(serializers.ModelSerializer):
    noted_by = Brief()

    class Meta:
        model = SupplierPrice
        fields = ["id", "price", "currency", "from_day", "noted_by", "noted_at"]
        read_only_fields = fields


class SupplierPriceInput(Input):
    price = Price(help_text="Of one piece or container.")
    from_day = Day(help_text="The day from which it holds.")


def items(**found):
    """What is sold, with the price of today."""
    today = local_day(timezone.now())
    return SupplierItem.objects.filter(**found).priced(today).select_related("supplier", "part", "container")


class SupplierList(Listing):
    permission_classes = [Allows("look", write="keep_suppliers")]

    @extend_schema(parameters=[SupplierQuery], responses=SupplierOutput(many=True))
    def get(self, request):
        """Find suppliers."""
        rows = Supplier.objects.all()
        if text := self.query(SupplierQuery).get("search"):
            rows = rows.filter(Q(name__icontains=text) | Q(account_number__icontains=text))
        return self.page(rows, SupplierOutput)

    @extend_schema(request=SupplierInput, responses={201: SupplierOutput})
    def post(self, request):
        """Enter a supplier."""
        return Response(SupplierOutput(self.do(create_supplier, **self.body(SupplierInput))).data, status=201)


class SupplierDetail(Endpoint):
    permission_classes = [Allows("look", write="keep_suppliers")]

    @extend_schema(responses=SupplierOutput)
    def get(self, request, pk):
        """Read a supplier."""
        return Response(SupplierOutput(self.find(Supplier, pk)).data)

    @extend_schema(request=SupplierChange, responses=SupplierOutput)
    def patch(self, request, pk):
        """Change a supplier."""
        supplier = self.find(Supplier, pk)
        known = {name: getattr(supplier, name) for name in (*TOLD, "in_use")}
        changed = self.do(change_supplier, supplier=supplier, **known | self.body(SupplierChange))
        return Response(SupplierOutput(changed).data)


class SupplierItemList(Listing):
    permission_classes = [Allows("look", write="keep_suppliers")]

    @extend_schema(responses=SupplierItemOutput(many=True))
    def get(self, request, pk):
        """List what a supplier sells, with the price of today."""
        self.query(Input)
        return self.page(items(supplier=self.find(Supplier, pk)).order_by("part__number", "pk"), SupplierItemOutput)

    @extend_schema(request=SupplierItemInput, responses={201: SupplierItemOutput})
    def post(self, request, pk):
        """Enter what a supplier sells: a part by the piece, or in containers of one size."""
        made = self.do(add_item, supplier=self.find(Supplier, pk), **self.body(SupplierItemInput))
        return Response(SupplierItemOutput(items().get(pk=made.pk)).data, status=201)


class SupplierItemDetail(Endpoint):
    permission_classes = [Allows("look", write="keep_suppliers")]

    @extend_schema(responses=SupplierItemOutput)
    def get(self, request, pk):
        """Read what a supplier sells of a part."""
        return Response(SupplierItemOutput(self.find(items(), pk)).data)

    @extend_schema(request=SupplierItemChange, responses=SupplierItemOutput)
    def patch(self, request, pk):
        """Change how a supplier sells a part."""
        item = self.find(items(), pk)
        known = {name: getattr(item, name) for name in SOLD}
        self.do(change_item, item=item, **known | self.body(SupplierItemChange))
        return Response(SupplierItemOutput(items().get(pk=pk)).data)


class SupplierPriceList(Listing):
    permission_classes = [Allows("look", write="keep_suppliers")]

    @extend_schema(responses=SupplierPriceOutput(many=True))
    def get(self, request, pk):
        """List every price that was noted, the latest first."""
        self.query(Input)
        return self.page(self.find(SupplierItem, pk).prices.select_related("noted_by"), SupplierPriceOutput)

    @extend_schema(request=SupplierPriceInput, responses={201: SupplierPriceOutput})
    def post(self, request, pk):
        """Note what one piece or container costs from a day on; older prices stay to be read."""
        item = self.find(SupplierItem.objects.select_related("supplier", "part", "container"), pk)
        made = self.do(note_price, item=item, **self.body(SupplierPriceInput))
        return Response(SupplierPriceOutput(made).data, status=201)
