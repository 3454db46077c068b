from datetime import datetime, timedelta

from django.db import models
from django.db.models import Case, Exists, F, OuterRef, Q, Value, When

from shop.calc.intervals import day_in_words
from shop.customers.models import Consent, Customer, Vehicle
from shop.staff.models import User
from shop.workorders.models import Question, WorkOrder

# A task is ended by force after five minutes, so a claim this old belongs to a worker that died.
CLAIM_HOLDS = timedelta(minutes=15)


class Hold(models.TextChoices):
    """Why a reminder is not sent. The first five are asked of the book at every run."""

    SOLD = "sold", "the vehicle is sold"
    BOOKED = "booked", "it is booked or in the shop already"
    OPTED_OUT = "opted_out", "the customer wants no reminders"
    NOT_ASKED = "not_asked", "the customer has not been asked about reminders yet"
    NO_ADDRESS = "no_address", "the customer has no e-mail address"
    SERVICED = "serviced", "it was serviced in the meantime"
    NOT_DUE = "not_due", "by the newest meter reading it is due later"


def with_hold(rows: models.QuerySet, vehicle: str = "vehicle") -> models.QuerySet:
    """Annotate rows with hold: what speaks against a reminder about their vehicle as things stand now, "" for nothing.

    The rule is written once, in SQL: the sweep asks it of thousands of rows, the sender of one.
    """
    running = WorkOrder.objects.running().filter(vehicle=OuterRef(f"{vehicle}__pk"))
    consent = f"{vehicle}__customer__reminder_consent"
    return rows.annotate(
        hold=Case(
            When(**{f"{vehicle}__sold_on__isnull": False}, then=Value(Hold.SOLD.value)),
            When(Exists(running), then=Value(Hold.BOOKED.value)),
            When(**{consent: Consent.NO}, then=Value(Hold.OPTED_OUT.value)),
            When(**{consent: Consent.NOT_ASKED}, then=Value(Hold.NOT_ASKED.value)),
            When(**{f"{vehicle}__customer__email": ""}, then=Value(Hold.NO_ADDRESS.value)),
            default=Value(""),
            output_field=models.CharField(),
        )
    )


class Rule(models.TextChoices):
    """What makes a service fall due; whichever comes first decides."""

    DATE = "date", "by date"
    DISTANCE = "distance", "by distance"
    HOURS = "hours", "by engine hours"


class ServiceForecastQuerySet(models.QuerySet):
    def with_hold(self):
        return with_hold(self)

    def to_remind(self, day):
        """Due on or before day, and nobody reminded in this cycle yet. Served by forecast_to_remind alone."""
        return self.filter(awaits_reminder=True, due_on__lte=day)


class ServiceForecast(models.Model):
    """When a vehicle's dampers are due, computed from its services, its meter readings and the interval.

    Nothing but a copy of what follows from other tables: it may be thrown away and computed again at any time.
    """

    vehicle = models.OneToOneField(Vehicle, models.CASCADE, related_name="forecast")
    cycle_key = models.CharField(
        max_length=32, help_text="The service that began the cycle; a vehicle never serviced: new."
    )
    cycle = models.DateField(help_text="Day of the last service, else the day the vehicle came into the book.")
    last_service = models.ForeignKey(WorkOrder, models.PROTECT, null=True, blank=True, related_name="+")
    due_on = models.DateField(null=True, blank=True, help_text="Empty: no interval is known.")
    due_early = models.DateField(null=True, blank=True)
    due_late = models.DateField(null=True, blank=True, help_text="Empty: no end can be told.")
    by_date_on = models.DateField(null=True, blank=True)
    by_distance_on = models.DateField(null=True, blank=True)
    by_hours_on = models.DateField(null=True, blank=True)
    decided_by = models.CharField(max_length=8, choices=Rule, blank=True)
    reason = models.TextField(help_text="Whole sentences, for the customer as for the desk.")
    notes = models.TextField(blank=True, help_text="What is odd about the meter readings, for the desk.")
    awaits_reminder = models.BooleanField(default=True, help_text="No reminder was made in this cycle yet.")
    computed_at = models.DateTimeField()

    objects = ServiceForecastQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "pk"]
        indexes = [
            # The nightly sweep: the few that fall due among all vehicles; those reminded already are not in it.
            models.Index(
                name="forecast_to_remind", fields=["due_on"], condition=Q(awaits_reminder=True, due_on__isnull=False)
            ),
        ]
        constraints = [
            models.CheckConstraint(
                name="forecast_rule_known", condition=Q(decided_by="") | Q(decided_by__in=Rule.values)
            ),
            models.CheckConstraint(
                name="forecast_due_has_rule",
                condition=Q(due_on=None, decided_by="") | (Q(due_on__isnull=False) & ~Q(decided_by="")),
                violation_error_message="A due date comes with the rule that gives it, and no rule without a date.",
            ),
            models.CheckConstraint(
                name="forecast_days_in_order",
                condition=(Q(due_early=None) | Q(due_early__lte=F("due_on")))
                & (Q(due_late=None) | Q(due_late__gte=F("due_on"))),
                violation_error_message="The due date lies outside its own earliest and latest day.",
            ),
        ]

    def __str__(self):
        return f"{self.vehicle}: {self.due_on or 'no date'}"

    @property
    def hold_in_words(self) -> str:
        """What speaks against a reminder; needs with_hold()."""
        return Hold(self.hold).label if self.hold else ""

    @property
    def how_use_is_found(self) -> str:
        """For the desk, where a meter gave a day; empty where the date alone counts."""
        if self.by_distance_on is None and self.by_hours_on is None:
            return ""
        return (
            "The use a month is the middle one of the rates between any two readings, so one odd reading hardly moves "
            "it. Readings that fit no other are left out and named here; of a changed meter only the new one counts."
        )


