"""The pick list of an order: what to take from the shelf, what is short, what was taken."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from shop.core.amounts import stock_amount
from shop.documents.selectors import why_oil
from shop.picklists.selectors import pick_sheet, used_against_picked
from shop.web.access import allow
from shop.web.desk import words
from shop.web.desk.views.booking import trail_to
from shop.web.desk.views.day_picks import ScanForm
from shop.web.forms import submit
from shop.web.pages import sent, show, show_form
from shop.web.taking_up import TakeUpForm
from shop.workorders.agreed import agreed_in_words, question_in_words
from shop.workorders.kit import parts_changed
from shop.workorders.models import JobStatus, WorkOrder
from shop.workorders.purchases import coming_in_words, supplies
from shop.workorders.selectors import sheets_of
from shop.workorders.services import (
    hold_parts,
    pick_part,
    put_all_back,
    put_back_part,
    swap_part,
    take_back_part,
    take_up_part,
)
from shop.workorders.services.picking import PICKED_WHILE


@allow("look")
def pick_list(request, pk):
    return _page(request, _order(pk))


@require_POST
@allow("pick")
def pick_row(request, pk):
    """Mark one part of the list as taken from the shelf for every bag it is held for, or as put back (do=unpick)."""
    act = put_back_part if request.POST.get("do") == "unpick" else pick_part
    part_number = request.POST.get("part", "").replace("\0", "")
    if not _order(pk).pick_list.lines.filter(part_number=part_number).exists():
        raise Http404
    return _change(request, pk, act, part_number=part_number)


@require_POST
@allow("pick")
def pick_swap(request, pk):
    """Take another part of the chain (instead=) for the bags that wait for this one (part=)."""
    given = {name: request.POST.get(name, "").replace("\0", "") for name in ("part", "instead")}
    return _change(request, pk, swap_part, part_number=given["part"], instead=given["instead"])


@allow("pick")
def take_up(request, pk):
    """An optional part (?tag= and ?part=) that the inspection of a damper asks for."""
    order = _order(pk)
    job, need = _offer(order, request.GET)
    form = TakeUpForm(sent(request), need=need)
    back = reverse("desk:pick_list", args=[pk])
    if request.method == "POST" and submit(form, take_up_part, job=job, by=request.user, at=timezone.now()):
        messages.success(request, f"{need.name}, {need.part_number}, is taken up for {job.tag}.")
        return redirect(back)
    return show_form(
        request,
        form,
        title=f"Take up {need.name} for {job.tag}",
        action="Take it up",
        trail=[*trail_to(order), ("Pick list", back)],
        back=back,
        intro=f"{job.damper.where().capitalize()}, {job.damper.model}. It joins the pick list; what is there is held.",
    )


@require_POST
@allow("pick")
def take_back(request, pk):
    """Take off the list again what was taken up for one bag (tag= and part=)."""
    job, need = _offer(_order(pk), request.POST)
    return _change(request, pk, take_back_part, job=job, part_number=need.part_number)


def _offer(order, asked):
    """The job and the optional part that a tag and a part number name; anything else leads nowhere."""
    tag, part = (asked.get(name, "").replace("\0", "") for name in ("tag", "part"))
    need = next((one for one in order.pick_list.offered(tag) if one.part_number == part), None)
    job = next((one for one in order.jobs.select_related("order", "damper__model") if one.tag == tag), None)
    if need is None or job is None:
        raise Http404
    return job, need


@require_POST
@allow("pick")
def put_back_all(request, pk):
    """Put everything that lies in the order's bags back on the shelf."""
    return _change(request, pk, put_all_back)


@require_POST
@allow("pick")
def pick_hold(request, pk):
    """Hold for a list what has come in since it was made."""
    return _change(request, pk, hold_parts)


def _change(request, pk, act, **how):
    about = {} if "job" in how else {"order": _order(pk)}
    try:
        act(by=request.user, at=timezone.now(), **about, **how)
    except ValidationError as error:
        return _page(request, _order(pk), refusal=" ".join(error.messages))
    return redirect("desk:pick_list", pk)


def _order(pk):
    return get_object_or_404(WorkOrder.objects.with_names().select_related("pick_list"), pk=pk)


def _page(request, order, refusal=""):
    sheet = pick_sheet(order.pick_list)
    running = order.status in PICKED_WHILE
    jobs = order.jobs.select_related("damper__model", "damper__vehicle__model").prefetch_related("spec_changes")
    sheets = sheets_of(jobs)
    short = [row.part for row in sheet.rows if row.short and row.part] if running else []
    found = supplies(short, today=timezone.localdate())
    comes = {row.part.pk: found.get((order.pk, row.part.pk)) for row in sheet.rows if row.part}
    context = {
        "order": order,
        "scan": ScanForm(),
        "trail": trail_to(order),
        "sheet": sheet,
        "rows": [_row(row, sheets, comes) for row in sheet.rows],
        "refusal": refusal,
        "agreed": agreed_in_words(order),
        "asked": question_in_words(order),
        "running": running,
        "accounts": used_against_picked(order.pick_list) if order.closed_at else [],
        "in_bags": any(row.issued for row in sheet.rows),
        "changed": parts_changed(order),
        "offers": _offers(order, sheet) if running else [],
        "may_pick": running and request.user.may("pick"),
        "may_keep": request.user.may("keep_stock"),
    }
    return show(request, "desk/pick_list.html", context, status=409 if refusal else None)


def _offers(order, sheet):
    """What the inspections may add: the part, its damper, and the line that it became."""
    jobs = {job.tag: job for job in order.jobs.select_related("damper")} if sheet.offers else {}
    return [
        {
            "need": one.need,
            "line": one.line,
            "job": jobs[one.need.tag],
            "open": jobs[one.need.tag].status != JobStatus.CLOSED,
        }
        for one in sheet.offers
        if one.need.tag in jobs
    ]


def _row(row, sheets, comes):
    """A row with what it says about picking: nothing, some bags, or all; and how what is short gets here."""
    picked = [line for line in row.lines if line.picked_at or line.issued]
    return {
        "row": row,
        "why": why_oil(row.lines, sheets),
        "comes": coming_in_words([comes.get(row.part and row.part.pk)]) if row.short else None,
        "picked": f"picked for {len(picked)} of {words.count(len(row.lines), 'bag')}" if picked else "",
        "can_pick": any(not line.short and not line.not_asked and not line.picked_at for line in row.lines),
        "can_unpick": bool(picked),
        "back_to": row.instead_of if row.instead_of and not picked and "," not in row.instead_of else "",
        "picked_amount": sum(line.amount for line in picked),
        **_used(row, picked),
    }


def _used(row, picked):
    """What was used of a part once that is known, and how it differs from what was picked."""
    known = [line for line in row.lines if line.used is not None]
    if not known:
        return {"used": None}
    used = sum(line.used for line in known)
    more = used - sum(line.amount for line in picked)
    how = f"{stock_amount(abs(more), row.measure)} {'more' if more > 0 else 'less'} than was picked" if more else ""
    return {"used": used, "differs": how}
