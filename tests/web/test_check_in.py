"""Checking in with condition, photos, agreement and signature; photos afterwards; handing back with all of it."""

import base64
import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image, ImageDraw

from shop.core.images import SIGNATURE
from shop.customers.models import MeterReading
from shop.workorders import services
from shop.workorders.models import Condition, OrderStatus, Photo, WorkOrder
from tests import factories as make
from tests.core.test_images import file
from tests.factories import NOON
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]


@pytest.fixture(autouse=True)
def _media(tmp_path, settings):
    storages = {**settings.STORAGES}
    storages["default"] = storages["default"] | {"OPTIONS": {"location": tmp_path}}
    settings.STORAGES = storages


@pytest.fixture
def order(desk):
    vehicle = make.make_vehicle()
    dampers = [make.make_damper(vehicle, position) for position in ("rear_left", "rear_right")]
    return make.make_order(by=desk, dampers=dampers)


@pytest.fixture
def jobs(order):
    return list(order.jobs.order_by("index"))


def photo(name="IMG 1.jpg", colour="white", **given):
    return SimpleUploadedFile(name, file(colour=colour, **given).getvalue(), "image/jpeg")


def drawn(strokes=True):
    image = Image.new("RGB", (600, 200), "white")
    if strokes:
        ImageDraw.Draw(image).line((20, 150, 300, 40, 560, 160), "black", 5)
    out = io.BytesIO()
    image.save(out, "PNG")
    return SIGNATURE + base64.b64encode(out.getvalue()).decode()


def check_in(client, order, **typed):
    return send(client, reverse("desk:check_in", args=[order.pk]), **typed)


@pytest.mark.flow
def test_everything_that_was_noted_stands_on_the_order(at_desk, order, jobs):
    first = jobs[0].pk
    answer = check_in(
        at_desk, order, words="muddy", along="bolts in a bag", agreed_up_to="420", signature=drawn(),
        photos=[photo("whole.jpg"), photo("side.jpg", "red")],
        **{
            f"words_{first}": "leaks at the wiper", f"along_{first}": "spring and bump stops with it",
            f"photos_{first}": photo("leak.jpg", "blue"),
        },
    )  # fmt: skip
    assert answer.status_code == 302, words(answer)
    page = words(at_desk.get(answer.url))
    assert "As a whole: muddy Came along: bolts in a bag" in page
    assert f"Rear left, {jobs[0].tag}: leaks at the wiper Came along: spring and bump stops with it" in page
    assert "Agreed up to 420.00 USD." in page
    assert "signed on the screen" in page
    assert "Print now: bag tags" in page
    assert [one.job_id for one in Photo.objects.all()] == [None, None, first]
    shown = at_desk.get(Photo.objects.last().get_absolute_url())
    assert Image.open(io.BytesIO(shown.getvalue())).size == (300, 200)
    agreement = order.agreements.get()
    assert (agreement.agreed_by, agreement.what) == (order.customer.name, "Rebuild of 2 dampers")
    signed = at_desk.get(reverse("desk:signature", args=[order.pk, agreement.pk]))
    assert Image.open(io.BytesIO(signed.getvalue())).size == (600, 200)


def test_without_a_price_no_limit_is_agreed(at_desk, order):
    check_in(at_desk, order, on_paper="on")
    agreement = order.agreements.get()
    assert (agreement.up_to, agreement.signed, agreement.signature) == (None, "paper", "")
    assert "No limit was agreed: ask first." in words(at_desk.get(order.get_absolute_url()))


@pytest.mark.flow
def test_a_refusal_keeps_photos_signature_and_words(at_desk, order, jobs):
    first = jobs[0].pk
    typed = {
        "agreed_up_to": "4.200",
        "words": "muddy",
        "signature": drawn(),
        f"photos_{first}": photo("leak.jpg", "blue"),
    }
    refused = check_in(at_desk, order, **typed)
    assert refused.status_code == 422
    page = words(refused)
    assert (
        "“4.200” cannot be read. Give it without a sign between the thousands: 4200 if that is meant, or 4.20" in page
    )
    assert "leak.jpg, kept" in page
    sent = form(refused)
    assert (sent["agreed_up_to"], sent["words"], sent["signature"]) == ("4.200", "muddy", typed["signature"])
    kept = at_desk.get(reverse("desk:photo_kept", args=[sent[f"photos_{first}_kept"]]))
    assert Image.open(io.BytesIO(kept.getvalue())).size == (300, 200)
    again = at_desk.post(reverse("desk:check_in", args=[order.pk]), sent | {"agreed_up_to": "4200"})
    assert again.status_code == 302, words(again)
    assert Photo.objects.get().job == jobs[0]
    assert order.agreements.get().signed == "screen"


def test_a_photo_that_cannot_be_read_is_named_and_the_others_are_kept(at_desk, order):
    broken = SimpleUploadedFile("notes.txt", b"torque 22")
    refused = check_in(at_desk, order, photos=[photo("good.jpg"), broken])
    assert refused.status_code == 422
    page = words(refused)
    assert "notes.txt: This file cannot be read. Send a JPEG, PNG, WebP or TIFF picture." in page
    assert "good.jpg, kept" in page
    order.refresh_from_db()
    assert order.status == OrderStatus.BOOKED
    assert not Photo.objects.exists()


