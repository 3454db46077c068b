"""What the shop ordered from its suppliers, what came of it, and the reorder points that a manager fixed."""

from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Sum
from django.db.models.functions import Coalesce, Lower
from django.urls import reverse

from shop.calc.money import to_cent
from shop.parts.models.stock import Movement, Part
from shop.parts.models.suppliers import MOST_UNITS, Supplier, SupplierItem
from shop.staff.models import User


class PurchaseStatus(models.TextChoices):
    DRAFT = "draft", "draft"
    SENT = "sent", "sent"
    IN_PART = "in_part", "received in part"
    CLOSED = "closed", "closed"
    CALLED_OFF = "called_off", "called off"


ON_ITS_WAY = (PurchaseStatus.SENT, PurchaseStatus.IN_PART)


class SentHow(models.TextChoices):
    EMAIL = "email", "by e-mail"
    PHONE = "phone", "by telephone"
    SITE = "site", "on their site"
    COUNTER = "counter", "at their counter"


class PurchaseOrder(models.Model):
    """What one supplier is asked to send."""

    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="orders")
    status = models.CharField(max_length=10, choices=PurchaseStatus, default=PurchaseStatus.DRAFT)
    currency = models.CharField(max_length=3)
    note = models.CharField(max_length=300, blank=True, help_text="Printed on the order.")
    made_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    sent_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_how = models.CharField(max_length=8, choices=SentHow, blank=True)
    expected_on = models.DateField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_why = models.CharField(max_length=300, blank=True, help_text="Why the rest was called off.")

    class Meta:
        ordering = ["-pk"]
        indexes = [models.Index(name="purchaseorder_by_state", fields=["status", "-id"])]  # the buying page
        constraints = [
            models.CheckConstraint(name="purchaseorder_status_known", condition=Q(status__in=PurchaseStatus.values)),
            models.CheckConstraint(
                name="purchaseorder_sent_says_how",
                condition=Q(status__in=[PurchaseStatus.DRAFT, PurchaseStatus.CALLED_OFF])
                | (Q(sent_at__isnull=False, sent_by__isnull=False, expected_on__isnull=False) & ~Q(sent_how="")),
                violation_error_message="Say how the order was sent, and when the delivery is expected.",
            ),
            models.CheckConstraint(
                name="purchaseorder_called_off_with_reason",
                condition=~Q(status=PurchaseStatus.CALLED_OFF) | ~Q(ended_why=""),
                violation_error_message="Say why the order is called off.",
            ),
            models.CheckConstraint(
                name="purchaseorder_ended_at_some_time",
                condition=~Q(status__in=[PurchaseStatus.CLOSED, PurchaseStatus.CALLED_OFF]) | Q(ended_at__isnull=False),
            ),
        ]

    def __str__(self):
        return self.number

    @property
    def number(self) -> str:
        """Its number as the supplier hears it: the shop's prefix, a P, and a number that only goes up."""
        return f"{settings.ORDER_PREFIX}-P{1000 + self.pk}"

    def get_absolute_url(self):
        return reverse("manage:purchase", args=[self.pk])

    @property
    def running(self) -> bool:
        return self.status in ON_ITS_WAY

    def late(self, today: date) -> bool:
        """Whether anything that is still to come was expected before today; its lines are prefetched with_received."""
        return any(line.due_on < today for line in self.lines.all() if line.to_come)


class PurchaseLineQuerySet(models.QuerySet):
    def with_received(self):
        """With .came: the units that came of it so far."""
        return self.annotate(came=Coalesce(Sum("receipt_lines__units"), 0))

    def still_to_come(self):
        """Lines of orders that are on their way, of which something is outstanding; with .came."""
        return (
            self.filter(order__status__in=ON_ITS_WAY)
            .with_received()
            .filter(came__lt=F("units") - F("called_off"))
            .select_related("order__supplier", "item__container", "part")
        )


