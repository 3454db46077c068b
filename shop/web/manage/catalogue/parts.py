"""Stock items and the sizes in which they are bought; what is on the shelf stands on the stock page."""

from django.conf import settings
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.parts.models import Part
from shop.parts.services import add_container, create_part
from shop.specs.models import KitLine
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import FindForm, submit
from shop.web.manage.catalogue.overview import CATALOGUE
from shop.web.manage.catalogue_forms import ContainerForm, PartForm
from shop.web.pages import having_words, page_of, sent, show, show_form

TRAIL = [CATALOGUE, ("Stock items", reverse_lazy("manage:parts"))]


@require_safe
@allow("look")
def parts(request):
    form = FindForm(request.GET, label="Part number, name or bin")
    rows = Part.objects.all() if form.is_valid() else Part.objects.none()
    rows = having_words(rows, form.text, "number", "name", "bin")
    context = {
        "find": form,
        "text": form.text,
        "page": page_of(request, rows.prefetch_related("containers")),
        "may_keep": request.user.may("keep_stock"),
        "trail": TRAIL[:1],
    }
    return show(request, "manage/catalogue/parts.html", context)


@require_safe
@allow("look")
def part(request, pk):
    return _page(request, get_object_or_404(Part, pk=pk))


@allow("keep_stock")
def part_new(request):
    """A new stock item, or with ?number= one that a parts list names, filled in with what that list says."""
    form = PartForm(sent(request), initial=_from_parts_list(request.GET.get("number", "")))
    if request.method == "POST" and (made := submit(form, create_part, by=request.user, at=timezone.now())):
        messages.success(request, f"{made} is a stock item. Deliveries can be received.")
        return redirect("manage:part", made.pk)
    return show_form(request, form, title="New stock item", action="Save", trail=TRAIL, back=reverse("manage:parts"))


def _from_parts_list(part_number):
    line = KitLine.objects.filter(part_number=part_number.replace("\0", "")).first() if part_number else None
    return {"number": line.part_number, "name": line.name, "measure": line.measure} if line else None


@allow("keep_stock")
def container_add(request, pk):
    row = get_object_or_404(Part, pk=pk)
    if request.method != "POST":
        return redirect("manage:part", pk)
    form = ContainerForm(request.POST, part=row)
    if made := submit(form, add_container, part=row, by=request.user, at=timezone.now()):
        messages.success(request, f"{row} is bought in {made} from now on.")
        return redirect("manage:part", pk)
    return _page(request, row, form)


def _page(request, row, refused=None):
    may_keep = request.user.may("keep_stock")
    lines = KitLine.objects.filter(part_number=row.number).select_related("damper_model")
    context = {
        "part": row,
        "containers": row.containers.all(),
        "currency": settings.CURRENCY,
        "used_by": list(dict.fromkeys(line.damper_model for line in lines)),
        "form": refused,
        "add": (refused or ContainerForm(part=row)) if may_keep else None,
        "history": AuditEntry.objects.filter(kind="part", key=str(row.pk)),
        "may_keep": may_keep,
        "trail": TRAIL,
    }
    return show(request, "manage/catalogue/part.html", context)
