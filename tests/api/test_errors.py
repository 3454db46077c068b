"""What goes wrong with a request as such: one shape, the right status, a sentence that says what to do."""

import json

import pytest
from django.db import IntegrityError

from shop.customers.models import Customer
from tests.api.conftest import refused
from tests.api.shop import make_on_bench


def post_raw(caller, content, content_type="application/json", path="customers/"):
    return caller.client.post(f"/api/v1/{path}", content, content_type=content_type)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ('{"name": "Ines"', "line 1 column 16"),
        ("name=Ines", "line 1 column 1"),
        ('{"name": NaN}', "NaN is no number"),
        ('{"name": -Infinity}', "-Infinity is no number"),
        ('{"name": 1e999}', "1e999 is too large"),
        ('{"name": ' + "9" * 5000 + "}", "The body is no JSON"),
        ("[" * 100_000, "too deep"),
        (b'{"name": "\xff"}', "not UTF-8"),
        ('{"name": "\\ud800"}', "not UTF-8"),
    ],
)
def test_malformed_json_is_400_and_says_where(at_desk, content, told):
    assert told in refused(post_raw(at_desk, content), 400, code="parse_error")
    assert not Customer.objects.exists()


@pytest.mark.parametrize("content", ["[]", '"Ines"', "12", "null", "[[1]]"])
def test_a_body_that_is_no_object_is_400(at_desk, content):
    assert refused(post_raw(at_desk, content), 400) == "Send one JSON object: {…}."


@pytest.mark.parametrize(
    "content_type",
    ["text/plain", "application/xml", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"],
)
def test_another_content_type_is_415_and_names_the_right_one(at_desk, content_type):
    answer = post_raw(at_desk, '{"name": "Ines"}', content_type)
    assert "Send application/json" in refused(answer, 415, code="unsupported_media_type")


def test_ten_megabytes_are_413_before_anything_reads_them(at_desk):
    answer = post_raw(at_desk, json.dumps({"name": "x" * 10_000_000}))
    assert answer.status_code == 413
    assert "allowed are 2500000" in answer.json()["message"]
    assert answer.json()["fields"] == {}
    assert not Customer.objects.exists()


def test_an_id_nobody_has_is_404_in_the_path_and_400_in_the_body(at_desk):
    assert refused(at_desk.get("customers/4711/"), 404, code="not_found") == "There is no customer 4711."
    answer = at_desk.post("vehicles/", {"customer": 4711, "model": 4712, "model_year": 2015})
    message = refused(answer, 400)
    assert "customer: There is no customer 4711." in message
    assert "model: There is no vehicle model 4712." in message
    assert set(answer.json()["fields"]) == {"customer", "model"}


@pytest.mark.parametrize("number", [10**30, -1, True, 1.5, "x", "１", [], {}, None])
def test_a_number_no_row_can_have_is_400(at_desk, number):
    body = {"customer": number, "model": number, "model_year": 2015}
    refused(at_desk.post("vehicles/", body), 400)


def test_a_number_beyond_every_row_is_404_in_the_path(at_desk):
    refused(at_desk.get(f"customers/{10**30}/"), 404)


@pytest.mark.parametrize("path", ["customers", "nothing/", "customers/abc/", ""])
def test_an_address_that_is_none_is_404_in_the_same_shape(at_desk, path):
    message = refused(at_desk.get(path), 404, code="not_found")
    assert ("end with a slash" in message) == (path == "customers")


def test_a_method_that_does_nothing_is_405_and_names_those_that_do(at_desk):
    answer = at_desk.send("DELETE", "customers/")
    assert refused(answer, 405, code="method_not_allowed") == "DELETE does nothing here; allowed is GET and POST."
    assert answer["Allow"] == "GET, HEAD, POST"
    refused(at_desk.send("OPTIONS", "customers/"), 405)


def test_an_answer_in_another_kind_is_406(at_desk):
    answer = at_desk.client.get("/api/v1/customers/", headers={"Accept": "text/csv"})
    assert "application/json" in refused(answer, 406)


def test_a_refused_paper_is_json_although_a_pdf_was_asked_for(at_desk):
    answer = at_desk.client.get("/api/v1/work-orders/4711/job-card/", headers={"Accept": "application/pdf"})
    assert refused(answer, 404) == "There is no work order 4711."


def test_a_field_of_another_name_is_refused_and_the_known_ones_named(at_desk):
    message = refused(at_desk.post("customers/", {"nmae": "Ines"}), 400, field="nmae", code="unknown_field")
    assert "known are: name, email, phone, address, note" in message
    assert "known are: search" in refused(at_desk.get("customers/", serach="Ines"), 400, field="serach")


def test_errors_inside_lists_are_named_by_their_place(at_desk, at_bench):
    order = make_on_bench(at_desk)
    answer = at_bench.post(f"work-orders/{order['id']}/close/", {"used": [{"line": 4711, "amount": "1 pcs"}]})
    assert "There is no pick line 4711." in refused(answer, 400, field="used.0.line")


@pytest.mark.parametrize("text", ["\x00", "a\x00b"])
def test_a_null_character_is_refused_in_bodies_and_searches(at_desk, text):
    refused(at_desk.post("customers/", {"name": text}), 400, field="name")
    refused(at_desk.get("customers/", search=text), 400, field="search")


def test_pages_run_from_one_to_the_last(at_desk):
    Customer.objects.bulk_create(Customer(name=f"Ines {n}", created_at="2026-11-25T19:00:00Z") for n in range(5))
    page = at_desk.get("customers/", page_size=2, page=3).json()
    assert (page["count"], len(page["results"]), page["next"]) == (5, 1, None)
    assert refused(at_desk.get("customers/", page_size=2, page=4), 404) == (
        "There is no page “4”: pages run from 1 to 3."
    )
    refused(at_desk.get("customers/", page="-1"), 404)
    assert at_desk.get("customers/", page_size=10**6).status_code == 200


def test_what_nobody_foresaw_is_500_in_the_same_shape_and_in_the_log(at_desk, monkeypatch, caplog):
    def fail(**given):
        raise RuntimeError("the shelf fell down")

    fail.__module__, fail.__name__ = "tests", "fail"
    monkeypatch.setattr("api.customers.create_customer", fail)
    at_desk.client.raise_request_exception = False
    message = refused(at_desk.post("customers/", {"name": "Ines"}), 500, code="failed")
    assert "shelf" not in message
    assert "the shelf fell down" in caplog.text


def test_a_lost_race_for_a_unique_value_is_409(at_desk, monkeypatch):
    def lose(**given):
        raise IntegrityError("duplicate key") from Exception.__new__(type("Lost", (Exception,), {"sqlstate": "23505"}))

    monkeypatch.setattr("api.customers.create_customer", lose)
    assert "Somebody else" in refused(at_desk.post("customers/", {"name": "Ines"}), 409, code="conflict")
