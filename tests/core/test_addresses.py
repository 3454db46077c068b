"""From which address a request comes, and what hangs on it: the lock of a name, the limit of tries, the log."""

from datetime import timedelta

import pytest
import structlog
from axes.models import AccessAttempt
from django.db.models import F
from django.test import Client, RequestFactory
from django.urls import reverse

from shop.core.addresses import client_address
from tests.factories import PASSWORD

# Addresses for documentation: RFC 5737 and RFC 3849.
OURS, ONE, OTHER = "192.0.2.1", "203.0.113.9", "198.51.100.7"


def address(**headers):
    return client_address(RequestFactory().get("/", REMOTE_ADDR=OURS, headers={"X-Forwarded-For": ONE} | headers))


def test_without_a_proxy_the_header_counts_for_nothing():
    assert address() == OURS


@pytest.mark.parametrize(
    ("header", "found"),
    [
        (ONE, ONE),
        (f"{OTHER}, {ONE}", ONE),  # what stands before is the sender's own claim
        (f" {OTHER} ,{ONE}:51234", ONE),
        ("2001:db8::1", "2001:db8::1"),
        ("[2001:db8::1]:51234", "2001:db8::1"),
        ("", OURS),
        ("unknown", OURS),
        (f"{ONE}, nonsense'", OURS),
    ],
)
def test_behind_our_proxy_what_it_added_last_counts(settings, header, found):
    settings.BEHIND_PROXY = True
    assert address(**{"X-Forwarded-For": header}) == found


def test_without_any_address_there_is_none():
    assert client_address(RequestFactory().get("/", REMOTE_ADDR="")) is None


def log_in(user, password, sender=ONE):
    """Status after a try on the page, from a browser of its own."""
    content = {"username": user.username, "password": password}
    return Client().post(reverse("log_in"), content, headers={"X-Forwarded-For": f"{OTHER}, {sender}"}).status_code


@pytest.fixture
def proxy(settings):
    settings.BEHIND_PROXY = True


def test_a_lock_behind_the_proxy_is_the_lock_of_one_address(proxy, desk):
    assert [log_in(desk, "guess") for _ in range(5)] == [200] * 4 + [429]
    assert log_in(desk, PASSWORD) == 429
    assert log_in(desk, PASSWORD, sender=OTHER) == 302


def test_a_try_during_the_lock_does_not_make_it_longer(proxy, desk):
    def let_pass(minutes):
        AccessAttempt.objects.update(attempt_time=F("attempt_time") - timedelta(minutes=minutes))

    for _ in range(5):
        log_in(desk, "guess")
    let_pass(14)
    assert [log_in(desk, "guess"), log_in(desk, PASSWORD)] == [429, 429]
    let_pass(2)
    assert log_in(desk, PASSWORD) == 302


def test_one_address_has_twenty_tries_a_minute_on_the_page_whatever_the_names(proxy, desk):
    guess = {"password": "guess"}
    sent_by = {"X-Forwarded-For": ONE}
    for n in range(20):
        page = Client().post(reverse("log_in"), guess | {"username": f"guess{n}"}, headers=sent_by)
        assert page.status_code == 200
    page = Client().post(reverse("log_in"), guess | {"username": "another"}, headers=sent_by)
    assert page.status_code == 429
    assert 0 < int(page["Retry-After"]) <= 60
    assert f"Wait {page['Retry-After']} seconds" in page.content.decode()
    assert Client().get(reverse("log_in"), headers=sent_by).status_code == 200  # to look at the page is no try
    assert log_in(desk, PASSWORD, sender=OTHER) == 302


def test_the_log_tells_the_same_address(proxy, db):
    with structlog.testing.capture_logs(processors=[structlog.contextvars.merge_contextvars]) as lines:
        Client().get(reverse("log_in"), headers={"X-Forwarded-For": f"{OTHER}, {ONE}"})
    assert [line["ip"] for line in lines if line["event"].startswith("request_")] == [ONE, ONE]
