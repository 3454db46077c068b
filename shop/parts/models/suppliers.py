"""Who sells to the shop: what, in which sizes, and at which price since when."""

from datetime import date
from decimal import Decimal

from django.db import models
from django.db.models import OuterRef, Q, Subquery
from django.db.models.functions import Lower
from django.urls import reverse

from shop.parts.models.stock import Container, Part
from shop.staff.models import User

LONGEST_LEAD_DAYS = 250  # working days: a year
MOST_UNITS = 100_000


class Supplier(models.Model):
    """A firm that sells parts or fluids to the shop."""

    name = models.CharField(max_length=80)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    address = models.TextField(max_length=300, blank=True)
    account_number = models.CharField(max_length=40, blank=True, help_text="The shop's number in their books.")
    order_days = models.CharField(
        max_length=7, blank=True, help_text="Weekdays on which they take orders, 0 is Monday; empty: any working day."
    )
    lead_days = models.PositiveSmallIntegerField(help_text="Working days from order to delivery.")
    lead_deviation_days = models.PositiveSmallIntegerField(
        default=0, help_text="Standard deviation of the lead time in working days; 0: it never differs."
    )
    note = models.TextField(max_length=500, blank=True)
    in_use = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                Lower("name"),
                name="supplier_name_once",
                violation_error_message="A supplier of this name is in the book already. Open that one.",
            ),
            models.CheckConstraint(name="supplier_name_given", condition=~Q(name="")),
            models.CheckConstraint(
                name="supplier_lead_plausible",
                condition=Q(lead_days__lte=LONGEST_LEAD_DAYS, lead_deviation_days__lte=LONGEST_LEAD_DAYS),
                violation_error_message=f"Give a lead time of at most {LONGEST_LEAD_DAYS} working days.",
            ),
        ]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        return reverse("manage:supplier", args=[self.pk])

    @property
    def takes_orders_on(self) -> list[int]:
        """Weekdays, 0 is Monday; empty: any working day."""
        return sorted({int(one) for one in self.order_days})


class SupplierItemQuerySet(models.QuerySet):
    def offered(self):
        """What can be ordered now."""
        return self.filter(in_use=True, supplier__in_use=True)

    def priced(self, day: date):
        """With .price: what one unit costs on that day, by price_on's rule."""
        held = SupplierPrice.objects.filter(item=OuterRef("pk"), from_day__lte=day).order_by("-from_day", "-pk")
        return self.annotate(price=Subquery(held.values("price")[:1]))


class SupplierItem(models.Model):
    """One thing a supplier sells: a part, by the piece or in containers of one size."""

    supplier = models.ForeignKey(Supplier, models.PROTECT, related_name="items")
    part = models.ForeignKey(Part, models.PROTECT, related_name="sold_as")
    container = models.ForeignKey(
        Container, models.PROTECT, null=True, blank=True, related_name="sold_as", help_text="Empty: by the piece."
    )
    their_number = models.CharField(max_length=40, blank=True)
    pack = models.PositiveIntegerField(default=1, help_text="They send whole packs of so many pieces or containers.")
    minimum = models.PositiveIntegerField(default=1, help_text="The fewest pieces or containers they send.")
    in_use = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    objects = SupplierItemQuerySet.as_manager()

    class Meta:
        ordering = ["supplier", "part", "container"]
        constraints = [
            models.UniqueConstraint(name="supplieritem_size_once", fields=["supplier", "part", "container"]),
            models.UniqueConstraint(
                name="supplieritem_piece_once", fields=["supplier", "part"], condition=Q(container=None)
            ),
            models.CheckConstraint(
                name="supplieritem_packs_of_something", condition=Q(pack__gt=0, pack__lte=MOST_UNITS)
            ),
            models.CheckConstraint(
                name="supplieritem_minimum_of_something", condition=Q(minimum__gt=0, minimum__lte=MOST_UNITS)
            ),
        ]

    def __str__(self):
        return f"{self.part}, {self.unit_name}"

    def get_absolute_url(self):
        return reverse("manage:supplier_item", args=[self.pk])

    @property
    def size(self) -> int:
        """Base units in one piece or container."""
        return self.container.size if self.container else 1

    @property
    def unit_name(self) -> str:
        return self.container.name if self.container else "piece"

    def price_on(self, day: date) -> Decimal | None:
        """What one unit cost on that day; None when nobody had noted it. Of two prices of one day the later noted."""
        row = self.prices.filter(from_day__lte=day).order_by("-from_day", "-pk").first()
        return row.price if row else None


class SupplierPrice(models.Model):
    """What one unit costs from a day on. Append-only: a new price is a new row, the old ones tell what held when."""

    item = models.ForeignKey(SupplierItem, models.PROTECT, related_name="prices")
    price = models.DecimalField(max_digits=11, decimal_places=4)
    currency = models.CharField(max_length=3)
    from_day = models.DateField()
    noted_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    noted_at = models.DateTimeField()

    class Meta:
        ordering = ["item", "-from_day", "-pk"]
        indexes = [models.Index(name="supplierprice_held", fields=["item", "-from_day", "-id"])]  # the price of a day
        constraints = [models.CheckConstraint(name="supplierprice_not_negative", condition=Q(price__gte=0))]

    def __str__(self):
        return f"{self.price} {self.currency} from {self.from_day}"
