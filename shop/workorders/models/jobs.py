from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from shop.dampers.measures import QUANTITY, Measure
from shop.dampers.models import Damper
from shop.specs.models import Procedure, Step
from shop.staff.models import User
from shop.workorders.frozen import FrozenSheet
from shop.workorders.models.orders import WorkOrder
from shop.workorders.models.tools import Tool


class JobStatus(models.TextChoices):
    BOOKED = "booked", "booked"
    OPEN = "open", "on the bench"
    CLOSED = "closed", "closed"
    CALLED_OFF = "called_off", "called off"


class DamperJobQuerySet(models.QuerySet):
    def kept(self):
        """Without those that were called off by themselves while their order went on, or with it."""
        return self.exclude(status=JobStatus.CALLED_OFF)


class DamperJob(models.Model):
    """One damper's part of an order: its frozen figures, its readings, its steps."""

    order = models.ForeignKey(WorkOrder, models.PROTECT, related_name="jobs")
    damper = models.ForeignKey(Damper, models.PROTECT, related_name="jobs")
    index = models.PositiveSmallIntegerField(help_text="Counts the dampers of the order; part of the tag.")
    status = models.CharField(max_length=10, choices=JobStatus, default=JobStatus.BOOKED)
    spec = models.JSONField(null=True, blank=True, help_text="The sheet as it was at check-in; frozen by a trigger.")
    procedure = models.ForeignKey(Procedure, models.PROTECT, null=True, blank=True, related_name="+")
    round = models.PositiveSmallIntegerField(
        default=1,
        help_text="Goes up when the damper is opened again; earlier rounds count no more.",
    )
    closed_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    override_reason = models.CharField(
        max_length=500, blank=True, help_text="Why it was closed although something lacks."
    )

    objects = DamperJobQuerySet.as_manager()

    class Meta:
        ordering = ["order", "index"]
        constraints = [
            models.UniqueConstraint(name="damperjob_index_once", fields=["order", "index"]),
            models.UniqueConstraint(
                name="damperjob_one_open_per_damper",
                fields=["damper"],
                condition=Q(status__in=[JobStatus.BOOKED, JobStatus.OPEN]),
                violation_error_message="This damper is already booked or on the bench. Finish that order first.",
            ),
            models.CheckConstraint(name="damperjob_status_known", condition=Q(status__in=JobStatus.values)),
            models.CheckConstraint(
                name="damperjob_open_is_frozen",
                condition=~Q(status__in=[JobStatus.OPEN, JobStatus.CLOSED])
                | (Q(spec__isnull=False) & Q(procedure__isnull=False)),
            ),
            models.CheckConstraint(
                name="damperjob_closed_by_somebody",
                condition=~Q(status=JobStatus.CLOSED) | (Q(closed_by__isnull=False) & Q(closed_at__isnull=False)),
            ),
        ]

    def __str__(self):
        return f"{self.tag} {self.damper.where()}"

    def get_absolute_url(self):
        return reverse("tablet:job", args=[self.pk])

    @property
    def tag(self) -> str:
        """What stands on the damper's bag: order number and its count within the order."""
        return f"{1000 + self.order_id}-{self.index}"

    @property
    def sheet(self) -> FrozenSheet:
        """The figures this job is held against, as they were at check-in or when a manager took another sheet since."""
        changes = self.spec_changes.all()
        return FrozenSheet.read(changes[len(changes) - 1].spec if changes else self.spec)

    def standing_readings(self) -> dict:
        """The reading that holds for each (measure, moment): the last of its line of corrections in this round.

        What was found holds through every round.
        """
        readings = [one for one in self.readings.all() if one.round == self.round or one.moment == Moment.FOUND]
        corrected = {one.corrects_id for one in readings}
        return {(one.measure, one.moment): one for one in readings if one.pk not in corrected}


class Moment(models.TextChoices):
    FOUND = "found", "as found"
    SET = "set", "set"
    LEFT = "left", "as left"


class ReadingQuerySet(models.QuerySet):
    def standing(self):
        """Readings that no later row corrects."""
        return self.filter(corrected_by=None)


