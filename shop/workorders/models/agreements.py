from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from shop.staff.models import User
from shop.workorders.models.jobs import DamperJob
from shop.workorders.models.orders import WorkOrder

MONEY = {"max_digits": 9, "decimal_places": 2}


class AgreedHow(models.TextChoices):
    DESK = "desk", "at the desk"
    TELEPHONE = "telephone", "by telephone"
    WRITING = "writing", "in writing"
    LINK = "link", "through the link"


class Signed(models.TextChoices):
    SCREEN = "screen", "signed on the screen"
    PAPER = "paper", "signed on paper"


class QuestionState(models.TextChoices):
    PROPOSED = "proposed", "waits for the front desk to ask"
    OPEN = "open", "waits for the customer's answer"
    AGREED = "agreed", "agreed"
    DECLINED = "declined", "not agreed"
    WITHDRAWN = "withdrawn", "withdrawn"


class After(models.TextChoices):
    """What becomes of a damper when the customer did not agree."""

    UNFINISHED = "unfinished", "goes back unfinished"
    WITHOUT = "without", "goes on without it"


class QuestionQuerySet(models.QuerySet):
    def waiting(self):
        """Those for which work stands still: not answered, or declined and nobody has said what happens then."""
        return self.filter(
            Q(state__in=[QuestionState.PROPOSED, QuestionState.OPEN]) | Q(state=QuestionState.DECLINED, after="")
        )

    def with_names(self):
        return self.select_related(
            "order__customer", "order__vehicle__model", "job__damper__model", "job__damper__vehicle__model",
            "proposed_by", "asked_by", "answered_by",
        )  # fmt: skip


class Question(models.Model):
    """Something the customer has to agree to before work goes past the agreed price: what, why, and what it comes to.

    A technician proposes what and why, the desk gives the price and asks. The answer is written once.
    """

    order = models.ForeignKey(WorkOrder, models.PROTECT, related_name="questions")
    job = models.ForeignKey(
        DamperJob, models.PROTECT, null=True, blank=True, related_name="questions", help_text="Empty: the whole order."
    )
    what = models.CharField(max_length=300, help_text="What more is needed.")
    why = models.CharField(max_length=500)
    by_how_much = models.DecimalField(**MONEY, null=True, blank=True)
    new_total = models.DecimalField(**MONEY, null=True, blank=True, help_text="Agreed price and this together.")
    state = models.CharField(max_length=9, choices=QuestionState)
    proposed_by = models.ForeignKey(User, models.PROTECT, related_name="+", help_text="Who raised it.")
    proposed_at = models.DateTimeField()
    asked_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    asked_at = models.DateTimeField(null=True, blank=True)
    link_until = models.DateTimeField(null=True, blank=True, help_text="Until when the customer's link works.")
    call_wanted_at = models.DateTimeField(null=True, blank=True, help_text="The customer would rather be called.")
    answered_name = models.CharField(max_length=120, blank=True, help_text="Who answered for the customer.")
    answered_how = models.CharField(max_length=9, choices=AgreedHow, blank=True)
    answered_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", help_text="Who noted it; empty: the link."
    )
    answered_at = models.DateTimeField(null=True, blank=True)
    withdrawn_why = models.CharField(max_length=300, blank=True)
    after = models.CharField(max_length=10, choices=After, blank=True)
    after_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    after_at = models.DateTimeField(null=True, blank=True)

    objects = QuestionQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        indexes = [
            # The gate of every reading, and the day sheet.
            models.Index(
                name="question_waiting", fields=["order"], condition=Q(state__in=["proposed", "open", "declined"])
            ),
        ]
        constraints = [
            models.CheckConstraint(
                name="question_says_what_and_why",
                condition=~Q(what="") & ~Q(why=""),
                violation_error_message="Say what more is needed, and why.",
            ),
            models.CheckConstraint(
                name="question_asked_with_price",
                condition=Q(state__in=[QuestionState.PROPOSED, QuestionState.WITHDRAWN])
                | Q(
                    by_how_much__isnull=False,
                    new_total__isnull=False,
                    asked_by__isnull=False,
                    asked_at__isnull=False,
                    link_until__isnull=False,
                ),
                violation_error_message="A question to the customer names its price, who asked, and when.",
            ),
            models.CheckConstraint(
                name="question_price_plausible",
                condition=(Q(by_how_much=None) | Q(by_how_much__gt=0))
                & (Q(new_total=None) | Q(new_total__gte=F("by_how_much"))),
                violation_error_message="What more it costs is above zero, and the new total is not less.",
            ),
            models.CheckConstraint(  # also that the state is a known one
                name="question_answered_by_somebody",
                condition=Q(
                    state__in=[QuestionState.PROPOSED, QuestionState.OPEN],
                    answered_at=None,
                    answered_by=None,
                    answered_name="",
                    answered_how="",
                )
                | (
                    Q(
                        state__in=[QuestionState.AGREED, QuestionState.DECLINED],
                        answered_at__isnull=False,
                        answered_how__in=AgreedHow.values,
                    )
                    & ~Q(answered_name="")
                    & (
                        Q(answered_how=AgreedHow.LINK, answered_by=None)
                        | (~Q(answered_how=AgreedHow.LINK) & Q(answered_by__isnull=False))
                    )
                )
                | Q(
                    state=QuestionState.WITHDRAWN,
                    answered_at__isnull=False,
                    answered_by__isnull=False,
                    answered_name="",
                    answered_how="",
                ),
                violation_error_message="An answer says who gave it, when, how, and who noted it.",
            ),
            models.CheckConstraint(
                name="question_withdrawn_with_reason",
                condition=~Q(state=QuestionState.WITHDRAWN) | ~Q(withdrawn_why=""),
                violation_error_message="Say why the question is withdrawn.",
            ),
            models.CheckConstraint(
                name="question_after_declined",
                condition=Q(after="", after_by=None, after_at=None)
                | Q(
                    state=QuestionState.DECLINED,
                    after__in=After.values,
                    after_by__isnull=False,
                    after_at__isnull=False,
                ),
                violation_error_message="What happens then is said of a question that was not agreed, by somebody.",
            ),
        ]

    def __str__(self):
        return f"question about {self.about()}"

    def get_absolute_url(self):
        return reverse("desk:question", args=[self.order_id, self.pk])

    def about(self) -> str:
        """What it covers: "damper 1001-2" or "LG-1001"."""
        return f"damper {self.job.tag}" if self.job_id else self.order.number

    @property
    def waits(self) -> bool:
        """Whether work stands still for it; the same rule as waiting()."""
        undecided = self.state == QuestionState.DECLINED and not self.after
        return undecided or self.state in (QuestionState.PROPOSED, QuestionState.OPEN)

    def waits_for(self) -> str:
        """What has to happen before the work goes on, as the end of a sentence."""
        if self.state == QuestionState.PROPOSED:
            return "waits for the front desk to ask the customer"
        if self.state == QuestionState.DECLINED:
            return "the customer did not agree, and the front desk has to say what happens now"
        return "waits for the customer's answer"


