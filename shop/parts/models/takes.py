"""A stock take: what the book expected, what people found, and what was corrected by it."""

from django.db import models
from django.db.models import Q

from shop.parts.models.stock import Container, Lot, Movement, Part
from shop.staff.models import User


class StockTake(models.Model):
    """A count of the shelf or of a part of it, by one or several people, from its start to its posting."""

    title = models.CharField(max_length=120, help_text="What is counted, in words.")
    blind = models.BooleanField(default=False, help_text="Who counts does not see what the book expects.")
    started_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    finished_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    finished_at = models.DateTimeField(null=True, blank=True)
    given_up = models.BooleanField(default=False, help_text="Ended without correcting the book.")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                name="stocktake_finished_by_somebody",
                condition=Q(finished_at=None, finished_by=None, given_up=False)
                | Q(finished_at__isnull=False, finished_by__isnull=False),
            ),
        ]

    def __str__(self):
        return f"stock take {self.pk}"

    @property
    def open(self) -> bool:
        return self.finished_at is None


class TakenPart(models.Model):
    """A part that a stock take counts; while that is open, no other one counts it."""

    take = models.ForeignKey(StockTake, models.PROTECT, related_name="taken_parts")
    part = models.ForeignKey(Part, models.PROTECT, related_name="+")
    open = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="takenpart_in_one_open_take", fields=["part"], condition=Q(open=True)),
            models.UniqueConstraint(name="takenpart_once", fields=["take", "part"]),
        ]

    def __str__(self):
        return f"{self.part_id} in {self.take_id}"


class StockTakeRow(models.Model):
    """One place to count: a size and lot of a part. Base units."""

    take = models.ForeignKey(StockTake, models.PROTECT, related_name="rows")
    part = models.ForeignKey(Part, models.PROTECT, related_name="+")
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="+")
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, blank=True, related_name="+")
    expected = models.BigIntegerField(help_text="What the book had at the start.")
    reason = models.CharField(max_length=150, blank=True, help_text="Why there is a difference.")
    movement = models.OneToOneField(Movement, models.PROTECT, null=True, blank=True, related_name="take_row")

    class Meta:
        ordering = ["pk"]

    def __str__(self):
        return ", ".join(str(one) for one in (self.part, self.container, self.lot) if one)

    @property
    def last(self) -> "Tally | None":
        """What was found, and counts; earlier figures stay to be read. Prefetch tallies before asking many rows."""
        return max(self.tallies.all(), key=lambda one: one.pk, default=None)


class Tally(models.Model):
    """What somebody found in one place, and what the book had at that moment. Append-only: a recount is another."""

    row = models.ForeignKey(StockTakeRow, models.PROTECT, related_name="tallies")
    found = models.PositiveBigIntegerField()
    in_book = models.BigIntegerField(
        help_text="What the book had when it was entered, movements since the start counted."
    )
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self):
        return f"{self.found} in {self.row_id}"

    @property
    def difference(self) -> int:
        return self.found - self.in_book
