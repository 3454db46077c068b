"""Vehicle models, and which damper model sits at each of their corners."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from shop.customers.models import VehicleModel
from shop.customers.services import create_vehicle_model
from shop.dampers.models import DamperModel, Position
from shop.dampers.services import remove_fitment, set_fitments
from shop.specs.intervals import interval_for
from shop.specs.models import years_in_words
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import FindForm, SureForm, submit
from shop.web.manage.catalogue.overview import CATALOGUE
from shop.web.manage.catalogue.words import told_interval
from shop.web.manage.catalogue_forms import FitmentForm, VehicleModelForm
from shop.web.pages import having_words, number, page_of, sent, show, show_form

TRAIL = [CATALOGUE, ("Vehicle models", reverse_lazy("manage:vehicle_models"))]


@require_safe
@allow("look")
def vehicle_models(request):
    form = FindForm(request.GET, label="Maker or model")
    rows = VehicleModel.objects.all() if form.is_valid() else VehicleModel.objects.none()
    rows = having_words(rows, form.text, "maker", "name")
    page = page_of(request, rows.prefetch_related("fitments__damper_model"))
    context = {
        "find": form,
        "text": form.text,
        "page": page,
        "rows": [(model, _carried(model), _open_corners(model)) for model in page],
        "may_keep": request.user.may("keep_specs"),
        "trail": TRAIL[:1],
    }
    return show(request, "manage/catalogue/vehicle_models.html", context)


def _carried(model):
    """Its damper models by name, each once."""
    return ", ".join(dict.fromkeys(str(one.damper_model) for one in model.fitments.all()))


def _open_corners(model):
    """Corners of which nothing is entered, in words."""
    known = {one.position for one in model.fitments.all()}
    return ", ".join(label for value, label in Position.choices if value not in known)


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
    words = f"{fitment.get_position_display()}, {fitment.damper_model}, {_years(fitment)}" if fitment else ""
    if fitment and "sure" not in request.POST:
        return show_form(
            request,
            SureForm(row="fitment", key=fitment.pk),
            title=f"Remove a damper from {model}?",
            action="Remove it",
            trail=[*TRAIL, (model, reverse("manage:vehicle_model", args=[pk]))],
            back=reverse("manage:vehicle_model", args=[pk]),
            intro=f"{words}. Vehicles in the book keep the dampers entered for them.",
        )
    if fitment:
        remove_fitment(fitment=fitment, by=request.user, at=timezone.now())
        messages.success(request, f"Removed: {words}. Vehicles in the book keep the dampers entered for them.")
    else:
        messages.info(request, "That entry was removed already.")
    return redirect("manage:vehicle_model", pk)


def _page(request, model, refused=None):
    fitments = [(one, _years(one)) for one in model.fitments.select_related("damper_model")]
    corners = [
        (value, label, [(one, years) for one, years in fitments if one.position == value])
        for value, label in Position.choices
    ]
    still_open = [value for value, _, there in corners if not there]
    context = {
        "model": model,
        "corners": corners,
        "form": refused,
        "add": refused or FitmentForm(initial={"positions": still_open}),
        "damper_models": DamperModel.objects.exists(),
        "interval": told_interval(interval_for(list({one.damper_model for one, _ in fitments}), model)),
        "history": AuditEntry.objects.filter(kind="vehiclemodel", key=str(model.pk)),
        "may_keep": request.user.may("keep_specs"),
        "trail": TRAIL,
    }
    return show(request, "manage/catalogue/vehicle_model.html", context)


def _years(fitment):
    return years_in_words(fitment.year_from, fitment.year_to)
