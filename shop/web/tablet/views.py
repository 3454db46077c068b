from urllib.parse import urlencode

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from shop.core.clock import local_day
from shop.dampers.measures import Measure
from shop.staff.services import confirm_bench_pin
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.pages import renamed, sent, show
from shop.web.tablet import words
from shop.web.tablet.forms import (
    AsLeftForm,
    CheckForm,
    CloseForm,
    CorrectionForm,
    DoneForm,
    OverrideForm,
    ReadingForm,
    TagForm,
    UsedForm,
)
from shop.workorders import services
from shop.workorders.models import JobStatus, Moment, OrderStatus, WorkOrder
from shop.workorders.selectors import bench_jobs, figures_changed, job_steps, missing, on_bench, settings_of


@allow("look")
@require_safe
def bench(request):
    """Jobs in the order in which they are promised; ?tag= leads to a damper, or to the dampers of an order."""
    form = TagForm(request.GET if "tag" in request.GET else None)
    jobs, status = bench_jobs(), 200
    if form.is_bound:
        named = list(on_bench().filter(**form.cleaned_data["tag"])) if form.is_valid() else []
        if len(named) == 1:
            return redirect(named[0])
        if named:
            jobs = jobs.filter(**form.cleaned_data["tag"])
        else:
            status = 404
            if form.is_valid():
                form.add_error("tag", f"No damper has the tag “{form['tag'].value()}”. Compare it with the bag.")
    rows = [Row(one) for one in jobs]
    return render(request, "tablet/bench.html", {"form": form, "rows": rows}, status=status)


class Row:
    """One damper of the bench list."""

    def __init__(self, job):
        self.job, self.states = job, job_steps(job)
        self.next = next_to_do(self.states)
        self.done = sum(settled(state) for state in self.states)
        self.late = job.order.promised_for < timezone.now()


def settled(state) -> bool:
    """Whether the bench has done all it can at a step. A figure that no verified sheet gives is not the bench's to mend."""
    return bool(state.done and not state.lacking and (state.check or not state.step.critical))


def next_to_do(states):
    return next((state for state in states if not settled(state)), None)


def find(pk, **where):
    return get_object_or_404(on_bench(), pk=pk, **where)


def of_job(job, **more):
    """What the frame of every page of a damper shows."""
    states = job_steps(job)
    return {
        "job": job,
        "states": states,
        "settled": [settled(state) for state in states],
        "next_state": next_to_do(states),
        "books": list(job.readings.all()),
        "open": job.status == JobStatus.OPEN,
        **more,
    }


@allow("look")
@require_safe
def job(request, pk):
    job = find(pk)
    others = [one for one in on_bench().filter(order=job.order_id) if one != job]
    page = of_job(
        job,
        sheet=job.sheet,
        aims=words.aims(job.sheet),
        settings=settings_of(job),
        changed=figures_changed(job),
        others=others,
        all_closed=all(one.status == JobStatus.CLOSED for one in [job, *others]),
        order_open=job.order.status == OrderStatus.ON_BENCH,
        may_work=request.user.may("work"),
    )
    return render(request, "tablet/job.html", page)
