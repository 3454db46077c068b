"""Damper models: construction, parts list, spec sheets, service interval."""

from urllib.parse import urlencode

from django.contrib import messages
from django.db.models import Count, Q
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.calc.bench_time import hours
from shop.core.amounts import in_full, in_other_unit, in_shop_unit
from shop.dampers.geometry import SIZES
from shop.dampers.models import DamperModel
from shop.dampers.services import create_damper_model, set_adjusters, set_geometry
from shop.specs.intervals import interval_for
from shop.specs.labour import labour_time_for
from shop.specs.models import SheetStatus, years_in_words
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import FindForm, submit
from shop.web.manage.catalogue.overview import CATALOGUE
from shop.web.manage.catalogue.parts_list import told_lines
from shop.web.manage.catalogue.words import told_interval
from shop.web.manage.catalogue_forms import AdjustersForm, DamperModelChangeForm, DamperModelForm, SizesForm
from shop.web.pages import page_of, sent, show, show_form
from shop.workorders.selectors import booked_in_vain
from shop.workorders.services import change_damper_model

DESCRIBED = ("maker", "name", "construction", "serviceable", "why_not", "cap_style")
TRAIL = [CATALOGUE, ("Damper models", reverse_lazy("manage:damper_models"))]


@require_safe
@allow("look")
def damper_models(request):
    form = FindForm(request.GET, label="Damper, vehicle or model year")
    rows = DamperModel.objects.matching(form.text) if form.is_valid() else DamperModel.objects.none()
    rows = rows.annotate(
        verified=Count("sheets", Q(sheets__status=SheetStatus.VERIFIED), distinct=True),
        drafts=Count("sheets", Q(sheets__status=SheetStatus.DRAFT), distinct=True),
        lines=Count("kit_lines", distinct=True),
    ).order_by("maker", "name")  # grouping drops the order of the table
    page = page_of(request, rows)
    context = {
        "find": form,
        "text": form.text,
        "page": page,
        "may_keep": request.user.may("keep_specs"),
        "trail": TRAIL[:1],
    }
    return show(request, "manage/catalogue/damper_models.html", context)


@require_safe
@allow("look")
def damper_model(request, pk):
    return _page(request, get_object_or_404(DamperModel, pk=pk))


@allow("keep_specs")
def damper_model_new(request):
    form = DamperModelForm(sent(request))
    if request.method == "POST" and (made := submit(form, create_damper_model, by=request.user, at=timezone.now())):
        messages.success(request, f"{made} is in the catalogue. Next, enter what a rebuild of one takes.")
        return redirect("manage:damper_model", made.pk)
    return show_form(
        request, form, title="New damper model", action="Save", trail=TRAIL, back=reverse("manage:damper_models")
    )


@allow("keep_specs")
def damper_model_change(request, pk):
    model = get_object_or_404(DamperModel, pk=pk)
    form = DamperModelChangeForm(sent(request), initial=DamperModelChangeForm.filled_from(model))
    before = {name: getattr(model, name) for name in DESCRIBED}
    if request.method == "POST":
        if made := submit(form, change_damper_model, damper_model=model, by=request.user, at=timezone.now()):
            same = all(getattr(made, name) == value for name, value in before.items())
            messages.success(
                request, f"{made} stays as it was: nothing was changed." if same else f"{made} is changed."
            )
            return redirect("manage:damper_model", pk)
        form.catch_up(model)
    here = reverse("manage:damper_model", args=[pk])
    return show_form(
        request, form, title=f"Change {model}", action="Save", trail=[*TRAIL, (model, here)], back=here,
        intro="Construction and cap stay as they are while one is on the benches: its steps hang on them.",
    )  # fmt: skip


@allow("keep_specs")
def sizes(request, pk):
    model = get_object_or_404(DamperModel, pk=pk)
    if request.method != "POST":
        return redirect("manage:damper_model", pk)
    form = SizesForm(request.POST, model=model, prefix="sizes")
    if submit(form, set_geometry, damper_model=model, by=request.user, at=timezone.now()):
        messages.success(request, f"The sizes of {model} are entered. Jobs on the benches keep what they began with.")
        return redirect("manage:damper_model", pk)
    form.catch_up(model)
    return _page(request, model, sizes=form)


@allow("keep_specs")
def adjusters(request, pk):
    model = get_object_or_404(DamperModel, pk=pk)
    if request.method != "POST":
        return redirect("manage:damper_model", pk)
    form = AdjustersForm(request.POST, model=model, prefix="adjusters")
    if submit(form, set_adjusters, damper_model=model, by=request.user, at=timezone.now()):
        messages.success(request, f"The adjusters of {model} are entered: a higher count is refused from now on.")
        return redirect("manage:damper_model", pk)
    form.catch_up(model)
    return _page(request, model, adjusters=form)


def _page(request, model, sizes=None, adjusters=None):
    may_keep = request.user.may("keep_specs")
    labour, labour_rule = labour_time_for(model)
    context = {
        "model": model,
        "sheets": model.sheets.select_related("vehicle_model").order_by("year_from", "position", "code", "-version"),
        "lines": told_lines(model.kit_lines.select_related("stands_in_for")),
        "interval": told_interval(interval_for([model])),
        "labour": hours(labour.minutes),
        "labour_rule": labour_rule,
        "form": sizes or adjusters,
        "known": [
            (size.label, in_full(known, size.quantity), in_other_unit(known, size.quantity))
            for size in SIZES
            if (known := getattr(model, size.name)) is not None
        ],
        "sizes": (sizes or SizesForm(model=model, prefix="sizes")) if may_keep and model.has_ifp else None,
        "oil_page": _oil_page(model),
        "counted": model.adjusters.all(),
        "adjusters": (adjusters or AdjustersForm(model=model, prefix="adjusters")) if may_keep else None,
        "booked": booked_in_vain(model),
        "fitments": [
            (one, years_in_words(one.year_from, one.year_to))
            for one in model.fitments.select_related("vehicle_model").order_by(
                "vehicle_model__maker", "vehicle_model__name", "year_from", "position"
            )
        ],
        "history": AuditEntry.objects.filter(kind="dampermodel", key=str(model.pk)),
        "may_keep": may_keep,
        "may_keep_stock": request.user.may("keep_stock"),
        "trail": TRAIL,
    }
    return show(request, "manage/catalogue/damper_model.html", context)


def _oil_page(model):
    """The address of the calculator for the oil, begun with the sizes that are known; empty without the body's bore."""
    if model.body_bore_m is None:
        return ""
    sizes = {size.argument: size for size in SIZES}
    asked = {name: sizes[name] for name in ("body_bore", "shaft", "reservoir_bore")}
    known = {
        name: in_shop_unit(si, size.quantity)
        for name, size in asked.items()
        if (si := getattr(model, size.name)) is not None
    }
    return f"{reverse('tablet:figure', args=['oil-fill'])}?{urlencode({'begun': 1} | known)}"
