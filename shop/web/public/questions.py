"""What a customer opens to answer a question about the price. To look changes nothing: mail programs open links."""

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from shop.calc import money
from shop.calc.errors import CalcError
from shop.core.errors import Conflict
from shop.reminders.links import BadLink, ExpiredQuestion, question_of
from shop.reminders.services import answer_by_link
from shop.workorders.models import AgreedHow, QuestionState


@require_http_methods(["GET", "HEAD", "POST"])
@login_not_required
@csrf_exempt  # the link is all the authority there is, as behind the other links
@never_cache
def question(request, token):
    """The question and its three answers; once it is settled, only how it was settled."""
    now = timezone.now()
    try:
        row = question_of(token, now)
    except BadLink:
        return render(request, "public/bad_link.html", status=404)
    except ExpiredQuestion:
        return render(request, "public/question_over.html", {"expired": True}, status=410)
    if request.method != "POST":
        return _page(request, token, row)
    try:
        answer_by_link(question=row, answer=request.POST.get("answer", ""), new_total=_seen(request), at=now)
    except ValidationError as error:
        row.refresh_from_db()
        status = 409 if isinstance(error, Conflict) else 422
        return _page(request, token, row, refusal=" ".join(error.messages), status=status)
    return redirect("public:question", token)


def _seen(request):
    """The total that stood on the page; without one that can be read nothing is agreed to by mistake."""
    try:
        return money.parse(request.POST.get("total", ""))
    except CalcError:
        return None


def _page(request, token, row, refusal="", status=200):
    if row.state == QuestionState.OPEN:
        where = row.job.damper.where() if row.job else ""
        context = {"token": token, "question": row, "order": row.order, "where": where, "refusal": refusal}
        return render(request, "public/question.html", context, status=status)
    mine = row.answered_how == AgreedHow.LINK
    # Settled otherwise, the link is worth nothing any more: neither what was asked nor a price is shown.
    context = {"question": row, "mine": mine, "clash": status == 409}
    return render(request, "public/question_over.html", context, status=status if status != 200 or mine else 410)