class Agreement(models.Model):
    """What the customer agreed to and up to which price in all. Append-only; the last one of an order holds."""

    order = models.ForeignKey(WorkOrder, models.PROTECT, related_name="agreements")
    question = models.OneToOneField(Question, models.PROTECT, null=True, blank=True, related_name="agreement")
    what = models.CharField(max_length=500)
    up_to = models.DecimalField(
        **MONEY, null=True, blank=True, help_text="For the whole order. Empty: no limit was agreed, ask first."
    )
    agreed_by = models.CharField(max_length=120, help_text="Name of who agreed.")
    how = models.CharField(max_length=9, choices=AgreedHow)
    signed = models.CharField(max_length=6, choices=Signed, blank=True)
    signature = models.CharField(max_length=64, blank=True, help_text="SHA-256 of the picture; the name of its file.")
    by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", help_text="Who noted it; empty: the link."
    )
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="agreement_says_what_and_who",
                condition=~Q(what="") & ~Q(agreed_by=""),
                violation_error_message="An agreement says what was agreed and who agreed.",
            ),
            models.CheckConstraint(
                name="agreement_price_not_negative",
                condition=Q(up_to=None) | Q(up_to__gte=0),
                violation_error_message="A price is zero or more.",
            ),
            models.CheckConstraint(name="agreement_how_known", condition=Q(how__in=AgreedHow.values)),
            models.CheckConstraint(
                name="agreement_noted_by_somebody",
                condition=(Q(how=AgreedHow.LINK) & Q(by=None)) | (~Q(how=AgreedHow.LINK) & Q(by__isnull=False)),
                violation_error_message="Only what comes through the link is noted by nobody of the shop.",
            ),
            models.CheckConstraint(
                name="agreement_signature_kept",
                condition=(Q(signed=Signed.SCREEN) & ~Q(signature=""))
                | (Q(signed__in=["", Signed.PAPER]) & Q(signature="")),
                violation_error_message="Signed on the screen means that the signature is kept, and only then.",
            ),
        ]

    def __str__(self):
        return f"{self.order}: {self.what}"

    @property
    def signature_path(self) -> str:
        """Where the signature lies in the storage."""
        return f"photos/{self.signature}.jpg"
