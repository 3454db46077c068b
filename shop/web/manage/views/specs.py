"""The spec table: sheets with their source, entered by one person and verified by another."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse_lazy
from django.utils import timezone

from shop.calc.units import figures
from shop.core.amounts import altitude, altitude_unit, in_full, in_other_unit, shop_unit, span
from shop.dampers.measures import Measure
from shop.documents.selectors import picture
from shop.specs import services
from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.selectors import FoundSheet
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.manage.forms import SheetForm, SheetsForm, VerifyForm, WithdrawForm
from shop.web.pages import having_words, number, page_of, sent, show
from shop.workorders.kit import freeze

# Of a limit, when a next version begins with what the earlier one says.
MOST_DIGITS = 6
TRAIL = [("Spec table", reverse_lazy("manage:sheets"))]


@allow("look")
def sheets(request):
    form = SheetsForm(request.GET, label="Damper or sheet code")
    rows = SpecSheet.objects.none()
    if form.is_valid():
        rows = SpecSheet.objects.select_related("damper_model", "vehicle_model")
        if form.cleaned_data["status"]:
            rows = rows.filter(status=form.cleaned_data["status"])
        rows = having_words(rows, form.text, "code", "damper_model__maker", "damper_model__name")
    context = {
        "find": form,
        "page": page_of(request, rows),
        "filtered": any(request.GET.get(name) for name in ("q", "status")),
        "may_enter": request.user.may("keep_specs"),
    }
    return show(request, "manage/sheets.html", context)


@allow("look")
def sheet(request, pk):
    return _page(request, _sheet(pk))


@allow("verify_specs")
def sheet_verify(request, pk):
    row = _sheet(pk)
    if request.method != "POST":
        return redirect(row)
    form = VerifyForm(request.POST, flags=row.flags())
    if submit(form, services.verify_sheet, sheet=row, by=request.user, at=timezone.now()):
        messages.success(request, f"{row} is verified: its figures reach the bench from the next check-in on.")
        return redirect(row)
    return _page(request, row, verify=form)


@allow("keep_specs")
def sheet_withdraw(request, pk):
    row = _sheet(pk)
    if request.method != "POST":
        return redirect(row)
    form = WithdrawForm(request.POST)
    if submit(form, services.withdraw_sheet, sheet=row, by=request.user, at=timezone.now()):
        messages.success(request, f"{row} is withdrawn. Jobs that were checked in with it keep its figures.")
        return redirect(row)
    return _page(request, row, withdraw=form)


def _sheet(pk):
    rows = SpecSheet.objects.select_related("damper_model", "vehicle_model", "entered_by", "verified_by", "replaces")
    return get_object_or_404(rows, pk=pk)


def _page(request, row, verify=None, withdraw=None):
    draft = row.status == SheetStatus.DRAFT
    may_verify, flags = draft and request.user.may("verify_specs"), row.flags()
    own = row.edition_by(request.user)
    context = {
        "sheet": row,
        "draft": draft,
        "values": [_value(one, row) for one in row.values.all()],
        "history": AuditEntry.objects.filter(kind="sheet", key=str(row.pk)),
        "form": verify or withdraw,
        "flags": flags,
        "picture": picture(freeze(FoundSheet(row, ""))),
        "verify": (verify or VerifyForm(flags=flags, initial={"edition": row.edition}))
        if may_verify and not own
        else None,
        "own": may_verify and own,
        "withdraw": (withdraw or WithdrawForm())
        if row.status != SheetStatus.WITHDRAWN and request.user.may("keep_specs")
        else None,
        "may_enter": request.user.may("keep_specs")
        and not (row.replaced_by and row.replaced_by.status != SheetStatus.WITHDRAWN),
        "scans": row.scans.select_related("by"),
        "may_add_scan": row.status != SheetStatus.WITHDRAWN and request.user.may("keep_specs"),
        "trail": TRAIL,
    }
    return show(request, "manage/sheet.html", context)


def _value(one, sheet):
    """A figure as printed, in the shop's unit and in the other one, and what is allowed in the shop's unit."""
    return {
        "value": one,
        "shop": in_full(one.value_si, one.quantity),
        "other": in_other_unit(one.value_si, one.quantity),
        "allowed": f"{span(one.low_si, one.high_si, one.quantity)} {shop_unit(one.quantity)}",
        "meant_at": f"{in_full(sheet.reference_k, 'temperature')}, {altitude(sheet.reference_altitude_m)}"
        if one.measure == Measure.CHARGE
        else "",
    }


@allow("keep_specs")
def sheet_new(request):
    """A new sheet, or with ?replaces= the next version of one, filled in with what that one says."""
    earlier = _sheet(number(request.GET["replaces"])) if "replaces" in request.GET else None
    form = SheetForm(sent(request), initial=_from(earlier) if earlier else None)
    if request.method == "POST" and (made := submit(form, services.enter_sheet, by=request.user, at=timezone.now())):
        messages.success(request, f"{made} is entered as a DRAFT. A second person verifies it against the source.")
        return redirect(made)
    return show(request, "manage/sheet_new.html", {"form": form, "trail": TRAIL, "earlier": earlier})


def _from(sheet):
    names = ("damper_model", "vehicle_model", "position", "year_from", "year_to", "code", "source_document")
    filled = {name: getattr(sheet, name) for name in names} | {
        "replaces": sheet,
        "reference_temperature": figures(sheet.reference_k, shop_unit("temperature"), MOST_DIGITS),
        "reference_altitude": figures(sheet.reference_altitude_m, altitude_unit(), MOST_DIGITS),
    }
    for name in ("reference_temperature", "reference_altitude"):
        filled[name] = filled[name].rstrip("0").rstrip(".")
    for one in sheet.values.all():
        low, high = (figures(si, one.unit, MOST_DIGITS).rstrip("0").rstrip(".") for si in (one.low_si, one.high_si))
        filled |= {
            one.measure: one.figures, f"{one.measure}_unit": one.unit, f"{one.measure}_tolerance": one.tolerance,
            f"{one.measure}_low": low, f"{one.measure}_high": high, f"{one.measure}_page": one.page,
        }  # fmt: skip
    return filled
