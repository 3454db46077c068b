"""The parts of one damper: what is in its bag, what its inspection may add, what may be taken in place of another."""

from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from shop.picklists.selectors import pick_sheet
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.pages import number, show
from shop.web.tablet.frame import find, form_page, of_job
from shop.web.taking_up import TakeUpForm
from shop.workorders import services
from shop.workorders.kit import parts_changed
from shop.workorders.models import JobStatus
from shop.workorders.services.picking import PICKED_WHILE


@allow("pick")
@form_page
def parts(request, pk):
    """POST takes up one of the optional parts (part=), so much of it as is typed."""
    job, form = find(pk), None
    if request.method == "POST":
        asked = request.POST.get("part")
        need = next((one for one in job.order.pick_list.offered(job.tag) if one.part_number == asked), None)
        if need is None:
            raise Http404
        form = _form(need, request.POST)
        if submit(form, services.take_up_part, job=job, by=request.user, at=timezone.now()):
            return redirect("tablet:parts", pk)
    return _page(request, job, form)


@require_POST
@allow("pick")
def swap(request, pk):
    """Take another part of the chain (instead=) for one line of this bag (line=)."""
    job = find(pk)
    line = get_object_or_404(job.order.pick_list.lines.filter(tag=job.tag), pk=number(request.POST.get("line")))
    instead = request.POST.get("instead", "")
    return _change(request, pk, services.swap_line, line=line, part_number=instead)


@require_POST
@allow("pick")
def take_back(request, pk):
    return _change(request, pk, services.take_back_part, job=find(pk), part_number=request.POST.get("part", ""))


def _change(request, pk, act, **how):
    try:
        act(**how, by=request.user, at=timezone.now())
    except ValidationError as error:
        return _page(request, find(pk), refusal=" ".join(error.messages))
    return redirect("tablet:parts", pk)


def _form(need, data=None):
    return TakeUpForm(data, need=need, template_name="tablet/_reading.html", auto_id=f"id_{need.part_number}_%s")


def _page(request, job, form=None, refusal=""):
    sheet = pick_sheet(job.order.pick_list)
    offers = [
        {"need": one.need, "line": one.line, "form": None if one.line else _form(one.need)}
        for one in sheet.offers
        if one.need.tag == job.tag
    ]
    for one in offers:
        if form and form.need.part_number == one["need"].part_number:
            one["form"] = form
    page = of_job(
        job,
        form=form,
        refusal=refusal,
        bag=[(line, row) for row in sheet.rows for line in row.lines if line.tag == job.tag],
        offers=offers,
        parts_changed=parts_changed(job.order),
        may_change=request.user.may("pick") and job.status != JobStatus.CLOSED and job.order.status in PICKED_WHILE,
    )
    return show(request, "tablet/parts.html", page, status=409 if refusal else None)
