"""A form whose protection token went stale while somebody typed: refused, and what was typed is still there."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from shop.customers.models import Customer

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_what_was_typed_survives_a_stale_token(open_browser, desk):
    page = open_browser(desk)
    page.goto(reverse("desk:customer_new"))
    page.get_by_label("Name", exact=True).fill("Ines Calloway")
    page.context.clear_cookies(name="csrftoken")
    page.request.get(reverse("desk:customer_new"))  # as in another tab
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", name="This form has gone stale")).to_be_visible()
    page.go_back()
    expect(page.get_by_label("Name", exact=True)).to_have_value("Ines Calloway")
    assert not Customer.objects.exists()
