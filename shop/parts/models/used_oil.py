"""Used oil and other waste fluids: what went into which drum, who took it away. Volumes are whole microlitres."""

from django.db import models
from django.db.models import Q

from shop.parts.models.stock import Movement
from shop.staff.models import User


class DrumKind(models.TextChoices):
    OIL = "oil", "used oil"
    MIXED = "mixed", "contaminated oil"
    SOLVENT = "solvent", "spent solvent"


class Fluid(models.TextChoices):
    OIL = "oil", "used oil"
    MIXED = "mixed", "contaminated oil"
    SOLVENT = "solvent", "spent solvent"
    EXPIRED = "expired", "expired oil from stock"


# What each kind of drum takes. Solvent or water in the used oil makes the whole drum another kind of waste.
TAKES = {
    DrumKind.OIL: (Fluid.OIL, Fluid.EXPIRED),
    DrumKind.MIXED: (Fluid.MIXED, Fluid.OIL, Fluid.EXPIRED),
    DrumKind.SOLVENT: (Fluid.SOLVENT,),
}


class Look(models.TextChoices):
    """How drained oil looks: what the bench notes at the strip-down."""

    CLEAN = "clean", "clean"
    DARK = "dark", "dark"
    METALLIC = "metallic", "metallic"
    WATERY = "watery", "watery"


class Drum(models.Model):
    """A drum or can that collects one kind of waste until a hauler empties it."""

    name = models.CharField(max_length=40, unique=True, help_text="As it is marked: “Used Oil, drum 1”.")
    holds = models.CharField(max_length=7, choices=DrumKind)
    capacity = models.PositiveBigIntegerField(help_text="µL to which it may be filled.")
    made_at = models.DateTimeField()
    retired_at = models.DateTimeField(null=True, blank=True, help_text="Nothing is poured into it any more.")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(name="drum_name_given", condition=~Q(name="")),
            models.CheckConstraint(name="drum_kind_known", condition=Q(holds__in=DrumKind.values)),
            models.CheckConstraint(name="drum_holds_something", condition=Q(capacity__gt=0)),
        ]

    def __str__(self):
        return self.name


class OilEntryKind(models.TextChoices):
    IN = "in", "poured in"
    OUT = "out", "handed over"
    FOUND = "found", "difference found at handing over"


class OilEntryQuerySet(models.QuerySet):
    def standing(self):
        """Entries that count: those that no later one corrects."""
        return self.filter(corrected_by=None)


class OilEntry(models.Model):
    """One line of the used-oil log. Append-only; a correction is a new line that names the wrong one and says why.

    A drum holds the sum of the lines that stand. A correction to zero strikes a line out.
    """

    drum = models.ForeignKey(Drum, models.PROTECT, related_name="entries")
    kind = models.CharField(max_length=5, choices=OilEntryKind)
    fluid = models.CharField(max_length=7, choices=Fluid, blank=True, help_text="What was poured in.")
    amount = models.BigIntegerField(help_text="µL; below zero when it leaves the drum.")
    figures = models.CharField(max_length=20, help_text="As entered.")
    unit = models.CharField(max_length=8, help_text="As entered.")
    estimated = models.BooleanField(default=False, help_text="Nobody measured it: the volume that the sheet gives.")
    look = models.CharField(max_length=8, choices=Look, blank=True)
    bag = models.CharField(max_length=20, blank=True, help_text="The damper's bag tag.")
    source = models.CharField(max_length=120, blank=True, help_text="Where it came from, in words.")
    on = models.DateField(help_text="The day on which it happened.")
    hauler = models.CharField(max_length=120, blank=True, help_text="Who took it away.")
    document = models.CharField(max_length=60, blank=True, help_text="Number of the manifest or receipt.")
    emptied = models.BooleanField(default=False, help_text="The whole drum was emptied.")
    difference_of = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="difference",
        help_text="The handing over at which the drum held more or less than the book had.",
    )  # fmt: skip
    movement = models.ForeignKey(
        Movement, models.PROTECT, null=True, blank=True, related_name="oil_entries",
        help_text="The entry of the stock that wrote it off; the two say the same.",
    )  # fmt: skip
    corrects = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="corrected_by")
    why = models.CharField(max_length=200, blank=True, help_text="Why the earlier line is corrected.")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = OilEntryQuerySet.as_manager()

    class Meta:
        ordering = ["on", "pk"]
        indexes = [
            models.Index(name="oilentry_of_drum", fields=["drum", "on"]),  # the log of a day, a month, a year
            models.Index(name="oilentry_of_bag", fields=["bag"], condition=~Q(bag="")),  # was it noted already?
        ]
        constraints = [
            models.UniqueConstraint(
                name="oilentry_written_off_once",
                fields=["movement"],
                condition=Q(movement__isnull=False, corrects=None),
                violation_error_message="The log has what was written off already.",
            ),
            models.CheckConstraint(name="oilentry_kind_known", condition=Q(kind__in=OilEntryKind.values)),
            models.CheckConstraint(
                name="oilentry_fluid_known",
                condition=Q(kind=OilEntryKind.IN, fluid__in=Fluid.values) | (~Q(kind=OilEntryKind.IN) & Q(fluid="")),
            ),
            models.CheckConstraint(name="oilentry_look_known", condition=Q(look="") | Q(look__in=Look.values)),
            models.CheckConstraint(
                name="oilentry_of_something",
                condition=~Q(amount=0) | Q(corrects__isnull=False),
            ),
            models.CheckConstraint(
                name="oilentry_sign_fits",
                condition=Q(kind=OilEntryKind.IN, amount__gte=0)
                | Q(kind=OilEntryKind.OUT, amount__lte=0)
                | Q(kind=OilEntryKind.FOUND),
            ),
            models.CheckConstraint(
                name="oilentry_handed_to_somebody",
                condition=~Q(kind=OilEntryKind.OUT) | ~Q(hauler=""),
                violation_error_message="Say who took it away.",
            ),
            models.CheckConstraint(
                name="oilentry_correction_says_why",
                condition=Q(corrects=None) | ~Q(why=""),
                violation_error_message="Say why the line is corrected.",
            ),
        ]

    def __str__(self):
        return f"no. {self.pk}, {self.figures} {self.unit} {self.get_kind_display()}"


class OilPaper(models.Model):
    """A page of the hauler's paper as a picture: it proves where the oil went. Pages are only added."""

    entry = models.ForeignKey(OilEntry, models.PROTECT, related_name="papers")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the picture; the name of its file.")
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    file_name = models.CharField(max_length=200, help_text="As it was handed in.")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(name="oilpaper_page_once", fields=["entry", "digest"])]

    def __str__(self):
        return f"paper of no. {self.entry_id}"

    @property
    def path(self) -> str:
        """Where the picture lies in the storage."""
        return f"scans/{self.digest}.jpg"
