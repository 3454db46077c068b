"""The pick list of an order: what to take from the shelf, what is short, what was taken."""

from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from shop.documents.selectors import why_oil
from shop.picklists.selectors import pick_sheet
from shop.web.access import allow
from shop.web.desk import words
from shop.web.desk.views.booking import trail_to
from shop.web.pages import show
from shop.workorders.models import WorkOrder
from shop.workorders.selectors import sheets_of
from shop.workorders.services import hold_parts, pick_part, put_back_part
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
def pick_hold(request, pk):
    """Hold for a list what has come in since it was made."""
    return _change(request, pk, hold_parts)


def _change(request, pk, act, **how):
    order = _order(pk)
    try:
        act(order=order, by=request.user, at=timezone.now(), **how)
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
    context = {
        "order": order,
        "trail": trail_to(order),
        "sheet": sheet,
        "rows": [_row(row, sheets) for row in sheet.rows],
        "refusal": refusal,
        "running": running,
        "may_pick": running and request.user.may("pick"),
        "may_keep": request.user.may("keep_stock"),
    }
    return show(request, "desk/pick_list.html", context, status=409 if refusal else None)


def _row(row, sheets):
    """A row with what it says about picking: nothing, some bags, or all."""
    picked = [line for line in row.lines if line.picked_at]
    return {
        "row": row,
        "why": why_oil(row.lines, sheets),
        "picked": f"picked for {len(picked)} of {words.count(len(row.lines), 'bag')}" if picked else "",
        "can_pick": any(not line.short and not line.picked_at for line in row.lines),
        "can_unpick": bool(picked),
        "used": sum(line.used or 0 for line in row.lines) if any(line.used is not None for line in row.lines) else None,
    }
