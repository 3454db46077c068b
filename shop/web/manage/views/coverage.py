"""What the spec table covers, damper model by damper model, and where it leaves a damper without a verified sheet."""

from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.dampers.models import DamperModel
from shop.specs import coverage as selectors
from shop.web.access import allow
from shop.web.pages import PAGE_SIZE, show

TRAIL = [("Spec table", reverse_lazy("manage:sheets"))]


@require_safe
@allow("look")
def overview(request):
    rows = selectors.overview()
    context = {
        "page": Paginator(rows, PAGE_SIZE).get_page(request.GET.get("page")),
        "uncovered": sum(row.uncovered for row in rows),
        **_may(request.user),
        "trail": TRAIL,
    }
    return show(request, "manage/coverage_overview.html", context)


@require_safe
@allow("look")
def coverage(request, pk):
    model = get_object_or_404(DamperModel, pk=pk)
    found = selectors.coverage_of(model, timezone.localdate().year)
    context = {
        "model": model,
        "columns": found.columns,
        "rows": found.rows,
        "gaps": [(gap, _new_sheet(model, gap)) for gap in found.gaps],
        **_may(request.user),
        "trail": [*TRAIL, ("Coverage", reverse("manage:coverage_overview"))],
    }
    return show(request, "manage/coverage.html", context)


def _may(user):
    return {"may_enter": user.may("keep_specs"), "may_verify": user.may("verify_specs")}


def _new_sheet(model, gap):
    """Address of the page that enters a sheet, filled in with what would close the gap."""
    known = {"damper_model": model.pk, "year_from": gap.first, "year_to": gap.last, "position": gap.position.value}
    return f"{reverse('manage:sheet_new')}?{urlencode(known)}"
