from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q
from django.urls import reverse

from shop.staff.models import User

# A file that nobody brings in is put away after so long, and what is left of any import after that.
FILE_KEPT = timedelta(days=7)
RUN_KEPT = timedelta(days=90)


class KindName(models.TextChoices):
    """What is in a file; exchange.kinds has a description of each."""

    SHEETS = "sheets", "Spec sheets"
    KIT_LINES = "kit-lines", "Parts lists"
    PARTS = "parts", "Stock items"
    CUSTOMERS = "customers", "Customers"
    VEHICLES = "vehicles", "Vehicles"


class RunState(models.TextChoices):
    WAITING = "waiting", "waiting to be checked"
    CHECKING = "checking", "being checked"
    CHECKED = "checked", "checked, nothing written yet"
    DUE = "due", "waiting to be brought in"
    IMPORTING = "importing", "being brought in"
    DONE = "done", "brought in"
    REFUSED = "refused", "refused, nothing written"
    FAILED = "failed", "broken off, nothing written"
    STOPPED = "stopped", "put away, nothing written"


# A worker has these to do or at work; the first two become the second two when it begins.
UNFINISHED = [RunState.WAITING, RunState.DUE, RunState.CHECKING, RunState.IMPORTING]
BEGUN = {RunState.WAITING: RunState.CHECKING, RunState.DUE: RunState.IMPORTING}
STOPPABLE = [RunState.WAITING, RunState.CHECKED, RunState.DUE]


class ImportRunQuerySet(models.QuerySet):
    def unfinished(self):
        """What a worker has to do, or began and may have died over; the oldest first."""
        return self.filter(state__in=UNFINISHED).order_by("pk")

    def left_over(self, now: datetime):
        """Files that nobody brought in."""
        return self.filter(state__in=STOPPABLE, uploaded_at__lt=now - FILE_KEPT)


class ImportRun(models.Model):
    """One file that somebody brings: what it holds, how far it has come, what is wrong with it."""

    kind = models.CharField(max_length=10, choices=KindName)
    file_name = models.CharField(max_length=120, help_text="As it was called on the sender's machine.")
    stored_as = models.CharField(max_length=80, blank=True, help_text="Below the media folder; empty: deleted.")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the file.")
    uploaded_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    uploaded_at = models.DateTimeField()
    state = models.CharField(max_length=9, choices=RunState, default=RunState.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0, help_text="Times that a worker began with it.")
    rows = models.PositiveIntegerField(null=True, blank=True, help_text="Lines with something in them, once counted.")
    new = models.PositiveIntegerField(default=0)
    changed = models.PositiveIntegerField(default=0)
    unchanged = models.PositiveIntegerField(default=0)
    problems = models.JSONField(default=list, blank=True, help_text="The first ones: line, column, value, sentence.")
    problem_count = models.PositiveIntegerField(default=0)
    checked_at = models.DateTimeField(null=True, blank=True)
    imported_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    imported_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True, help_text="Why it failed or was put away.")

    objects = ImportRunQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        indexes = [
            # The clock, every minute: the few that a worker has to do.
            models.Index(name="importrun_unfinished", fields=["id"], condition=Q(state__in=UNFINISHED)),
        ]
        constraints = [
            models.CheckConstraint(name="importrun_kind_known", condition=Q(kind__in=KindName.values)),
            models.CheckConstraint(name="importrun_state_known", condition=Q(state__in=RunState.values)),
            models.CheckConstraint(
                name="importrun_refused_with_problem",
                condition=(Q(state=RunState.REFUSED) & Q(problem_count__gt=0))
                | (~Q(state=RunState.REFUSED) & Q(problem_count=0)),
                violation_error_message="A file that is refused says what is wrong with it, and only such a one.",
            ),
            models.CheckConstraint(
                name="importrun_done_by_somebody",
                condition=~Q(state__in=[RunState.DUE, RunState.IMPORTING, RunState.DONE])
                | Q(imported_by__isnull=False),
                violation_error_message="What is brought in names who asked for it.",
            ),
            models.CheckConstraint(
                name="importrun_broken_off_with_note",
                condition=~Q(state__in=[RunState.FAILED, RunState.STOPPED]) | ~Q(note=""),
                violation_error_message="What is broken off or put away says why.",
            ),
        ]

    def __str__(self):
        return f"{self.get_kind_display()} from {self.file_name}"

    def get_absolute_url(self):
        return reverse("manage:import_run", args=[self.pk])

    @property
    def running(self) -> bool:
        return self.state in UNFINISHED

    @property
    def stoppable(self) -> bool:
        return self.state in STOPPABLE
