from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from shop.customers.models import Customer, Vehicle
from shop.picklists.models import PickList
from shop.specs.models import COLDEST_BENCH_K, WARMEST_BENCH_K
from shop.staff.models import User


class OrderStatus(models.TextChoices):
    BOOKED = "booked", "booked"
    ON_BENCH = "on_bench", "on the benches"
    READY = "ready", "ready to hand back"
    HANDED_BACK = "handed_back", "handed back"
    CALLED_OFF = "called_off", "called off"


class Service(models.TextChoices):
    REBUILD = "rebuild", "Rebuild"


class WorkOrderQuerySet(models.QuerySet):
    def with_names(self):
        """With all that a row of an order list shows."""
        return self.select_related("customer", "vehicle__model")

    def running(self):
        return self.filter(status__in=[OrderStatus.BOOKED, OrderStatus.ON_BENCH, OrderStatus.READY])


class WorkOrder(models.Model):
    """A visit of one customer's dampers: from booking to handing back."""

    customer = models.ForeignKey(Customer, models.PROTECT, related_name="orders")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="orders")
    service = models.CharField(max_length=10, choices=Service, default=Service.REBUILD)
    complaint = models.TextField(max_length=1000, blank=True, help_text="In the customer's words.")
    status = models.CharField(max_length=11, choices=OrderStatus, default=OrderStatus.BOOKED)
    arrives_on = models.DateField(help_text="The day the customer brings it.")
    promised_for = models.DateTimeField()
    pick_list = models.OneToOneField(PickList, models.PROTECT, related_name="order")
    booked_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    booked_at = models.DateTimeField()
    checked_in_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    checked_in_at = models.DateTimeField(null=True, blank=True)
    bench_temperature_k = models.FloatField(
        null=True, blank=True, help_text="At check-in, for the charge to aim at on the card."
    )
    closed_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    handed_back_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    handed_back_at = models.DateTimeField(null=True, blank=True)
    collected_by = models.CharField(
        max_length=120, blank=True, default="", db_default="", help_text="Who took it at hand-back."
    )
    called_off_why = models.CharField(max_length=300, blank=True)
    # Null, not empty, and a default of the database: SQLite adds such columns without building the table anew.
    bench_minutes = models.PositiveIntegerField(
        null=True, blank=True, help_text="Frozen at booking from the labour times; empty: the shop had no bench hours."
    )
    bench_minutes_why = models.CharField(  # noqa: DJ001
        max_length=300, null=True, blank=True, help_text="Why somebody set the bench minutes by hand."
    )
    bench_over_why = models.CharField(  # noqa: DJ001
        max_length=300, null=True, blank=True, help_text="Why it was booked although its days were full."
    )
    version = models.PositiveIntegerField(db_default=1, editable=False)  # counts the changes of the booking

    objects = WorkOrderQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        indexes = [
            # The day sheet and the list by state, newest first.
            models.Index(name="workorder_by_state", fields=["status", "-id"]),
            # The sweep asks whether a vehicle's service is booked already.
            models.Index(name="workorder_of_vehicle", fields=["vehicle", "status"]),
        ]
        constraints = [
            models.CheckConstraint(name="workorder_status_known", condition=Q(status__in=OrderStatus.values)),
            models.CheckConstraint(
                name="workorder_bench_after_check_in",
                condition=Q(status__in=[OrderStatus.BOOKED, OrderStatus.CALLED_OFF]) | Q(checked_in_at__isnull=False),
            ),
            models.CheckConstraint(
                name="workorder_ready_after_closing",
                condition=~Q(status__in=[OrderStatus.READY, OrderStatus.HANDED_BACK]) | Q(closed_at__isnull=False),
            ),
            models.CheckConstraint(
                name="workorder_bench_temperature_plausible",
                condition=Q(bench_temperature_k=None)
                | (Q(bench_temperature_k__gte=COLDEST_BENCH_K) & Q(bench_temperature_k__lte=WARMEST_BENCH_K)),
                violation_error_message="A bench is between −40 and 60 °C. Read the thermometer again.",
            ),
            models.CheckConstraint(
                name="workorder_called_off_with_reason",
                condition=~Q(status=OrderStatus.CALLED_OFF) | ~Q(called_off_why=""),
                violation_error_message="Say why the order is called off.",
            ),
        ]

    def __str__(self):
        return self.number

    @property
    def number(self) -> str:
        """Order number as customers hear it: the shop's prefix and a number that only goes up."""
        return f"{settings.ORDER_PREFIX}-{1000 + self.pk}"

    def get_absolute_url(self):
        return reverse("desk:order", args=[self.pk])
