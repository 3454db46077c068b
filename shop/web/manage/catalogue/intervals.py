"""Service intervals of damper models, of vehicle models and of the shop: one page for all three."""

from dataclasses import dataclass

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_POST

from shop.core.errors import Conflict
from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel
from shop.specs.intervals import FoundInterval, as_seen, interval_for
from shop.specs.models import ServiceInterval
from shop.specs.services import remove_interval, set_interval
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import SureForm, submit
from shop.web.manage.catalogue.overview import CATALOGUE
from shop.web.manage.catalogue.words import due_after, told_interval
from shop.web.manage.catalogue_forms import IntervalForm
from shop.web.pages import sent, show, show_form


@dataclass(frozen=True)
class Subject:
    """What an interval is of, and where its pages are."""

    name: str
    page: str  # the name of its interval's page
    back: str
    trail: list
    audit: tuple[str, object]
    damper_model: DamperModel | None = None
    vehicle_model: VehicleModel | None = None

    @property
    def models(self):
        return {"damper_model": self.damper_model, "vehicle_model": self.vehicle_model}

    @property
    def args(self):
        return [model.pk for model in self.models.values() if model]

    @property
    def address(self):
        return reverse(f"manage:{self.page}", args=self.args)

    def own(self) -> ServiceInterval | None:
        return ServiceInterval.objects.filter(**self.models).first()

    def found(self) -> FoundInterval:
        if self.vehicle_model:
            carried = DamperModel.objects.filter(fitments__vehicle_model=self.vehicle_model).distinct()
            return interval_for(list(carried), self.vehicle_model)
        return interval_for([self.damper_model] if self.damper_model else [])


def _damper_model(pk) -> Subject:
    model, back = get_object_or_404(DamperModel, pk=pk), reverse("manage:damper_model", args=[pk])
    trail = [CATALOGUE, ("Damper models", reverse_lazy("manage:damper_models")), (model, back)]
    return Subject(str(model), "damper_interval", back, trail, ("dampermodel", pk), damper_model=model)


def _vehicle_model(pk) -> Subject:
    model, back = get_object_or_404(VehicleModel, pk=pk), reverse("manage:vehicle_model", args=[pk])
    trail = [CATALOGUE, ("Vehicle models", reverse_lazy("manage:vehicle_models")), (model, back)]
    return Subject(str(model), "vehicle_interval", back, trail, ("vehiclemodel", pk), vehicle_model=model)


def _shop() -> Subject:
    back = reverse("manage:catalogue")
    return Subject("the shop's default", "shop_interval", back, [CATALOGUE], ("interval", "default"))


@allow("keep_specs")
def of_damper_model(request, pk):
    return _interval(request, _damper_model(pk))


@allow("keep_specs")
def of_vehicle_model(request, pk):
    return _interval(request, _vehicle_model(pk))


@allow("keep_specs")
def by_default(request):
    return _interval(request, _shop())


@require_POST
@allow("keep_specs")
def remove_of_damper_model(request, pk):
    return _remove(request, _damper_model(pk))


@require_POST
@allow("keep_specs")
def remove_of_vehicle_model(request, pk):
    return _remove(request, _vehicle_model(pk))


@require_POST
@allow("keep_specs")
def remove_by_default(request):
    return _remove(request, _shop())


def _interval(request, subject):
    form = IntervalForm(sent(request), initial=IntervalForm.filled_from(subject.own()))
    if request.method == "POST":
        if made := submit(form, set_interval, **subject.models, by=request.user, at=timezone.now()):
            messages.success(request, f"Due after {due_after(made)}: {subject.name}. The forecasts follow.")
            return redirect(subject.back)
        if form.status == 409:
            form.catch_up(subject.own())
    own, kind = subject.own(), subject.audit
    context = {
        "subject": subject,
        "interval": told_interval(subject.found()),
        "form": form,
        "own": own,
        "remove_address": f"{subject.address}remove/",
        "history": AuditEntry.objects.filter(kind=kind[0], key=str(kind[1]), what__startswith="service interval"),
        "trail": subject.trail,
    }
    return show(request, "manage/catalogue/interval.html", context)


def _remove(request, subject):
    own, changed = subject.own(), ""
    if own and "sure" in request.POST:
        try:
            remove_interval(interval=own, seen=request.POST.get("seen", ""), by=request.user, at=timezone.now())
        except Conflict:
            changed = "Somebody else has changed it since you opened it. "
        else:
            messages.success(request, f"Removed. {subject.found().rule} The forecasts follow.")
            return redirect(subject.back)
    if own is None:
        messages.info(request, "It has no interval of its own any more.")
        return redirect(subject.back)
    form = SureForm(row="seen", key=as_seen(own))
    form.status = 409 if changed else 200
    return show_form(
        request,
        form,
        title=f"Remove the interval of {subject.name}?",
        action="Remove it",
        trail=subject.trail,
        back=subject.address,
        intro=f"{changed}It says: due after {due_after(own)}. Without it the next rule holds.",
    )
