"""Today's charge follows the bench temperature while it is typed, in a real browser."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import expect

from tests.web.dampers_at_work import CHARGE, at_step, order_on_the_benches, tools, with_pin, work

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_target_and_the_verdict_follow_the_bench_temperature(open_browser, desk, technician, second):
    at = timezone.now()
    job = order_on_the_benches(desk, at=at).jobs.get()
    work(job, technician, with_pin(second), to=CHARGE, tools=tools(at=at), at=at)
    page = open_browser(technician)
    page.goto(at_step(job, CHARGE))
    today, verdict = page.locator("[data-today]"), page.locator("[data-verdict]")
    page.get_by_label("Charge read on the gauge").fill("200")
    expect(verdict).to_have_text("")
    # 200 psi is 187 psi at 36 °F: Span et al. (2000), see tests/web/test_tablet_charge.py.
    page.get_by_label("Bench temperature").fill("36")
    expect(today).to_contain_text("187")
    expect(verdict).to_have_text("outside the allowed range")
    page.get_by_label("Bench temperature").fill("68")
    expect(today).to_contain_text("195 to 205")
    expect(verdict).to_have_text("within the allowed range")
    page.get_by_label("Bench temperature").fill("400")
    expect(today).to_contain_text("−40 to 140 °F")
    expect(verdict).to_have_text("")
    page.get_by_label("Bench temperature").fill("36")
    expect(today).to_contain_text("187")
    assert Axe().run(page).response["violations"] == []
