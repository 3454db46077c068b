"""Scans of the source's pages: kept beside the figures, so that whoever verifies has the source before the eyes."""

import hashlib
from datetime import datetime

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Max

from shop.core.errors import Conflict, renamed
from shop.core.images import Picture, pictures_of
from shop.specs.models import SheetScan, SheetStatus, SpecSheet
from shop.staff.models import User
from shop.staff.services import note as audit

MOST_SCANS = 12


@transaction.atomic
def attach_scan(*, sheet: SpecSheet, scan, by: User, at: datetime) -> SheetScan:
    """Keep a picture or a PDF of the source with a sheet, page by page; the last page is the answer.

    scan is a file opened for reading, with a name. The same page twice is kept once.
    """
    sheet = SpecSheet.objects.select_for_update().get(pk=sheet.pk)
    if sheet.status == SheetStatus.WITHDRAWN:
        raise Conflict(f"{sheet} is withdrawn: it takes no scans any more.", code="withdrawn")
    try:
        pages = pictures_of(scan)
    except ValidationError as error:
        raise renamed(error, __all__="scan") from error
    known = {one.digest: one for one in sheet.scans.all()}
    if len(known) + len(pages) > MOST_SCANS:
        raise ValidationError(
            {"scan": f"{sheet} has {len(known)} of at most {MOST_SCANS} pages; {len(pages)} more are too many."},
            code="too_many",
        )
    number = sheet.scans.aggregate(highest=Max("number", default=0))["highest"]
    for page in pages:
        digest = hashlib.sha256(page.content).hexdigest()
        if digest not in known:
            number += 1
            known[digest] = _keep(sheet, number, digest, page, scan.name, by, at)
        last = known[digest]
    count = f"{len(pages)} page{'s' if len(pages) > 1 else ''}"
    audit(who=by, kind="sheet", key=sheet.pk, what=f"scan of the source: {scan.name}, {count}", at=at)
    return last


def _keep(sheet, number: int, digest: str, page: Picture, name: str, by: User, at: datetime) -> SheetScan:
    """The file first: a row never names a file that is not there. One too many, after a crash, does no harm."""
    scan = SheetScan(
        sheet=sheet,
        number=number,
        digest=digest,
        width=page.width,
        height=page.height,
        file_name=str(name)[-200:],
        by=by,
        at=at,
    )
    scan.full_clean()
    if not default_storage.exists(scan.path):
        default_storage.save(scan.path, ContentFile(page.content))
    scan.save()
    return scan


@transaction.atomic
def remove_scan(*, scan: SheetScan, by: User, at: datetime) -> None:
    """Take a wrong page away from a draft; what was verified keeps its pages. Twice is as good as once."""
    sheet = SpecSheet.objects.select_for_update().get(pk=scan.sheet_id)
    if sheet.status != SheetStatus.DRAFT:
        raise Conflict(f"{sheet} is {sheet.get_status_display()}: it keeps the pages it was held against.", code="kept")
    removed, _ = SheetScan.objects.filter(pk=scan.pk).delete()
    if removed:
        audit(who=by, kind="sheet", key=sheet.pk, what=f"scan taken away: page {scan.number}", at=at)
