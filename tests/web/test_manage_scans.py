"""Pages of the source as pictures: kept with the sheet, shown to all who may look, taken away from drafts only."""

import io
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from shop.specs.models import SheetScan, SheetStatus
from tests import factories as make
from tests.core.test_images import file, pdf
from tests.web.people import words

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _media(tmp_path, settings):
    storages = {**settings.STORAGES}
    storages["default"] = storages["default"] | {"OPTIONS": {"location": tmp_path}}
    settings.STORAGES = storages


@pytest.fixture
def sheet():
    return make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT)


def send(client, sheet, content, name="page 41.jpg"):
    data = {"scan": SimpleUploadedFile(name, content)}
    return client.post(reverse("manage:scan_add", args=[sheet.pk]), data)


def test_a_page_is_kept_and_shown(as_manager, at_bench, sheet):
    answer = send(as_manager, sheet, file().getvalue())
    assert "page 41.jpg is kept" in words(as_manager.get(answer.url))
    (scan,) = sheet.scans.all()
    picture = at_bench.get(scan.get_absolute_url())
    assert picture["Content-Type"] == "image/jpeg"
    assert picture["Cache-Control"].startswith("private")
    assert Image.open(io.BytesIO(picture.getvalue())).size == (300, 200)
    assert "Page 1, from page 41.jpg" in words(at_bench.get(sheet.get_absolute_url()))


def test_the_pages_of_a_pdf_count_on_and_the_same_again_is_kept_once(as_manager, sheet):
    send(as_manager, sheet, file().getvalue())
    send(as_manager, sheet, pdf(2).getvalue(), "manual.pdf")
    send(as_manager, sheet, file().getvalue())
    assert [one.number for one in sheet.scans.all()] == [1, 2]  # the two blank pages are one


def test_what_is_no_picture_is_told_beside_the_field(as_manager, sheet):
    answer = send(as_manager, sheet, b"torque 22", "notes.txt")
    assert answer.status_code == 422
    assert "Send a JPEG, PNG, WebP or TIFF picture, or a PDF." in words(answer)
    assert not SheetScan.objects.exists()
    empty = send(as_manager, sheet, b"", "nothing.jpg")
    assert "This file is empty." in words(empty)
    assert "No file is chosen." in words(as_manager.post(reverse("manage:scan_add", args=[sheet.pk])))


def test_there_is_an_end_to_the_pages_of_a_sheet(as_manager, sheet):
    for size in range(1, 13):
        send(as_manager, sheet, file(size=(100 + size, 100)).getvalue())
    answer = send(as_manager, sheet, file().getvalue())
    assert "has 12 of at most 12 pages" in words(answer)


def test_a_body_above_the_limit_of_files_is_413_and_other_pages_keep_their_smaller_one(as_manager, sheet):
    add = reverse("manage:scan_add", args=[sheet.pk])
    answer = as_manager.post(add, {"scan": SimpleUploadedFile("a.jpg", b"x" * 16_000_001)})
    assert answer.status_code == 413
    assert "16 MB at most" in words(answer)
    assert send(as_manager, sheet, b"x" * 3_000_000).status_code == 422
    other = as_manager.post(reverse("manage:sheet_new"), {"scan": SimpleUploadedFile("a.jpg", b"x" * 3_000_000)})
    assert other.status_code == 413


def test_a_page_is_taken_away_from_a_draft_after_a_question(as_manager, sheet):
    send(as_manager, sheet, file().getvalue())
    away = reverse("manage:scan_remove", args=[sheet.pk, sheet.scans.get().digest])
    assert "Take page 1 away" in words(as_manager.post(away))
    assert sheet.scans.count() == 1
    assert as_manager.post(away, {"sure": "yes"}).status_code == 302
    assert sheet.scans.count() == 0
    assert as_manager.post(away, {"sure": "yes"}).status_code == 302


def test_another_page_under_the_same_number_has_an_address_of_its_own(as_manager, sheet):
    send(as_manager, sheet, file().getvalue())
    first = sheet.scans.get()
    as_manager.post(reverse("manage:scan_remove", args=[sheet.pk, first.digest]), {"sure": "yes"})
    send(as_manager, sheet, file(size=(100, 100)).getvalue())
    second = sheet.scans.get()
    assert second.number == first.number
    assert as_manager.get(first.get_absolute_url()).status_code == 404  # and no browser shows the old for the new
    assert Image.open(io.BytesIO(as_manager.get(second.get_absolute_url()).getvalue())).size == (100, 100)


def test_a_page_that_was_added_after_the_verification_says_so(as_manager, sheet, technician):
    send(as_manager, sheet, file().getvalue())
    sheet.status, sheet.verified_by, sheet.verified_at = SheetStatus.VERIFIED, technician, timezone.now()
    sheet.save()
    late = "added after it was verified"
    assert late not in words(as_manager.get(sheet.get_absolute_url()))
    send(as_manager, sheet, file(size=(100, 100)).getvalue(), "page 42.jpg")
    page = words(as_manager.get(sheet.get_absolute_url()))
    assert re.search(f"page 42.jpg, [^;]*; {late}", page)
    assert page.count(late) == 1


def test_a_verified_sheet_keeps_its_pages_on_every_road(as_manager, manager):
    sheet = make.make_sheet(make.make_damper_model())
    send(as_manager, sheet, file().getvalue())
    answer = as_manager.post(reverse("manage:scan_remove", args=[sheet.pk, sheet.scans.get().digest]), {"sure": "yes"})
    assert "keeps the pages it was held against" in words(as_manager.get(answer.url))
    for attack in (sheet.scans.all().delete, lambda: sheet.scans.update(digest="b" * 64)):
        with pytest.raises(IntegrityError, match="kept with its sheet"), transaction.atomic():
            attack()


def test_a_withdrawn_sheet_takes_no_scan(as_manager):
    sheet = make.make_sheet(make.make_damper_model(), status=SheetStatus.WITHDRAWN)
    assert send(as_manager, sheet, file().getvalue()).status_code == 409


def test_a_picture_that_is_gone_from_the_storage_is_404(as_manager, sheet, tmp_path):
    send(as_manager, sheet, file().getvalue())
    (scan,) = sheet.scans.all()
    (tmp_path / scan.path).unlink()
    assert as_manager.get(scan.get_absolute_url()).status_code == 404