class Reading(models.Model):
    """A figure read on a damper. Append-only; a correction is a new row that names the old one and says why."""

    job = models.ForeignKey(DamperJob, models.PROTECT, related_name="readings")
    measure = models.CharField(max_length=20, choices=Measure)
    moment = models.CharField(max_length=5, choices=Moment)
    round = models.PositiveSmallIntegerField(default=1, help_text="The job's round in which it was done.")
    step = models.ForeignKey(Step, models.PROTECT, null=True, blank=True, related_name="+")
    value_si = models.FloatField()
    figures = models.CharField(max_length=20, help_text="As entered.")
    unit = models.CharField(max_length=8, help_text="As entered.")
    tool = models.ForeignKey(Tool, models.PROTECT, null=True, blank=True, related_name="+")
    bench_temperature_k = models.FloatField(null=True, blank=True)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    corrects = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="corrected_by")
    why = models.CharField(max_length=200, blank=True, help_text="Why the earlier reading is corrected.")

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            # One line of readings per figure: a second one has to correct the first.
            models.UniqueConstraint(
                name="reading_first_once", fields=["job", "measure", "moment", "round"], condition=Q(corrects=None)
            ),
            models.CheckConstraint(
                name="reading_not_negative",
                condition=Q(value_si__gte=0),
                violation_error_message="A reading here is zero or more.",
            ),
            models.CheckConstraint(name="reading_measure_known", condition=Q(measure__in=Measure.values)),
            models.CheckConstraint(name="reading_moment_known", condition=Q(moment__in=Moment.values)),
            models.CheckConstraint(
                name="reading_correction_has_reason",
                condition=Q(corrects=None) | ~Q(why=""),
                violation_error_message="Say why the earlier reading is corrected.",
            ),
        ]

    def __str__(self):
        return f"{self.get_measure_display()} {self.figures} {self.unit}".strip()

    @property
    def quantity(self):
        return QUANTITY[self.measure]


class StepDone(models.Model):
    """Somebody did a step of a job, or found that it does not apply to this damper. Append-only."""

    job = models.ForeignKey(DamperJob, models.PROTECT, related_name="steps_done")
    step = models.ForeignKey(Step, models.PROTECT, related_name="+")
    round = models.PositiveSmallIntegerField(default=1, help_text="The job's round in which it was done.")
    applies = models.BooleanField(default=True, help_text="False: it does not apply, so it was passed over.")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        # A step that was passed over by mistake can still be done.
        constraints = [models.UniqueConstraint(name="stepdone_once", fields=["job", "step", "round", "applies"])]

    def __str__(self):
        return f"{self.step} by {self.by}"


class SecondCheck(models.Model):
    """A second person confirmed a critical step, and the reading that was taken there. Append-only."""

    job = models.ForeignKey(DamperJob, models.PROTECT, related_name="second_checks")
    step = models.ForeignKey(Step, models.PROTECT, related_name="+")
    round = models.PositiveSmallIntegerField(default=1, help_text="The job's round in which it was done.")
    reading = models.OneToOneField(Reading, models.PROTECT, null=True, blank=True, related_name="second_check")
    first_by = models.ForeignKey(User, models.PROTECT, related_name="+", help_text="Who did it, for the constraint.")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                name="secondcheck_once", fields=["job", "step", "round"], condition=Q(reading=None)
            ),
            models.CheckConstraint(
                name="secondcheck_by_another",
                condition=~Q(by=F("first_by")),
                violation_error_message="A second person has to check this: somebody who did not do it.",
            ),
        ]

    def __str__(self):
        return f"{self.step} checked by {self.by}"


class Reopening(models.Model):
    """A damper was vented and opened again: all steps begin anew, zero pressure first. Append-only."""

    job = models.ForeignKey(DamperJob, models.PROTECT, related_name="reopenings")
    round = models.PositiveSmallIntegerField(help_text="The round that begins with it.")
    why = models.CharField(max_length=300)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(name="reopening_round_once", fields=["job", "round"]),
            models.CheckConstraint(
                name="reopening_has_reason",
                condition=~Q(why=""),
                violation_error_message="Say why the damper is opened again.",
            ),
        ]

    def __str__(self):
        return f"{self.job} opened again"


class SpecChange(models.Model):
    """A manager holds an open job against the sheet of that day from then on. Append-only; the last one counts."""

    job = models.ForeignKey(DamperJob, models.PROTECT, related_name="spec_changes")
    round = models.PositiveSmallIntegerField(help_text="The job's round from which it holds.")
    spec = models.JSONField(help_text="The sheet as it was at that moment.")
    why = models.CharField(max_length=300)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="specchange_has_reason",
                condition=~Q(why=""),
                violation_error_message="Say why the damper is held against another sheet now.",
            ),
        ]

    def __str__(self):
        return f"{self.job} held against another sheet"


class CardRevision(models.Model):
    """A job card that was given out: its number within the order and the digest of what it says. Append-only."""

    order = models.ForeignKey(WorkOrder, models.PROTECT, related_name="cards")
    number = models.PositiveSmallIntegerField()
    digest = models.CharField(max_length=64)
    at = models.DateTimeField()

    class Meta:
        ordering = ["order", "number"]
        constraints = [
            models.UniqueConstraint(name="cardrevision_number_once", fields=["order", "number"]),
        ]

    def __str__(self):
        return f"{self.order} card revision {self.number}"
