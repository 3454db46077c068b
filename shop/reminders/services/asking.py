"""The questions about the price: mailed when the desk says so, answered through their link."""

from datetime import datetime
from decimal import Decimal

from celery import current_app
from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.errors import Conflict
from shop.reminders import mail
from shop.reminders.models import QuestionMail, ReminderStatus
from shop.reminders.services.sending import hand_over, settle, work_off
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.models import AgreedHow, Question, QuestionState, WorkOrder
from shop.workorders.services import answer_question, want_call

SEND_QUESTIONS = "reminders.send_questions"
ANSWERS = ("agree", "decline", "call")


@transaction.atomic
def mail_question(*, question: Question, by: User, at: datetime) -> QuestionMail:
    """Write to the customer with the link. One that is on its way is enough; one that failed may be sent again."""
    order = WorkOrder.objects.select_for_update(of=("self",)).select_related("customer").get(pk=question.order_id)
    question = Question.objects.get(pk=question.pk)
    if question.state != QuestionState.OPEN:
        raise Conflict(f"This question is not open: {question.get_state_display()}. Nothing is sent.", code="not_open")
    if at > question.link_until:
        raise Conflict("The link has run out. Withdraw the question and ask anew.", code="expired")
    address = order.customer.email
    if not address:
        words = f"No e-mail address of {order.customer} is noted. Note it on the customer's page, or copy the link."
        raise ValidationError(words, code="no_address")
    mails = list(question.mails.all())
    last = mails[-1] if mails else None
    if last and last.status in (ReminderStatus.QUEUED, ReminderStatus.SENDING):
        return last
    if last and last.status == ReminderStatus.SENT and last.to_address == address:
        raise Conflict(f"It was sent to {address} already. Call the customer, or copy the link.", code="sent")
    number = len(mails) + 1
    row = QuestionMail(
        question=question, number=number, to_address=address, by=by, created_at=at, send_after=at,
        message_id=mail.question_message_id(question.pk, number),
    )  # fmt: skip
    row.full_clean()
    row.save()
    note(who=by, kind="order", key=order.pk, what=f"{question} goes by e-mail to {address}", at=at)
    # The row is the queue: a lost message costs a minute.
    transaction.on_commit(lambda: current_app.send_task(SEND_QUESTIONS, retry=False), robust=True)
    return row


def send_question_mails(*, now: datetime):
    """Send what waits; answers how many ended in which status. Runs beside itself without harm."""
    return work_off(QuestionMail, _send, now)


def _send(row: QuestionMail, post: mail.Post, now: datetime) -> ReminderStatus:
    if row.question.state != QuestionState.OPEN:
        told = f"Not sent: the question is {row.question.get_state_display()}."
        return settle(row, ReminderStatus.SUPPRESSED, error=told)
    return hand_over(row, post, lambda: mail.build_question(row, now), now, {})


def answer_by_link(*, question: Question, answer: str, new_total: Decimal | None, at: datetime) -> Question:
    """What the customer chose on the page of the link: one of ANSWERS, on the total that stood there."""
    if answer not in ANSWERS:
        raise ValidationError("Choose one of the answers: agree, do not agree, or call me.", code="no_answer")
    if answer == "call":
        return want_call(question=question, at=at)
    if answer == "agree" and new_total is None:
        raise ValidationError("What you agree to did not reach us. Open the link again.", code="no_total")
    return answer_question(
        question=question,
        agreed=answer == "agree",
        name=question.order.customer.name,
        how=AgreedHow.LINK,
        new_total=new_total,
        by=None,
        at=at,
    )
