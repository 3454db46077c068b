"""The pages of a sheet's source as pictures."""

from django import forms
from django.contrib import messages
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from shop.core.errors import Conflict
from shop.core.images import IN_WORDS
from shop.specs.models import SheetScan, SheetStatus, SpecSheet
from shop.specs.services import attach_scan, remove_scan
from shop.web.access import allow, takes_files
from shop.web.forms import KeyedForm, SureForm, submit
from shop.web.pages import sent, show_form

MOST_BYTES = 16_000_000


class ScanForm(KeyedForm):
    scan = forms.FileField(
        label="Page of the source",
        max_length=200,
        help_text=f"{IN_WORDS[0].upper()}{IN_WORDS[1:]}, at most {MOST_BYTES // 1_000_000} MB. "
        "Place and camera are taken out of it.",
        widget=forms.ClearableFileInput({"accept": "image/jpeg,image/png,image/webp,image/tiff,application/pdf"}),
        error_messages={"required": "No file is chosen. Choose one.", "empty": "This file is empty. Choose another."},
    )


@takes_files(MOST_BYTES)
@allow("keep_specs")
def scan_add(request, pk):
    sheet = get_object_or_404(SpecSheet, pk=pk)
    form = ScanForm(sent(request), request.FILES if request.method == "POST" else None)
    if request.method == "POST" and (
        scan := submit(form, attach_scan, sheet=sheet, by=request.user, at=timezone.now())
    ):
        messages.success(request, f"{scan.file_name} is kept with {sheet}, up to page {scan.number}.")
        return redirect(sheet)
    return show_form(
        request, form, title=f"Scan of the source of {sheet}", action="Keep it",
        trail=_trail(sheet), back=sheet.get_absolute_url(),
    )  # fmt: skip


@require_safe
@allow("look")
def scan(request, pk, digest):
    row = get_object_or_404(SheetScan, sheet=pk, digest=digest)
    try:
        file = default_storage.open(row.path)
    except OSError as error:
        raise Http404(f"The picture of {row} is not in the storage any more.") from error
    answer = FileResponse(file, content_type="image/jpeg")
    answer["Cache-Control"] = "private, max-age=31536000, immutable"
    return answer


@require_POST
@allow("keep_specs")
def scan_remove(request, pk, digest):
    row = SheetScan.objects.filter(sheet=pk, digest=digest).select_related("sheet").first()
    sheet = row.sheet if row else get_object_or_404(SpecSheet, pk=pk)
    if row and sheet.status == SheetStatus.DRAFT and "sure" not in request.POST:
        return show_form(
            request, SureForm(row="scan", key=row.pk), title=f"Take page {row.number} away from {sheet}?",
            action="Take it away", trail=_trail(sheet), back=sheet.get_absolute_url(),
            intro=f"It came from {row.file_name}.",
        )  # fmt: skip
    if row:
        try:
            remove_scan(scan=row, by=request.user, at=timezone.now())
            messages.success(request, f"Page {row.number} is taken away from {sheet}.")
        except Conflict as error:
            messages.error(request, error.messages[0])
    return redirect(sheet)


def _trail(sheet):
    return [("Spec table", reverse("manage:sheets")), (sheet, sheet.get_absolute_url())]
