"""Customers, their vehicles and dampers, and what the meters showed."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse_lazy
from django.utils import timezone

from shop.customers import services
from shop.customers.duplicates import likely_same
from shop.customers.models import Customer, Meter, ReadingSource, Vehicle
from shop.dampers.models import Damper, Position
from shop.dampers.services import create_damper, enter_vehicle
from shop.reminders.selectors import interval_of
from shop.reminders.services import forecast_of
from shop.web.access import allow
from shop.web.desk import find
from shop.web.desk.forms import (
    ConsentForm,
    CustomerChangeForm,
    CustomerNewForm,
    DamperChangeForm,
    DamperForm,
    MeterForm,
    SoldForm,
    TakeOffForm,
    VehicleChangeForm,
    VehicleNewForm,
)
from shop.web.forms import FindForm, submit
from shop.web.pages import number, page_of, sent, show, show_form
from shop.workorders.services import change_damper, change_vehicle, take_off_damper
from shop.workorders.telephone import answers, for_answers

ORDERS_SHOWN = 20
_CUSTOMERS = ("Customers", reverse_lazy("desk:customers"))


@allow("look")
def customers(request):
    form = FindForm(request.GET)
    rows, alike = find.customers(form.text) if form.is_valid() else (Customer.objects.none(), "")
    context = {
        "find": form,
        "text": form.text,
        "alike": alike,
        "page": page_of(request, rows),
        "may_keep": request.user.may("keep_customers"),
        "may_book": request.user.may("book"),
    }
    return show(request, "desk/customers.html", context)


@allow("look")
def customer(request, pk):
    row = get_object_or_404(Customer.objects.select_related("merged_into"), pk=pk)
    if row.merged_into:
        messages.info(request, f"{row} (number {row.pk}) was merged into this customer.")
        return redirect(row.merged_into)
    return _customer_page(request, row, ConsentForm())


@allow("keep_customers")
def customer_consent(request, pk):
    row = get_object_or_404(Customer, pk=pk)
    form = ConsentForm(sent(request))
    if request.method == "POST" and submit(
        form, services.record_consent, customer=row, by=request.user, at=timezone.now()
    ):
        messages.success(request, "The customer's answer is in the book.")
        return redirect(row)
    return _customer_page(request, row, form)


def _customer_page(request, row, form):
    running = list(for_answers(row.orders.running()).order_by("promised_for", "pk")[:ORDERS_SHOWN])
    told = answers(running, timezone.now())
    orders = row.orders.with_names().exclude(pk__in=[order.pk for order in running])[:ORDERS_SHOWN]
    vehicles = row.vehicles.select_related("model")
    context = {
        "customer": row,
        "vehicles": vehicles,
        "loose": row.dampers.filter(vehicle=None).select_related("model"),
        "running": [(order, told[order.pk].words) for order in running],
        "orders": orders,
        "twins": likely_same(name=row.name, phone=row.phone, email=row.email, but=row)
        if request.user.may("keep_customers")
        else [],
        "form": form,
        "may_keep": request.user.may("keep_customers"),
        "may_book": request.user.may("book"),
    }
    return show(request, "desk/customer.html", context)


@allow("keep_customers")
def customer_new(request):
    form = CustomerNewForm(sent(request))
    if request.method == "POST" and (
        made := submit(form, services.create_customer, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{made} is in the book. Next, enter the vehicle or a loose damper.")
        return redirect(made)
    return show_form(request, form, title="New customer", action="Save", trail=[_CUSTOMERS], back=_CUSTOMERS[1])


@allow("keep_customers")
def customer_change(request, pk):
    row = get_object_or_404(Customer, pk=pk)
    if row.merged_into_id and request.method != "POST":
        return redirect("desk:customer_change", pk=row.merged_into_id)
    form = CustomerChangeForm(sent(request), initial=_now(row, CustomerChangeForm))
    if request.method == "POST":
        if submit(form, services.change_customer, customer=row, by=request.user, at=timezone.now()):
            messages.success(request, f"{row} is changed.")
            return redirect(row)
        form.catch_up(row)
    trail = [_CUSTOMERS, (row, row.get_absolute_url())]
    return show_form(request, form, title=f"Change {row}", action="Save", trail=trail, back=row.get_absolute_url())


@allow("keep_customers")
def vehicle_new(request, customer_pk):
    row = get_object_or_404(Customer, pk=customer_pk)
    if row.merged_into_id and request.method != "POST":
        return redirect("desk:vehicle_new", customer_pk=row.merged_into_id)
    form = VehicleNewForm(sent(request))
    if request.method == "POST" and (
        made := submit(form, enter_vehicle, customer=row, by=request.user, at=timezone.now())
    ):
        count = made.dampers.count()
        if count:
            messages.success(request, f"{made} is in the book, with {count} damper{'s' if count > 1 else ''}.")
        else:
            messages.success(request, f"{made} is in the book, still without dampers: enter them here.")
        _tell_doubt(request, made)
        return redirect(made)
    trail = [_CUSTOMERS, (row, row.get_absolute_url())]
    return show_form(
        request, form, title=f"New vehicle of {row}", action="Save", trail=trail, back=row.get_absolute_url()
    )


@allow("look")
def vehicle(request, pk):
    return _vehicle_page(request, vehicle_row(pk), MeterForm())


def _vehicle_page(request, row, form):
    by_corner = {damper.position: damper for damper in row.dampers.select_related("model")}
    readings = row.meter_readings.select_related("by", "corrected_by").order_by("-read_on", "-pk")
    context = {
        "vehicle": row,
        "corners": [(position, label, by_corner.get(position)) for position, label in Position.choices],
        "readings": readings,
        "orders": row.orders.with_names()[:ORDERS_SHOWN],
        "forecast": None if row.sold_on else forecast_of(vehicle=row, now=timezone.now()),
        "interval_rule": interval_of(row).rule,
        "form": form,
        "may_keep": request.user.may("keep_customers"),
        "may_book": request.user.may("book"),
    }
    return show(request, "desk/vehicle.html", context)


@allow("keep_customers")
def vehicle_change(request, pk):
    row = vehicle_row(pk)
    form = VehicleChangeForm(sent(request), year=row.model_year, initial=_now(row, VehicleChangeForm))
    if request.method == "POST":
        if made := submit(form, change_vehicle, vehicle=row, by=request.user, at=timezone.now()):
            messages.success(request, "The vehicle is changed.")
            _tell_doubt(request, made)
            return redirect(row)
        form.catch_up(row)
    return show_form(
        request, form, title=f"Change {row}", action="Save", trail=trail_to_vehicle(row), back=row.get_absolute_url()
    )


def _tell_doubt(request, row):
    """The number is kept as it was typed; its own page says what is odd about it."""
    if row.vin_doubt:
        messages.warning(request, f"Compare {row.vin} with the frame plate: its check digit does not fit, see below.")


@allow("keep_customers")
def vehicle_sold(request, pk):
    row = vehicle_row(pk)
    form = SoldForm(sent(request))
    if request.method == "POST" and submit(
        form, services.mark_sold, vehicle=row, by=request.user, at=timezone.now(), how="told at the desk"
    ):
        messages.success(request, f"{row} is marked as sold: nobody is reminded about it any more.")
        return redirect(row)
    return show_form(
        request,
        form,
        title=f"{row} is sold",
        action="Mark as sold",
        trail=trail_to_vehicle(row),
        back=row.get_absolute_url(),
        intro="The vehicle and its history stay in the book. Its reminders stop.",
    )


@allow("read_meter")
def meter(request, pk):
    """Note a reading, or with ?corrects= a right one in the place of a wrong one."""
    row = vehicle_row(pk)
    wrong = _reading(row, request.GET["corrects"]) if "corrects" in request.GET else None
    only = {Meter.DISTANCE: "distance", Meter.HOURS: "hours"}[wrong.meter] if wrong else None
    form = MeterForm(sent(request), only=only, initial={"read_on": wrong.read_on} if wrong else None)
    if request.method == "POST" and submit(
        form, services.record_meters, vehicle=row, source=ReadingSource.DESK, corrects=wrong, by=request.user,
        at=timezone.now(),
    ):  # fmt: skip
        messages.success(request, "The meter reading is in the book.")
        return redirect(row)
    if wrong is None:
        return _vehicle_page(request, row, form)
    if not form.asks_to_confirm:
        del form.fields["confirmed"]
    intro = f"The book says {wrong} and keeps saying so, marked as corrected."
    return show_form(
        request, form, title="Correct a meter reading", action="Save", trail=trail_to_vehicle(row), intro=intro,
        back=row.get_absolute_url(),
    )  # fmt: skip


@allow("keep_customers")
def damper_new(request):
    """A damper for a corner (?vehicle= and ?position=) or a loose one (?customer=)."""
    on = vehicle_row(number(request.GET["vehicle"])) if "vehicle" in request.GET else None
    owner = on.customer if on else get_object_or_404(Customer, pk=number(request.GET.get("customer")))
    initial = {"position": request.GET.get("position", ""), "model_year": on.model_year if on else None}
    form = DamperForm(sent(request), loose=on is None, initial=initial)
    if request.method == "POST" and (
        made := submit(form, create_damper, customer=owner, vehicle=on, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{made} is in the book, {made.where()}.")
        return redirect(made)
    title = f"New damper on the {on}" if on else f"New loose damper of {owner}"
    trail = trail_to_vehicle(on) if on else [_CUSTOMERS, (owner, owner.get_absolute_url())]
    return show_form(request, form, title=title, action="Save", trail=trail, back=(on or owner).get_absolute_url())


@allow("keep_customers")
def damper_change(request, pk):
    row = _damper(pk)
    form = DamperChangeForm(sent(request), loose=row.vehicle is None, initial=_now(row, DamperChangeForm))
    if request.method == "POST" and (
        made := submit(form, change_damper, damper=row, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"The damper is changed: {made}, {made.where()}.")
        return redirect(made)
    trail = trail_to_vehicle(row.vehicle) if row.vehicle else [_CUSTOMERS, (row.customer, row.get_absolute_url())]
    return show_form(
        request, form, title=f"Change the damper {row.where()}", action="Save", trail=trail,
        back=row.get_absolute_url(), intro=_about(row),
    )  # fmt: skip


@allow("keep_customers")
def damper_take_off(request, pk):
    row = _damper(pk)
    if row.vehicle is None:
        return redirect(row)
    form = TakeOffForm(sent(request))
    if request.method == "POST" and submit(form, take_off_damper, damper=row, by=request.user, at=timezone.now()):
        messages.success(request, f"{row} is off the {row.vehicle}: it is among the loose dampers of {row.customer}.")
        return redirect(row.vehicle)
    return show_form(
        request, form, title=f"Take the damper {row.where()} off", action="Take it off",
        trail=trail_to_vehicle(row.vehicle), back=row.get_absolute_url(),
        intro=f"{row}, off the {row.vehicle}. It stays in the book as a loose damper of {row.customer}.",
    )  # fmt: skip


def _damper(pk):
    return get_object_or_404(
        Damper.objects.select_related("model", "customer", "vehicle__model", "vehicle__customer"), pk=pk
    )


def _about(row):
    other = f", {row.other_year()}" if row.other_year() else ""
    return f"{row}{other}. Model, model year and corner choose its figures: torque, charge, IFP depth, oil."


def vehicle_row(pk):
    return get_object_or_404(Vehicle.objects.select_related("model", "customer"), pk=pk)


def _reading(row, pk):
    """A standing reading of this vehicle; one that was corrected already leads nowhere."""
    return get_object_or_404(row.meter_readings.standing(), pk=number(pk))


def _now(row, form_class):
    return {name: getattr(row, name) for name in form_class.base_fields if hasattr(row, name)}


def trail_to_vehicle(row):
    return [_CUSTOMERS, (row.customer, row.customer.get_absolute_url()), (row, row.get_absolute_url())]