class PurchaseLine(models.Model):
    """So many pieces or containers of one thing, at a price."""

    order = models.ForeignKey(PurchaseOrder, models.PROTECT, related_name="lines")
    item = models.ForeignKey(SupplierItem, models.PROTECT, related_name="lines")
    part = models.ForeignKey(Part, models.PROTECT, related_name="purchase_lines")
    units = models.PositiveIntegerField(help_text="Pieces or containers.")
    price = models.DecimalField(
        max_digits=11, decimal_places=4, null=True, blank=True, help_text="Of one; empty: nobody knows it yet."
    )
    expected_on = models.DateField(null=True, blank=True, help_text="Empty: with the rest of the order.")
    called_off = models.PositiveIntegerField(default=0, help_text="Units that will not come any more.")

    objects = PurchaseLineQuerySet.as_manager()

    class Meta:
        ordering = ["order", "pk"]
        constraints = [
            models.UniqueConstraint(name="purchaseline_item_once", fields=["order", "item"]),
            models.CheckConstraint(name="purchaseline_of_something", condition=Q(units__gt=0, units__lte=MOST_UNITS)),
            models.CheckConstraint(name="purchaseline_price_not_negative", condition=Q(price=None) | Q(price__gte=0)),
            models.CheckConstraint(name="purchaseline_calls_off_no_more", condition=Q(called_off__lte=F("units"))),
        ]

    def __str__(self):
        return f"{self.units} × {self.item}"

    @property
    def received(self) -> int:
        """Units that came; without with_received it asks the database."""
        if not hasattr(self, "came"):
            self.came = self.receipt_lines.aggregate(all=Sum("units", default=0))["all"]
        return self.came

    @property
    def to_come(self) -> int:
        """Units that are ordered and neither here nor called off."""
        return max(self.units - self.called_off - self.received, 0)

    @property
    def amount_to_come(self) -> int:
        """The same in base units of the part."""
        return self.to_come * self.item.size

    @property
    def due_on(self) -> date | None:
        return self.expected_on or self.order.expected_on

    @property
    def net(self) -> Decimal | None:
        """What the line costs, to the cent."""
        return None if self.price is None else to_cent(self.price * self.units)


class Receipt(models.Model):
    """One delivery for an order, as its delivery note has it. Append-only."""

    order = models.ForeignKey(PurchaseOrder, models.PROTECT, related_name="receipts")
    delivery_note = models.CharField(max_length=60)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                "order",
                Lower("delivery_note"),
                name="receipt_note_once",
                violation_error_message="This delivery note has been entered for this order already.",
            ),
            models.CheckConstraint(name="receipt_note_given", condition=~Q(delivery_note="")),
        ]

    def __str__(self):
        return f"{self.order}, delivery note {self.delivery_note}"


class ReceiptLine(models.Model):
    """What came of one line of an order, and the movement that put it on the shelf. Append-only.

    A correction is a row of its own below zero: so many less came than the row says that it corrects.
    """

    receipt = models.ForeignKey(Receipt, models.PROTECT, related_name="lines")
    line = models.ForeignKey(PurchaseLine, models.PROTECT, related_name="receipt_lines")
    units = models.IntegerField(help_text="Pieces or containers.")
    price = models.DecimalField(
        max_digits=11, decimal_places=4, null=True, blank=True, help_text="What was paid for one."
    )
    why = models.CharField(
        max_length=200, blank=True, help_text="Why more was kept than was ordered, or less came than was written."
    )
    corrects = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="corrected_by")
    movement = models.OneToOneField(Movement, models.PROTECT, related_name="receipt_line")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(name="receiptline_once", fields=["receipt", "line"], condition=Q(corrects=None)),
            models.CheckConstraint(
                name="receiptline_sign_fits",
                condition=Q(corrects=None, units__gt=0) | (Q(corrects__isnull=False, units__lt=0) & ~Q(why="")),
            ),
            models.CheckConstraint(name="receiptline_price_not_negative", condition=Q(price=None) | Q(price__gte=0)),
        ]

    def __str__(self):
        return f"{self.units} of {self.line_id}"


class ReorderFix(models.Model):
    """A reorder point and an order quantity that a manager set by hand in the place of the reckoned ones."""

    part = models.OneToOneField(Part, models.CASCADE, related_name="reorder_fix")
    point = models.PositiveBigIntegerField(help_text="Base units.")
    amount = models.PositiveBigIntegerField(help_text="Base units to order at a time; 0: not ordered at all.")
    why = models.CharField(max_length=200)
    set_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="reorderfix_with_reason",
                condition=~Q(why=""),
                violation_error_message="Say why the reorder point is set by hand.",
            ),
        ]

    def __str__(self):
        return f"{self.part_id}: {self.amount} at {self.point}"
