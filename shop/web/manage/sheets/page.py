"""One sheet: its figures, where they come from, and how it came to say what it says."""

from django.contrib import messages
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.documents.selectors import picture
from shop.specs.history import editions_of
from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.search import rival_of
from shop.specs.selectors import FoundSheet
from shop.specs.services import withdraw_sheet
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.manage.sheet_forms import WithdrawForm
from shop.web.manage.sheets.words import TRAIL, in_detail, sheet_or_404
from shop.web.pages import show
from shop.workorders.kit import freeze


@require_safe
@allow("look")
def sheet(request, pk):
    return _page(request, sheet_or_404(pk))


@allow("keep_specs")
def sheet_withdraw(request, pk):
    row = sheet_or_404(pk)
    if request.method != "POST":
        return redirect(row)
    draft = row.status == SheetStatus.DRAFT
    form = WithdrawForm(request.POST, draft=draft)
    if submit(form, withdraw_sheet, sheet=row, by=request.user, at=timezone.now()):
        done = "is discarded." if draft else "is withdrawn. Jobs that were checked in with it keep its figures."
        messages.success(request, f"{row} {done}")
        return redirect(row)
    return _page(request, row, withdraw=form)


def _page(request, row, withdraw=None):
    draft, may_keep = row.status == SheetStatus.DRAFT, request.user.may("keep_specs")
    may_verify, own = draft and request.user.may("verify_specs"), row.edition_by(request.user)
    replaced = row.replaced_by and row.replaced_by.status != SheetStatus.WITHDRAWN
    versions = SpecSheet.objects.filter(code=row.code).order_by("-version").select_related("entered_by", "verified_by")
    context = {
        "sheet": row,
        "draft": draft,
        "values": [in_detail(one, row) for one in row.values.all()],
        "editions": editions_of(row),
        "history": AuditEntry.objects.filter(kind="sheet", key=str(row.pk)),
        "versions": versions,
        "form": withdraw,
        "flags": row.flags(),
        "rival": rival_of(row) if draft else None,
        "picture": picture(freeze(FoundSheet(row, ""))),
        "may_verify": may_verify and not own,
        "own": may_verify and own,
        "withdraw": (withdraw or WithdrawForm(draft=draft))
        if row.status != SheetStatus.WITHDRAWN and may_keep
        else None,
        "may_keep": may_keep,
        "may_go_on": may_keep and not draft and not replaced and not row.discarded,
        "scans": row.scans.select_related("by"),
        "may_add_scan": row.status != SheetStatus.WITHDRAWN and may_keep,
        "trail": TRAIL,
    }
    return show(request, "manage/sheet.html", context)