class ReminderStatus(models.TextChoices):
    QUEUED = "queued", "waiting to be sent"
    SENDING = "sending", "being sent"
    SENT = "sent", "sent"
    FAILED = "failed", "could not be sent"
    SUPPRESSED = "suppressed", "held back"


class MailQuerySet(models.QuerySet):
    """Rows that are mails: the rows are the queue."""

    def due_to_send(self, now: datetime):
        """Queued and not put off."""
        return self.filter(status=ReminderStatus.QUEUED, send_after__lte=now).order_by("send_after", "pk")

    def claim(self, pk: int, now: datetime) -> bool:
        """Take one queued mail; of several workers asking, one is told True."""
        taken = self.filter(pk=pk, status=ReminderStatus.QUEUED, send_after__lte=now).update(
            status=ReminderStatus.SENDING, claimed_at=now, attempts=F("attempts") + 1
        )
        return taken == 1

    def abandoned(self, now: datetime):
        """Claimed by a worker that died before it could tell the outcome."""
        return self.filter(status=ReminderStatus.SENDING, claimed_at__lt=now - CLAIM_HOLDS)


class ReminderQuerySet(MailQuerySet):
    def to_send(self):
        """With all that sending one reads."""
        return self.with_names().with_hold()

    def with_hold(self):
        return with_hold(self)

    def with_names(self):
        """With all that a mail, a customer's page or a row of the desk's list shows."""
        return self.select_related("customer", "vehicle__model", "vehicle__customer", "vehicle__forecast")

    def due_to_send(self, now: datetime):
        """Queued and not put off, the most urgent first."""
        return super().due_to_send(now).order_by("due_on", "pk")

    def of_present_cycle(self):
        """Those whose vehicle was not serviced since."""
        return self.filter(cycle_key=F("vehicle__forecast__cycle_key"))


