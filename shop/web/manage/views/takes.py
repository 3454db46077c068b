"""Stock takes: begun, counted by several people, looked through and posted."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_POST, require_safe

from shop.documents.stock_take import count_sheet
from shop.parts import services
from shop.parts.models import StockTake
from shop.parts.takes import TWO_OPENED, review, rows_of
from shop.parts.takes import takes as all_takes
from shop.web.access import allow
from shop.web.forms import FindForm, submit
from shop.web.manage.ledger_forms import CountedForm, FinishTakeForm, StartTakeForm
from shop.web.pages import having_words, number, page_of, sent, show, show_form

TRAIL = [("Stock", reverse_lazy("manage:stock")), ("Stock takes", reverse_lazy("manage:takes"))]


@require_safe
@allow("look")
def takes(request):
    context = {
        "page": page_of(request, all_takes()),
        "may_start": request.user.may("keep_stock"),
        "trail": TRAIL[:1],
    }
    return show(request, "manage/takes.html", context)


@allow("keep_stock")
def take_new(request):
    form = StartTakeForm(sent(request))
    if request.method == "POST" and (made := submit(form, services.start_take, by=request.user, at=timezone.now())):
        return redirect("manage:take", made.pk)
    return show_form(
        request,
        form,
        title="Begin a stock take",
        action="Begin",
        trail=TRAIL,
        back=reverse("manage:takes"),
        intro="What the book has now is kept with each place. Work goes on meanwhile: what moves is reckoned in.",
    )


@allow("count_stock")
def take(request, pk):
    """Enter what was found: ?q= finds a part by number, name or bin, as a scanner types it; ?again= counts anew."""
    one = get_object_or_404(StockTake.objects.select_related("started_by", "finished_by"), pk=pk)
    find = FindForm(request.GET, label="Part number (scan it), name or bin")
    rows = having_words(rows_of(one), find.text, "part__number", "part__name", "part__bin")
    again = request.GET.get("again")
    if again:
        rows = rows.filter(pk=number(again))
    page = page_of(request, rows)
    form = CountedForm(sent(request), rows=page.object_list, recount=bool(again))
    if request.method == "POST" and submit(form, services.enter_counts, take=one, by=request.user, at=timezone.now()):
        messages.success(request, "What was found is entered.")
        return redirect("manage:take", pk)
    context = {
        "take": one,
        "find": find,
        "form": form,
        "text": find.text,
        "page": page,
        "rows": [(row, form.fields_of(row)) for row in page],
        "left": one.rows.filter(tallies=None).count(),
        "hidden": one.blind and one.open,
        "again": again,
        "may_finish": request.user.may("keep_stock"),
        "two_opened": TWO_OPENED if any(row.container for row in page) else "",
        "trail": TRAIL,
    }
    return show(request, "manage/take.html", context)


@allow("keep_stock")
def take_finish(request, pk):
    """The differences with their reasons, and the button that corrects the book by all of them."""
    one = get_object_or_404(StockTake.objects.select_related("started_by", "finished_by"), pk=pk)
    found = review(one)
    form = FinishTakeForm(sent(request), found=found)
    if request.method == "POST" and submit(form, services.finish_take, take=one, by=request.user, at=timezone.now()):
        messages.success(request, f"The book is corrected by {len(found.differing)} differences.")
        return redirect("manage:take_finish", pk)
    context = {
        "take": one,
        "found": found,
        "form": form,
        "rows": [(row, form.reason_of(row) if one.open else row.reason) for row in found.differing],
        "trail": [*TRAIL, (str(one).capitalize(), reverse("manage:take", args=[pk]))],
    }
    return show(request, "manage/take_finish.html", context)


@require_POST
@allow("keep_stock")
def take_give_up(request, pk):
    one = get_object_or_404(StockTake, pk=pk)
    form = StartTakeForm({}, auto_id=False)
    form.fields = {}
    if submit(form, services.give_up_take, take=one, by=request.user, at=timezone.now()):
        messages.success(request, f"{str(one).capitalize()} is given up. The book stays as it is.")
    else:
        messages.error(request, " ".join(form.non_field_errors()))
    return redirect("manage:takes")


@require_safe
@allow("look")
@cache_control(private=True, no_store=True)
def take_sheet(request, pk):
    """The paper to count on, by bins."""
    made = count_sheet(take=get_object_or_404(StockTake, pk=pk))
    headers = {"Content-Disposition": f'inline; filename="{made.filename}"'}
    return HttpResponse(made.pdf, content_type="application/pdf", headers=headers)
