import json

import pytest
from django.test import Client
from django.urls import reverse
from rest_framework.authtoken.models import Token

from tests.api.conftest import Caller, refused
from tests.factories import PASSWORD, make_user


@pytest.fixture(autouse=True)
def noon():
    """Not here: the lock-out reads the real clock, and tries made at another noon would be long over."""


def log_in(nobody, user, password=PASSWORD, **headers):
    return nobody.post("token/", {"username": user.username, "password": password}, **headers)


def test_username_and_password_give_a_token_that_opens_the_api(nobody, desk):
    token = nobody.made("token/", {"username": desk.username, "password": PASSWORD})["token"]
    assert Client(headers={"Authorization": f"Token {token}"}).get("/api/v1/customers/").status_code == 200


def test_the_token_stays_the_same_until_it_is_given_back(nobody, desk):
    first = log_in(nobody, desk).json()["token"]
    assert log_in(nobody, desk).json()["token"] == first
    caller = Caller(desk)
    assert caller.post("token/give-back/").status_code == 204
    refused(caller.get("customers/"), 401, code="authentication_failed")
    assert log_in(nobody, desk).json()["token"] != first


def test_a_wrong_password_does_not_tell_whether_the_name_exists(nobody, desk):
    wrong = refused(log_in(nobody, desk, "guess"), 400, code="log_in")
    unknown = refused(nobody.post("token/", {"username": "stranger", "password": "guess"}), 400, code="log_in")
    assert wrong == unknown
    assert not Token.objects.exists()


def test_five_wrong_passwords_lock_the_name_also_for_the_right_one(nobody, desk):
    for _ in range(4):
        refused(log_in(nobody, desk, "guess"), 400)
    answer = log_in(nobody, desk, "guess")
    assert "locked for 15 min" in refused(answer, 429, code="locked")
    assert answer["Retry-After"] == "900"
    refused(log_in(nobody, desk), 429, code="locked")
    page = Client().post(reverse("log_in"), {"username": desk.username, "password": PASSWORD})
    assert page.status_code == 429  # one lock for both doors


def test_a_right_password_in_between_starts_the_count_anew(nobody, desk):
    for _ in range(2):
        for _ in range(4):
            refused(log_in(nobody, desk, "guess"), 400)
        assert log_in(nobody, desk).status_code == 200


def test_twenty_tries_a_minute_from_one_address_whatever_the_names(nobody):
    for n in range(20):
        refused(nobody.post("token/", {"username": f"guess{n}", "password": "guess"}), 400)
    answer = nobody.post("token/", {"username": "another", "password": "guess"})
    assert refused(answer, 429, code="throttled").startswith("Too many tries. Wait ")
    assert 0 < int(answer["Retry-After"]) <= 60
    claimed = {"X-Forwarded-For": "203.0.113.9"}  # an address for documentation (RFC 5737)
    refused(nobody.post("token/", {"username": "another", "password": "guess"}, **claimed), 429)
    page = Client().post(reverse("log_in"), {"username": "another", "password": "guess"})
    assert page.status_code == 429  # one count for both doors


@pytest.mark.parametrize("header", ["Token", "Token a b", "Token nonsense", "Token ünknown"])
def test_a_broken_token_is_401_and_says_where_to_get_one(db, header):
    answer = Client(headers={"Authorization": header}).get("/api/v1/customers/")
    assert "POST /api/v1/token/" in refused(answer, 401, code="authentication_failed")


class TestSession:
    @pytest.fixture
    def browser(self, db):
        browser, user = Client(enforce_csrf_checks=True), make_user("desk")
        browser.get(reverse("log_in"))
        csrf = browser.cookies["csrftoken"].value
        browser.post(
            reverse("log_in"), {"username": user.username, "password": PASSWORD}, headers={"X-CSRFToken": csrf}
        )
        return browser

    def post(self, browser, **headers):
        body = json.dumps({"name": "Ines Calloway"})
        return browser.post("/api/v1/customers/", body, content_type="application/json", headers=headers)

    def test_the_session_of_the_pages_reads_and_with_the_csrf_header_writes(self, browser):
        assert browser.get("/api/v1/customers/").status_code == 200
        assert self.post(browser, **{"X-CSRFToken": browser.cookies["csrftoken"].value}).status_code == 201

    def test_without_the_csrf_header_nothing_is_written(self, browser):
        assert "CSRF" in refused(self.post(browser), 403)
        assert browser.get("/api/v1/customers/").json()["count"] == 0
