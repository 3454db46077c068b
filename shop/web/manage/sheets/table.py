"""Many drafts as a table of text cells, saved together."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html, format_html_join

from shop.dampers.models import DamperModel
from shop.specs.models import SheetPosition, SheetStatus, SpecSheet
from shop.specs.search import Asked, find_sheets
from shop.specs.services import write_drafts
from shop.web.access import allow
from shop.web.forms import FindForm, submit
from shop.web.manage.sheet_forms import in_one
from shop.web.manage.sheet_table_form import TableForm, measure_heads
from shop.web.manage.sheets.words import TRAIL, brief
from shop.web.pages import number, show
from shop.web.words import count

DRAFTS_ON_A_PAGE = 25
EMPTY_ROWS, MORE_ROWS, MOST_ROWS = 5, 10, 90


@allow("keep_specs")
def sheets_table(request):
    """The drafts of a search (?q=) or of one damper model (?damper_model=), and empty rows for new sheets."""
    find = FindForm(request.GET, label="Damper, vehicle, model year, position or code")
    asked = request.GET.get("damper_model")
    model = get_object_or_404(DamperModel, pk=number(asked)) if asked else None
    rows = find_sheets(Asked.of(find.text)) if find.is_valid() else SpecSheet.objects.none()
    rows = rows.filter(damper_model=model) if model else rows
    drafts = Paginator(rows.filter(status=SheetStatus.DRAFT), DRAFTS_ON_A_PAGE).get_page(request.GET.get("page"))
    form = _form(request, drafts, model)
    if form.is_bound and submit(form, in_one(write_drafts, form), by=request.user, at=timezone.now()):
        messages.success(request, _told(form))
        return redirect(request.get_full_path())
    if form.is_bound and form.errors:
        form.take_present()
    verified = rows.filter(status=SheetStatus.VERIFIED)
    context = {
        "form": form,
        "find": find,
        "model": model,
        "drafts": drafts,
        "verified": [(sheet, brief(sheet)) for sheet in verified[:DRAFTS_ON_A_PAGE]],
        "verified_left_out": max(0, verified.count() - DRAFTS_ON_A_PAGE),
        "heads": measure_heads(),
        "positions": [one.label for one in SheetPosition],
        "more": MORE_ROWS,
        "may_have_more": len(form.lines) + MORE_ROWS <= MOST_ROWS,
        "all": reverse("manage:sheets_table"),
        "trail": TRAIL,
    }
    return show(request, "manage/sheets_table.html", context)


def _told(form):
    """What was saved, each sheet with its address: a new one may lie outside the search and vanish from the table."""
    changed = [form.lines[row] for row in form.written if form.lines[row]]
    codes = [draft.code for draft in form.cleaned_data["rows"] if draft.sheet is None]
    saved = [*changed, *SpecSheet.objects.filter(code__in=codes, status=SheetStatus.DRAFT)]
    return format_html(
        "{} saved: {}. A second person verifies the drafts.",
        count(len(form.written), "row"),
        format_html_join(", ", '<a href="{}">{}</a>', [(one.get_absolute_url(), one) for one in saved]),
    )


def _form(request, drafts, model):
    if request.method != "POST":
        return TableForm(lines=[*drafts, *[None] * EMPTY_ROWS], damper_model=model)
    lines = _lines(request.POST)
    if "more" not in request.POST:
        return TableForm(request.POST, lines=lines, damper_model=model)
    lines = [*lines, *[None] * MORE_ROWS][:MOST_ROWS]
    typed = {name: request.POST[name] for name in request.POST if name not in ("count", "csrfmiddlewaretoken", "more")}
    return TableForm(lines=lines, damper_model=model, initial=typed)


def _lines(data) -> list[SpecSheet | None]:
    """The rows as the page was sent: a draft, by its key, or an empty row."""
    rows = min(number(data.get("count")), MOST_ROWS)
    keys = {row: number(data[f"{row}-sheet"]) for row in range(rows) if data.get(f"{row}-sheet")}
    drafts = SpecSheet.objects.select_related("damper_model", "vehicle_model").prefetch_related("values")
    found = drafts.in_bulk(keys.values())
    if set(found) != set(keys.values()):
        raise Http404
    return [found[keys[row]] if row in keys else None for row in range(rows)]
