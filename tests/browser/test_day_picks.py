"""Gathering by scan with the keyboard alone, in a real browser; and all pages of the slice for eyes and screens."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from shop.picklists.models import PickLine
from shop.workorders.services import check_in
from tests import factories as make
from tests.browser.conftest import UPRIGHT
from tests.web.people import make_family, make_vehicle_with_dampers

pytestmark = [pytest.mark.browser, pytest.mark.serial, pytest.mark.django_db(transaction=True)]
WIDE = {"width": 1280, "height": 800}
WIDER_THAN_THE_SCREEN = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture
def family(transactional_db):
    family = make_family()
    make.make_kit_line(family["damper_model"], "SH-1", name="shaft", optional=True)
    return family


def make_order(family, by):
    at = timezone.now()
    vehicle = make_vehicle_with_dampers(family)
    today = {"arrives_on": timezone.localdate(at), "promised_for": at, "at": at}
    return make.make_order(vehicle=vehicle, dampers=list(vehicle.dampers.all()), by=by, **today)


@pytest.mark.parametrize("where", ["day", "order"])
def test_parts_are_gathered_by_scanning_alone_without_the_page_going_away(open_browser, family, desk, where):
    order = make_order(family, desk)
    number = family["kit"].number
    page = open_browser(desk, viewport=WIDE)
    page.goto("/picks/" if where == "day" else reverse("desk:pick_list", args=[order.pk]))
    page.evaluate("window.stayed = true")
    said = page.locator("[data-said]")
    for left in (3, 2, 1):
        page.keyboard.type(number)
        page.keyboard.press("Enter")
        expect(said).to_contain_text(f"{left} more to go")
    page.keyboard.type("XX-9")
    page.keyboard.press("Enter")
    expect(said).to_contain_text("“XX-9” is on none of these pick lists")
    page.keyboard.type(number)
    page.keyboard.press("Enter")
    expect(said).to_contain_text("that was the last one")
    expect(page.get_by_label("Scan or type a part number")).to_be_focused()
    assert page.evaluate("window.stayed")
    assert PickLine.objects.filter(picked_by=desk).count() == 4
    if where == "day":
        page.get_by_role("button", name="Put it back").focus()
        page.keyboard.press("Enter")
        expect(said).to_contain_text("is put back from bag")
        assert PickLine.objects.filter(picked_by=desk).count() == 3


def test_scans_in_quick_succession_are_all_noted(open_browser, family, desk):
    make_order(family, desk)
    page = open_browser(desk, viewport=WIDE)
    page.goto("/picks/")
    for _ in range(4):
        page.keyboard.type(family["kit"].number)
        page.keyboard.press("Enter")
    expect(page.locator("[data-said]")).to_contain_text("that was the last one")
    assert PickLine.objects.filter(picked_by=desk).count() == 4


def test_when_something_else_than_the_shop_answers_the_scan_is_told_as_not_noted(open_browser, family, desk):
    make_order(family, desk)
    page = open_browser(desk, viewport=WIDE)
    page.goto("/picks/")
    page.route("**/picks/scan/**", lambda route: route.fulfill(status=404, body="no shop here"))
    page.keyboard.type("SK-9")
    page.keyboard.press("Enter")
    expect(page.locator("[data-said]")).to_contain_text("SK-9 was not noted")


@pytest.mark.parametrize(("viewport", "scheme"), [(WIDE, "light"), (UPRIGHT, "dark")], ids=["wide", "narrow"])
def test_axe_finds_nothing_and_nothing_is_wider_than_the_screen(open_browser, family, manager, viewport, scheme):
    make_order(family, manager)
    bench = make_order(family, manager)
    check_in(order=bench, meters=[], as_found=[], by=manager, at=timezone.now())
    today = timezone.localdate()
    drum = make.make_drum(litres=10)
    entry = make.make_oil_entry(drum, 9000, on=today)
    page = open_browser(manager, viewport=viewport, color_scheme=scheme)
    found = {}
    for address in [
        "/picks/", f"/picks/?without={bench.pk}", "/picks/?day=1999-01-01", reverse("desk:pick_list", args=[bench.pk]),
        "/used-oil/", "/used-oil/?period=year", "/used-oil/note/", f"/used-oil/hand-over/?drum={drum.pk}",
        f"/used-oil/{entry.pk}/correct/", "/used-oil/drums/new/", reverse("manage:walking_order"),
        reverse("tablet:oil", args=[bench.jobs.first().pk]),
    ]:  # fmt: skip
        page.goto(address)
        problems = [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in Axe().run(page).response["violations"]]
        if (wide := page.evaluate(WIDER_THAN_THE_SCREEN)) > 0:
            problems.append(f"{wide} px wider than the screen")
        if problems:
            found[address] = problems
    assert found == {}
