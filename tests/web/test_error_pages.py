"""What went wrong is told in the shop's look: what happened, what is kept and what to do, and nothing of the inside."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from shop.customers.models import Customer
from tests.web.conftest import logged_in

pytestmark = pytest.mark.django_db
SECRET_WORDS = "the sump of row 7 has no bottom"
INSIDE = ["Traceback", "Exception", "Django", "site-packages", "SELECT", SECRET_WORDS]


def told(answer, status):
    """The words of an error page, after checking its status, its look and that it tells nothing of the inside."""
    assert answer.status_code == status
    assert answer["Content-Type"] == "text/html; charset=utf-8"
    html = answer.content.decode()
    sheets = re.findall(r'<link rel="stylesheet" href="([^"]+)"', html)
    assert [sheet.rpartition("/")[2] for sheet in sheets] == ["tokens.css", "base.css", "public.css"]
    assert all(Client().get(sheet).status_code == 200 for sheet in sheets)
    assert [word for word in INSIDE if word in html] == []
    assert f"Error {status}" in html
    for words in ("What happened", "What is kept", "What to do"):
        assert f"<dt>{words}</dt>" in html
    (heading,) = re.findall("<h1>(.+)</h1>", html)
    return heading, html


def test_a_name_that_this_site_does_not_answer_to_is_400():
    told(Client(headers={"Host": "elsewhere.example.com"}).get("/"), 400)


def test_a_page_that_this_role_may_not_see_is_403(at_bench):
    told(at_bench.get(reverse("manage:person_new")), 403)


def test_an_address_that_leads_nowhere_is_404_for_everybody(at_desk):
    for client in (at_desk, Client()):
        told(client.get("/no/such/page/"), 404)


def test_a_body_longer_than_any_form_is_413_and_nothing_is_written(at_desk):
    answer = at_desk.post(reverse("desk:customer_new"), {"name": "Ines Calloway", "address": "x" * 3_000_000})
    heading, _ = told(answer, 413)
    assert heading == "This was too large to take"
    assert not Customer.objects.exists()


def test_a_fault_of_ours_is_500_and_tells_no_more(desk, monkeypatch):
    def fail(now):
        raise RuntimeError(SECRET_WORDS)

    monkeypatch.setattr("shop.web.desk.views.day.the_day", fail)
    browser = logged_in(desk)
    browser.raise_request_exception = False
    heading, html = told(browser.get(reverse("desk:day")), 500)
    assert heading == "The fault is on our side"
    assert desk.username not in html


def test_a_form_whose_token_went_stale_is_not_saved_and_the_page_tells_the_way_back(desk):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(desk)
    page = browser.get(reverse("desk:customer_new"))
    (stale,) = set(re.findall(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.content.decode()))
    browser.cookies.pop("csrftoken")
    browser.get(reverse("desk:customer_new"))  # the same form in another tab brings another token
    typed = {"name": "Ines Calloway", "csrfmiddlewaretoken": stale}
    heading, html = told(browser.post(reverse("desk:customer_new"), typed), 403)
    assert heading == "This form has gone stale"
    assert "Back" in html
    assert not Customer.objects.exists()
