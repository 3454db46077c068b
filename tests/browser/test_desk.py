"""The desk's and the manager's pages in a real browser: nothing in the way of eyes, keyboard or a narrow screen."""

import gzip

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.utils import timezone

from shop.exchange.kinds import KINDS
from shop.specs.models import SheetStatus
from shop.workorders.models import OrderStatus, WorkOrder
from shop.workorders.services import call_off, check_in, close_job, close_order, hand_back
from tests import factories as make
from tests.browser.conftest import UPRIGHT
from tests.factories import PASSWORD
from tests.web.people import make_family, make_vehicle_with_dampers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDE = {"width": 1280, "height": 800}
WIDER_THAN_THE_SCREEN = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture
def family(transactional_db):
    return make_family()


def make_order(family, by, status=OrderStatus.BOOKED):
    at = timezone.now()
    vehicle = make_vehicle_with_dampers(family)
    today = {"arrives_on": timezone.localdate(at), "promised_for": at, "at": at}
    order = make.make_order(vehicle=vehicle, dampers=list(vehicle.dampers.all())[:1], by=by, **today)
    if status == OrderStatus.CALLED_OFF:
        call_off(order=order, why="sold the vehicle", by=by, at=at)
    elif status != OrderStatus.BOOKED:
        check_in(order=order, meters=[], as_found=[], by=by, at=at)
    if status in (OrderStatus.READY, OrderStatus.HANDED_BACK):
        close_job(job=order.jobs.get(), override_reason="damper scrapped, customer agreed", by=by, at=at)
        close_order(order=order, used=[], by=by, at=at)
    if status == OrderStatus.HANDED_BACK:
        hand_back(order=order, told_unfinished=True, by=by, at=at)
    return order


def every_page(family, by):
    """Addresses of every kind of page, with something to show and without."""
    shaft = make.make_kit_line(family["damper_model"], "SH-1", name="shaft", optional=True)
    make.make_alternate(shaft, "SH-2", name="shaft, second number")
    orders = {status: make_order(family, by, status) for status in OrderStatus}
    booked, bench, ready = (orders[one] for one in (OrderStatus.BOOKED, OrderStatus.ON_BENCH, OrderStatus.READY))
    draft = make.make_sheet(make.make_damper_model(), status=SheetStatus.DRAFT)
    # 16 mm of shaft over 130 mm push the IFP 20.8 mm through a bore of 40 mm: 20 mm of cap leave no room at 1 in.
    sized = make.make_damper_model(
        reservoir_bore_m=0.04, cap_intrusion_m=0.02, shaft_m=0.016, stroke_m=0.13, highest_gas_pa=4.5e6
    )
    pictured = make.make_sheet(sized)
    flagged = make.make_sheet(sized, depth=1, status=SheetStatus.DRAFT)
    doubtful = make.make_vehicle(vin="1M8GDM9A0KP042788")
    vehicle, customer = booked.vehicle, booked.customer

    make.make_bench_hours(by, from_day=timezone.localdate())

    def desk(name, *args, ask=""):
        return reverse(f"desk:{name}", args=args) + ask

    def manage(name, *args, ask=""):
        return reverse(f"manage:{name}", args=args) + ask

    return [
        desk("day"), desk("orders"), desk("orders", ask="?q=nobody"), desk("search", ask="?q=ines"),
        desk("search", ask="?q=nobody"), *(one.get_absolute_url() for one in orders.values()),
        desk("check_in", booked.pk), desk("check_in", bench.pk), desk("call_off", booked.pk),
        desk("hand_back", ready.pk), desk("pick_list", booked.pk), desk("pick_list", ready.pk),
        desk("job_card", booked.pk), desk("card_check", bench.pk, 1, "abc"),
        desk("customers"), desk("customers", ask="?q=nobody"), desk("customer_new"), desk("customer", customer.pk),
        desk("customer_change", customer.pk), desk("vehicle_new", customer.pk), desk("vehicle", vehicle.pk),
        desk("vehicle_change", vehicle.pk), desk("vehicle_sold", vehicle.pk),
        desk("damper_new", ask=f"?customer={customer.pk}"), desk("book"), desk("book", ask=f"?customer={customer.pk}"),
        desk("book", ask=f"?vehicle={vehicle.pk}"),
        doubtful.get_absolute_url(), manage("damper_model", sized.pk), manage("sheet", pictured.pk),
        manage("sheet", flagged.pk),
        manage("sheets"), manage("sheet", draft.pk), manage("sheet", family["sheets"][0].pk), manage("sheet_new"),
        manage("coverage_overview"), manage("coverage", family["damper_model"].pk),
        manage("coverage", draft.damper_model.pk), manage("why"),
        manage("why", ask=f"?damper_model={family['damper_model'].pk}&year=2015&position=rear_left"),
        manage("sheets", ask="?q=2015+front"), manage("sheets_queue"), manage("sheet_verify", draft.pk),
        manage("sheet_change", draft.pk), manage("sheets_table"), manage("sheets_copy", ask=f"?sheet={draft.pk}"),
        manage("sheets_compare", ask="?" + "&".join(f"sheet={one.pk}" for one in [draft, *family["sheets"]])),
        manage("stock"), manage("receive", ask=f"?part={family['oil'].pk}"), manage("staff"),
        manage("count", ask=f"?part={family['oil'].pk}"), manage("person", by.pk), manage("role", by.pk),
        manage("password", by.pk), manage("let_go", by.pk), manage("person_new"), manage("pin", by.pk),
        manage("damper_model", family["damper_model"].pk), manage("parts_list", family["damper_model"].pk),
        manage("parts_list", draft.damper_model_id), manage("damper_interval", family["damper_model"].pk),
        manage("vehicle_interval", family["vehicle_model"].pk), manage("shop_interval"),
        desk("pick_list", bench.pk), desk("take_up", bench.pk, ask=f"?tag={bench.jobs.get().tag}&part=SH-1"),
        reverse("own_password"),
        desk("day", ask="?day=2026-11-27"), desk("change_booking", booked.pk), desk("change_booking", bench.pk),
        manage("hours"), manage("working_hours"), manage("bench_hours", by.pk), manage("absence_new"),
        manage("closed_new"), manage("closed_yearly_new"), manage("shop_labour"),
        manage("damper_labour", family["damper_model"].pk),
        manage("exchange"), *(manage("table", kind) for kind in KINDS),
        manage("import_run", make.make_import_run(by=by).pk),
        manage("import_run", make.make_import_run(by=by, state="checked", new=1, problems=[], problem_count=0).pk),
    ]  # fmt: skip


