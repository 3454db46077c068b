"""What was agreed with the customer and what is asked, as pages, papers and the day sheet tell it.

Reads order.agreements and order.questions by .all(), so that lists may fetch them beforehand (ASKED, AGREED).
"""

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db.models import Prefetch

from shop.core.amounts import money
from shop.workorders.models import After, Agreement, DamperJob, Question, QuestionState, WorkOrder

ASKED = Prefetch("questions", Question.objects.select_related("job__damper", "proposed_by", "asked_by", "answered_by"))
_WAITS = {
    QuestionState.PROPOSED: "the front desk to ask the customer",
    QuestionState.OPEN: "the customer's answer",
    QuestionState.DECLINED: "the front desk to say what happens now that the customer did not agree",
}
AGREED = Prefetch("agreements", Agreement.objects.select_related("by"))


def agreement_of(order: WorkOrder) -> Agreement | None:
    """The one that holds: the last."""
    rows = order.agreements.all()
    return rows[len(rows) - 1] if rows else None


def agreed_total(order: WorkOrder) -> Decimal | None:
    """Up to which price in all the work may go; None where no limit is agreed."""
    agreement = agreement_of(order)
    return agreement.up_to if agreement else None


def agreed_in_words(order: WorkOrder) -> str:
    """One sentence; empty when nothing was noted."""
    agreement = agreement_of(order)
    if agreement is None:
        return ""
    if agreement.up_to is None:
        return "No limit was agreed: ask first."
    return f"Agreed up to {money(agreement.up_to)}."


def price_doubt(order: WorkOrder) -> str:
    """What has to be settled before a part is added; empty when nothing was agreed."""
    agreement = agreement_of(order)
    if agreement is None:
        return ""
    if agreement.up_to is None:
        return (
            f"No limit was agreed for {order}. Has the customer agreed to this part? Then say so; otherwise ask first."
        )
    return (
        f"{order} is agreed up to {money(agreement.up_to)}. Does it stay within that with this part? Then say so; "
        "otherwise ask the customer first."
    )


def waiting_of(order: WorkOrder) -> list[Question]:
    """Questions for which work stands still."""
    return [one for one in order.questions.all() if one.waits]


def question_in_words(order: WorkOrder) -> str:
    """What an order waits for, as one sentence; empty when nothing is asked."""
    told = "; ".join(asked_in_words(one) for one in waiting_of(order))
    return f"Waits for {told}." if told else ""


def asked_in_words(question: Question) -> str:
    """What an order waits for, as the end of a sentence: "the customer's answer about rear left: a new shaft"."""
    about = question.job.damper.where() if question.job else "the whole order"
    told = f"{_WAITS[question.state]} about {about}: {question.what.rstrip('.')}"
    if question.new_total is not None:
        told += f", {money(question.by_how_much)} more, {money(question.new_total)} in all"
    call = question.call_wanted_at and question.state == QuestionState.OPEN
    return f"{told} (the customer asks to be called)" if call else told


def question_covering(job: DamperJob) -> Question | None:
    """The question for which this damper stands still: about it, or about its whole order."""
    asked = job.order.questions.all()
    return next((one for one in asked if one.waits and one.job_id in (None, job.pk)), None)


def stops_in_words(job: DamperJob, question: Question | None) -> str:
    """Why nothing is done on a damper; empty when it goes on."""
    if question is None:
        return ""
    price = f", {money(question.by_how_much)} more" if question.by_how_much is not None else ""
    rest = "The other dampers go on." if question.job_id else "That holds for all its dampers."
    return (
        f"Damper {job.tag} {_stands(question)}: {question.what.rstrip('.')}{price}. Until then nothing is done, "
        f"recorded or taken for it, except that it is vented and zero pressure proven. {rest}"
    )


def _stands(question: Question) -> str:
    if question.state == QuestionState.DECLINED:
        return f"stands still: {question.waits_for()}"
    return question.waits_for()


def declined_in_words(job: DamperJob) -> str:
    """What the customer did not agree to on this damper, and what becomes of it; empty when nothing was declined."""
    told = []
    for one in job.order.questions.all():
        if one.state == QuestionState.DECLINED and one.after and one.job_id in (None, job.pk):
            closes = ": a manager closes it with the reason" if one.after == After.UNFINISHED else ""
            told.append(f"Not agreed: {one.what.rstrip('.')}. It {one.get_after_display()}{closes}.")
    return " ".join(told)


def refuse_while_asked(job: DamperJob) -> None:
    """Raise ValidationError "asked" while a question that covers this damper is not settled. The job is locked."""
    asked = Question.objects.waiting().filter(order=job.order_id)
    question = next((one for one in asked if one.job_id in (None, job.pk)), None)
    if question:
        raise ValidationError(stops_in_words(job, question), code="asked")


def outcome_in_words(question: Question) -> str:
    """How a question stands, with who, when and how; for lists of them."""
    if question.state == QuestionState.WITHDRAWN:
        return f"withdrawn by {question.answered_by}: {question.withdrawn_why}"
    if question.state in (QuestionState.AGREED, QuestionState.DECLINED):
        noted = f", noted by {question.answered_by}" if question.answered_by else ""
        then = f"; it {question.get_after_display()}" if question.after else ""
        who = f"{question.answered_name}, {question.get_answered_how_display()}{noted}"
        return f"{question.get_state_display()}: {who}{then}"
    return question.get_state_display()
