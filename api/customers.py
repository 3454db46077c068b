from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Endpoint, Listing
from api.fields import Brief, Choice, Input, Ref
from api.permissions import Allows
from shop.customers.merging import FIELDS, merge_customers
from shop.customers.models import Customer
from shop.customers.services import change_customer, create_customer, record_consent
from shop.workorders import finding

KNOWN = ["name", "email", "phone", "address", "note"]


class CustomerInput(Input):
    name = serializers.CharField(max_length=120)
    email = serializers.EmailField(max_length=254, allow_blank=True, required=False)
    phone = serializers.CharField(max_length=40, allow_blank=True, default="")
    address = serializers.CharField(max_length=300, allow_blank=True, default="")
    note = serializers.CharField(max_length=1000, allow_blank=True, default="")


class CustomerChange(Input):
    """Fields left out stay as they are."""

    version = serializers.IntegerField(
        min_value=1, help_text="As it was when you read the customer; 409 when it is not any more."
    )
    name = serializers.CharField(max_length=120, required=False)
    email = serializers.EmailField(max_length=254, allow_blank=True, required=False)
    phone = serializers.CharField(max_length=40, allow_blank=True, required=False)
    address = serializers.CharField(max_length=300, allow_blank=True, required=False)
    note = serializers.CharField(max_length=1000, allow_blank=True, required=False)


class ConsentInput(Input):
    wants = serializers.BooleanField(help_text="Whether the customer wants service reminders by e-mail.")
    how = serializers.CharField(max_length=100, help_text="How we know: asked at the counter, by letter …")


class MergeInput(Input):
    gone = Ref(queryset=Customer.objects.all(), help_text="The entry that leads to this one from then on.")
    gone_version = serializers.IntegerField(min_value=1)
    version = serializers.IntegerField(
        min_value=1, help_text="Of the one who stays. Both as they were when you compared them; 409 when they are not."
    )
    keep_from_gone = serializers.ListField(
        child=Choice([(name, name) for name in FIELDS]), default=list, max_length=len(FIELDS)
    )


class CustomerOutput(serializers.ModelSerializer):
    merged_into = Brief(allow_null=True, help_text="Who stays in its place; empty for an entry that stands.")

    class Meta:
        model = Customer
        fields = ["id", *KNOWN, "reminder_consent", "reminder_consent_at", "merged_into", "version", "created_at"]
        read_only_fields = fields


class CustomerQuery(Input):
    search = serializers.CharField(
        max_length=100, required=False, help_text="Parts of name, phone, e-mail, plate, frame or serial number."
    )


class CustomerList(Listing):
    permission_classes = [Allows("look", write="keep_customers")]

    @extend_schema(parameters=[CustomerQuery], responses=CustomerOutput(many=True))
    def get(self, request):
        """Find customers, by name."""
        rows, _ = finding.customers(self.query(CustomerQuery).get("search", ""))
        return self.page(rows, CustomerOutput)

    @extend_schema(request=CustomerInput, responses={201: CustomerOutput})
    def post(self, request):
        """Enter a customer."""
        customer = self.do(create_customer, **self.body(CustomerInput))
        return Response(CustomerOutput(customer).data, status=201)


class CustomerDetail(Endpoint):
    permission_classes = [Allows("look", write="keep_customers")]

    @extend_schema(responses=CustomerOutput)
    def get(self, request, pk):
        """Read a customer."""
        return Response(CustomerOutput(self.find(Customer.objects.select_related("merged_into"), pk)).data)

    @extend_schema(request=CustomerChange, responses=CustomerOutput)
    def patch(self, request, pk):
        """Change a customer, as long as nobody else has changed them since."""
        customer = self.find(Customer, pk)
        known = {name: getattr(customer, name) for name in KNOWN}
        customer = self.do(change_customer, customer=customer, **known | self.body(CustomerChange))
        return Response(CustomerOutput(customer).data)


class CustomerConsent(Endpoint):
    permission_classes = [Allows("keep_customers")]

    @extend_schema(request=ConsentInput, responses=CustomerOutput)
    def post(self, request, pk):
        """Note whether a customer wants service reminders."""
        customer = self.do(record_consent, customer=self.find(Customer, pk), **self.body(ConsentInput))
        return Response(CustomerOutput(customer).data)


class CustomerMerge(Endpoint):
    permission_classes = [Allows("keep_customers")]

    @extend_schema(request=MergeInput, responses=CustomerOutput)
    def post(self, request, pk):
        """Merge another entry of the same customer into this one.

        Its vehicles, dampers, orders and reminders move here; a no to reminders in one of the two stays a no.
        """
        asked = self.body(MergeInput)
        versions = asked.pop("gone_version"), asked.pop("version")
        stays = self.do(merge_customers, stays=self.find(Customer, pk), versions=versions, **asked)
        return Response(CustomerOutput(stays).data)
