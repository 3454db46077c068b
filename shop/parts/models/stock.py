"""Stock. Amounts are whole numbers of a part's base unit (pieces, microlitres, milligrams): their sum is exact."""

from django.db import models
from django.db.models import Q

from shop.specs.models import MOST_AT_ONCE, KitMeasure
from shop.staff.models import User

BASE_UNIT_SI = {KitMeasure.COUNT: 1.0, KitMeasure.VOLUME: 1e-9, KitMeasure.MASS: 1e-6}
MOST_AT_ONCE_SI = {measure: most * BASE_UNIT_SI[measure] for measure, most in MOST_AT_ONCE.items()}


class Part(models.Model):
    number = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    measure = models.CharField(max_length=6, choices=KitMeasure, default=KitMeasure.COUNT)
    bin = models.CharField(max_length=20, blank=True, help_text="Where it lies.")

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(name="part_number_given", condition=~Q(number="")),
            models.CheckConstraint(name="part_measure_known", condition=Q(measure__in=KitMeasure.values)),
        ]

    def __str__(self):
        return f"{self.number} {self.name}"


class Container(models.Model):
    """A size in which a fluid or grease is bought and stands on the shelf."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="containers")
    name = models.CharField(max_length=40)
    size = models.PositiveBigIntegerField(help_text="Base units of the part.")
    price = models.DecimalField(max_digits=9, decimal_places=2)

    class Meta:
        ordering = ["part", "size"]
        constraints = [
            models.UniqueConstraint(name="container_size_once", fields=["part", "size"]),
            models.CheckConstraint(name="container_holds_something", condition=Q(size__gt=0)),
            models.CheckConstraint(name="container_price_not_negative", condition=Q(price__gte=0)),
        ]

    def __str__(self):
        return self.name


class ReservationState(models.TextChoices):
    HELD = "held", "held"
    USED = "used", "used"
    RELEASED = "released", "released"


class Reservation(models.Model):
    """An amount set aside for one purpose and offered to nobody else until it is used or released."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="reservations")
    amount = models.PositiveBigIntegerField()
    purpose = models.CharField(max_length=60, help_text="For whom it is held, as the desk says it: order and tag.")
    state = models.CharField(max_length=8, choices=ReservationState, default=ReservationState.HELD)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        indexes = [
            # What is held of a part, asked at every booking.
            models.Index(name="reservation_held", fields=["part"], condition=Q(state=ReservationState.HELD))
        ]
        constraints = [
            models.CheckConstraint(name="reservation_of_something", condition=Q(amount__gt=0)),
            models.CheckConstraint(name="reservation_state_known", condition=Q(state__in=ReservationState.values)),
        ]

    def __str__(self):
        return f"{self.amount} of {self.part_id} for {self.purpose}"


class MovementKind(models.TextChoices):
    RECEIVED = "received", "received"
    USED = "used", "used on a job"
    COUNTED = "counted", "difference found when counting"


class Movement(models.Model):
    """One change of stock. Append-only; what is on hand is the sum."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="movements")
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="movements")
    amount = models.BigIntegerField(help_text="Base units; below zero when it leaves the shelf.")
    kind = models.CharField(max_length=8, choices=MovementKind)
    reservation = models.ForeignKey(Reservation, models.PROTECT, null=True, blank=True, related_name="movements")
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(name="movement_on_hand", fields=["part", "container", "amount"])]  # the sum
        constraints = [
            models.CheckConstraint(name="movement_of_something", condition=~Q(amount=0)),
            models.CheckConstraint(
                name="movement_sign_fits",
                condition=(Q(kind=MovementKind.RECEIVED) & Q(amount__gt=0))
                | (Q(kind=MovementKind.USED) & Q(amount__lt=0))
                | (Q(kind=MovementKind.COUNTED) & ~Q(reason="")),
            ),
        ]

    def __str__(self):
        return f"{self.amount:+d} of {self.part_id} {self.kind}"
