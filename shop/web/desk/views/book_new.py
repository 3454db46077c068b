"""A booking for somebody new, on one page."""

from django.contrib import messages
from django.shortcuts import redirect
from django.utils import timezone

from shop.customers.models import Customer, Vehicle, VehicleModel, model_year_in
from shop.dampers.selectors import corners_of
from shop.web.access import allow
from shop.web.desk.book_new_form import OF_CUSTOMER, BookNewForm, enter_and_book
from shop.web.forms import submit
from shop.web.pages import MOST_DIGITS_OF_A_KEY, show
from shop.workorders.services.entering import twins_of


@allow("book")
def book_new(request):
    """Buttons: book; take=<customer> and untake, another (row), show (the corners). Only book is judged."""
    data = request.POST.copy() if request.method == "POST" else None
    if data is not None:
        _press(data)
    form = BookNewForm(
        data, customer=_row(Customer.objects.present(), (data or {}).get("taken")), initial=_begun(request)
    )
    if form.pressed_book and (made := submit(form, enter_and_book, by=request.user, at=timezone.now())):
        messages.success(request, f"{made} is booked for {made.customer}. Its parts are held as far as they are there.")
        return redirect(made)
    typed = data or {}
    context = {
        "form": form,
        "customer": form.customer,
        "twins": [] if form.customer or data is None else _twins(typed),
        "corners": _corners(typed, form),
    }
    return show(request, "desk/book_new.html", context)


@allow("book")
def twins(request):
    """Who may be in the book already, for the page above while it is filled in."""
    return show(request, "desk/_twins.html", {"twins": _twins(request.GET)})


@allow("book")
def corners(request):
    """The four corners of the vehicle that is being typed."""
    form = BookNewForm(customer=_row(Customer.objects.present(), request.GET.get("taken")))
    return show(request, "desk/_corners.html", {"corners": _corners(request.GET, form)})


def _press(data):
    if "take" in data:
        data["taken"] = data["take"]
    if "untake" in data:
        data["taken"] = data["vehicle"] = ""
    if "another" in data:
        rows = data.get("rows", "")
        data["rows"] = str(int(rows) + 1) if rows.isascii() and rows.isdigit() and len(rows) < 4 else "1"


def _begun(request):
    """A search that found nobody brings what was typed: a telephone number, an address, or a name."""
    text = request.GET.get("q", "").strip()[:120]
    name = "email" if "@" in text else "phone" if sum(one.isdigit() for one in text) > 4 else "name"
    return {name: text, "rows": 1}


def _twins(typed):
    asked = {name: typed.get(name, "")[:200] for name in OF_CUSTOMER}
    return twins_of(asked, typed.get("vin", "")[:60]) if any(asked[name] for name in ("name", "phone", "email")) else []


def _corners(typed, form):
    """Each corner with its tick and its serial number as typed, and why it cannot be ticked."""
    vehicle = _row(Vehicle.objects.select_related("model"), typed.get("vehicle"))
    if vehicle and (not form.customer or vehicle.customer_id != form.customer.pk):
        vehicle = None
    year = model_year_in(str(typed.get("model_year", "")).strip())
    found = corners_of(_row(VehicleModel.objects, typed.get("model")), year, vehicle)
    first = "corners_shown" not in typed  # all are ticked until somebody says otherwise
    return [
        {
            "corner": corner,
            "tick": form[f"corner_{corner.position.value}"],
            "ticked": first or bool(typed.get(f"corner_{corner.position.value}")),
            "serial": form[f"serial_{corner.position.value}"],
        }
        for corner in found
        if corner.model
    ]


def _row(rows, key):
    """The row a field names; None for whatever names none."""
    key = str(key or "")
    return (
        rows.filter(pk=int(key)).first()
        if key.isascii() and key.isdigit() and len(key) <= MOST_DIGITS_OF_A_KEY
        else None
    )
