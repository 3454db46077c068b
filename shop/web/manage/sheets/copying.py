"""Several sheets copied for other model years at once."""

from django.contrib import messages
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from shop.specs.services import copy_sheets
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.manage.sheet_forms import CopyForm, in_one
from shop.web.manage.sheets.words import TRAIL, chosen_sheets
from shop.web.pages import sent, show
from shop.web.words import count

MOST_COPIES = 50


@allow("keep_specs")
def sheets_copy(request):
    chosen = chosen_sheets(request, MOST_COPIES)
    if not chosen:
        messages.info(request, "No sheet is ticked. Tick those whose figures hold for other model years too.")
        return redirect("manage:sheets")
    form = CopyForm(sent(request), sheets=chosen)
    if request.method == "POST" and submit(form, in_one(copy_sheets, form), by=request.user, at=timezone.now()):
        messages.success(
            request, f"{count(len(chosen), 'sheet')} copied as DRAFT. A second person verifies each against its source."
        )
        return redirect(f"{reverse('manage:sheets')}?status=draft")
    return show(request, "manage/sheets_copy.html", {"form": form, "trail": TRAIL})
