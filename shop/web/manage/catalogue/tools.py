"""Measuring tools and their calibration."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.calc.intervals import day_in_words
from shop.core.amounts import shop_unit, span
from shop.core.clock import local_day
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.manage.catalogue.overview import CATALOGUE
from shop.web.manage.catalogue.words import calibration as calibration_in_words
from shop.web.manage.catalogue.words import is_pressing
from shop.web.manage.catalogue_forms import TOOL_QUANTITY, CalibrationForm, OutOfUseForm, ToolForm
from shop.web.pages import sent, show, show_form
from shop.workorders import services
from shop.workorders.models import Tool, ToolKind

TRAIL = [CATALOGUE, ("Tools", reverse_lazy("manage:tools"))]
KINDS = {
    ToolKind.TORQUE_WRENCH: "Torque wrenches",
    ToolKind.GAUGE: "Charging gauges",
    ToolKind.DEPTH_TOOL: "Depth tools",
}


@require_safe
@allow("look")
def tools(request):
    rows = [_row(one) for one in Tool.objects.order_by("-in_use", "calibration_due_on", "code")]
    context = {
        "kinds": [(kind, plural, [row for row in rows if row["tool"].kind == kind]) for kind, plural in KINDS.items()],
        "may_keep": request.user.may("keep_specs"),
        "trail": TRAIL[:1],
    }
    return show(request, "manage/catalogue/tools.html", context)


def _row(one):
    today, quantity = local_day(timezone.now()), TOOL_QUANTITY[one.kind]
    return {
        "tool": one,
        "range": f"{span(one.low_si, one.high_si, quantity)} {shop_unit(quantity)}",
        "calibration": calibration_in_words(one, today),
        "pressing": is_pressing(one, today),
    }


@require_safe
@allow("look")
def tool(request, pk):
    return _page(request, get_object_or_404(Tool, pk=pk))


@allow("keep_specs")
def tool_new(request, kind):
    if kind not in ToolKind.values:
        raise Http404
    label = ToolKind(kind).label
    form = ToolForm(sent(request), kind=kind)
    if request.method == "POST" and (
        made := submit(form, services.add_tool, kind=kind, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{made} is entered: {calibration_in_words(made, local_day(timezone.now()))}.")
        return redirect("manage:tools")
    return show_form(
        request, form, title=f"New {label}", action="Save", trail=TRAIL, back=reverse("manage:tools"),
        intro="Range and dates stand on its calibration certificate.",
    )  # fmt: skip


@allow("keep_specs")
def calibration(request, pk):
    row = get_object_or_404(Tool, pk=pk)
    if request.method != "POST":
        return redirect("manage:tool", pk)
    form = CalibrationForm(request.POST)
    if made := submit(form, services.record_calibration, tool=row, by=request.user, at=timezone.now()):
        messages.success(
            request, f"{made} is calibrated: the next one is due on {day_in_words(made.calibration_due_on)}."
        )
        return redirect("manage:tool", pk)
    return _page(request, row, calibrate=form)


@allow("keep_specs")
def out_of_use(request, pk):
    row = get_object_or_404(Tool, pk=pk)
    if request.method != "POST":
        return redirect("manage:tool", pk)
    form = OutOfUseForm(request.POST, prefix="out")
    if submit(form, services.take_out_of_use, tool=row, by=request.user, at=timezone.now()):
        messages.success(request, f"{row} is out of use: the tablet offers it no more.")
        return redirect("manage:tool", pk)
    return _page(request, row, out=form)


def _page(request, row, calibrate=None, out=None):
    may_keep = request.user.may("keep_specs")
    context = {
        "row": _row(row),
        "tool": row,
        "form": calibrate or out,
        "calibrate": (calibrate or CalibrationForm()) if may_keep else None,
        "out": (out or OutOfUseForm(prefix="out")) if may_keep and row.in_use else None,
        "history": AuditEntry.objects.filter(kind="tool", key=str(row.pk)),
        "trail": TRAIL,
    }
    return show(request, "manage/catalogue/tool.html", context)
