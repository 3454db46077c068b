from django.db.models import Q
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Input, QuantityInput, QuantityOutput, Ref, base_amount, stock_quantity
from api.permissions import Allows
from shop.parts.models import Container, Movement, Part
from shop.parts.selectors import stock_of
from shop.parts.services import count, receive


class ContainerOutput(serializers.Serializer):
    """What stands on the shelf of one size."""

    id = serializers.IntegerField(source="container.pk")
    name = serializers.CharField(source="container.name")
    size = serializers.SerializerMethodField()
    price = serializers.DecimalField(source="container.price", max_digits=9, decimal_places=2)
    full = serializers.IntegerField(help_text="Whole containers.")
    opened = serializers.SerializerMethodField(help_text="What is left in the opened one.")

    @extend_schema_field(QuantityOutput)
    def get_size(self, shelf):
        return stock_quantity(shelf.container.size, self.context["part"].measure)

    @extend_schema_field(QuantityOutput)
    def get_opened(self, shelf):
        return stock_quantity(shelf.opened, self.context["part"].measure)


class PartOutput(serializers.ModelSerializer):
    measure = serializers.CharField(help_text="count, volume or mass.")
    on_hand = serializers.SerializerMethodField()
    held = serializers.SerializerMethodField(help_text="Set aside for orders.")
    available = serializers.SerializerMethodField(help_text="On hand and held for nobody.")
    containers = serializers.SerializerMethodField()

    class Meta:
        model = Part
        fields = ["id", "number", "name", "measure", "bin", "on_hand", "held", "available", "containers"]
        read_only_fields = fields

    @extend_schema_field(QuantityOutput)
    def get_on_hand(self, part):
        return stock_quantity(self._stock(part).on_hand, part.measure)

    @extend_schema_field(QuantityOutput)
    def get_held(self, part):
        return stock_quantity(self._stock(part).held, part.measure)

    @extend_schema_field(QuantityOutput)
    def get_available(self, part):
        return stock_quantity(self._stock(part).available, part.measure)

    @extend_schema_field(ContainerOutput(many=True))
    def get_containers(self, part):
        return ContainerOutput(self._stock(part).containers, many=True, context={"part": part}).data

    def _stock(self, part):
        return self.context["stock"][part.pk]


class PartQuery(Input):
    search = serializers.CharField(max_length=100, required=False, help_text="Part of number, name or bin.")


class ReceiveInput(Input):
    amount = QuantityInput(help_text="In all, with its unit: “2 L”, “400 g”, “10 pcs”.")
    container = Ref(
        queryset=Container.objects.all(), default=None, allow_null=True,
        help_text="In which size it came; the amount is then a whole number of them.",
    )  # fmt: skip
    reason = serializers.CharField(
        max_length=200, allow_blank=True, default="", help_text="Delivery note, for example."
    )

    def validate(self, data):
        data["amount"] = base_amount(data["amount"], self.context["part"].measure, "amount")
        return data


class CountInput(Input):
    found = QuantityInput(help_text="What is there, with its unit: in containers of this size, opened ones included.")
    container = Ref(
        queryset=Container.objects.all(), default=None, allow_null=True,
        help_text="Which size was counted; empty for what stands in none.",
    )  # fmt: skip
    reason = serializers.CharField(max_length=200, help_text="Why the book is corrected.")

    def validate(self, data):
        data["found"] = base_amount(data["found"], self.context["part"].measure, "found")
        return data


class MovementOutput(serializers.ModelSerializer):
    part = Brief()
    container = Brief(allow_null=True)
    amount = serializers.SerializerMethodField()
    by = Brief()

    class Meta:
        model = Movement
        fields = ["id", "part", "container", "amount", "kind", "reason", "by", "at"]
        read_only_fields = fields

    @extend_schema_field(QuantityOutput)
    def get_amount(self, movement):
        return stock_quantity(movement.amount, movement.part.measure)


class PartList(Listing):
    permission_classes = [Allows("look")]

    @extend_schema(parameters=[PartQuery], responses=PartOutput(many=True))
    def get(self, request):
        """List parts with their stock."""
        rows = Part.objects.all()
        if text := self.query(PartQuery).get("search"):
            rows = rows.filter(Q(number__icontains=text) | Q(name__icontains=text) | Q(bin__icontains=text))
        return self.page(rows, lambda found, many: PartOutput(found, many=many, context={"stock": stock_of(found)}))


class PartDetail(Endpoint):
    permission_classes = [Allows("look")]

    @extend_schema(responses=PartOutput)
    def get(self, request, pk):
        """Read a part with its stock, container by container."""
        part = self.find(Part, pk)
        return Response(PartOutput(part, context={"stock": stock_of([part])}).data)


class PartReceive(Endpoint):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=ReceiveInput, responses={201: MovementOutput})
    def post(self, request, pk):
        """Enter a delivery of a part."""
        part = self.find(Part, pk)
        movement = self.do(receive, part=part, **self.body(ReceiveInput, part=part))
        return Response(MovementOutput(movement).data, status=201)


class PartCount(Endpoint):
    permission_classes = [Allows("keep_stock")]

    @extend_schema(request=CountInput, responses={201: MovementOutput})
    def post(self, request, pk):
        """Correct the stock of a part by what was counted; the answer is the difference.

        Refused when less than what is held for orders would be left, and when nothing differs.
        """
        part = self.find(Part, pk)
        movement = self.do(count, part=part, **self.body(CountInput, part=part))
        return Response(MovementOutput(movement).data, status=201)
