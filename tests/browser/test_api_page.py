"""The page that shows the API: it stands under the site's own policy, and a person can try a request on it."""

import pytest
from playwright.sync_api import expect

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_page_lists_the_endpoints_and_a_request_can_be_tried_on_it(open_browser, desk):
    page = open_browser(desk)
    page.goto("/api/docs/")
    page.get_by_role("link", name="customers", exact=True).click()
    entry = page.locator("#operations-customers-v1_customers_create")
    expect(entry).to_contain_text("Enter a customer")
    entry.get_by_role("button").first.click()
    entry.get_by_role("button", name="Try it out").click()
    entry.locator("textarea").fill('{"name": "Ines Calloway"}')
    entry.get_by_role("button", name="Execute").click()
    expect(entry.locator(".live-responses-table td.response-col_status").nth(1)).to_contain_text("201")
    page.goto("/customers/")
    expect(page.get_by_role("main")).to_contain_text("Ines Calloway")
