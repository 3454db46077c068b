"""Check-in with photos and a signature, the customer's link on a phone, and hand-back, in a real browser."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from shop.reminders.links import question_token
from shop.workorders.models import Photo
from shop.workorders.services import check_in, close_job, close_order
from tests import factories as make
from tests.browser.conftest import UPRIGHT
from tests.core.test_images import file

pytestmark = [pytest.mark.browser, pytest.mark.serial, pytest.mark.django_db(transaction=True)]
PHONE = {"width": 390, "height": 844}
WIDER_THAN_THE_SCREEN = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture(autouse=True)
def _media(tmp_path, settings):
    storages = {**settings.STORAGES}
    storages["default"] = storages["default"] | {"OPTIONS": {"location": tmp_path}}
    settings.STORAGES = storages


def look(page):
    """No serious finding of axe, and nothing beside the screen."""
    found = Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    assert page.evaluate(WIDER_THAN_THE_SCREEN) == 0


def make_booked(by):
    at = timezone.now()
    vehicle = make.make_vehicle()
    today = {"arrives_on": timezone.localdate(at), "promised_for": at, "at": at}
    return make.make_order(by=by, dampers=[make.make_damper(vehicle)], **today)


def make_question(by):
    at = timezone.now()
    order = make_booked(by)
    check_in(order=order, meters=[], as_found=[], by=by, at=at)
    make.make_agreement(order, by=by)
    return make.make_question(order, order.jobs.get(), by=by, at=at)


def a_photo(name="leak.jpg", colour="blue"):
    return {"name": name, "mimeType": "image/jpeg", "buffer": file(colour=colour).getvalue()}


def sign(page):
    canvas = page.locator("[data-sign] canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    page.mouse.move(box["x"] + 30, box["y"] + 100)
    page.mouse.down()
    for step in range(1, 12):
        page.mouse.move(box["x"] + 30 + 25 * step, box["y"] + (60 if step % 2 else 120), steps=3)
    page.mouse.up()


def test_checking_in_with_photo_and_signature_on_a_tablet(open_browser, desk):
    order = make_booked(desk)
    job = order.jobs.get()
    page = open_browser(desk, viewport=UPRIGHT)
    page.goto(reverse("desk:check_in", args=[order.pk]))
    look(page)
    page.locator(f"[name=words_{job.pk}]").fill("leaks at the wiper")
    page.locator(f"[name=photos_{job.pk}]").set_input_files([a_photo()])
    page.get_by_label("Up to which price in all").fill("4.200")
    sign(page)
    page.get_by_role("button", name="Check in").click()
    expect(page.get_by_role("alert").first).to_contain_text("without a sign between the thousands")
    expect(page.get_by_text("leak.jpg, kept")).to_be_visible()
    expect(page.locator(".kept img")).to_have_js_property("naturalWidth", 300)
    assert page.locator("[data-signature]").input_value().startswith("data:image/png")
    look(page)
    page.get_by_label("Up to which price in all").fill("420")
    page.get_by_role("button", name="Check in").click()
    expect(page.get_by_text("Print now:")).to_be_visible()
    expect(page.get_by_text("signed on the screen")).to_be_visible()
    expect(page.locator("figure.scan img").first).to_be_visible()
    look(page)
    assert Photo.objects.get().job == job


def test_a_cleared_signature_is_none_and_paper_may_be_ticked_by_keyboard(open_browser, desk):
    order = make_booked(desk)
    page = open_browser(desk, viewport=UPRIGHT)
    page.goto(reverse("desk:check_in", args=[order.pk]))
    sign(page)
    page.get_by_role("button", name="Clear the signature").press("Enter")
    assert page.locator("[data-signature]").input_value() == ""
    page.get_by_label("Signed on paper instead").press("Space")
    page.get_by_role("button", name="Check in").press("Enter")
    expect(page.get_by_text("signed on paper")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_customer_answers_on_a_phone(open_browser, desk, scheme):
    question = make_question(desk)
    page = open_browser(viewport=PHONE, color_scheme=scheme, java_script_enabled=True)
    page.goto(reverse("public:question", args=[question_token(question)]))
    look(page)
    for button in page.get_by_role("button").all():
        assert button.bounding_box()["height"] >= 44
    page.get_by_role("button", name="Yes, I agree to 505.00 USD in all").press("Enter")
    expect(page.get_by_role("heading", name="Thank you")).to_be_visible()
    look(page)


def test_the_customer_answers_without_scripts(open_browser, desk):
    question = make_question(desk)
    page = open_browser(viewport=PHONE, java_script_enabled=False)
    page.goto(reverse("public:question", args=[question_token(question)]))
    page.get_by_role("button", name="No, I do not agree").click()
    expect(page.get_by_text("You did not agree.")).to_be_visible()


def test_every_page_about_prices_and_photos_is_fit_for_all(open_browser, desk, manager):
    question = make_question(desk)
    order, job = question.order, question.job
    page = open_browser(manager, viewport=UPRIGHT)
    for name, args in [
        ("desk:question", [order.pk, question.pk]), ("desk:ask", [order.pk]), ("desk:agreement", [order.pk]),
        ("desk:photos_add", [order.pk]), ("desk:order", [order.pk]), ("tablet:job", [job.pk]), ("tablet:ask", [job.pk]),
        ("tablet:bench", []),
    ]:  # fmt: skip
        page.goto(reverse(name, args=args))
        look(page)
    page.goto(question.get_absolute_url())
    page.get_by_role("button", name="Copy").click()
    expect(page.locator("[data-copied]")).not_to_be_empty()


def test_handing_back_shows_what_was_done(open_browser, desk, manager):
    at = timezone.now()
    order = make_booked(desk)
    check_in(order=order, meters=[], as_found=[], by=desk, at=at)
    close_job(job=order.jobs.get(), override_reason="scrapped", by=manager, at=at)
    close_order(order=order, used=[], by=manager, at=at)
    page = open_browser(desk, viewport=UPRIGHT)
    page.goto(reverse("desk:hand_back", args=[order.pk]))
    look(page)
    page.get_by_label("The customer knows").check()
    page.get_by_role("button", name="Hand back").click()
    expect(page.get_by_role("main").get_by_role("status").first).to_contain_text("is handed back to")
    look(page)
