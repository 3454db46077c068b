"""The technician's tablet in a real browser: a damper from the torque to closing, and what hands and eyes need."""

import gzip
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import expect

from shop.specs.models import SheetStatus
from shop.workorders import services
from shop.workorders.models import JobStatus, Moment, OrderStatus
from tests import factories as make
from tests.browser.conftest import LYING, UPRIGHT
from tests.web.dampers_at_work import (
    CHARGE,
    PIN,
    PROVE,
    REFIT,
    TORQUE,
    at_check,
    at_step,
    order_on_the_benches,
    record,
    tools,
    with_pin,
    work,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def kit(transactional_db):
    return tools(at=timezone.now())


@pytest.fixture
def job(desk, technician, second, kit):
    """A damper whose next step is the torque of the shaft nut."""
    at = timezone.now()
    job = order_on_the_benches(desk, at=at).jobs.get()
    work(job, technician, with_pin(second), to=TORQUE, tools=kit, at=at)
    return job


def press(page, keys):
    for key in keys:
        page.locator(f'[data-key="{key}"]').click()


def save(page):
    page.get_by_role("button", name="Save and go on").click()


def test_a_damper_from_the_torque_to_closing_by_touch_alone(open_browser, job, technician, second):
    page = open_browser(technician)
    page.get_by_role("link", name=re.compile("Front left")).click()
    page.get_by_role("link", name="Go on").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Tighten the shaft nut")

    press(page, "19.5")
    expect(page.locator(".verdict")).to_have_text("outside the allowed range")
    save(page)
    expect(page.get_by_role("alert")).to_contain_text("19.5 lbf·ft is out of tolerance. Allowed is 17.1 to 18.9 lbf·ft")
    assert not job.readings.filter(moment=Moment.SET).exists()
    assert problems_on(page) == {}
    field = page.get_by_label("Torque read on the wrench")
    expect(field).to_have_value("19.5")
    for _ in "19.5":
        page.get_by_role("button", name="delete the last figure").click()
    press(page, "18.2")
    expect(page.locator(".verdict")).to_have_text("within the allowed range")
    save(page)

    page.get_by_text("Rosa Odumbe").click()
    press(page, PIN)
    page.get_by_role("button", name="I have checked it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Fill")
    assert job.second_checks.get(reading__figures="18.2").by == second

    press(page, "304")
    save(page)
    page.get_by_role("button", name="Done, go on").click()
    press(page, "2.41")
    save(page)
    press(page, "68")
    expect(page.locator("[data-today]")).to_contain_text("195 to 205")
    page.get_by_label("Charge read on the gauge").tap()
    press(page, "201")
    save(page)
    page.get_by_text("Rosa Odumbe").click()
    press(page, PIN)
    page.get_by_role("button", name="I have checked it").click()
    page.get_by_role("button", name="Done, go on").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("Refit the spring, settings as left")
    page.get_by_role("button", name="Compression, clicks out from closed: same as found").click()
    more = page.get_by_role("button", name="Rebound, clicks out from closed: 1 more")
    more.click()
    expect(page.get_by_label("Rebound, clicks out from closed in clicks")).to_have_value("11")
    more.click()
    page.get_by_label("Preload, datum to ring in in").tap()
    press(page, "3.4")
    save(page)
    page.get_by_role("button", name="Done, go on").click()

    page.get_by_role("button", name="Close this damper").click()
    expect(page.get_by_text("This damper is closed")).to_be_visible()
    job.refresh_from_db()
    assert job.status == JobStatus.CLOSED
    left = {one.measure: one.figures for one in job.readings.filter(moment=Moment.LEFT)}
    assert left == {"compression_clicks": "12", "rebound_clicks": "12", "preload_length": "3.4"}
    assert job.readings.get(measure="charge").bench_temperature_k == pytest.approx(293.15)

    page.get_by_role("link", name="Book used parts").click()
    page.get_by_role("button", name="Close the order").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("is ready to hand back")
    job.order.refresh_from_db()
    assert job.order.status == OrderStatus.READY


def test_a_reading_and_its_check_by_keyboard_alone(open_browser, job, technician, second):
    page = open_browser(technician, has_touch=False)
    expect(page.get_by_label("Scan a bag's tag")).to_be_focused()  # so that a scanner writes into it
    page.keyboard.type(job.tag)
    page.keyboard.press("Enter")
    expect(page.get_by_text(f"tag {job.tag}")).to_be_visible()
    tab_to(page, "Go on")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Tighten the shaft nut")
    tab_to(page, "Torque read on the wrench")
    page.keyboard.type("18.4")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Second person checks: Tighten the shaft nut")
    tab_to(page, "Who checks")
    while not page.get_by_label("Rosa Odumbe").is_checked():
        page.keyboard.press("ArrowDown")
    tab_to(page, "Personal PIN")
    page.keyboard.type(PIN)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Fill")
    assert job.second_checks.get(reading__figures="18.4").by == second


def tab_to(page, words):
    """Press the tabulator until what has the focus carries these words, as somebody without a pointer does."""
    told = (
        "e => [e.innerText, ...[...e.labels ?? []].map(l => l.innerText), e.closest('fieldset')?.innerText].join(' ')"
    )
    for _ in range(80):
        page.keyboard.press("Tab")
        focus = page.locator(":focus")
        if focus.count() and words in focus.evaluate(told):
            return
    raise AssertionError(f"The tabulator does not reach {words!r}.")


def test_two_tablets_at_one_step_keep_both_figures(open_browser, job, technician, second):
    first, other = open_browser(technician), open_browser(second)
    for page, figure in ((first, "18.2"), (other, "18.6")):
        page.goto(at_step(job, TORQUE))
        page.get_by_label("Torque read on the wrench").fill(figure)
    save(first)
    expect(first.get_by_role("heading", level=1)).to_contain_text("Second person checks")
    save(other)
    expect(other.locator(".clash")).to_contain_text("18.2 lbf·ft")
    expect(other.locator(".clash")).to_contain_text("18.6 lbf·ft")
    assert problems_on(other) == {}
    other.get_by_role("link", name="Mine is right: correct it").click()
    expect(other.get_by_label("Torque read on the wrench")).to_have_value("18.6")
    other.get_by_label("Why the earlier figure is wrong").fill("read at the click, not after it")
    other.get_by_role("button", name="Save the correction").click()
    expect(other.get_by_role("heading", level=1)).to_contain_text("Second person checks")
    assert [one.figures for one in job.readings.filter(moment=Moment.SET)] == ["18.2", "18.6"]


def test_a_double_tap_sends_one_entry(open_browser, job, technician):
    page = open_browser(technician)
    page.goto(at_step(job, TORQUE))
    sent = []
    page.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)
    page.get_by_label("Torque read on the wrench").fill("18.2")
    page.get_by_role("button", name="Save and go on").dblclick()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Second person checks")
    assert len(sent) == 1
    assert job.readings.filter(moment=Moment.SET).count() == 1