class Reminder(models.Model):
    """One service-due e-mail: made by the sweep, at most one per vehicle and service cycle, and its whole story."""

    vehicle = models.ForeignKey(Vehicle, models.PROTECT, related_name="reminders")
    cycle_key = models.CharField(max_length=32, help_text="As on the forecast it was made from.")
    cycle = models.DateField(help_text="Its first day by the shop's calendar, for people.")
    customer = models.ForeignKey(Customer, models.PROTECT, related_name="reminders")
    to_address = models.EmailField(blank=True)
    due_on = models.DateField()
    status = models.CharField(max_length=10, choices=ReminderStatus, default=ReminderStatus.QUEUED)
    held_by = models.CharField(max_length=10, choices=Hold, blank=True)
    error = models.CharField(max_length=500, blank=True, help_text="What the last try to send met with.")
    created_at = models.DateTimeField()
    send_after = models.DateTimeField(help_text="Not tried before this moment.")
    claimed_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(
        default=0, help_text="Claims; the number also tells a late worker that its claim is over."
    )
    deferrals = models.PositiveSmallIntegerField(default=0, help_text="Times the mail server said: later.")
    claims_lost = models.PositiveSmallIntegerField(
        default=0, help_text="Times sending broke off so that nobody can know whether the mail left."
    )
    message_id = models.CharField(max_length=255, unique=True, help_text="Message-ID of the mail and of every repeat.")
    sent_at = models.DateTimeField(null=True, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True, help_text="First answer through the link.")

    objects = ReminderQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        indexes = [
            # The sender, every minute: what waits, and what a dead worker left.
            models.Index(name="reminder_queue", fields=["send_after"], condition=Q(status=ReminderStatus.QUEUED)),
            models.Index(name="reminder_claimed", fields=["claimed_at"], condition=Q(status=ReminderStatus.SENDING)),
            # The sweep looks again at what was held back or failed.
            models.Index(
                name="reminder_not_sent",
                fields=["vehicle"],
                condition=Q(status__in=[ReminderStatus.SUPPRESSED, ReminderStatus.FAILED]),
            ),
            models.Index(name="reminder_by_state", fields=["status", "-id"]),  # the desk's list
        ]
        constraints = [
            models.UniqueConstraint(
                name="reminder_once_per_cycle",
                fields=["vehicle", "cycle_key"],
                violation_error_message="There is a reminder about this vehicle since its last service already.",
            ),
            models.CheckConstraint(name="reminder_status_known", condition=Q(status__in=ReminderStatus.values)),
            models.CheckConstraint(
                name="reminder_held_with_reason",
                condition=(Q(status=ReminderStatus.SUPPRESSED) & Q(held_by__in=Hold.values))
                | (~Q(status=ReminderStatus.SUPPRESSED) & Q(held_by="")),
                violation_error_message="A reminder that is held back says why, and only such a one.",
            ),
            models.CheckConstraint(
                name="reminder_failed_with_error",
                condition=~Q(status=ReminderStatus.FAILED) | ~Q(error=""),
                violation_error_message="A reminder that could not be sent says what happened.",
            ),
            models.CheckConstraint(
                name="reminder_claimed_by_somebody",
                condition=~Q(status=ReminderStatus.SENDING) | Q(claimed_at__isnull=False),
                violation_error_message="A reminder that is being sent says since when.",
            ),
            models.CheckConstraint(
                name="reminder_sent_to_somebody",
                condition=~Q(status=ReminderStatus.SENT) | (Q(sent_at__isnull=False) & ~Q(to_address="")),
                violation_error_message="A reminder that was sent says when and to whom.",
            ),
        ]

    def __str__(self):
        return f"{self.vehicle}, service due {day_in_words(self.due_on)}: {self.get_status_display()}"

    def why(self) -> str:
        """Why it was not sent, in words; empty when there is nothing to tell."""
        return self.get_held_by_display() or self.error


class QuestionMailQuerySet(MailQuerySet):
    def to_send(self):
        """With all that sending one reads."""
        return self.select_related(
            "question__order__customer", "question__order__vehicle__model", "question__job__damper"
        )


class QuestionMail(models.Model):
    """An e-mail that asks the customer a question about the price, and its whole story."""

    question = models.ForeignKey(Question, models.PROTECT, related_name="mails")
    number = models.PositiveSmallIntegerField(help_text="Counts the mails of a question; part of the Message-ID.")
    to_address = models.EmailField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+", help_text="Who had it sent.")
    status = models.CharField(max_length=10, choices=ReminderStatus, default=ReminderStatus.QUEUED)
    error = models.CharField(max_length=500, blank=True, help_text="What the last try met with, or why it was held.")
    created_at = models.DateTimeField()
    send_after = models.DateTimeField(help_text="Not tried before this moment.")
    claimed_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    deferrals = models.PositiveSmallIntegerField(default=0)
    claims_lost = models.PositiveSmallIntegerField(default=0)
    message_id = models.CharField(max_length=255, unique=True, help_text="Message-ID of the mail and of every repeat.")
    sent_at = models.DateTimeField(null=True, blank=True)

    objects = QuestionMailQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        indexes = [
            # The sender, every minute.
            models.Index(name="questionmail_queue", fields=["send_after"], condition=Q(status=ReminderStatus.QUEUED)),
        ]
        constraints = [
            models.UniqueConstraint(name="questionmail_number_once", fields=["question", "number"]),
            models.UniqueConstraint(
                name="questionmail_one_on_its_way",
                fields=["question"],
                condition=Q(status__in=[ReminderStatus.QUEUED, ReminderStatus.SENDING]),
                violation_error_message="A mail about this question is on its way already.",
            ),
            models.CheckConstraint(name="questionmail_status_known", condition=Q(status__in=ReminderStatus.values)),
            models.CheckConstraint(
                name="questionmail_outcome_told",
                condition=(~Q(status__in=[ReminderStatus.FAILED, ReminderStatus.SUPPRESSED]) | ~Q(error=""))
                & (~Q(status=ReminderStatus.SENT) | Q(sent_at__isnull=False))
                & (~Q(status=ReminderStatus.SENDING) | Q(claimed_at__isnull=False)),
                violation_error_message="A mail says when it was sent, or why not.",
            ),
        ]

    def __str__(self):
        return f"mail about the {self.question} to {self.to_address}: {self.get_status_display()}"
