"""Booking with scripts: the proposal follows the ticks, and a promise that somebody typed stays."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from shop.staff.models import WorkingHours
from tests import factories as make
from tests.browser.conftest import UPRIGHT

pytestmark = [pytest.mark.browser, pytest.mark.serial]


@pytest.fixture
def customer(transactional_db):
    person = make.make_bench_hours(from_day=timezone.localdate() - timedelta(days=7))
    person.bench_hours.update(minutes=300)  # also at the weekend, whichever day the test runs on
    WorkingHours.objects.update(opens="08:00", closes="17:00")
    customer = make.make_customer()
    for _ in range(3):
        make.make_damper(customer=customer)
    return customer


def test_the_proposal_follows_the_ticks_until_somebody_types_a_promise(open_browser, customer, desk):
    page = open_browser(desk, viewport=UPRIGHT)
    monday = timezone.localdate() + timedelta(days=14)
    page.goto(f"{reverse('desk:book')}?loose={customer.pk}")
    assert page.get_by_role("button", name="Propose a day anew").count() == 0
    day = page.locator("[name=promised_for_0]")
    page.get_by_label("Arrives on").fill(monday.isoformat())
    expect(day).to_have_value(monday.isoformat())
    proposal = page.locator("[data-proposal]")
    expect(proposal).to_contain_text("4 h 15 min on")
    page.get_by_role("checkbox").first.uncheck()
    expect(proposal).to_contain_text("3 h on")
    later = (monday + timedelta(days=3)).isoformat()
    day.fill(later)
    page.get_by_role("checkbox").nth(1).uncheck()
    expect(proposal).to_contain_text("1 h 45 min on")
    expect(day).to_have_value(later)
    page.get_by_label("What the customer says").fill("leaks")
    page.get_by_role("button", name="Book", exact=True).press("Enter")
    page.get_by_role("link", name="Change the booking").wait_for()