def test_typing_asks_the_server_nothing(open_browser, job, technician):
    page = open_browser(technician)
    page.goto(at_step(job, TORQUE), wait_until="networkidle")
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    press(page, "17.15")
    expect(page.locator(".verdict")).to_have_text("within the allowed range")
    assert asked == []


def test_without_scripts_the_same_page_records(open_browser, job, technician):
    page = open_browser(technician, java_script_enabled=False)
    page.goto(at_step(job, TORQUE))
    expect(page.locator("[data-keypad]")).to_be_hidden()
    page.get_by_label("Torque read on the wrench").fill("18.2")
    save(page)
    expect(page.get_by_role("heading", level=1)).to_contain_text("Second person checks")
    assert job.readings.get(moment=Moment.SET).figures == "18.2"


# --- what hands and eyes need, measured on every page --------------------------------------------------------------


def every_page(job, desk, technician, second, manager, kit):
    """Addresses of every kind of page in every state, the open job standing at its last step."""
    at = timezone.now()
    work(job, technician, second, to=TORQUE, tools=kit, at=at)
    record(job, "shaft_nut_torque", technician, tools=kit, at=at)
    reading = job.readings.get(moment=Moment.SET)
    sizes = {"reservoir_bore_m": 0.04, "cap_intrusion_m": 0.02, "shaft_m": 0.016, "stroke_m": 0.13}
    charged = order_on_the_benches(desk, model=make.make_damper_model(**sizes), at=at).jobs.get()
    work(charged, technician, second, to=PROVE, tools=kit, at=at)
    charge = charged.readings.get(measure="charge")
    draft = order_on_the_benches(desk, at=at, status=SheetStatus.DRAFT).jobs.get()
    work(draft, technician, second, to=TORQUE, tools=kit, at=at)
    bare = order_on_the_benches(desk, at=at, sheet=False).jobs.get()
    booked = order_on_the_benches(desk, at=at, check_in=False).jobs.get()
    model = make.make_damper_model()
    make.make_kit_line(model, "SH-1", name="shaft", optional=True)
    make.make_alternate(make.make_kit_line(model, "BR-1", name="bumper"), "BR-2", name="bumper, second number")
    make.make_part("BR-2", on_hand=1)
    lacking = order_on_the_benches(desk, at=at, model=model, sheet=False).jobs.get()
    done = order_on_the_benches(desk, at=at)
    for one in done.jobs.all():
        services.close_job(job=one, override_reason="damper scrapped, customer agreed", by=manager, at=at)
    return [
        "/bench/", "/bench/?tag=nothing", "/bench/?tag=9999-1",
        *(one.get_absolute_url() for one in (job, draft, bare, booked, done.jobs.get())),
        *(at_step(job, number) for number in (1, 3, TORQUE, 9, CHARGE, REFIT)),
        at_step(draft, TORQUE), at_step(bare, TORQUE),
        charged.get_absolute_url(), at_step(charged, CHARGE), f"/bench/{charged.pk}/readings/{charge.pk}/",
        at_check(job, TORQUE), f"/bench/{job.pk}/readings/{reading.pk}/",
        f"/bench/{job.pk}/take-sheet/",
        *(f"/bench/{one.pk}/parts/" for one in (lacking, booked, done.jobs.get())),
        f"/bench/{job.pk}/close/", f"/bench/orders/{done.pk}/close/", f"/bench/orders/{job.order_id}/close/",
    ]  # fmt: skip