def test_a_doubtful_meter_asks_and_loses_nothing(at_desk, order, jobs):
    make.make_meter_reading(order.vehicle, miles=5000)
    refused = check_in(at_desk, order, distance="400", photos=[photo()], words="muddy")
    assert refused.status_code == 422
    sent = form(refused)
    assert sent["words"] == "muddy"
    assert "IMG 1.jpg, kept" in words(refused)
    answer = at_desk.post(reverse("desk:check_in", args=[order.pk]), sent | {"confirmed": "on"})
    assert answer.status_code == 302, words(answer)
    assert Photo.objects.count() == 1


@pytest.mark.parametrize("what", ["nonsense", "data:image/png;base64,AAAA", "empty"])
def test_a_signature_that_is_none_is_refused(at_desk, order, what):
    refused = check_in(at_desk, order, signature=drawn(strokes=False) if what == "empty" else what)
    assert refused.status_code == 422
    assert "tick that it is signed on paper" in words(refused)
    assert not order.agreements.exists()


def test_a_kept_photo_that_nobody_signed_for_is_refused(at_desk, order):
    refused = check_in(at_desk, order, photos_kept="eyJmb3JnZWQi:x:y")
    assert refused.status_code == 422
    assert "is there no more. Choose it again." in words(refused)
    assert at_desk.get(reverse("desk:photo_kept", args=["x"])).status_code == 404


def test_checked_in_twice_by_the_same_form_is_once(at_desk, order):
    url = reverse("desk:check_in", args=[order.pk])
    sent = form(at_desk.get(url)) | {"words": "muddy", "agreed_up_to": "420"}
    assert [at_desk.post(url, sent).status_code for _ in range(2)] == [302, 302]
    assert (Condition.objects.count(), order.agreements.count()) == (1, 1)


# --- photos ---------------------------------------------------------------------------------------------------------


def test_photos_are_added_later_and_a_wrong_one_is_struck_out_with_reason(at_bench, at_desk, order, jobs):
    url = reverse("desk:photos_add", args=[order.pk])
    answer = send(at_bench, url, job=str(jobs[1].pk), moment="finding", what="chrome worn", photos=[photo()])
    assert answer.status_code == 302, words(answer)
    row = Photo.objects.get()
    assert (row.job, row.moment, row.what) == (jobs[1], "finding", "chrome worn")
    send(at_desk, reverse("desk:photo_strike", args=[order.pk, row.pk]), why="that is another damper")
    page = words(at_desk.get(order.get_absolute_url()))
    assert "“that is another damper”, Dora Achterberg" in page
    assert Photo.objects.count() == 1


def test_no_photo_and_too_many_are_told(at_desk, order):
    url = reverse("desk:photos_add", args=[order.pk])
    assert "No photo is chosen. Choose one." in words(send(at_desk, url))
    many = [photo(f"{one}.jpg", (one, 0, 0)) for one in range(0, 240, 12)]
    assert send(at_desk, url, photos=many).status_code == 302
    refused = send(at_desk, url, photos=[photo("more.jpg", "green")])
    assert f"{order} has 20 of at most 20 photos; 1 more are too many. Leave some out." in words(refused)


def test_the_same_photo_again_is_kept_once(at_desk, order):
    url = reverse("desk:photos_add", args=[order.pk])
    for _ in range(2):
        assert send(at_desk, url, photos=[photo()]).status_code == 302
    assert Photo.objects.count() == 1


# --- handing back ---------------------------------------------------------------------------------------------------


@pytest.fixture
def ready(at_desk, order, manager):
    check_in(at_desk, order, agreed_up_to="420", distance="1200", words="muddy")
    for job in order.jobs.all():
        services.close_job(job=job, override_reason="test of the pages", by=manager, at=NOON)
    services.close_order(order=order, used=[], by=manager, at=NOON)
    return WorkOrder.objects.get(pk=order.pk)


@pytest.mark.flow
def test_handing_back_tells_what_was_done_and_notes_who_collected_it(at_desk, ready):
    url = reverse("desk:hand_back", args=[ready.pk])
    page = words(at_desk.get(url))
    assert "Agreed up to 420.00 USD." in page
    assert "1200 mi on 25 Nov 2026" in page
    assert "on 25 Nov 2027 or at 2700 mi, whichever comes first" in page
    answer = send(at_desk, url, collected_by="A. Calloway", distance="1204", told_unfinished="on")
    assert answer.status_code == 302, words(answer)
    page = words(at_desk.get(answer.url))
    assert "Handed back to A. Calloway" in page
    assert "1204 mi on 25 Nov 2026" in page
    assert MeterReading.objects.count() == 2


def test_a_doubtful_meter_at_hand_back_asks(at_desk, ready):
    url = reverse("desk:hand_back", args=[ready.pk])
    refused = send(at_desk, url, distance="90000", told_unfinished="on")
    assert refused.status_code == 422
    sent = form(refused) | {"confirmed": "on"}
    assert at_desk.post(url, sent).status_code == 302
    ready.refresh_from_db()
    assert ready.status == OrderStatus.HANDED_BACK
