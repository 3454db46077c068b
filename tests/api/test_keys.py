"""A write under an Idempotency-Key is done once, however often it is sent."""

import threading

import pytest
from django.db import connection

from shop.core.models import RequestKey
from shop.customers.models import Customer
from shop.dampers.models import Damper
from shop.parts.models import Movement
from shop.staff.services import set_bench_pin
from shop.workorders.models import Reading, SecondCheck
from tests import factories as make
from tests.api.conftest import Caller, refused
from tests.api.shop import make_family, make_one_on_bench
from tests.factories import NOON, make_user

INES = {"name": "Ines Calloway"}


def test_the_same_request_twice_is_done_once_and_answered_twice(at_desk):
    first = at_desk.post("customers/", INES, key="k-1")
    again = at_desk.post("customers/", INES, key="k-1")
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert Customer.objects.count() == 1


def test_a_change_sent_again_is_not_told_that_it_is_stale(at_desk):
    customer = make.make_customer()
    body = {"version": 1, "phone": "555-0102"}
    first = at_desk.patch(f"customers/{customer.pk}/", body, key="k-1")
    again = at_desk.patch(f"customers/{customer.pk}/", body, key="k-1")
    assert (again.status_code, again.json()) == (200, first.json())
    assert again.json()["version"] == 2


def test_the_key_used_for_something_else_is_409(at_desk):
    at_desk.post("customers/", INES, key="k-1")
    answer = at_desk.post("customers/", {"name": "Bram Oduya"}, key="k-1")
    refused(answer, 409, code="key_reused")
    one, two = make.make_customer(), make.make_customer()
    body = {"wants": True, "how": "by letter"}
    at_desk.made(f"customers/{one.pk}/consent/", body, key="k-2")
    refused(at_desk.post(f"customers/{two.pk}/consent/", body, key="k-2"), 409, code="key_reused")


def test_a_key_is_the_senders_own_and_for_one_kind_of_write(at_desk, as_manager):
    at_desk.made("customers/", INES, key="k-1")
    as_manager.made("customers/", {"name": "Bram Oduya"}, key="k-1")
    part = make.make_part()
    at_desk.made(f"parts/{part.pk}/receive/", {"amount": "2 pcs"}, key="k-1")
    assert (Customer.objects.count(), Movement.objects.count()) == (2, 1)


def test_a_refused_request_may_come_again_under_its_key(at_desk):
    refused(at_desk.post("customers/", {"name": "Ines", "email": "nowhere"}, key="k-1"), 400)
    vehicle = make.make_vehicle(vin="OST15X0042")
    body = {"customer": vehicle.customer_id, "model": vehicle.model_id, "model_year": 2015, "vin": "OST15X0042"}
    refused(at_desk.post("vehicles/", body, key="k-2"), 400)
    vehicle.vin = ""
    vehicle.save()
    assert at_desk.post("vehicles/", body, key="k-2").status_code == 201


@pytest.mark.parametrize("key", ["k" * 65, "two words", "ümlaut"])
def test_a_key_that_is_none_is_refused(at_desk, key):
    refused(at_desk.post("customers/", INES, key=key), 400, field="Idempotency-Key")
    assert not Customer.objects.exists()


def test_a_delivery_sent_twice_is_on_the_shelf_once(at_desk):
    part = make.make_part()
    for _ in range(2):
        assert at_desk.post(f"parts/{part.pk}/receive/", {"amount": "2 pcs"}, key="k-1").status_code == 201
    assert at_desk.get(f"parts/{part.pk}/").json()["on_hand"]["figures"] == "2"


def test_fitting_sent_twice_answers_with_the_same_dampers(at_desk):
    vehicle = make.make_vehicle(model=make_family()["vehicle_model"])
    first = at_desk.made(f"vehicles/{vehicle.pk}/fit-dampers/", key="k-1")
    assert at_desk.made(f"vehicles/{vehicle.pk}/fit-dampers/", key="k-1") == first
    assert Damper.objects.count() == 4


def test_a_reading_and_its_check_sent_twice_stand_once_and_the_pin_is_not_kept(desk, at_bench, second):
    family = make_family()
    set_bench_pin(user=second, pin="2468", by="test", at=NOON)
    job = make_one_on_bench(family, desk, at_bench.user, second)
    entry = {"measure": "shaft_nut_torque", "entered": "22 lbf·ft", "tool": family["tools"]["shaft_nut_torque"]}
    made = [at_bench.post(f"jobs/{job}/readings/", entry, key="k-1") for _ in range(2)]
    assert [one.status_code for one in made] == [201, 201]
    assert made[0].json() == made[1].json()
    assert Reading.objects.filter(moment="set").count() == 1
    path, body = f"jobs/{job}/steps/8/second-check/", {"checker": second.username, "pin": "2468"}
    body["reading"] = made[0].json()["id"]
    assert [at_bench.post(path, body, key="k-2").status_code for _ in range(2)] == [200, 200]
    assert SecondCheck.objects.count() == 2
    # The kept fingerprint does not depend on the PIN, which has few enough values to be guessed from it.
    set_bench_pin(user=second, pin="9753", by="test", at=NOON)
    assert at_bench.post(path, body | {"pin": "9753"}, key="k-2").status_code == 200


@pytest.mark.django_db(transaction=True)
def test_the_same_request_from_two_at_the_same_moment_is_done_once():
    caller, barrier, answers = Caller(make_user("desk")), threading.Barrier(2), []

    def send():
        try:
            other = Caller(caller.user)
            barrier.wait(timeout=10)
            answers.append(other.post("customers/", INES, key="k-1"))
        finally:
            connection.close()

    threads = [threading.Thread(target=send) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert (Customer.objects.count(), RequestKey.objects.count()) == (1, 1)