# A label is the target of its radio button; a link in the run of a sentence is not measured (WCAG 2.5.8, inline).
SMALL_TARGETS = """() => [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea')]
  .map((e) => ['radio', 'checkbox'].includes(e.type) ? e.closest('label') : e.closest('.reading__field') ?? e)
  .filter((e) => !e.matches('.skip, .notice li a') && e.checkVisibility())
  .map((e) => [e, e.getBoundingClientRect(), e.matches('.button--main') ? 56 : 48])
  .filter(([e, box, least]) => box.height < least || box.width < 48)
  .map(([e, box]) => `${e.innerText || e.name}: ${box.width} x ${box.height}`)"""
SMALL_NUMBERS = """() => [...document.querySelectorAll(
    '.spec__number > span, .spec dd:not(.spec__other), .reading input, .keypad button, .in-books b, .found')]
  .filter((e) => e.checkVisibility() && parseFloat(getComputedStyle(e).fontSize) < 24)
  .map((e) => `${e.innerText || e.name}: ${getComputedStyle(e).fontSize}`)"""
WIDER_THAN_THE_SCREEN = "() => document.documentElement.scrollWidth - innerWidth"


@pytest.mark.parametrize("viewport", [UPRIGHT, LYING], ids=["upright", "lying"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_targets_and_numbers_are_large_enough_and_axe_finds_nothing(
    open_browser, job, desk, technician, second, manager, kit, viewport, scheme
):
    addresses = every_page(job, desk, technician, second, manager, kit)
    page = open_browser(manager, viewport=viewport, color_scheme=scheme)
    found = {}
    for address in addresses:
        page.goto(address)
        found |= problems_on(page)
    assert found == {}


def problems_on(page):
    """What hands or eyes would stumble over on the page as it stands, by its address; empty when nothing."""
    problems = [
        f"{one['id']}: {one['nodes'][0]['html'][:160]}"
        for one in Axe().run(page).response["violations"]
        if one["impact"] in ("serious", "critical")
    ]
    problems += page.evaluate(SMALL_TARGETS) + page.evaluate(SMALL_NUMBERS)
    if (wide := page.evaluate(WIDER_THAN_THE_SCREEN)) > 0:
        problems.append(f"{wide} px wider than the screen")
    return {page.url: problems} if problems else {}


def test_a_page_with_all_that_it_loads_weighs_at_most_100_kb(open_browser, job, desk, technician, second, manager, kit):
    addresses = every_page(job, desk, technician, second, manager, kit)
    page = open_browser(manager)
    weights = {}
    for address in addresses:
        page.goto(address, wait_until="networkidle")
        loaded = page.evaluate("[location.href, ...performance.getEntriesByType('resource').map((one) => one.name)]")
        assert len(loaded) >= 5, "the page, three style sheets and a script at least"
        weights[address] = sum(len(gzip.compress(page.request.get(one).body())) for one in loaded)
        assert not page.locator("[style], style, script:not([src])").count()
    assert max(weights.values()) <= 100_000, weights


def test_without_a_connection_nothing_is_sent_and_what_was_typed_stays(open_browser, job, technician):
    page = open_browser(technician)
    page.goto(at_step(job, TORQUE))
    press(page, "18")
    page.context.set_offline(True)
    save(page)
    expect(page.get_by_role("alert").filter(has_text="Not sent: no connection.")).to_be_visible()
    expect(page.get_by_label("Torque read on the wrench")).to_have_value("18")
    page.context.set_offline(False)
    expect(page.get_by_text("Not sent: no connection.")).to_be_hidden()
    save(page)
    page.wait_for_url("**/check/")
    assert [reading.figures for reading in job.readings.filter(measure="shaft_nut_torque")] == ["18"]


COVERED = """() => {
  scrollTo(0, document.documentElement.scrollHeight);
  const bar = document.querySelector(".bench-foot").getBoundingClientRect().top;
  const all = [...document.querySelectorAll("main input, main button, main label")];
  const shown = all.filter((e) => e.checkVisibility());
  return shown.filter((e) => e.getBoundingClientRect().bottom > bar + 1).map((e) => e.id || e.textContent);
}"""


@pytest.mark.parametrize("size", [UPRIGHT, LYING])
def test_every_control_can_be_scrolled_above_the_bar(open_browser, job, technician, second, kit, size):
    page = open_browser(technician, viewport=size)
    page.goto(at_step(job, TORQUE))
    press(page, "99")
    save(page)
    assert page.evaluate(COVERED) == []
    record(job, "shaft_nut_torque", technician, "18 lbf·ft", tools=kit)
    page.goto(at_check(job, TORQUE))
    assert page.evaluate(COVERED) == []
