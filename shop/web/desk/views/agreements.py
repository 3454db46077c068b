"""What was agreed with the customer, what is asked, and what the customer answers."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.reminders import mail
from shop.reminders.links import question_url
from shop.reminders.services import mail_question
from shop.web.access import allow
from shop.web.desk.agreement_forms import AfterForm, AgreementForm, AnswerForm, AskForm, PriceForm, WithdrawForm
from shop.web.desk.views.booking import not_now, trail_to
from shop.web.forms import submit
from shop.web.pages import sent, show, show_form
from shop.workorders import services
from shop.workorders.agreed import outcome_in_words
from shop.workorders.models import Agreement, OrderStatus, Question, QuestionState, Signed, WorkOrder
from shop.workorders.services.agreements import ASKED_WHILE


@allow("book")
def agreement(request, pk):
    """Note what was agreed without a question: a new limit, named by the customer."""
    order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
    if order.status in (OrderStatus.HANDED_BACK, OrderStatus.CALLED_OFF) and request.method != "POST":
        return not_now(request, order, "Nothing more is agreed about it.")
    form = AgreementForm(sent(request), initial={"agreed_by": order.customer.name})
    if request.method == "POST" and submit(
        form, services.note_agreement, order=order, by=request.user, at=timezone.now()
    ):
        messages.success(request, f"What was agreed about {order} is noted.")
        return redirect(order)
    return show_form(
        request, form, title=f"Note what was agreed about {order}", action="Note it", trail=trail_to(order),
        back=order.get_absolute_url(), intro=f"{order.customer}. What was agreed before stays in the book.",
    )  # fmt: skip


@allow("book")
def ask(request, pk):
    order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
    if order.status not in ASKED_WHILE and request.method != "POST":
        return not_now(request, order, "The customer is asked while it is booked or on the benches.")
    form = AskForm(sent(request), order=order, initial={"job": request.GET.get("job", "")[:18]})
    if request.method == "POST" and (
        made := submit(form, services.ask_customer, order=order, by=request.user, at=timezone.now())
    ):
        messages.success(
            request, f"{TELL_THEM} {made.about().capitalize()} stands still until the customer has answered."
        )
        return redirect(made)
    return show_form(
        request, form, title=f"Ask the customer about {order}", action="Ask", trail=trail_to(order),
        back=order.get_absolute_url(), intro=f"{order.customer}. The words go to the customer as they stand here.",
    )  # fmt: skip


@allow("book")
def question(request, pk, question_pk):
    """One question: how it stands, the link, and what comes next. POST does one of the page's forms (do=)."""
    row = get_object_or_404(Question.objects.with_names(), pk=question_pk, order=pk)
    if request.method != "POST":
        return _show(request, row)
    do = request.POST.get("do")
    if do == "mail":
        return _mail(request, row)
    if do not in DOES:
        raise Http404
    service, said = DOES[do]
    form = _form(do, row, request.POST)
    if submit(form, service, question=row, by=request.user, at=timezone.now()):
        messages.success(request, said)
        return redirect(row)
    row = Question.objects.with_names().get(pk=row.pk)
    if do == "answer" and form.status == 409:  # the next try is held against the total that stands there now
        form.data = form.data.copy()
        form.data[form.add_prefix("new_total")] = str(row.new_total)
    return _show(request, row, do, form)


TELL_THEM = "The question is written down. Now tell the customer: call, or send the link below."

DOES = {
    "price": (services.ask_proposed, TELL_THEM),
    "answer": (services.answer_question, "The customer's answer is noted."),
    "withdraw": (services.withdraw_question, "The question is withdrawn; the work goes on."),
    "after": (services.settle_declined, "What happens now is noted."),
}


def _form(do, row, data):
    """One of the page's forms, filled in with data or with what is known."""
    if do == "price":
        return PriceForm(data, order=row.order, initial={"what": row.what, "why": row.why}, prefix="price")
    if do == "answer":
        known = {"name": row.order.customer.name, "new_total": row.new_total}
        return AnswerForm(data, initial=known, prefix="answer")
    return {"withdraw": WithdrawForm, "after": AfterForm}[do](data, prefix=do)


OFFERED = {
    QuestionState.PROPOSED: ["price", "withdraw"],
    QuestionState.OPEN: ["answer", "withdraw"],
    QuestionState.DECLINED: ["after"],
}


def _show(request, row, do="", refused=None):
    """The forms that the question's state offers; the one that was refused shows what was typed."""
    now, is_open = timezone.now(), row.state == QuestionState.OPEN
    offered = OFFERED.get(row.state, []) if row.waits else []
    context = {
        "question": row,
        "order": row.order,
        "outcome": outcome_in_words(row),
        "link": question_url(row) if is_open and row.link_until > now else "",
        "expired": is_open and row.link_until <= now,
        "mails": row.mails.select_related("by"),
        "mail_caution": mail.caution(),
        "forms": {name: refused if name == do else _form(name, row, None) for name in offered},
        "form": refused,
        "trail": trail_to(row.order),
    }
    return show(request, "desk/question.html", context)


def _mail(request, row):
    try:
        made = mail_question(question=row, by=request.user, at=timezone.now())
        messages.success(request, f"The question goes to {made.to_address}. Below stands what became of it.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect(row)


@require_safe
@allow("look")
def signature(request, pk, agreement_pk):
    row = get_object_or_404(Agreement, pk=agreement_pk, order=pk, signed=Signed.SCREEN)
    return picture(row.signature_path)


def picture(path):
    """A picture from the storage, which never changes under its address."""
    try:
        file = default_storage.open(path)
    except OSError as error:
        raise Http404("This picture is not in the storage any more.") from error
    answer = FileResponse(file, content_type="image/jpeg")
    answer["Cache-Control"] = "private, max-age=31536000, immutable"
    return answer
