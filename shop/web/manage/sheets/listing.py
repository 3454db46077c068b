"""The spec table, sheet by sheet."""

from django.views.decorators.http import require_safe

from shop.specs.models import SpecSheet
from shop.specs.search import Asked, find_sheets, waiting
from shop.web.access import allow
from shop.web.manage.sheet_forms import SheetsForm
from shop.web.manage.sheets.words import brief
from shop.web.pages import page_of, show


@require_safe
@allow("look")
def sheets(request):
    form = SheetsForm(request.GET, label="Damper, vehicle, model year, position or code")
    asked = Asked.of(form.text)
    rows = find_sheets(asked, form.cleaned_data["status"]) if form.is_valid() else SpecSheet.objects.none()
    page = page_of(request, rows)
    context = {
        "find": form,
        "asked": asked,
        "page": page,
        "rows": [(sheet, brief(sheet)) for sheet in page],
        "filtered": any(request.GET.get(name) for name in ("q", "status")),
        "waiting": waiting().count(),
        "may_enter": request.user.may("keep_specs"),
        "may_verify": request.user.may("verify_specs"),
    }
    return show(request, "manage/sheets.html", context)
