"""The used-oil log at the desk and at the bench: pages, sheet and table."""

import csv
import io
from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from shop.parts.models import Drum, OilEntry
from shop.parts.used_oil import held_by
from shop.workorders.services import check_in
from tests import factories as make
from tests.factories import NOON
from tests.web.people import make_family, make_vehicle_with_dampers, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
LOG = "/used-oil/"


@pytest.fixture
def drum():
    return make.make_drum("Used Oil 1")


@pytest.fixture
def job(desk):
    """The rear left damper of model year 2015: its sheet gives 305 mL."""
    vehicle = make_vehicle_with_dampers(make_family())
    order = make.make_order(vehicle=vehicle, dampers=list(vehicle.dampers.filter(position="rear_left")))
    check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    return order.jobs.get()


def test_without_a_drum_the_log_says_who_enters_one(at_desk, at_bench):
    assert "Enter the first drum" in words(at_desk.get(LOG))
    assert "The front desk or a manager enters the drum" in words(at_bench.get(LOG))
    answer = send(at_desk, reverse("desk:oil_drum_new"), name="Used Oil 1", holds="oil", capacity="55 gal")
    assert answer.status_code == 302
    assert Drum.objects.get().capacity == 208_197_648  # 55 × 231 cubic inches


@pytest.mark.flow
def test_the_bench_notes_what_it_drained_and_estimates_what_nobody_measured(at_bench, drum, job):
    address = reverse("tablet:oil", args=[job.pk])
    page = words(at_bench.get(address))
    assert "the sheet's 305 mL are noted as an estimate" in page
    assert send(at_bench, address, look="dark", entered="").status_code == 302
    entry = OilEntry.objects.get()
    assert (entry.amount, entry.estimated, entry.bag, entry.look) == (305_000, True, job.tag, "dark")
    asked = send(at_bench, address, look="dark", entered="2 qt")
    assert asked.status_code == 422
    assert "Was it drained again?" in words(asked)
    assert send(at_bench, address, look="dark", entered="2 qt", sure="on").status_code == 302
    assert held_by(drum) == 305_000 + 1_892_706
    step = next(one for one in job.procedure.steps.all() if one.pressure == "opened")
    assert "Note the oil drained" in words(at_bench.get(reverse("tablet:step", args=[job.pk, step.number])))


def test_the_desk_notes_by_bag_or_in_words(at_desk, drum, job):
    address = reverse("desk:oil_pour")
    assert send(at_desk, address, bag=job.tag, entered="").status_code == 302
    assert OilEntry.objects.get().source == f"{job.tag} rear left, {job.order}"
    assert send(at_desk, address, entered="3 L", source="the parts washer").status_code == 302
    refused = send(at_desk, address, bag="9999-1", entered="3 L")
    assert (refused.status_code, "No damper has the tag “9999-1”" in words(refused)) == (422, True)
    refused = send(at_desk, address, entered="")
    assert (refused.status_code, "Only oil of a bag can be estimated" in words(refused)) == (422, True)
    assert send(at_desk, address, entered="3 pounds").status_code == 422
    assert OilEntry.objects.count() == 2


def test_more_than_the_book_has_is_asked_about_before_it_is_handed_over(at_desk, drum):
    make.make_oil_entry(drum, 40_000)
    address = f"{reverse('desk:oil_hand_over')}?drum={drum.pk}"
    given = {"hauler": "Basin Oil Recovery", "document": "M-7", "entered": "50 L"}
    assert "It is right as I wrote it" not in words(at_desk.get(address))
    asked = send(at_desk, address, to=address, **given)
    assert asked.status_code == 422
    assert "It is right as I wrote it" in words(asked)
    assert send(at_desk, address, to=address, **given, sure="on").status_code == 302
    assert held_by(drum) == 0


