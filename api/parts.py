from django.db.models import Q
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Day, Input, QuantityInput, QuantityOutput, Ref, base_amount, stock_quantity
from api.permissions import Allows
from shop.parts.models import Container, Lot, Movement, Part, Reservation, ReservationState
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


class LotOutput(serializers.Serializer):
    """What stands on the shelf of one size and lot, in the order in which it is taken."""

    container = Brief(allow_null=True)
    lot = Brief(allow_null=True)
    amount = serializers.SerializerMethodField()
    full = serializers.IntegerField(help_text="Whole containers.")
    use_by = serializers.DateField(source="lot.use_by", default=None, allow_null=True)
    opened_on = serializers.DateField(source="lot.opened_on", default=None, allow_null=True)
    expired = serializers.CharField(source="expired_in_words", help_text="What may not be used any more, and why.")

    @extend_schema_field(QuantityOutput)
    def get_amount(self, portion):
        return stock_quantity(portion.amount, portion.part.measure)


class HolderOutput(serializers.Serializer):
    """For whom a part is held."""

    id = serializers.IntegerField(source="pk")
    purpose = serializers.CharField()
    amount = serializers.SerializerMethodField()

    @extend_schema_field(QuantityOutput)
    def get_amount(self, one):
        return stock_quantity(one.amount, self.context["part"].measure)


class PartOutput(serializers.ModelSerializer):
    measure = serializers.CharField(help_text="count, volume or mass.")
    on_hand = serializers.SerializerMethodField()
    held = serializers.SerializerMethodField(help_text="Set aside for orders.")
    expired = serializers.SerializerMethodField(help_text="On hand, but past its date: never drawn.")
    available = serializers.SerializerMethodField(help_text="On hand, not past its date, and held for nobody.")
    containers = serializers.SerializerMethodField()
    lots = serializers.SerializerMethodField()

    class Meta:
        model = Part
        fields = ["id", "number", "name", "measure", "bin", "keeps_days", "on_hand", "held", "expired", "available",
                  "containers", "lots"]  # fmt: skip
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

    @extend_schema_field(QuantityOutput)
    def get_expired(self, part):
        return stock_quantity(self._stock(part).expired, part.measure)

    @extend_schema_field(LotOutput(many=True))
    def get_lots(self, part):
        return LotOutput(self._stock(part).portions, many=True).data

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
    lot_code = serializers.CharField(
        max_length=40, allow_blank=True, default="", help_text="The code on its label, if there is one."
    )
    use_by = Day(default=None, allow_null=True, help_text="The last day on which it may be used.")

    def validate(self, data):
        data["amount"] = base_amount(data["amount"], self.context["part"].measure, "amount")
        return data


class CountInput(Input):
    found = QuantityInput(help_text="What is there, with its unit: in containers of this size, opened ones included.")
    container = Ref(
        queryset=Container.objects.all(), default=None, allow_null=True,
        help_text="Which size was counted; empty for what stands in none.",
    )  # fmt: skip
    lot = Ref(queryset=Lot.objects.all(), default=None, allow_null=True, help_text="Of which lot; empty for none.")
    loses = Ref(
        queryset=Reservation.objects.all(), many=True, required=False, default=list,
        help_text="Reservations that go without, when less stays than is held.",
    )  # fmt: skip
    reason = serializers.CharField(max_length=200, help_text="Why the book is corrected.")

    def validate(self, data):
        data["found"] = base_amount(data["found"], self.context["part"].measure, "found")
        return data


class MovementOutput(serializers.ModelSerializer):
    part = Brief()
    container = Brief(allow_null=True)
    lot = Brief(allow_null=True)
    corrects = serializers.PrimaryKeyRelatedField(
        read_only=True, help_text="The number of the movement that it corrects; null for none."
    )
    amount = serializers.SerializerMethodField()
    by = Brief()

    class Meta:
        model = Movement
        fields = ["id", "part", "container", "lot", "amount", "kind", "corrects", "reason", "by", "at"]
        read_only_fields = fields

    @extend_schema_field(QuantityOutput)
    def get_amount(self, movement):
        return stock_quantity(movement.amount, movement.part.measure)


class PartDetailOutput(PartOutput):
    held_for = serializers.SerializerMethodField(help_text="The reservations that hold it.")

    class Meta(PartOutput.Meta):
        fields = [*PartOutput.Meta.fields, "held_for"]
        read_only_fields = fields

    @extend_schema_field(HolderOutput(many=True))
    def get_held_for(self, part):
        holding = part.reservations.filter(state=ReservationState.HELD).order_by("pk")
        return HolderOutput(holding, many=True, context={"part": part}).data


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

    @extend_schema(responses=PartDetailOutput)
    def get(self, request, pk):
        """Read a part with its stock, container by container, and for whom it is held."""
        part = self.find(Part, pk)
        return Response(PartDetailOutput(part, context={"stock": stock_of([part])}).data)


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
