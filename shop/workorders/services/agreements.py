"""What the customer agrees to: the price at check-in, and the questions that come up when work needs more."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from shop.calc.money import MOST, total
from shop.core.amounts import money
from shop.core.errors import Conflict, refused
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.agreed import agreed_total, outcome_in_words
from shop.workorders.models import (
    After,
    AgreedHow,
    Agreement,
    DamperJob,
    JobStatus,
    OrderStatus,
    Question,
    QuestionState,
    Signed,
    WorkOrder,
)
from shop.workorders.services.photos import KeptPicture

ASKED_WHILE = (OrderStatus.BOOKED, OrderStatus.ON_BENCH)


@dataclass(frozen=True)
class NewAgreement:
    """What was agreed, by whom and up to which price in all; up_to None: no limit was agreed, ask first."""

    what: str
    up_to: Decimal | None
    agreed_by: str
    how: str = AgreedHow.DESK
    signature: KeptPicture | None = None
    on_paper: bool = False


@transaction.atomic
def note_agreement(*, order: WorkOrder, agreed: NewAgreement, by: User, at: datetime) -> Agreement:
    """Note what was agreed from now on; what was agreed before stays in the book."""
    order = _locked(order)
    if order.status in (OrderStatus.HANDED_BACK, OrderStatus.CALLED_OFF):
        raise Conflict(f"{order} is {order.get_status_display()}: nothing more is agreed about it.", code="over")
    if agreed.how == AgreedHow.LINK:
        raise refused("how", "Only the customer's own link says “through the link”. Choose how you heard it.", "link")
    made = Agreement(
        order=order,
        what=agreed.what.strip(),
        up_to=agreed.up_to,
        agreed_by=agreed.agreed_by.strip(),
        how=agreed.how,
        signed=Signed.SCREEN if agreed.signature else Signed.PAPER if agreed.on_paper else "",
        signature=agreed.signature.digest if agreed.signature else "",
        by=by,
        at=at,
    )
    _keep(made)
    price = money(made.up_to) if made.up_to is not None else "no limit, ask first"
    told = f"agreed: {made.what}; {price}; {made.agreed_by}, {made.get_how_display()}"
    note(who=by, kind="order", key=order.pk, what=told, at=at)
    return made


def _keep(agreement: Agreement) -> None:
    agreement.full_clean()
    agreement.save()
    if agreement.up_to is None:
        return
    # What is still asked comes on top of what holds now.
    for other in agreement.order.questions.filter(state=QuestionState.OPEN):
        other.new_total = total([agreement.up_to, other.by_how_much])
        if other.new_total > MOST:
            words = f"With what is asked still it comes to {money(other.new_total)}, beyond any job; look at it again."
            raise refused("up_to", words, "too_much")
        other.save(update_fields=["new_total"])


@transaction.atomic
def propose_question(*, job: DamperJob, what: str, why: str, by: User, at: datetime) -> Question:
    """The bench needs more than was agreed: the damper stands still until the desk asked and the customer answered."""
    order, job = _about(job.order, job)
    question = Question(
        order=order, job=job, what=what.strip(), why=why.strip(), state=QuestionState.PROPOSED, proposed_by=by,
        proposed_at=at,
    )  # fmt: skip
    question.full_clean()
    question.save()
    told = f"question for the customer about {question.about()}: {question.what}"
    note(who=by, kind="order", key=order.pk, what=told, at=at)
    return question


@transaction.atomic
def ask_customer(
    *,
    order: WorkOrder,
    job: DamperJob | None = None,
    what: str,
    why: str,
    by_how_much: Decimal,
    new_total: Decimal | None = None,
    by: User,
    at: datetime,
) -> Question:
    """Ask about one damper or the whole order. What it covers stands still until the customer has answered.

    new_total is needed only where no limit was agreed; otherwise it is the agreed price and this together.
    """
    order, job = _about(order, job)
    question = Question(
        order=order, job=job, what=what.strip(), why=why.strip(), proposed_by=by, proposed_at=at
    )  # fmt: skip
    return _ask(question, by_how_much, new_total, by, at)


@transaction.atomic
def ask_proposed(
    *,
    question: Question,
    by_how_much: Decimal,
    new_total: Decimal | None = None,
    what: str = "",
    why: str = "",
    by: User,
    at: datetime,
) -> Question:
    """Give the price of what the bench proposed, in words for the customer if need be, and ask."""
    question = _question(question)
    if question.state != QuestionState.PROPOSED:
        raise Conflict(f"This is asked already: {outcome_in_words(question)}.", code="asked_already")
    question.what, question.why = what.strip() or question.what, why.strip() or question.why
    return _ask(question, by_how_much, new_total, by, at)


def _ask(question: Question, by_how_much, new_total, by, at) -> Question:
    question.state, question.asked_by, question.asked_at = QuestionState.OPEN, by, at
    question.link_until = at + timedelta(days=settings.QUESTION_LINK_DAYS)
    question.by_how_much = by_how_much
    question.new_total = _total(question.order, by_how_much, new_total)
    question.full_clean()
    question.save()
    price = f"{money(by_how_much)} more, {money(question.new_total)} in all"
    told = f"asked about {question.about()}: {question.what}, {price}"
    note(who=by, kind="order", key=question.order_id, what=told, at=at)
    return question


def _total(order: WorkOrder, by_how_much: Decimal, given: Decimal | None) -> Decimal:
    if by_how_much <= 0:
        words = f"{money(by_how_much)} more is nothing to ask about. Give an amount above zero."
        raise refused("by_how_much", words, "not_more")
    agreed = agreed_total(order)
    if agreed is None:
        if given is None:
            words = "No limit was agreed, so say what it comes to in all with this."
            raise refused("new_total", words, "total_missing")
        if given < by_how_much:
            words = f"{money(given)} in all is less than the {money(by_how_much)} that come on top. Look at both again."
            raise refused("new_total", words, "total_less")
        return given
    made = total([agreed, by_how_much])
    if given is not None and given != made:
        words = f"{money(agreed)} agreed and {money(by_how_much)} more are {money(made)}, not {money(given)}."
        raise refused("new_total", words, "total_differs")
    if made > MOST:
        raise refused("by_how_much", f"{money(made)} in all is beyond any job; at most {money(MOST)}.", "too_much")
    return made


@transaction.atomic
def answer_question(
    *,
    question: Question,
    agreed: bool,
    name: str,
    how: str,
    new_total: Decimal | None = None,
    after: str = "",
    by: User | None,
    at: datetime,
) -> Question:
    """Note the customer's answer; the first one stands, and whoever comes second is told (Conflict).

    new_total is the one that was seen: when it is another by now, Conflict. by is None for the link alone, and there
    the same answer again is as good as once. after says what happens when the customer did not agree.
    """
    question = _question(question)
    state = QuestionState.AGREED if agreed else QuestionState.DECLINED
    if question.state == state and by is None and question.answered_how == AgreedHow.LINK:
        return question
    if question.state != QuestionState.OPEN:
        raise Conflict(_too_late(question), code="answered")
    if new_total is not None and new_total != question.new_total:
        words = (
            f"What it comes to in all has changed since this page was opened: {money(question.new_total)} by now, not "
            f"{money(new_total)}. Look again, then answer."
        )
        raise Conflict(words, code="total_changed")
    if (by is None) != (how == AgreedHow.LINK):
        raise refused("how", "Only the customer's own link says “through the link”. Choose how you heard it.", "link")
    if agreed and after:
        raise refused("after", "Leave this empty: it is for an answer that is no.", "agreed")
    question.state, question.answered_name, question.answered_how = state, name.strip(), how
    question.answered_by, question.answered_at = by, at
    if after:
        question.after, question.after_by, question.after_at = after, by, at
    question.full_clean()
    question.save()
    if agreed:
        _keep(
            Agreement(
                order=question.order,
                question=question,
                what=question.what,
                up_to=question.new_total,
                agreed_by=question.answered_name,
                how=how,
                by=by,
                at=at,
            )
        )
    told = f"about {question.about()}, {question.what}: {outcome_in_words(question)}"
    note(who=by or "the customer", kind="order", key=question.order_id, what=told, at=at)
    return question


@transaction.atomic
def withdraw_question(*, question: Question, why: str, by: User, at: datetime) -> Question:
    """It is not asked any more; the link stops working and the work goes on. Twice is as good as once."""
    question = _question(question)
    if question.state == QuestionState.WITHDRAWN:
        return question
    if question.state not in (QuestionState.PROPOSED, QuestionState.OPEN):
        raise Conflict(_too_late(question), code="answered")
    return _withdraw(question, why, by, at)


def withdraw_waiting(*, order: WorkOrder, job: DamperJob | None = None, why: str, by: User, at: datetime) -> None:
    """What is asked about something that does not take place is asked no more. The order is locked."""
    asked = order.questions.filter(state__in=[QuestionState.PROPOSED, QuestionState.OPEN])
    for question in asked.filter(job=job) if job else asked:
        _withdraw(question, why, by, at)


def _withdraw(question: Question, why: str, by: User, at: datetime) -> Question:
    if not why.strip():
        raise refused("why", "Say why it is not asked any more.", "why_missing")
    question.state, question.withdrawn_why = QuestionState.WITHDRAWN, why.strip()[:300]
    question.answered_by, question.answered_at = by, at
    question.full_clean()
    question.save()
    told = f"question about {question.about()} withdrawn, {question.what}: {question.withdrawn_why}"
    note(who=by, kind="order", key=question.order_id, what=told, at=at)
    return question


@transaction.atomic
def settle_declined(*, question: Question, after: str, by: User, at: datetime) -> Question:
    """Say what happens to the damper now that the customer did not agree. Twice the same is as good as once."""
    question = _question(question)
    if question.state != QuestionState.DECLINED:
        raise Conflict(f"The customer has not said no to this: {outcome_in_words(question)}.", code="not_declined")
    if after not in After.values:
        raise refused("after", "Say what happens: it goes back unfinished, or goes on without it.", "after")
    if question.after == after:
        return question
    if question.after:
        raise Conflict(f"{question.after_by} has decided already: it {question.get_after_display()}.", code="settled")
    question.after, question.after_by, question.after_at = after, by, at
    question.full_clean()
    question.save()
    told = f"not agreed about {question.about()}, {question.what}: it {question.get_after_display()}"
    note(who=by, kind="order", key=question.order_id, what=told, at=at)
    return question


@transaction.atomic
def want_call(*, question: Question, at: datetime) -> Question:
    """The customer would rather be called. The question stays open. Twice is as good as once."""
    question = _question(question)
    if question.state != QuestionState.OPEN:
        raise Conflict(_too_late(question), code="answered")
    if question.call_wanted_at is None:
        question.call_wanted_at = at
        question.save(update_fields=["call_wanted_at"])
        told = f"asks to be called about {question.about()}: {question.what}"
        note(who="the customer", kind="order", key=question.order_id, what=told, at=at)
    return question


def _too_late(question: Question) -> str:
    if question.state == QuestionState.PROPOSED:
        return "The customer has not been asked yet: give the price and ask first."
    when = timezone.localtime(question.answered_at, timezone.get_default_timezone())
    told = outcome_in_words(question)
    return f"This is settled since {when.day} {when:%B, %H:%M}, {told}. That stands."


def _locked(order: WorkOrder) -> WorkOrder:
    return WorkOrder.objects.select_for_update(of=("self",)).get(pk=order.pk)


def _question(question: Question) -> Question:
    """The question under its order's lock, as everything that agreements hang on."""
    order = _locked(question.order)
    question = Question.objects.select_for_update(of=("self",)).select_related("job__damper").get(pk=question.pk)
    question.order = order
    return question


def _about(order: WorkOrder, job: DamperJob | None) -> tuple[WorkOrder, DamperJob | None]:
    """Order and dampers under their locks: a reading that is on its way is written before the work stops."""
    order = _locked(order)
    if order.status not in ASKED_WHILE:
        raise Conflict(
            f"{order} is {order.get_status_display()}: the customer is asked while it is booked or on the benches.",
            code="not_running",
        )
    jobs = {one.pk: one for one in order.jobs.select_for_update(of=("self",)).select_related("damper").order_by("pk")}
    if job is None:
        return order, None
    if job.pk not in jobs:
        raise ValidationError({"job": f"Damper {job.tag} is not part of {order}."})
    job = jobs[job.pk]
    if job.status not in (JobStatus.BOOKED, JobStatus.OPEN):
        raise Conflict(f"Damper {job.tag} is {job.get_status_display()}: nothing is asked about it.", code="not_open")
    return order, job
