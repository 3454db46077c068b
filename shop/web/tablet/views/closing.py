from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone

from shop.documents.selectors import why
from shop.picklists.selectors import used_against_picked
from shop.specs.models import SpecSheet
from shop.specs.selectors import Place, sheets_for
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.pages import sent, show
from shop.web.tablet import words
from shop.web.tablet.forms import CloseForm, OpenAgainForm, OverrideForm, TakeSheetForm, UsedForm
from shop.web.tablet.frame import find, form_page, of_job
from shop.workorders import services
from shop.workorders.kit import freeze
from shop.workorders.models import JobStatus, Moment, OrderStatus, WorkOrder
from shop.workorders.selectors import missing, on_bench


@allow("work")
@form_page
def close(request, pk):
    """What a damper still lacks, each thing with the way to mend it; or the button that closes it."""
    job = find(pk)
    if request.method != "POST" and job.status != JobStatus.OPEN:
        return redirect(job)
    may_override = request.user.may("override")
    if request.POST.get("override_reason") and not may_override:
        raise PermissionDenied("Only a manager can close a damper that lacks something.")
    lacking = missing(job) if job.status == JobStatus.OPEN else []
    form = (OverrideForm if lacking and may_override else CloseForm)(sent(request))
    if request.method == "POST":
        closed = submit(form, services.close_job, job=job, by=request.user, at=timezone.now())
        if closed:
            return redirect(closed)
    return show(request, "tablet/close.html", of_job(job, form=form, lacking=lacking, may_override=may_override))


@allow("work")
@form_page
def open_again(request, pk):
    """It failed, or something has to be done once more: vent it and begin the steps anew, zero pressure first."""
    job = find(pk)
    if request.method != "POST" and job.status != JobStatus.OPEN:
        return redirect(job)
    form = OpenAgainForm(sent(request))
    if request.method == "POST" and submit(form, services.reopen_damper, job=job, by=request.user, at=timezone.now()):
        return redirect(job)
    return show(request, "tablet/open_again.html", of_job(job, form=form))


@allow("override")
@form_page
def take_sheet(request, pk):
    """A manager holds the damper against the sheet that the spec table gives today."""
    job = find(pk)
    if request.method != "POST" and job.status != JobStatus.OPEN:
        return redirect(job)
    form = TakeSheetForm(sent(request))
    if request.method == "POST" and submit(
        form, services.take_present_sheet, job=job, by=request.user, at=timezone.now()
    ):
        return redirect(job)
    (found,) = sheets_for([Place.of(job.damper)])
    today = freeze(found)
    context = of_job(
        job,
        form=form,
        kept=why(job.sheet) if job.sheet else None,
        today=why(today) if today else None,
        differing=words.differing(job.sheet, today) if today else [],
        side_by_side=_side_by_side(job.sheet, found.sheet),
        read=any(one.moment == Moment.SET and one.round == job.round for one in job.readings.all()),
    )
    return show(request, "tablet/take_sheet.html", context)


def _side_by_side(kept, today):
    """The page that compares the sheet a job keeps with today's in full; empty when there are not two of them."""
    before = SpecSheet.objects.filter(code=kept.code, version=kept.version).first()
    if before is None or today is None or before == today:
        return ""
    return f"{reverse('manage:sheets_compare')}?sheet={before.pk}&sheet={today.pk}"


@allow("work")
@form_page
def close_order(request, pk):
    """All dampers are closed: what was used of the parts, then the order is ready to hand back."""
    order = get_object_or_404(WorkOrder.objects.with_names(), pk=pk)
    jobs = list(on_bench().filter(order=order).kept())
    lines = order.pick_list.lines.select_related("part", "reservation", "picked_by").order_by("tag", "pk")
    form = UsedForm(sent(request), lines=lines)
    if request.method == "POST" and submit(form, services.close_order, order=order, by=request.user, at=timezone.now()):
        return redirect("tablet:close_order", pk)
    page = {
        "order": order,
        "form": form,
        "jobs": jobs,
        "still_open": [job for job in jobs if job.status != JobStatus.CLOSED],
        "on_bench": order.status == OrderStatus.ON_BENCH,
        "accounts": used_against_picked(order.pick_list) if order.closed_at else [],
    }
    return show(request, "tablet/close_order.html", page)
