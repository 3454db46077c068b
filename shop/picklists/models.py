from django.db import models
from django.db.models import Q

from shop.parts.models import Part, Reservation, ReservationState
from shop.specs.models import KitMeasure
from shop.staff.models import User


class PickList(models.Model):
    """The parts to gather for one piece of work; it knows its name, not what the work is."""

    title = models.CharField(max_length=60)
    made_at = models.DateTimeField()

    def __str__(self):
        return self.title


class PickLine(models.Model):
    """One part for one bag: what is needed, what is held for it, whether it was taken from the shelf."""

    pick_list = models.ForeignKey(PickList, models.CASCADE, related_name="lines")
    tag = models.CharField(max_length=20, help_text="The damper's bag tag.")
    part_number = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    measure = models.CharField(max_length=6, choices=KitMeasure)
    part = models.ForeignKey(
        Part, models.PROTECT, null=True, blank=True, related_name="+", help_text="Empty: not in stock's list."
    )
    amount = models.PositiveBigIntegerField(help_text="Base units needed.")
    from_draft = models.BooleanField(default=False, help_text="The amount comes from a sheet that nobody has verified.")
    reservation = models.OneToOneField(Reservation, models.PROTECT, null=True, blank=True, related_name="pick_line")
    picked_at = models.DateTimeField(null=True, blank=True)
    picked_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    used = models.PositiveBigIntegerField(
        null=True, blank=True, help_text="Base units used, known when the order closes."
    )

    class Meta:
        ordering = ["pick_list", "tag", "pk"]
        constraints = [
            models.UniqueConstraint(name="pickline_once_per_bag", fields=["pick_list", "tag", "part_number"]),
            models.CheckConstraint(name="pickline_of_something", condition=Q(amount__gt=0)),
            models.CheckConstraint(name="pickline_measure_known", condition=Q(measure__in=KitMeasure.values)),
            models.CheckConstraint(
                name="pickline_picked_by_somebody",
                condition=Q(picked_at=None, picked_by=None) | Q(picked_at__isnull=False, picked_by__isnull=False),
            ),
        ]

    def __str__(self):
        return f"{self.pick_list} {self.tag} {self.part_number}"

    @property
    def held(self) -> int:
        """Base units set aside for this line and offered to nobody else; none once they are used or let go."""
        return self.reservation.amount if self.reservation and self.reservation.state == ReservationState.HELD else 0

    @property
    def short(self) -> int:
        """Base units that are still to come; none once the work is done."""
        return self.amount - self.held if self.used is None else 0
