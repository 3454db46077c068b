"""Stock: what is there, what is held for whom, and deliveries."""

from django.contrib import messages
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone

from shop.core.amounts import stock_amount
from shop.parts.models import Part
from shop.parts.selectors import stock_of
from shop.parts.services import receive as receive_part
from shop.web.access import allow
from shop.web.desk.forms import FindForm
from shop.web.forms import submit
from shop.web.manage.forms import ReceiveForm
from shop.web.pages import number, page_of, sent, show, show_form

TRAIL = [("Stock", reverse_lazy("manage:stock"))]


@allow("look")
def stock(request):
    form = FindForm(request.GET, label="Part number, name or bin")
    rows = Part.objects.all() if form.is_valid() else Part.objects.none()
    for word in form.text.split():
        rows = rows.filter(Q(number__icontains=word) | Q(name__icontains=word) | Q(bin__icontains=word))
    page = page_of(request, rows)
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
    if request.method == "POST" and (made := submit(form, receive_part, part=part, by=request.user, at=timezone.now())):
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
