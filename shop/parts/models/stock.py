"""Stock. Amounts are whole numbers of a part's base unit (pieces, microlitres, milligrams): their sum is exact."""

from datetime import date, timedelta

from django.db import models
from django.db.models import Q

from shop.calc.intervals import day_in_words
from shop.specs.models import MOST_AT_ONCE, KitMeasure
from shop.staff.models import User

BASE_UNIT_SI = {KitMeasure.COUNT: 1.0, KitMeasure.VOLUME: 1e-9, KitMeasure.MASS: 1e-6}
MOST_AT_ONCE_SI = {measure: most * BASE_UNIT_SI[measure] for measure, most in MOST_AT_ONCE.items()}


class Part(models.Model):
    number = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    measure = models.CharField(max_length=6, choices=KitMeasure, default=KitMeasure.COUNT)
    bin = models.CharField(max_length=20, blank=True, help_text="Where it lies.")
    keeps_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Days that it keeps once its container is opened; empty: no limit is known."
    )

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(name="part_number_given", condition=~Q(number="")),
            models.CheckConstraint(name="part_measure_known", condition=Q(measure__in=KitMeasure.values)),
            models.CheckConstraint(
                name="part_keeps_a_while", condition=Q(keeps_days=None) | Q(keeps_days__gt=0, keeps_days__lte=3650)
            ),
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


class Lot(models.Model):
    """What came together and ages together: containers of one size, or pieces, with code and date on their label."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="lots")
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="lots")
    code = models.CharField(max_length=40, blank=True, help_text="As the label has it.")
    received_on = models.DateField()
    use_by = models.DateField(null=True, blank=True, help_text="The last day on which it may be used.")
    opened_on = models.DateField(null=True, blank=True, help_text="The day its opened container was opened.")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="lot_good_when_received", condition=Q(use_by=None) | Q(use_by__gte=models.F("received_on"))
            ),
            models.CheckConstraint(
                name="lot_opened_after_it_came",
                condition=Q(opened_on=None) | Q(opened_on__gte=models.F("received_on")),
            ),
        ]

    def __str__(self):
        return f"{self.name}, use by {day_in_words(self.use_by)}" if self.use_by else self.name

    @property
    def name(self) -> str:
        return f"lot {self.code}" if self.code else f"lot of {day_in_words(self.received_on)}"

    def opened_until(self, keeps_days: int | None) -> date | None:
        """The last day on which the opened container may be used; None: no limit is known."""
        days = [self.use_by] if self.use_by else []
        if keeps_days and self.opened_on:
            days.append(self.opened_on + timedelta(days=keeps_days))
        return min(days, default=None)


class ReservationState(models.TextChoices):
    HELD = "held", "held"
    ISSUED = "issued", "taken from the shelf"
    USED = "used", "used"
    RELEASED = "released", "released"


class Reservation(models.Model):
    """An amount set aside for one purpose and offered to nobody else until it is issued, used or released.

    It is one row as long as the purpose wants the part: what is put back is held again, and more may be held beside
    what was issued. Its movements say what left the shelf for it.
    """

    part = models.ForeignKey(Part, models.PROTECT, related_name="reservations")
    amount = models.PositiveBigIntegerField(help_text="Base units held, or that were held last.")
    issued = models.PositiveBigIntegerField(
        default=0,
        db_default=0,
        help_text="Base units taken from the shelf for it and not put back: the sum of its movements, below zero.",
    )
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
            models.CheckConstraint(
                name="reservation_issued_is_something", condition=~Q(state=ReservationState.ISSUED) | Q(issued__gt=0)
            ),
        ]

    def __str__(self):
        return f"{self.amount} of {self.part_id} for {self.purpose}"

    @property
    def held(self) -> int:
        """Base units that nobody else is offered."""
        return self.amount if self.state == ReservationState.HELD else 0


class MovementKind(models.TextChoices):
    RECEIVED = "received", "received"
    ISSUED = "issued", "taken from the shelf for a job"
    RETURNED = "returned", "put back on the shelf"
    USED = "used", "used on a job, straight from the shelf"
    COUNTED = "counted", "difference found when counting"
    WASTED = "wasted", "written off"
    APART = "apart", "kept apart in a lot of its own"
    CORRECTED = "corrected", "correction of a wrong entry"


COMES = [MovementKind.RECEIVED, MovementKind.RETURNED]
GOES = [MovementKind.ISSUED, MovementKind.USED, MovementKind.WASTED]
SAYS_WHY = [MovementKind.COUNTED, MovementKind.WASTED, MovementKind.CORRECTED]


class Movement(models.Model):
    """One change of stock. Append-only; what is on hand is the sum. Another one that names it corrects it."""

    part = models.ForeignKey(Part, models.PROTECT, related_name="movements")
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="movements")
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, blank=True, related_name="movements")
    amount = models.BigIntegerField(help_text="Base units; below zero when it leaves the shelf.")
    kind = models.CharField(max_length=9, choices=MovementKind)
    reservation = models.ForeignKey(Reservation, models.PROTECT, null=True, blank=True, related_name="movements")
    corrects = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="corrections")
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        indexes = [
            models.Index(name="movement_on_hand", fields=["part", "container", "lot", "amount"]),  # the sum
            models.Index(name="movement_of_part", fields=["part", "id"]),  # the pages of one part's movements
        ]
        constraints = [
            models.CheckConstraint(name="movement_of_something", condition=~Q(amount=0)),
            models.CheckConstraint(
                name="movement_sign_fits",
                condition=(Q(kind__in=COMES) & Q(amount__gt=0))
                | (Q(kind__in=GOES) & Q(amount__lt=0))
                | Q(kind__in=[MovementKind.COUNTED, MovementKind.APART, MovementKind.CORRECTED]),
            ),
            models.CheckConstraint(name="movement_says_why", condition=~Q(kind__in=SAYS_WHY) | ~Q(reason="")),
            models.CheckConstraint(
                name="movement_correction_names_the_wrong_one",
                condition=Q(kind=MovementKind.CORRECTED, corrects__isnull=False)
                | (~Q(kind=MovementKind.CORRECTED) & Q(corrects=None)),
            ),
        ]

    def __str__(self):
        return f"{self.amount:+d} of {self.part_id} {self.kind}"