def problems_on(page):
    problems = [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in Axe().run(page).response["violations"]]
    if (wide := page.evaluate(WIDER_THAN_THE_SCREEN)) > 0:
        problems.append(f"{wide} px wider than the screen")
    return {page.url: problems} if problems else {}


@pytest.mark.parametrize(("viewport", "scheme"), [(WIDE, "light"), (UPRIGHT, "dark")], ids=["wide", "narrow"])
def test_axe_finds_nothing_and_nothing_is_wider_than_the_screen(open_browser, family, manager, viewport, scheme):
    addresses = every_page(family, manager)
    page = open_browser(manager, viewport=viewport, color_scheme=scheme)
    found = {}
    for address in addresses:
        page.goto(address)
        found |= problems_on(page)
    # And as it looks when a form was refused.
    page.goto(reverse("manage:sheet_new"))
    page.get_by_role("textbox", name="Shaft nut torque").first.fill("tight")
    page.get_by_role("button", name="Enter as draft").click()
    page.get_by_role("alert").wait_for()
    assert found | problems_on(page) == {}


def test_a_page_with_all_that_it_loads_weighs_at_most_100_kb(open_browser, family, manager):
    addresses = every_page(family, manager)
    page = open_browser(manager, viewport=WIDE)
    weights = {}
    for address in addresses:
        page.goto(address, wait_until="load")
        loaded = page.evaluate("[location.href, ...performance.getEntriesByType('resource').map((one) => one.name)]")
        assert len(loaded) >= 4, "the page and three style sheets at least"
        weights[address] = sum(len(gzip.compress(page.request.get(one).body())) for one in loaded)
        assert not page.locator("[style], style, script:not([src])").count()
    assert max(weights.values()) <= 100_000, weights


def test_a_job_is_booked_without_scripts_and_with_the_keyboard_alone(open_browser, family, desk):
    vehicle = make_vehicle_with_dampers(family)
    page = open_browser(viewport=WIDE, java_script_enabled=False)
    page.goto("/log-in/")
    page.get_by_label("User name").fill(desk.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Book a job").focus()
    page.keyboard.press("Enter")
    page.get_by_role("searchbox", name="Name, phone, plate or frame number").fill(vehicle.customer.name)
    page.keyboard.press("Enter")
    page.get_by_role("link", name=str(vehicle)).focus()
    page.keyboard.press("Enter")
    page.get_by_role("checkbox").first.wait_for()
    for box in page.get_by_role("checkbox").all()[1:]:
        box.focus()
        page.keyboard.press("Space")
    page.get_by_label("What the customer says").fill("leaks at the shaft")
    page.get_by_label("Day", exact=True).fill(timezone.localdate().isoformat())
    page.get_by_label("Time", exact=True).fill("23:59")
    page.get_by_role("button", name="Book", exact=True).focus()
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Check in").wait_for()
    order = WorkOrder.objects.get()
    assert [job.damper for job in order.jobs.all()] == [vehicle.dampers.first()]


LONG_WORD = "x" * 200


@pytest.mark.parametrize("width", [1280, 820, 390])
def test_no_page_scrolls_sideways_for_a_long_word(open_browser, desk, manager, width):
    at = timezone.now()
    owner = make.make_customer(name=LONG_WORD[:120], address=LONG_WORD, note=LONG_WORD)
    make.make_damper(model=make.make_damper_model(serviceable=False, why_not=LONG_WORD), customer=owner)
    order = make.make_order(by=desk, complaint=LONG_WORD, arrives_on=timezone.localdate(at), promised_for=at, at=at)
    check_in(order=order, meters=[], as_found=[], by=desk, at=at)
    close_job(job=order.jobs.get(), override_reason=LONG_WORD, by=manager, at=at)
    page = open_browser(manager, viewport={"width": width, "height": 900})
    for url in (
        "/", "/customers/", owner.get_absolute_url(), "/orders/", order.get_absolute_url(),
        f"/orders/book/?customer={owner.pk}", f"/find/?q={LONG_WORD[:40]}", "/manage/reminders/", "/manage/catalogue/",
    ):  # fmt: skip
        page.goto(url)
        wide = page.evaluate(WIDER_THAN_THE_SCREEN)
        assert wide <= 0, f"{url} scrolls {wide} px sideways at {width} px"
