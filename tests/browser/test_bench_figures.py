"""Bench calculators in a real browser: while one types, without JavaScript, and for hands and eyes."""

import gzip
import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from shop.figures.catalogue import CALCULATORS
from tests.browser.conftest import UPRIGHT
from tests.browser.test_tablet import problems_on

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DESK = {"width": 1280, "height": 800}
CHARGE_TODAY = reverse("tablet:figure", args=["charge-today"])


def fill_in(page, **typed):
    for label, text in typed.items():
        page.get_by_label(label.replace("_", " ")).fill(text)


def test_the_result_appears_while_one_types_and_the_address_keeps_it(open_browser, technician):
    page = open_browser(technician)
    page.goto(CHARGE_TODAY)
    page.evaluate("window.same = true")
    result = page.locator("[data-result]")
    expect(result).to_contain_text("Fill in the figures")
    fill_in(page, Charge_on_the_sheet="200")
    expect(result).to_contain_text("Still to fill in: Temperature of the damper now.")
    assert page.locator(".errors").count() == 0
    fill_in(page, Temperature_of_the_damper_now="86", Altitude_of_the_shop="5000")
    expect(result.locator(".spec__number")).to_have_text("210 psi")
    expect(result).to_contain_text("bench 18 °F warmer than the sheet assumes")

    fill_in(page, Charge_on_the_sheet="22 ft-lb")
    field = page.get_by_label("Charge on the sheet")
    expect(page.locator("#id_charge_error")).to_contain_text("“22 ft-lb” cannot be read")
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(field).to_have_attribute("aria-describedby", "id_charge_error")
    expect(result.locator(".spec__number")).to_have_count(0)

    field.fill("1379 kPa")
    expect(result.locator(".spec__number")).to_have_text("210 psi")
    expect(page.locator("#id_charge_error")).to_have_count(0)
    expect(field).not_to_have_attribute("aria-invalid", "true")
    assert page.evaluate("window.same"), "the page was not loaded anew"
    page.reload()
    expect(field).to_have_value("1379 kPa")
    expect(result.locator(".spec__number")).to_have_text("210 psi")


def test_only_the_last_of_several_answers_is_shown(open_browser, technician):
    """The answer to the first figures comes late, after they were changed."""
    page = open_browser(technician)
    held = []
    page.route(re.compile("charge=100&.*part=result"), lambda route: held.append(route))
    page.goto(CHARGE_TODAY)
    fill_in(page, Temperature_of_the_damper_now="86", Altitude_of_the_shop="5000")
    with page.expect_request(re.compile("charge=100&.*part=result")):
        fill_in(page, Charge_on_the_sheet="100")
    fill_in(page, Charge_on_the_sheet="200")
    number = page.locator(".spec__number")
    expect(number).to_have_text("210 psi")
    assert held[0].request.failure == "net::ERR_ABORTED"
    expect(page.locator("[data-result]")).to_have_attribute("aria-busy", "false")


def test_without_connection_the_old_result_says_that_it_is_old(open_browser, technician):
    page = open_browser(technician)
    page.goto(f"{CHARGE_TODAY}?charge=200&bench_temperature=86&altitude=5000")
    lost = re.compile("part=result")
    page.route(lost, lambda route: route.fulfill(status=408, body="away"))
    told = page.get_by_text("Not worked out.")
    expect(told).to_be_hidden()
    fill_in(page, Charge_on_the_sheet="100")
    expect(told).to_be_visible()
    expect(page.locator("[data-result]")).to_have_attribute("aria-busy", "true")
    page.unroute(lost)
    fill_in(page, Charge_on_the_sheet="150")
    expect(told).to_be_hidden()
    expect(page.locator(".spec__number")).to_have_text(re.compile(r"15\d psi"))


def test_it_works_with_javascript_off(open_browser, technician):
    page = open_browser(technician, java_script_enabled=False)
    page.goto(reverse("tablet:bench"))
    page.get_by_role("link", name="Bench figures").click()
    page.get_by_role("link", name=re.compile("Charge to set today")).click()
    fill_in(page, Charge_on_the_sheet="700", Temperature_of_the_damper_now="86", Altitude_of_the_shop="5000")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#id_charge_error")).to_contain_text(
        "Charge on the sheet cannot be 700 psi. Give 0 to 507 psi."
    )
    expect(page.get_by_label("Charge on the sheet")).to_have_value("700")
    fill_in(page, Charge_on_the_sheet="200")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".spec__number")).to_have_text("210 psi")
    assert "charge=200" in page.url


@pytest.mark.parametrize(
    ("viewport", "scheme"), [(DESK, "light"), (UPRIGHT, "dark"), (UPRIGHT, "light")], ids=["desk", "dark", "upright"]
)
def test_hands_and_eyes_stumble_over_nothing(open_browser, technician, viewport, scheme):
    page = open_browser(technician, viewport=viewport, color_scheme=scheme)
    page.goto(reverse("tablet:figures"))
    found = problems_on(page)
    for name in CALCULATORS:
        page.goto(reverse("tablet:figure", args=[name]))
        page.get_by_role("link", name="Show an example").click()
        page.locator(".spec__number").wait_for()
        found |= problems_on(page)
    page.goto(f"{CHARGE_TODAY}?charge=tight&bench_temperature=")
    page.locator(".errors").first.wait_for()
    found |= problems_on(page)
    assert found == {}


def test_a_page_with_all_that_it_loads_weighs_at_most_100_kb(open_browser, technician):
    page = open_browser(technician)
    weights = {}
    for name in CALCULATORS:
        page.goto(reverse("tablet:figure", args=[name]))
        page.get_by_role("link", name="Show an example").click()
        page.wait_for_load_state("load")
        loaded = page.evaluate("[location.href, ...performance.getEntriesByType('resource').map((one) => one.name)]")
        assert len(loaded) >= 6, "the page, four style sheets and two modules at least"
        weights[name] = sum(len(gzip.compress(page.request.get(one).body())) for one in loaded)
        assert not page.locator("[style], style, script:not([src])").count()
    assert max(weights.values()) <= 100_000, weights
