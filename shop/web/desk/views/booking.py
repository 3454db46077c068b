"""From booking to handing back: what the front desk does with an order."""

from urllib.parse import urlencode

from django.contrib import messages
from django.db.models import Prefetch
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone

from shop.customers.models import Customer, Vehicle
from shop.dampers.models import Damper
from shop.documents.selectors import record, why
from shop.specs.selectors import Place, sheets_for
from shop.web.access import allow, takes_files
from shop.web.desk import find
from shop.web.desk.bench_forms import BookOnDaysForm
from shop.web.desk.check_in_form import CheckInForm
from shop.web.desk.forms import (
    CallOffForm,
    DropDamperForm,
    HandBackForm,
    HandBackUnfinishedForm,
)
from shop.web.desk.orders import not_now, trail_to, with_running_jobs
from shop.web.desk.proposing import chosen, initial_promise, proposal_anew, told_proposal, with_kit
from shop.web.forms import FindForm, submit
from shop.web.links import why_this_sheet
from shop.web.pages import number, sent, show, show_form
from shop.web.photos import MOST_BYTES
from shop.workorders import services
from shop.workorders.day import unfinished_in_words
from shop.workorders.kit import freeze
from shop.workorders.models import JobStatus, OrderStatus, WorkOrder

FOUND_SHOWN = 20


@allow("book")
def book(request):
    """Three steps by address: whose (?q=), which vehicle (?customer=), then the job (?vehicle=, or ?loose=customer)."""
    if "vehicle" in request.GET:
        vehicle = get_object_or_404(
            Vehicle.objects.select_related("customer", "model"), pk=number(request.GET["vehicle"])
        )
        return _book_dampers(request, vehicle.customer, vehicle)
    for ask in ("loose", "customer"):
        gone = Customer.objects.filter(pk=number(request.GET[ask])).first() if ask in request.GET else None
        if gone and gone.merged_into_id and request.method != "POST":
            return redirect(f"{reverse('desk:book')}?{ask}={gone.merged_into_id}")
    if "loose" in request.GET:
        return _book_dampers(request, get_object_or_404(Customer, pk=number(request.GET["loose"])), None)
    if "customer" in request.GET:
        return _book_vehicle(request, get_object_or_404(Customer, pk=number(request.GET["customer"])))
    form = FindForm(request.GET)
    found, alike = find.customers(form.text)
    found = find.with_not_serviced(found).order_by("name" if form.text else "-pk")
    found = list(found[: FOUND_SHOWN + 1]) if form.is_valid() else []
    new = f"{reverse('desk:book_new')}?{urlencode({'q': form.text})}"
    context = {"find": form, "text": form.text, "alike": alike, "customers": found, "new": new}
    return show(request, "desk/book_customer.html", context)


def _book_vehicle(request, customer):
    context = {
        "customer": customer,
        "vehicles": customer.vehicles.filter(sold_on=None)
        .select_related("model")
        .prefetch_related("dampers", Prefetch("dampers", find.not_serviced(), to_attr="not_serviced")),
        "loose": customer.dampers.filter(vehicle=None).select_related("model"),
    }
    return show(request, "desk/book_vehicle.html", context)


def _book_dampers(request, customer, vehicle):
    dampers = Damper.objects.filter(customer=customer, vehicle=vehicle)
    free = with_kit(dampers.filter(model__serviceable=True)).exclude(
        jobs__status__in=[JobStatus.BOOKED, JobStatus.OPEN]
    )
    form, proposal = BookOnDaysForm(sent(request), dampers=dampers), None
    if "propose" in request.POST:
        form, proposal = proposal_anew(request, form, with_kit(dampers))
    elif request.method == "POST":
        if made := submit(form, services.book, customer=customer, vehicle=vehicle, by=request.user, at=timezone.now()):
            messages.success(request, f"{made} is booked. Its parts are held as far as they are there.")
            return redirect(made)
        proposal = told_proposal(with_kit(dampers.filter(pk__in=chosen(form))), form.cleaned_data.get("arrives_on"))
        form.catch_up_with(proposal)
    else:
        proposal = told_proposal(free, timezone.localdate())
        form = BookOnDaysForm(initial=initial_promise(proposal), dampers=dampers)
    ticked = set(request.POST.getlist("dampers")) if request.method == "POST" else None
    rows = [_damper_row(damper, ticked) for damper in with_running_jobs(dampers)]
    context = {
        "form": form,
        "customer": customer,
        "vehicle": vehicle,
        "rows": rows,
        "proposal": proposal,
        "none_serviced": not form.is_bound and all("tell" in row for row in rows),
    }
    return show(request, "desk/book.html", context)


