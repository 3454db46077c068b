"""Entering a sheet, its next version or a copy of it, and changing a draft."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.calc.errors import CalcError
from shop.calc.tolerance import limits
from shop.calc.units import UNITS, parse
from shop.dampers.measures import QUANTITY, SPECIFIED
from shop.specs.models import SheetStatus
from shop.specs.services import change_draft, enter_sheet
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.manage.sheet_forms import ChangeForm, SheetForm, allowed_in_words, filled_from
from shop.web.manage.sheets.words import TRAIL, sheet_or_404, under
from shop.web.pages import number, sent, show

# What another page knows already of the sheet that is missing: ?damper_model=1&year_from=2015&position=rear
ASKED = ("damper_model", "vehicle_model", "position", "year_from", "year_to", "code")
PLACE = ("vehicle_model", "position", "year_from", "year_to")


@allow("keep_specs")
def sheet_new(request):
    """A new sheet; with ?replaces= the next version of one, with ?copy= one like it for another place."""
    earlier = sheet_or_404(number(request.GET["replaces"])) if "replaces" in request.GET else None
    model = sheet_or_404(number(request.GET["copy"])) if "copy" in request.GET else None
    form = SheetForm(sent(request), initial=_begin_with(request, earlier, model))
    if request.method == "POST" and (made := submit(form, enter_sheet, by=request.user, at=timezone.now())):
        messages.success(request, f"{made} is entered as a DRAFT. A second person verifies it against the source.")
        return redirect(made)
    title = f"Next version of {earlier}" if earlier else f"Copy of {model}" if model else "New sheet"
    context = {"form": form, "title": title, "action": "Enter as draft", "trail": TRAIL, "back": TRAIL[0][1]}
    return show(request, "manage/sheet_form.html", context)


def _begin_with(request, earlier, model) -> dict:
    if earlier:
        return filled_from(earlier) | {
            "replaces": earlier,
            "code": earlier.code,
            "source_revision": "",
            "source_page": "",
        }
    filled = filled_from(model) if model else {}
    filled = {name: one for name, one in filled.items() if name not in PLACE}
    return filled | {name: request.GET[name] for name in ASKED if name in request.GET}


@allow("keep_specs")
def sheet_change(request, pk):
    row = sheet_or_404(pk)
    if row.status != SheetStatus.DRAFT and request.method != "POST":
        messages.info(request, f"{row} is {row.get_status_display()}: what was verified stays. Enter its next version.")
        return redirect(row)
    form = ChangeForm(sent(request), initial=filled_from(row) | {"edition": row.edition})
    if request.method == "POST" and (
        changed := submit(form, change_draft, sheet=row, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{changed} is changed. A second person verifies what it says now.")
        return redirect(changed)
    present = None
    if getattr(form, "status", 200) == 409:
        present = sheet_or_404(pk)
        form.take_present(present)
    context = {
        "form": form,
        "title": f"Change {row}",
        "action": "Save the draft",
        "trail": under(row),
        "back": row.get_absolute_url(),
        "present": present,
        "sheet": row,
    }
    return show(request, "manage/sheet_form.html", context)


@require_safe
@allow("keep_specs")
def sheet_limits(request):
    """What a tolerance allows, in one sentence, for the hint beside the field that it is typed into."""
    measure = next((one for one in SPECIFIED if one == request.GET.get("measure")), None)
    unit, value = request.GET.get("unit", ""), request.GET.get("value", "")
    tolerance = request.GET.get("tolerance", "")
    words = ""
    if measure and value.strip() and tolerance.strip():
        own = unit if unit in UNITS and UNITS[unit].quantity == QUANTITY[measure] else None
        try:
            entered = parse(value, QUANTITY[measure], own, field=measure.label)
            low, high = limits(entered, tolerance, QUANTITY[measure], f"{measure.label}, tolerance")
            words = f"Allowed: {allowed_in_words(low, high, entered.unit)}"
        except CalcError as error:
            words = str(error)
    return HttpResponse(words, content_type="text/plain; charset=utf-8")
