"""A booking for somebody new, on one page."""

from django.contrib import messages
from django.shortcuts import redirect
from django.utils import timezone

from shop.customers.models import Customer, Vehicle, VehicleModel, model_year_in
from shop.dampers.models import DamperModel, Position
from shop.dampers.selectors import corners_of
from shop.web.access import allow
from shop.web.desk.book_new_form import OF_CUSTOMER, BookNewForm, enter_and_book
from shop.web.desk.proposing import day_typed, told_proposal
from shop.web.forms import submit
from shop.web.pages import MOST_DIGITS_OF_A_KEY, show
from shop.workorders.services.entering import DamperTyped, VehicleTyped, dampers_to_be, twins_of


@allow("book")
def book_new(request):
    """Buttons: book; take=<customer> and untake, another (row), show (the corners), propose. Only book is judged."""
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
    found = _corners(typed, form)
    proposal = _proposal(typed, form, found)
    if "propose" in typed and proposal and proposal["day"]:
        data["promised_for_0"], data["promised_for_1"] = proposal["day"], proposal["clock"]
    context = {
        "form": form,
        "customer": form.customer,
        "twins": [] if form.customer or data is None else _twins(typed),
        "corners": found,
        "proposal": proposal,
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


@allow("book")
def proposal(request):
    """The proposal of bench days alone, for what is typed so far."""
    form = BookNewForm(request.GET, customer=_row(Customer.objects.present(), request.GET.get("taken")))
    context = {"proposal": _proposal(request.GET, form, _corners(request.GET, form))}
    return show(request, "desk/_proposal.html", context)


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


def _vehicle(typed, form):
    """The vehicle of the book that is chosen and its model and year, or the model and year that are typed."""
    vehicle = _row(Vehicle.objects.select_related("model"), typed.get("vehicle"))
    if vehicle and form.customer and vehicle.customer_id == form.customer.pk:
        return vehicle, vehicle.model, vehicle.model_year
    year = model_year_in(str(typed.get("model_year", "")).strip())
    return None, _row(VehicleModel.objects, typed.get("model")), year


def _proposal(typed, form, corners):
    """The proposal for the corners that are ticked and the dampers of the rows, as far as they are typed."""
    vehicle, model, year = _vehicle(typed, form)
    ticked = [one["corner"] for one in corners if one["ticked"] and one["corner"].model.serviceable]
    new = VehicleTyped(model, year) if model and year and not vehicle else None
    dampers = dampers_to_be(
        vehicle=vehicle,
        new_vehicle=new,
        corners=[corner.position for corner in ticked],
        dampers=_rows(typed, form, year),
    )
    return told_proposal(dampers, day_typed(typed.get("arrives_on", "")))


def _rows(typed, form, vehicle_year):
    keys = {at: _key(typed.get(f"row{at}_model")) for at in range(form.row_count)}
    models = DamperModel.objects.filter(serviceable=True).in_bulk([key for key in keys.values() if key])
    found = []
    for at, key in keys.items():
        year = model_year_in(str(typed.get(f"row{at}_model_year", "")).strip()) or vehicle_year
        position = typed.get(f"row{at}_position", "")
        if key in models and year:
            found.append(DamperTyped(models[key], year, position if position in Position.values else ""))
    return found


def _corners(typed, form):
    """Each corner with its tick and its serial number as typed, and why it cannot be ticked."""
    vehicle, model, year = _vehicle(typed, form)
    found = corners_of(model, year, vehicle)
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
    key = _key(key)
    return rows.filter(pk=key).first() if key else None


def _key(text):
    """A key that a field holds; 0 for whatever is none."""
    text = str(text or "")
    return int(text) if text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS_OF_A_KEY else 0
