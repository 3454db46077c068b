"""Labour times of damper models and of the shop: one page for both."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone

from shop.calc.bench_time import hours
from shop.core.errors import Conflict
from shop.dampers.models import DamperModel
from shop.specs.labour import labour_time_for
from shop.specs.models import LabourTime
from shop.specs.services import remove_labour_time, set_labour_time
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.manage.catalogue.overview import CATALOGUE
from shop.web.manage.hours_forms import LabourTimeForm
from shop.web.pages import sent, show


@allow("keep_hours")
def of_damper_model(request, pk):
    model = get_object_or_404(DamperModel, pk=pk)
    back = reverse("manage:damper_model", args=[pk])
    trail = [CATALOGUE, ("Damper models", reverse_lazy("manage:damper_models")), (model, back)]
    return _page(request, model, f"Labour time: {model}", trail, back, ("dampermodel", str(pk)))


@allow("keep_hours")
def by_default(request):
    back = reverse("manage:hours")
    return _page(request, None, "Labour time", [("Bench hours", back)], back, ("labour", "default"))


def _page(request, model, title, trail, back, kind):
    own = LabourTime.objects.filter(damper_model=model).first()
    form = LabourTimeForm(sent(request), own=own, by_default=model is None)
    if request.method == "POST" and "remove" in request.POST and model:
        try:
            seen = request.POST.get("seen", "")[:64]
            remove_labour_time(damper_model=model, seen=seen, by=request.user, at=timezone.now())
        except Conflict as conflict:
            form = LabourTimeForm(own=own, by_default=False)
            form.status = 409
            messages.error(request, " ".join(conflict.messages))
        else:
            messages.success(request, "Removed: the shop's default holds.")
            return redirect(back)
    elif request.method == "POST":
        if submit(form, set_labour_time, damper_model=model, by=request.user, at=timezone.now()):
            messages.success(request, "The labour time is set. Orders that are booked keep theirs.")
            return redirect(back)
        if form.status == 409:
            form.catch_up(LabourTime.objects.filter(damper_model=model).first())
    holds, rule = labour_time_for(model)
    context = {
        "form": form,
        "title": title,
        "trail": trail,
        "back": back,
        "holds": hours(holds.minutes),
        "rule": rule,
        "own": own if model else None,
        "history": AuditEntry.objects.filter(kind=kind[0], key=kind[1], what__startswith="labour time"),
    }
    return show(request, "manage/catalogue/labour.html", context)
