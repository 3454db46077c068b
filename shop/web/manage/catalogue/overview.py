"""The way into the catalogue: what is in it, and what is still to be entered."""

from django.db.models import Exists, OuterRef
from django.urls import reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.core.clock import local_day
from shop.core.rows import names
from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel
from shop.dampers.selectors import carried
from shop.documents.selectors.words import NO_SOURCE
from shop.parts.models import Part
from shop.specs.intervals import interval_for
from shop.specs.models import KitLine, Procedure, SheetStatus, SpecSheet
from shop.specs.selectors import current_procedure
from shop.web.access import allow
from shop.web.manage.catalogue.words import is_pressing, told_interval
from shop.web.pages import show
from shop.workorders.models import Tool

CATALOGUE = ("Catalogue", reverse_lazy("manage:catalogue"))


@require_safe
@allow("look")
def catalogue(request):
    today = local_day(timezone.now())
    tools = Tool.objects.filter(in_use=True)
    serviced = DamperModel.objects.filter(serviceable=True)
    verified = SpecSheet.objects.filter(damper_model=OuterRef("pk"), status=SheetStatus.VERIFIED)
    vehicle_models = list(VehicleModel.objects.prefetch_related("fitments"))
    context = {
        "damper_models": DamperModel.objects.count(),
        "without_sheet": names(serviced.exclude(Exists(verified))),
        "without_kit": names(serviced.filter(kit_lines=None)),
        "vehicle_models": len(vehicle_models),
        "with_gap": names(one for one in vehicle_models if any(years.gap for years in carried(one))),
        "parts": Part.objects.count(),
        "not_kept": names(numbers_not_kept()),
        "tools": len(tools),
        "pressing": names(tool for tool in tools if is_pressing(tool, today)),
        "sheets": SpecSheet.objects.exclude(status=SheetStatus.WITHDRAWN).count(),
        "sheet_drafts": SpecSheet.objects.filter(status=SheetStatus.DRAFT).count(),
        "sheets_unsourced": SpecSheet.objects.exclude(status=SheetStatus.WITHDRAWN)
        .filter(source_revision=NO_SOURCE)
        .count(),
        "procedure": current_procedure(),
        "procedure_draft": Procedure.objects.filter(made_current_at=None).first(),
        "interval": told_interval(interval_for([])),
        "may_keep": request.user.may("keep_specs"),
        "may_exchange": request.user.may("exchange"),
        "may_keep_stock": request.user.may("keep_stock"),
    }
    return show(request, "manage/catalogue/catalogue.html", context)


def numbers_not_kept():
    """Part numbers of parts lists that no stock item has, or one that is measured otherwise: these cannot be picked."""
    kept = Part.objects.filter(number=OuterRef("part_number"), measure=OuterRef("measure"))
    lines = KitLine.objects.exclude(Exists(kept)).order_by("part_number")
    return lines.values_list("part_number", flat=True).distinct()