def test_a_wrong_line_is_corrected_on_a_page_of_its_own(at_desk, at_bench, drum):
    entry = make.make_oil_entry(drum, 2000)
    address = reverse("desk:oil_correct", args=[entry.pk])
    assert send(at_desk, address, entered="2 qt", why="quarts, not litres").status_code == 302
    page = words(at_desk.get(LOG))
    assert "quarts, not litres" in page
    assert "1892.706 mL in the drum" in page
    assert send(at_desk, address, entered="1 L", why="again").status_code == 409
    assert at_bench.get(address).status_code == 403


def test_the_sheet_carries_sums_that_add_up_the_shop_and_the_caution(at_bench, settings, drum):
    settings.SHOP = settings.SHOP | {"name": "Larkspur Gulch Powersports", "address": "4 Wash Road"}
    make.make_oil_entry(drum, 2000)
    make.make_oil_entry(drum, 340, look="dark", source="1042-3 rear left")
    make.make_oil_entry(drum, -1500, document="M-7")
    answer = at_bench.get(reverse("desk:oil_sheet"), {"period": "month", "on": "2026-11-30"})
    text = " ".join("\n".join(page.extract_text() for page in PdfReader(BytesIO(answer.content)).pages).split())
    for words_ in ("Larkspur Gulch Powersports", "4 Wash Road", "November 2026", "local rules", "2340", "1500", "840"):
        assert words_ in text, words_


def test_the_table_runs_nothing_in_a_spreadsheet(at_bench, drum):
    make.make_oil_entry(drum, 340, source="=HYPERLINK(0)")
    make.make_oil_entry(drum, -40, hauler="@SUM(A1)", document="+7")
    answer = at_bench.get(reverse("desk:oil_csv"), {"period": "year"})
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["Poured in, mL"] for row in rows] == ["340", "0"]
    assert rows[1]["Hauler"] == "'@SUM(A1)"
    assert not any(cell[:1] in "=+@" for row in rows for cell in row.values() if cell)


@pytest.mark.parametrize("query", [{"period": "century"}, {"on": "soon"}, {"on": "0001-01-01"}, {"on": "9999-12-31"}])
def test_a_span_that_is_none_is_this_month(at_bench, drum, query):
    assert "November 2026" in words(at_bench.get(LOG, query))


def test_a_drum_is_taken_out_of_use_when_it_is_empty(at_desk, drum):
    entry = make.make_oil_entry(drum, 340)
    address = reverse("desk:oil_drum_retire", args=[drum.pk])
    assert "by the book" in words(at_desk.post(address, follow=True))
    send(at_desk, reverse("desk:oil_correct", args=[entry.pk]), strike="on", why="never drained")
    at_desk.post(address)
    assert Drum.objects.get().retired_at


def test_the_haulers_paper_is_kept_as_a_picture_with_its_handing_over(at_desk, at_bench, drum, tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path
    poured, out = make.make_oil_entry(drum, 340), make.make_oil_entry(drum, -340)
    address = reverse("desk:oil_paper_add", args=[out.pk])
    picture = io.BytesIO()
    Image.new("RGB", (60, 80), "white").save(picture, "PNG")
    for _ in range(2):
        file = SimpleUploadedFile("manifest.png", picture.getvalue())
        assert at_desk.post(address, {"scan": file}).status_code == 302
    paper = out.papers.get()  # the same page twice is kept once
    page = at_bench.get(LOG)
    assert "Paper, page 1" in words(page)
    kept = at_bench.get(reverse("desk:oil_paper", args=[out.pk, paper.digest]))
    assert Image.open(io.BytesIO(b"".join(kept.streaming_content))).size == (60, 80)
    refused = at_desk.post(address, {"scan": SimpleUploadedFile("manifest.pdf", b"no picture")})
    assert (refused.status_code, "This file cannot be read" in words(refused)) == (422, True)
    assert at_desk.get(reverse("desk:oil_paper_add", args=[poured.pk])).status_code == 404
    assert at_bench.get(reverse("desk:oil_paper", args=[out.pk, "d" * 64])).status_code == 404
