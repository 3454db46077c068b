"""Bench days and promises: what is proposed while a job is booked, and what is changed of a booking."""

from django.contrib import messages
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone

from shop.dampers.models import Damper
from shop.web.access import allow
from shop.web.desk.bench_forms import BookOnDaysForm, ChangeBookingForm
from shop.web.desk.orders import not_now, trail_to, with_running_jobs
from shop.web.desk.proposing import told_proposal, with_kit
from shop.web.forms import submit
from shop.web.pages import number, sent, show
from shop.workorders import services
from shop.workorders.models import OrderStatus, WorkOrder


@allow("book")
def proposal(request):
    """The proposal alone, for the booking page while dampers are ticked: ?dampers=…&arrives_on=…, or of an ?order=."""
    keys = [number(key) for key in request.GET.getlist("dampers")[:50]]
    order = None
    if "order" in request.GET:
        order = get_object_or_404(WorkOrder.objects.select_related("pick_list"), pk=number(request.GET["order"]))
    form = BookOnDaysForm(request.GET, dampers=Damper.objects.none())
    form.is_valid()
    arrives_on = form.cleaned_data.get("arrives_on") if "arrives_on" in request.GET else order and order.arrives_on
    dampers = with_kit(Damper.objects.filter(pk__in=keys))
    context = {"proposal": told_proposal(dampers, arrives_on, order=order)}
    return show(request, "desk/_proposal.html", context)


@allow("book")
def change_booking(request, pk):
    order = get_object_or_404(WorkOrder.objects.with_names().select_related("pick_list"), pk=pk)
    if order.status not in (OrderStatus.BOOKED, OrderStatus.ON_BENCH) and request.method != "POST":
        return not_now(request, order, "A booking can be changed until its dampers are done.")
    here = Damper.objects.filter(customer=order.customer_id).filter(
        Q(vehicle=order.vehicle_id) if order.vehicle_id else Q(vehicle=None)
    )
    minutes = services.minutes_ahead(order=order, at=timezone.now())
    form = ChangeBookingForm(sent(request), order=order, dampers=here, minutes=minutes)
    if request.method == "POST":
        if made := submit(form, services.change_booking, order=order, by=request.user, at=timezone.now()):
            messages.success(request, f"{made}: the booking is changed. Tell the customer if the promise moved.")
            return redirect(made)
        form.catch_up(order)
    kept = set(order.jobs.kept().values_list("damper", flat=True))
    ticked = {int(key) for key in form.data.getlist("dampers") if key.isdigit()} if form.is_bound else kept
    context = {
        "form": form,
        "order": order,
        "trail": trail_to(order),
        "rows": [_row(damper, order, kept, ticked) for damper in with_running_jobs(here)] if form.booked else [],
        "proposal": told_proposal(with_kit(here.filter(pk__in=ticked)), order.arrives_on, order=order)
        if form.booked
        else None,
        "plan": list(order.bench_plan.all()),
    }
    return show(request, "desk/change_booking.html", context)


def _row(damper, order, kept, ticked):
    if damper.pk not in kept:
        if not damper.model.serviceable:
            return {"damper": damper, "tell": damper.model.why_not}
        if damper.running:
            return {"damper": damper, "order": damper.running[0].order}
    return {"damper": damper, "free": True, "ticked": damper.pk in ticked}
