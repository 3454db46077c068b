"""Stock: what is there, what is held for whom, deliveries, and corrections after a count."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone

from shop.core.amounts import stock_amount
from shop.parts import services
from shop.parts.models import Part
from shop.parts.selectors import stock_of
from shop.parts.takes import TWO_OPENED
from shop.web.access import allow
from shop.web.forms import FindForm, submit
from shop.web.manage.forms import CountForm, ReceiveForm
from shop.web.pages import having_words, number, page_of, sent, show, show_form

TRAIL = [("Stock", reverse_lazy("manage:stock"))]


@allow("look")
def stock(request):
    form = FindForm(request.GET, label="Part number, name or bin")
    rows = Part.objects.all() if form.is_valid() else Part.objects.none()
    page = page_of(request, having_words(rows, form.text, "number", "name", "bin"))
    found = stock_of(page.object_list)
    context = {
        "find": form,
        "text": form.text,
        "page": page,
        "rows": [(part, found[part.pk], _shelf(part, found[part.pk])) for part in page],
        "may_keep": request.user.may("keep_stock"),
    }
    return show(request, "manage/stock.html", context)


def _shelf(part, found):
    """What stands on the shelf, container by container, in words."""
    words = []
    for one in found.containers:
        if one.full:
            words.append(f"{one.full} × {one.container}")
        if one.opened:
            words.append(f"an opened {one.container} with {stock_amount(one.opened, part.measure)}")
    return words


@allow("keep_stock")
def receive(request):
    """Enter a delivery of ?part=."""
    if "part" not in request.GET:
        return redirect("manage:stock")
    part = get_object_or_404(Part, pk=number(request.GET["part"]))
    form = ReceiveForm(sent(request), part=part)
    if request.method == "POST" and (
        made := submit(form, services.receive, part=part, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{stock_amount(made.amount, part.measure)} of {part} received.")
        return redirect("manage:stock")
    return show_form(
        request,
        form,
        title=f"Receive {part.name}",
        action="Receive",
        trail=TRAIL,
        back=reverse("manage:stock"),
        intro=f"{part.number}, bin {part.bin or 'not named'}.",
    )


@allow("keep_stock")
def count(request):
    """Correct the book by what was found of ?part=."""
    if "part" not in request.GET:
        return redirect("manage:stock")
    part = get_object_or_404(Part, pk=number(request.GET["part"]))
    form = CountForm(sent(request), part=part)
    if request.method == "POST" and (
        made := submit(form, services.count, part=part, by=request.user, at=timezone.now())
    ):
        change = "more" if made.amount > 0 else "less"
        messages.success(request, f"{part}: {stock_amount(abs(made.amount), part.measure)} {change} than before.")
        return redirect("manage:stock")
    found = stock_of([part])[part.pk]
    there = ", ".join(_shelf(part, found)) or stock_amount(found.on_hand, part.measure)
    return show_form(
        request,
        form,
        title=f"Count {part.name}",
        action="Correct the book",
        trail=TRAIL,
        back=reverse("manage:stock"),
        intro=f"{part.number}, bin {part.bin or 'not named'}. The book says: {there}; "
        f"{stock_amount(found.held, part.measure)} held for jobs." + (f" {TWO_OPENED}" if found.containers else ""),
    )
