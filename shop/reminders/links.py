"""The links that customers get: signed, so that nobody can guess one, and good for a stated number of days."""

from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.urls import reverse

from shop.reminders.models import Reminder
from shop.workorders.models import Question

# A dot, because some mail programs end a link at a colon.
SIGNER = {"sep": ".", "salt": "shop.reminders.links"}
# Another salt: the link of a reminder answers no question.
QUESTION_SIGNER = {"sep": ".", "salt": "shop.reminders.links.question"}


class BadLink(Exception):
    """No link of ours: cut off, changed or made up."""


class ExpiredLink(Exception):
    """A link of ours past its day. It carries the reminder, because saying stop never expires."""

    def __init__(self, reminder: Reminder):
        super().__init__(reminder)
        self.reminder = reminder


class ExpiredQuestion(Exception):
    """A question's link past its day."""


def token_for(reminder: Reminder, now: datetime) -> str:
    """The part of the link that says which reminder it belongs to and until when it is good."""
    expires = now + timedelta(days=settings.REMINDER_LINK_DAYS)
    return Signer(**SIGNER).sign(f"{reminder.pk}.{int(expires.timestamp())}")


def reminder_of(token: str, now: datetime) -> Reminder:
    """The reminder of a link. Raises BadLink; raises ExpiredLink past its day or when the vehicle changed hands."""
    try:
        pk, expires = Signer(**SIGNER).unsign(token).split(".")
        reminder = Reminder.objects.with_names().get(pk=int(pk))
    except (BadSignature, ValueError, Reminder.DoesNotExist):
        raise BadLink from None
    if now > datetime.fromtimestamp(int(expires), UTC) or reminder.customer_id != reminder.vehicle.customer_id:
        raise ExpiredLink(reminder)
    return reminder


def question_token(question: Question) -> str:
    """The part of a question's link that says which one and until when; always the same for one question."""
    return Signer(**QUESTION_SIGNER).sign(f"{question.pk}.{int(question.link_until.timestamp())}")


def question_of(token: str, now: datetime) -> Question:
    """The question of a link, whatever its state. Raises BadLink, or ExpiredQuestion past its day."""
    try:
        pk, expires = Signer(**QUESTION_SIGNER).unsign(token).split(".")
        question = Question.objects.with_names().get(pk=int(pk))
    except (BadSignature, ValueError, Question.DoesNotExist):
        raise BadLink from None
    if now > datetime.fromtimestamp(int(expires), UTC):
        raise ExpiredQuestion
    return question


def question_url(question: Question) -> str:
    """Whole address of the page on which the customer answers."""
    return url_of("question", question_token(question))


def url_of(page: str, token: str) -> str:
    """Whole address of a public page: "reminder", "meter", "sold", "stop" or "question"."""
    return settings.SITE_URL + reverse(f"public:{page}", args=[token])
