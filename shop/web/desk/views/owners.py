"""Who has a vehicle: another owner, or the same one after all."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone

from shop.customers.models import Customer
from shop.customers.services import take_back_sold
from shop.web.access import allow
from shop.web.desk import find
from shop.web.desk.forms import NotSoldForm, OwnerForm
from shop.web.desk.views.customers import trail_to_vehicle, vehicle_row
from shop.web.forms import FindForm, submit
from shop.web.pages import number, sent, show, show_form
from shop.workorders.services import pass_on_vehicle

FOUND_SHOWN = 20


@allow("keep_customers")
def owner(request, pk):
    """Two steps by address: who it is (?q=), then the question whether it is so (?to=customer)."""
    row = vehicle_row(pk)
    if "to" in request.GET:
        return _ask(request, row, get_object_or_404(Customer, pk=number(request.GET["to"])))
    form = FindForm(request.GET)
    found, alike = find.customers(form.text) if form.text else (Customer.objects.none(), "")
    context = {
        "find": form,
        "text": form.text,
        "alike": alike,
        "customers": found.exclude(pk=row.customer_id)[:FOUND_SHOWN],
        "vehicle": row,
        "trail": trail_to_vehicle(row),
    }
    return show(request, "desk/owner.html", context)


def _ask(request, row, to):
    form = OwnerForm(sent(request))
    before = row.customer
    if request.method == "POST" and submit(
        form, pass_on_vehicle, vehicle=row, to=to, by=request.user, at=timezone.now()
    ):
        messages.success(request, f"The {row} is {to}'s now, with the dampers on it. Earlier orders stay {before}'s.")
        return redirect(row)
    return show_form(
        request,
        form,
        title=f"The {row} belongs to {to}",
        action="Change the owner",
        trail=trail_to_vehicle(row),
        back=reverse("desk:vehicle_owner", args=[row.pk]),
        intro=f"Until now it was {before}'s. Its dampers, meter readings and services go with it; "
        f"{before} is not reminded about it any more.",
    )


@allow("keep_customers")
def not_sold(request, pk):
    row = vehicle_row(pk)
    if not row.sold_on and request.method != "POST":
        return redirect(row)
    form = NotSoldForm(sent(request))
    if request.method == "POST" and submit(form, take_back_sold, vehicle=row, by=request.user, at=timezone.now()):
        messages.success(request, f"The {row} is {row.customer}'s as before.")
        return redirect(row)
    return show_form(
        request,
        form,
        title=f"The {row} is not sold",
        action="Take the sale back",
        trail=trail_to_vehicle(row),
        back=row.get_absolute_url(),
        intro=f"It counts as {row.customer}'s again, with its reminders.",
    )
