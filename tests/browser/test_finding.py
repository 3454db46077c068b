"""At the telephone: the one box and the booking of somebody new, by the keyboard alone."""

import contextlib
from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Error, expect

from shop.staff.models import WorkingHours
from shop.workorders.models import WorkOrder
from tests import factories as make
from tests.browser.test_desk import WIDE, family, problems_on  # noqa: F401
from tests.workorders.test_bench_time import book_one

pytestmark = [pytest.mark.browser, pytest.mark.serial, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def box(open_browser, desk):
    owner = make.make_customer(name="Ines Calloway", phone="555-0142")
    make.make_vehicle(customer=owner, plate="KLR-204")
    make.make_customer(name="Ines Overmarsh", phone="555-0143")
    page = open_browser(desk, viewport=WIDE)
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    return page, page.get_by_role("combobox", name="Find")


def test_the_box_is_a_combobox_for_the_keyboard(box):
    page, combobox = box
    expect(combobox).to_be_focused()
    asked = []
    page.on("request", lambda one: asked.append(one.url) if "as-typed" in one.url else None)
    page.keyboard.type("ines", delay=10)
    options = page.get_by_role("listbox", name="Found").get_by_role("option")
    expect(options).to_have_count(3)
    expect(combobox).to_have_attribute("aria-expanded", "true")
    expect(page.locator("#find-status")).to_have_text("3 found. Arrow down leads to them.")
    assert len(asked) == 1, "not asked at each key"
    assert not [one for one in Axe().run(page).response["violations"] if one["impact"] in ("serious", "critical")]
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    expect(options.last).to_have_attribute("aria-selected", "true")
    page.keyboard.press("ArrowDown")
    expect(options.first).to_have_attribute("aria-selected", "true")
    assert combobox.get_attribute("aria-activedescendant") == options.first.get_attribute("id")
    page.keyboard.press("Escape")
    expect(combobox).to_have_attribute("aria-expanded", "false")
    expect(combobox).to_have_value("ines")
    page.keyboard.press("ArrowDown")
    chosen = options.first.get_attribute("data-url")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**{chosen}")


def test_enter_without_a_choice_leads_to_all_that_is_found_and_a_slip_is_told(box):
    page, _ = box
    page.keyboard.type("overmrash")
    expect(page.locator("#find-options")).to_contain_text("Nothing says “overmrash”; alike: Overmarsh.")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Found for “overmrash”").wait_for()
    expect(page.locator("main")).to_contain_text("Nothing says “overmrash”; alike: Overmarsh.")


def test_an_answer_to_what_stands_there_no_more_is_dropped(box):
    page, _ = box
    late = []
    page.route("**/find/as-typed/?q=ines", lambda route: late.append(route))
    page.keyboard.type("ines")
    page.wait_for_timeout(400)
    page.keyboard.type(" call")
    options = page.get_by_role("listbox", name="Found").get_by_role("option")
    expect(options.first).to_contain_text("Ines Calloway")
    for route in late:
        with contextlib.suppress(Error):  # it was taken back by the page, which is as good
            route.fulfill(body="<ul role='listbox'><li role='option'>too late</li></ul>")
    expect(page.locator("#find-options")).not_to_contain_text("too late")


def test_somebody_new_is_booked_with_the_keyboard_alone(open_browser, family, desk):  # noqa: F811
    known = make.make_customer(name="Ines Calloway", phone="555-0142", email="ines@example.com")
    page = open_browser(desk, viewport=WIDE)
    page.goto(reverse("desk:book_new") + "?q=ines caloway")
    page.get_by_label("Name", exact=False).first.focus()
    expect(page.get_by_label("Name").first).to_have_value("ines caloway")
    page.get_by_label("Phone").focus()
    page.keyboard.type("5550142")
    expect(page.locator("#twins")).to_contain_text("Ines Calloway")
    expect(page.locator("#twins")).to_contain_text("has this telephone number")
    model = page.get_by_label("Vehicle model")
    model.focus()
    model.select_option(str(family["vehicle_model"].pk))
    page.get_by_label("Model year", exact=False).first.focus()
    page.keyboard.type("2015")
    ticks = page.locator("#corners").get_by_role("checkbox")
    expect(ticks).to_have_count(4)
    for tick in ticks.all()[1:]:
        tick.focus()
        page.keyboard.press("Space")
    page.get_by_label("What the customer says").focus()
    page.keyboard.type("leaks at the shaft")
    page.get_by_label("Day", exact=True).fill(timezone.localdate().isoformat())
    page.get_by_label("Time", exact=True).fill("23:59")
    take = page.get_by_role("button", name="Take this customer").first
    take.focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Somebody else").wait_for()
    expect(page.get_by_label("What the customer says")).to_have_value("leaks at the shaft")
    expect(page.locator("#corners").get_by_role("checkbox", checked=True)).to_have_count(1)
    assert problems_on(page) == {}
    page.get_by_role("button", name="Book", exact=True).last.focus()
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Check in").wait_for()
    order = WorkOrder.objects.get()
    assert order.customer == known
    assert order.jobs.count() == 1
    assert order.vehicle.dampers.count() == 4


def test_the_proposal_follows_what_is_typed_of_somebody_new(open_browser, family, desk):  # noqa: F811
    person = make.make_bench_hours(from_day=timezone.localdate() - timedelta(days=7))
    person.bench_hours.update(minutes=420)  # also at the weekend, whichever day the test runs on
    WorkingHours.objects.update(opens="08:00", closes="17:00")
    page = open_browser(desk, viewport=WIDE)
    page.goto(reverse("desk:book_new"))
    assert page.get_by_role("button", name="Propose a day anew").count() == 0
    on = timezone.localdate() + timedelta(days=14)
    page.get_by_label("Name").first.focus()
    page.keyboard.type("Otto Marsh")
    model = page.get_by_label("Vehicle model")
    model.focus()
    model.select_option(str(family["vehicle_model"].pk))
    page.get_by_label("Model year", exact=False).first.focus()
    page.keyboard.type("2015")
    page.get_by_label("What the customer says").focus()
    page.keyboard.type("leaks at the shaft")
    page.get_by_label("Arrives on").fill(on.isoformat())
    proposal = page.locator("[data-proposal]")
    expect(proposal).to_contain_text("Bench time 5.5 h")
    day, clock = page.get_by_label("Day", exact=True), page.get_by_label("Time", exact=True)
    expect(day).to_have_value(on.isoformat())
    expect(clock).to_have_value("17:00")
    ticks = page.locator("#corners").get_by_role("checkbox")
    ticks.first.focus()
    page.keyboard.press("Space")
    expect(proposal).to_contain_text("Bench time 4 h 15 min")
    page.locator("[name=row0_model]").select_option(str(family["damper_model"].pk))
    expect(proposal).to_contain_text("Bench time 5.5 h")
    page.locator("[name=row0_model]").select_option("")
    expect(proposal).to_contain_text("Bench time 4 h 15 min")
    summary = page.get_by_text("Choose the bench day yourself")
    summary.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_label("On the benches from")).to_be_visible()
    assert problems_on(page) == {}
    book_one(5, arrives_on=on, at=timezone.now())  # on another telephone
    page.get_by_label("Phone").focus()
    page.keyboard.press("Enter")  # in a field it presses Book
    page.get_by_role("alert").wait_for()
    expect(page.get_by_role("alert")).to_contain_text("The first day that fits is now")
    expect(proposal).to_contain_text("Why not sooner")
    expect(page.get_by_label("What the customer says")).to_have_value("leaks at the shaft")
    expect(page.locator("#corners").get_by_role("checkbox", checked=True)).to_have_count(3)
    assert problems_on(page) == {}
    day.fill(proposal.get_attribute("data-day"))
    clock.fill(proposal.get_attribute("data-clock"))
    clock.press("Enter")
    page.get_by_role("link", name="Check in").wait_for()
    order = WorkOrder.objects.latest("pk")
    assert (order.customer.name, order.jobs.count()) == ("Otto Marsh", 3)
    assert order.bench_plan.get().on > on


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pages_have_nothing_in_the_way(open_browser, family, desk, scheme):  # noqa: F811
    one = make.make_customer(name="Ines Calloway", phone="555-0142")
    other = make.make_customer(name="Ines Caloway", phone="555 0142", note="calls back")
    make.make_vehicle(customer=other, model=family["vehicle_model"])
    page = open_browser(desk, color_scheme=scheme)
    found = {}
    for address in (
        reverse("desk:book_new"), reverse("desk:search") + "?q=caloway", reverse("desk:search") + "?q=ines",
        reverse("desk:customer_merge", args=[one.pk]), reverse("desk:customer", args=[one.pk]),
        reverse("desk:customer_merge", args=[one.pk]) + f"?other={other.pk}",
    ):  # fmt: skip
        page.goto(address)
        found |= problems_on(page)
    page.goto(reverse("desk:book_new") + "?q=ines")
    page.get_by_role("button", name="Book", exact=True).last.click()
    page.get_by_role("alert").wait_for()
    assert found | problems_on(page) == {}
