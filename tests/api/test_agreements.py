"""Agreements, questions and photos over the API: the same functions as the pages."""

import base64

import pytest
from django.core import mail
from django.test import Client

from shop.reminders.services import send_question_mails
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import make_booked, make_family
from tests.core.test_images import file
from tests.factories import NOON

pytestmark = pytest.mark.django_db
PHONE = {"agreed": True, "name": "Ines Calloway", "how": "telephone"}


@pytest.fixture(autouse=True)
def _media(tmp_path, settings):
    storages = {**settings.STORAGES}
    storages["default"] = storages["default"] | {"OPTIONS": {"location": tmp_path}}
    settings.STORAGES = storages


@pytest.fixture
def job(desk):
    job = make.make_open_job(by=desk, damper=make.make_damper(make.make_vehicle()))
    make.make_agreement(job.order, by=desk)
    return job


def ask(at_desk, job, **given):
    body = {"job": job.pk, "what": "new shaft", "why": "worn through", "by_how_much": "85.00"}
    return at_desk.made(f"work-orders/{job.order_id}/questions/", body | given)


def picture(colour="white"):
    return base64.b64encode(file(colour=colour).getvalue()).decode()


@pytest.mark.flow
def test_from_the_proposal_to_the_new_total(at_bench, at_desk, job):
    proposed = at_bench.made(f"jobs/{job.pk}/propose/", {"what": "new shaft", "why": "worn through"})
    assert (proposed["state"], proposed["link"]) == ("proposed", "")
    waits = refused(at_bench.post(f"jobs/{job.pk}/steps/1/done/"), 400, code="asked")
    assert "waits for the front desk to ask the customer" in waits
    asked = at_desk.made(f"questions/{proposed['id']}/price/", {"by_how_much": "85"})
    assert (asked["state"], asked["new_total"]) == ("open", "505.00")
    assert asked["link"].startswith("http")
    assert at_bench.get(f"questions/{asked['id']}/").json()["link"] == ""
    answered = at_desk.made(f"questions/{asked['id']}/answer/", PHONE | {"new_total": "505.00"})
    assert answered["outcome"] == "agreed: Ines Calloway, by telephone, noted by Dora Achterberg"
    order = at_desk.get(f"work-orders/{job.order_id}/").json()
    assert (order["agreed_up_to"], order["agreed"]) == ("505.00", "Agreed up to 505.00 USD.")
    rows = at_desk.get(f"work-orders/{job.order_id}/agreements/").json()["results"]
    assert [(one["up_to"], one["how"]) for one in rows] == [("420.00", "desk"), ("505.00", "telephone")]
    assert at_bench.post(f"jobs/{job.pk}/steps/1/done/").status_code == 200


def test_a_second_answer_is_told_how_it_stands(at_desk, job):
    question = ask(at_desk, job)
    at_desk.made(f"questions/{question['id']}/answer/", PHONE)
    told = refused(at_desk.post(f"questions/{question['id']}/answer/", PHONE | {"agreed": False}), 409, code="answered")
    assert "agreed: Ines Calloway, by telephone" in told


def test_the_same_key_answers_once(at_desk, job):
    question = ask(at_desk, job)
    for _ in range(2):
        at_desk.made(f"questions/{question['id']}/answer/", PHONE, key="one")
    assert job.order.agreements.count() == 2


def test_declined_withdrawn_and_what_happens_then(at_desk, job):
    question = ask(at_desk, job)
    declined = at_desk.made(f"questions/{question['id']}/answer/", PHONE | {"agreed": False})
    assert (declined["state"], declined["waits"]) == ("declined", True)
    settled = at_desk.made(f"questions/{question['id']}/after/", {"after": "without"})
    assert (settled["after"], settled["waits"]) == ("without", False)
    other = ask(at_desk, job)
    withdrawn = at_desk.made(f"questions/{other['id']}/withdraw/", {"why": "polished out"})
    assert withdrawn["state"] == "withdrawn"
    assert Client().get(other["link"].split("testserver")[-1].split("localhost")[-1]).status_code in (404, 410)
    assert len(at_desk.get(f"work-orders/{job.order_id}/questions/").json()["results"]) == 2


def test_money_is_text_and_what_may_mean_two_amounts_is_asked_about(at_desk, job):
    path, body = f"work-orders/{job.order_id}/questions/", {"what": "shaft", "why": "bent"}
    assert "Write the amount as text" in refused(at_desk.post(path, body | {"by_how_much": 85.5}), 400)
    assert "1234 if that is meant" in refused(at_desk.post(path, body | {"by_how_much": "1.234"}), 400)


def test_the_question_goes_by_e_mail(at_desk, job):
    question = ask(at_desk, job)
    queued = at_desk.made(f"questions/{question['id']}/mail/")
    assert [one["status"] for one in queued["mails"]] == ["queued"]
    send_question_mails(now=NOON)
    assert question["link"] in mail.outbox[0].body
    (row,) = at_desk.get(f"questions/{question['id']}/").json()["mails"]
    assert (row["status"], row["to_address"]) == ("sent", "ines@example.com")


def test_checking_in_notes_condition_and_agreement(at_desk):
    order = make_booked(at_desk, make_family())
    first = order["jobs"][0]["id"]
    body = {
        "conditions": [
            {"words": "muddy"},
            {"job": first, "words": "leaks", "came_along": "spring and bump stops with it"},
        ],
        "agreed": {"what": "Rebuild of 4 dampers", "up_to": "420", "agreed_by": "Ines Calloway", "on_paper": True},
    }
    told = at_desk.made(f"work-orders/{order['id']}/check-in/", body)
    assert told["agreed_up_to"] == "420.00"
    assert [one["words"] for one in told["conditions"]] == ["muddy", "leaks"]
    bad = {"agreed": {"what": "x", "agreed_by": "y", "signature": "data:image/png;base64,AAAA"}}
    other = make_booked(at_desk, make_family())
    assert "cannot be read" in refused(at_desk.post(f"work-orders/{other['id']}/check-in/", bad), 400)


def test_photos_come_and_are_struck_out(at_bench, at_desk, job):
    path = f"work-orders/{job.order_id}/photos/"
    body = {"photo": picture(), "job": job.pk, "moment": "finding", "what": "worn"}
    made = at_bench.made(path, body, key="p1")
    assert (made["moment"], made["width"], made["struck_out"]) == ("finding", 300, "")
    assert at_bench.made(path, body, key="p1") == made
    struck = at_desk.made(f"photos/{made['id']}/strike/", {"why": "another damper"})
    assert struck["struck_out"] == "another damper"
    assert [one["id"] for one in at_desk.get(path).json()["results"]] == [made["id"]]
    assert "cannot be read" in refused(at_bench.post(path, {"photo": base64.b64encode(b"text").decode()}), 400)


def test_handing_back_names_who_collected_it(at_desk, job, manager):
    from shop.workorders import services

    services.close_job(job=job, override_reason="test", by=manager, at=NOON)
    services.close_order(order=job.order, used=[], by=manager, at=NOON)
    body = {
        "collected_by": "A. Calloway",
        "meters": [{"meter": "distance", "entered": "1204 mi"}],
        "told_unfinished": True,
    }
    told = at_desk.made(f"work-orders/{job.order_id}/hand-back/", body)
    assert (told["status"], told["collected_by"]) == ("handed_back", "A. Calloway")
