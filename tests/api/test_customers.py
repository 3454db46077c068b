import pytest

from shop.customers.models import Customer
from tests import factories as make
from tests.api.conftest import refused


def test_a_customer_is_entered_found_and_read(at_desk):
    body = {
        "name": "Ines Calloway",
        "email": "ines@example.com",
        "phone": "555-0117",
        "address": "",
        "note": "rings twice",
    }
    made = at_desk.post("customers/", body)
    assert made.status_code == 201
    told = made.json()
    assert {name: told[name] for name in body} == body
    assert told["reminder_consent"] == "not_asked"
    make.make_customer(name="Bram Oduya", email="bram@example.org")
    for text in ("calloway", "INES@", "0117"):
        assert [one["id"] for one in at_desk.get("customers/", search=text).json()["results"]] == [told["id"]]
    read = at_desk.get(f"customers/{told['id']}/")
    assert read.json() == told
    assert read["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "name"),
        ({"name": "   "}, "name"),
        ({"name": "x" * 121}, "name"),
        ({"name": "Ines", "email": "nowhere"}, "email"),
        ({"name": "Ines", "address": "x" * 301}, "address"),
        ({"name": "Ines", "note": "x" * 1001}, "note"),
        ({"name": ["Ines"]}, "name"),
    ],
)
def test_a_customer_that_cannot_be_is_refused_by_field(at_desk, body, field):
    assert refused(at_desk.post("customers/", body), 400, field=field).startswith(f"{field}: ")
    assert not Customer.objects.exists()


def test_a_change_touches_only_what_it_names_and_counts_the_version(at_desk):
    customer = make.make_customer(phone="555-0101", note="prefers mornings")
    told = at_desk.patch(f"customers/{customer.pk}/", {"version": 1, "phone": "555-0102"}).json()
    assert (told["phone"], told["note"], told["name"], told["version"]) == (
        "555-0102", "prefers mornings", customer.name, 2,
    )  # fmt: skip


def test_a_change_of_what_somebody_else_changed_meanwhile_is_409_and_changes_nothing(at_desk, as_manager):
    customer = make.make_customer()
    as_manager.patch(f"customers/{customer.pk}/", {"version": 1, "phone": "555-0102"})
    answer = at_desk.patch(f"customers/{customer.pk}/", {"version": 1, "phone": "555-0199"})
    assert "Somebody else has changed this" in refused(answer, 409, code="stale")
    customer.refresh_from_db()
    assert (customer.phone, customer.version) == ("555-0102", 2)


def test_a_change_without_the_version_is_refused(at_desk):
    customer = make.make_customer()
    refused(at_desk.patch(f"customers/{customer.pk}/", {"phone": "555-0102"}), 400, field="version")


@pytest.mark.parametrize(("wants", "consent"), [(True, "yes"), (False, "no")])
def test_consent_is_noted_with_how_we_know(at_desk, wants, consent):
    customer = make.make_customer()
    told = at_desk.made(f"customers/{customer.pk}/consent/", {"wants": wants, "how": "asked at the counter"})
    assert told["reminder_consent"] == consent
    assert told["reminder_consent_at"] is not None
    refused(at_desk.post(f"customers/{customer.pk}/consent/", {"wants": wants}), 400, field="how")
