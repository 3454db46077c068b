from django.db import models
from django.db.models import Q

from shop.parts.models import Part, Reservation
from shop.picklists.needs import Choice, Need
from shop.specs.models import KitMeasure
from shop.staff.models import User


class PickList(models.Model):
    """The parts to gather for one piece of work; it knows its name, not what the work is."""

    title = models.CharField(max_length=60)
    made_at = models.DateTimeField()
    offers = models.JSONField(
        default=list, blank=True, help_text="What an inspection may add, as it was when the list was filled."
    )

    def __str__(self):
        return self.title

    def offered(self, tag: str | None = None) -> list[Need]:
        """Optional parts, of one bag or of all; nothing is held for them until somebody takes them up."""
        return [need for need in map(Need.read, self.offers) if tag in (None, need.tag)]


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
    by_sheet = models.BooleanField(
        null=True,
        blank=True,
        help_text="The amount is the one that the damper's sheet gives. Empty: filled before that was noted.",
    )
    kept_chain = models.JSONField(
        default=list, blank=True, help_text="The part asked for and its alternates, by rank. Empty: it has none."
    )
    taken_up_at = models.DateTimeField(
        null=True, blank=True, help_text="Taken up for this bag by hand: it stays when the list is filled anew."
    )
    taken_up_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    reservation = models.OneToOneField(Reservation, models.PROTECT, null=True, blank=True, related_name="pick_line")
    picked_at = models.DateTimeField(null=True, blank=True)
    picked_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    not_asked = models.BooleanField(
        default=False,
        db_default=False,
        help_text="Not asked for any more, but taken from the shelf already: it stays until it is put back.",
    )
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
            models.CheckConstraint(
                name="pickline_taken_up_by_somebody",
                condition=Q(taken_up_at=None, taken_up_by=None)
                | Q(taken_up_at__isnull=False, taken_up_by__isnull=False),
            ),
        ]

    def __str__(self):
        return f"{self.pick_list} {self.tag} {self.part_number}"

    @property
    def chain(self) -> list[Choice]:
        """The part that was asked for, then its alternates by rank; empty when it has none."""
        return [Choice(**one) for one in self.kept_chain]

    @property
    def asked_for(self) -> str:
        """The number in the parts list; part_number is another one when an alternate was chosen."""
        return self.kept_chain[0]["part_number"] if self.kept_chain else self.part_number

    @property
    def instead_of(self) -> str:
        """The number in whose place an alternate was chosen; empty when none was."""
        return self.asked_for if self.asked_for != self.part_number else ""

    @property
    def held(self) -> int:
        """Base units set aside for this line and offered to nobody else; none once they are issued or let go."""
        return self.reservation.held if self.reservation else 0

    @property
    def issued(self) -> int:
        """Base units taken from the shelf for this line and not put back."""
        return self.reservation.issued if self.reservation else 0

    @property
    def short(self) -> int:
        """Base units that are still to come; none once the work is done."""
        return 0 if self.used is not None or self.not_asked else max(self.amount - self.held - self.issued, 0)

    @property
    def over(self) -> int:
        """Base units in the bag beyond what is asked for: they are to be put back. None once the work is done."""
        if self.used is not None:
            return 0
        return self.issued if self.not_asked else max(self.issued - self.amount, 0)

    @property
    def asks_for(self) -> int:
        """Base units that the work takes as far as is known; what is not asked for any more is not taken."""
        return 0 if self.not_asked else self.amount