def _damper_row(damper, ticked):
    """A damper to tick, or why it cannot be: then ticked says nothing and the box is out of reach."""
    if not damper.model.serviceable:
        return {"damper": damper, "tell": damper.model.why_not}
    if damper.running:
        return {"damper": damper, "order": damper.running[0].order}
    return {"damper": damper, "free": True, "ticked": ticked is None or str(damper.pk) in ticked}


@takes_files(MOST_BYTES)
@allow("book")
def check_in(request, pk):
    order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
    if order.status != OrderStatus.BOOKED and request.method != "POST":
        return not_now(request, order, "It can be checked in only once, while it is booked.")
    jobs = list(
        order.jobs.kept()
        .select_related("damper__model", "damper__vehicle__model")
        .prefetch_related("damper__model__adjusters")
    )
    form = CheckInForm(sent(request), request.FILES if request.method == "POST" else None, order=order, jobs=jobs)
    if request.method == "POST" and (
        made := submit(form, services.check_in, order=order, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{made} is checked in: its figures are frozen and the card can be printed.")
        return redirect(made)
    sheets = sheets_for([Place.of(job.damper) for job in jobs])
    context = {
        "form": form,
        "order": order,
        "trail": trail_to(order),
        "most_bytes": MOST_BYTES,
        "rows": [
            (job, sheet, why(freeze(sheet)), why_this_sheet(job.damper), form.found(job), form.state_of(job))
            for job, sheet in zip(jobs, sheets, strict=True)
        ],
    }
    return show(request, "desk/check_in.html", context)


@allow("book")
def hand_back(request, pk):
    order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
    if order.status != OrderStatus.READY and request.method != "POST":
        return not_now(request, order, "It can be handed back when it is ready.")
    unfinished = unfinished_in_words(list(order.jobs.kept().select_related("damper")))
    form = (HandBackUnfinishedForm if unfinished else HandBackForm)(sent(request), order=order)
    if request.method == "POST" and (
        made := submit(form, services.hand_back, order=order, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{made} is handed back to {made.customer}.")
        return redirect(made)
    context = {
        "form": form,
        "order": order,
        "trail": trail_to(order),
        "unfinished": unfinished,
        "record": record(order) if order.closed_at else None,
    }
    return show(request, "desk/hand_back.html", context)


@allow("book")
def call_off(request, pk):
    order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
    if order.status != OrderStatus.BOOKED and request.method != "POST":
        return not_now(request, order, "Only a booked order can be called off.")
    form = CallOffForm(sent(request))
    if request.method == "POST" and (
        made := submit(form, services.call_off, order=order, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{made} is called off. What was held for it is free again.")
        return redirect(made)
    return show_form(
        request,
        form,
        title=f"Call off {order}",
        action="Call off",
        trail=trail_to(order),
        back=order.get_absolute_url(),
        intro=f"{order.customer}, {order.vehicle or 'loose dampers'}. The order stays in the book.",
    )


@allow("book")
def drop_damper(request, pk, job_pk):
    order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
    job = get_object_or_404(order.jobs.select_related("damper__model"), pk=job_pk)
    if order.status != OrderStatus.BOOKED and request.method != "POST":
        return not_now(request, order, "A damper can be taken off only while it is booked.")
    form = DropDamperForm(sent(request))
    if request.method == "POST" and (
        made := submit(form, services.drop_damper, job=job, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"Damper {made.tag} is taken off. What was held for it is free again.")
        return redirect(order)
    return show_form(
        request,
        form,
        title=f"Take damper {job.tag} off {order}",
        action="Take it off",
        trail=trail_to(order),
        back=order.get_absolute_url(),
        intro=f"{job.damper}, {job.damper.where()}. The order goes on with its other dampers.",
    )
