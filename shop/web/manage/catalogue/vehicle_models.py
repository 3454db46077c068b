"""Vehicle models, and which damper model sits at each of their corners."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import prefetch_related_objects
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from shop.core.rows import sharing_years
from shop.customers.models import VehicleModel
from shop.customers.services import create_vehicle_model
from shop.dampers.models import DamperModel, Position
from shop.dampers.selectors import carried, why_kept
from shop.dampers.services import (
    change_fitment,
    change_vehicle_model,
    copy_fitment,
    remove_fitment,
    remove_vehicle_model,
    set_fitments,
)
from shop.specs.intervals import interval_for
from shop.specs.models import years_in_words
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import FindForm, SureForm, submit
from shop.web.manage.catalogue.overview import CATALOGUE
from shop.web.manage.catalogue.words import told_interval
from shop.web.manage.catalogue_forms import (
    FitmentChangeForm,
    FitmentCopyForm,
    FitmentForm,
    VehicleModelChangeForm,
    VehicleModelForm,
)
from shop.web.pages import number, page_of, sent, show, show_form

KEPT = "Vehicles in the book keep the dampers entered for them."
TRAIL = [CATALOGUE, ("Vehicle models", reverse_lazy("manage:vehicle_models"))]


@require_safe
@allow("look")
def vehicle_models(request):
    form = FindForm(request.GET, label="Maker, model or model year")
    rows = VehicleModel.objects.matching(form.text) if form.is_valid() else VehicleModel.objects.none()
    page = page_of(request, rows.prefetch_related("fitments__damper_model"))
    context = {
        "find": form,
        "text": form.text,
        "page": page,
        "rows": [(model, _carried(model), [years.gap for years in carried(model) if years.gap]) for model in page],
        "may_keep": request.user.may("keep_specs"),
        "trail": TRAIL[:1],
    }
    return show(request, "manage/catalogue/vehicle_models.html", context)


def _carried(model):
    """Its damper models by name, each once."""
    return ", ".join(dict.fromkeys(str(one.damper_model) for one in model.fitments.all()))


@require_safe
@allow("look")
def vehicle_model(request, pk):
    return _page(request, get_object_or_404(VehicleModel, pk=pk))


@allow("keep_specs")
def vehicle_model_new(request):
    form = VehicleModelForm(sent(request))
    if request.method == "POST" and (made := submit(form, create_vehicle_model, by=request.user, at=timezone.now())):
        messages.success(request, f"{made} is in the catalogue. Next, say what sits at its corners.")
        return redirect("manage:vehicle_model", made.pk)
    return show_form(
        request, form, title="New vehicle model", action="Save", trail=TRAIL, back=reverse("manage:vehicle_models")
    )


@allow("keep_specs")
def vehicle_model_change(request, pk):
    model = get_object_or_404(VehicleModel, pk=pk)
    form = VehicleModelChangeForm(sent(request), initial=VehicleModelChangeForm.filled_from(model))
    if request.method == "POST":
        if made := submit(form, change_vehicle_model, vehicle_model=model, by=request.user, at=timezone.now()):
            messages.success(request, f"It is {made} now, built {made.years()}.")
            return redirect("manage:vehicle_model", pk)
        form.catch_up(model)
    return show_form(
        request, form, title=f"Change {model}", action="Save", trail=_trail_to(model), back=_trail_to(model)[-1][1],
        intro="The new words stand everywhere this model is named, also on cards that are printed from now on.",
    )  # fmt: skip


@require_POST
@allow("keep_specs")
def vehicle_model_remove(request, pk):
    model = get_object_or_404(VehicleModel, pk=pk)
    if "sure" not in request.POST and not why_kept(model):
        return show_form(
            request, SureForm(row="model", key=pk), title=f"Remove {model} from the catalogue?", action="Remove it",
            trail=_trail_to(model), back=_trail_to(model)[-1][1],
            intro="What is entered for its corners goes with it. No vehicle in the book is of this model.",
        )  # fmt: skip
    try:
        remove_vehicle_model(vehicle_model=model, by=request.user, at=timezone.now())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("manage:vehicle_model", pk)
    messages.success(request, f"{model} is out of the catalogue.")
    return redirect("manage:vehicle_models")


@allow("keep_specs")
def fitment_change(request, pk, fitment_pk):
    model, fitment = _entry(pk, fitment_pk)
    form = FitmentChangeForm(sent(request), initial=FitmentChangeForm.filled_from(fitment))
    if request.method == "POST":
        if made := submit(form, change_fitment, fitment=fitment, by=request.user, at=timezone.now()):
            messages.success(request, f"Corrected: {_in_words(made)}. {KEPT}")
            return redirect("manage:vehicle_model", pk)
        form.catch_up(fitment)
    return show_form(
        request, form, title=f"Change what sits on {model}", action="Save", trail=_trail_to(model),
        back=_trail_to(model)[-1][1], intro=f"It says: {_in_words(fitment)}. {KEPT}",
    )  # fmt: skip


@allow("keep_specs")
def fitment_copy(request, pk, fitment_pk):
    model, fitment = _entry(pk, fitment_pk)
    taken = set(
        model.fitments.filter(sharing_years(fitment.year_from, fitment.year_to)).values_list("position", flat=True)
    )
    free = [one for one in Position.values if one not in taken]
    form = FitmentCopyForm(sent(request), fitment=fitment, initial={"positions": free})
    if request.method == "POST" and submit(form, copy_fitment, fitment=fitment, by=request.user, at=timezone.now()):
        corners = " and ".join(Position(one).label for one in form.cleaned_data["positions"])
        messages.success(request, f"{fitment.damper_model} is entered: {corners}, {_years(fitment)}.")
        return redirect("manage:vehicle_model", pk)
    return show_form(
        request, form, title=f"Copy to other corners of {model}", action="Copy", trail=_trail_to(model),
        back=_trail_to(model)[-1][1], intro=f"The same damper for the same years: {_in_words(fitment)}.",
    )  # fmt: skip


def _entry(pk, fitment_pk):
    model = get_object_or_404(VehicleModel, pk=pk)
    return model, get_object_or_404(model.fitments.select_related("vehicle_model", "damper_model"), pk=fitment_pk)


@allow("keep_specs")
def fitment_add(request, pk):
    model = get_object_or_404(VehicleModel, pk=pk)
    if request.method != "POST":
        return redirect("manage:vehicle_model", pk)
    form = FitmentForm(request.POST)
    if made := submit(form, set_fitments, vehicle_model=model, by=request.user, at=timezone.now()):
        corners = " and ".join(Position(one).label for one in form.cleaned_data["positions"])
        messages.success(request, f"{made.damper_model} is entered: {corners}, {_years(made)}.")
        return redirect("manage:vehicle_model", pk)
    return _page(request, model, form)


@require_POST
@allow("keep_specs")
def fitment_remove(request, pk):
    model = get_object_or_404(VehicleModel, pk=pk)
    fitment = model.fitments.filter(pk=number(request.POST.get("fitment"))).select_related("damper_model").first()
    words = _in_words(fitment) if fitment else ""
    if fitment and "sure" not in request.POST:
        return show_form(
            request,
            SureForm(row="fitment", key=fitment.pk),
            title=f"Remove a damper from {model}?",
            action="Remove it",
            trail=_trail_to(model),
            back=_trail_to(model)[-1][1],
            intro=f"{words}. {KEPT}",
        )
    if fitment:
        remove_fitment(fitment=fitment, by=request.user, at=timezone.now())
        messages.success(request, f"Removed: {words}. {KEPT}")
    else:
        messages.info(request, "That entry was removed already.")
    return redirect("manage:vehicle_model", pk)


def _page(request, model, refused=None):
    prefetch_related_objects([model], "fitments__damper_model")
    years, may_keep = carried(model), request.user.may("keep_specs")
    known = {one.position for one in model.fitments.all()}
    context = {
        "model": model,
        "years": years,
        "gaps": [one.gap for one in years if one.gap],
        "entries": [(one, _years(one)) for one in model.fitments.all()],
        "form": refused,
        "add": refused or FitmentForm(initial={"positions": [one for one in Position.values if one not in known]}),
        "damper_models": DamperModel.objects.exists(),
        "why_kept": why_kept(model) if may_keep else "",
        "interval": told_interval(interval_for(list({one.damper_model for one in model.fitments.all()}), model)),
        "history": AuditEntry.objects.filter(kind="vehiclemodel", key=str(model.pk)),
        "may_keep": may_keep,
        "trail": TRAIL,
    }
    return show(request, "manage/catalogue/vehicle_model.html", context)


def _trail_to(model):
    return [*TRAIL, (model, reverse("manage:vehicle_model", args=[model.pk]))]


def _in_words(fitment):
    return f"{fitment.get_position_display()}, {fitment.damper_model}, {_years(fitment)}"


def _years(fitment):
    return years_in_words(fitment.year_from, fitment.year_to)
