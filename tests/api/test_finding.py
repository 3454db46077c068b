"""The one box, the booking of somebody new, duplicates and merging, for programs."""

from datetime import timedelta

import pytest
from django.utils import timezone

from shop.customers.models import Customer
from shop.workorders.models import WorkOrder
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import ARRIVES, PROMISED, make_family


@pytest.fixture
def order(desk):
    owner = make.make_customer(name="Ines Calloway", phone="555-0142")
    vehicle = make.make_vehicle(customer=owner, plate="KLR-204")
    return make.make_order(vehicle=vehicle, dampers=[make.make_damper(vehicle, serial="PV-88")], by=desk)


@pytest.mark.flow
def test_anything_is_found_by_any_part(at_bench, order):
    told = at_bench.get("find/", q="klr 204").json()
    assert [(one["kind"], one["id"]) for one in told["found"] if not one["by_owner"]] == [("vehicle", order.vehicle_id)]
    assert told["found"][0]["sentence"].startswith("Vehicle of Ines Calloway")
    assert told["words"] == ""
    only = at_bench.get("find/", q="0142", kinds="order, damper", most=1).json()
    assert [one["kind"] for one in only["found"]] == ["damper"]
    assert only["more"]
    assert at_bench.get("find/", q=order.jobs.get().tag).json()["found"][0]["kind"] == "tag"
    assert at_bench.get("find/", q="caloway").json()["words"] == "Nothing says “caloway”; alike: Calloway."
    refused(at_bench.get("find/", q="x", kinds="ghost"), 400, field="kinds")
    refused(at_bench.get("find/"), 400, field="q")


def test_lists_find_by_the_same_words(at_desk, order):
    for path, pk in (("customers/", order.customer_id), ("vehicles/", order.vehicle_id), ("work-orders/", order.pk)):
        for text in ("caloway", "0142", "klr-204", "calloway klr"):
            assert [one["id"] for one in at_desk.get(path, search=text).json()["results"]] == [pk], (path, text)
        assert at_desk.get(path, search="nobody").json()["count"] == 0


def body(family, **given):
    return {
        "new_customer": {"name": "Ines Calloway", "phone": "555-0142"},
        "new_vehicle": {"model": family["vehicle_model"].pk, "model_year": 2015, "plate": "KLR-204"},
        "corners": [{"position": "front_left"}, {"position": "rear_left", "serial": "PV-88"}],
        "complaint": "leaks", "arrives_on": ARRIVES, "promised_for": PROMISED,
    } | given  # fmt: skip


@pytest.mark.flow
def test_somebody_new_is_booked_in_one_call_and_once(at_desk):
    family = make_family()
    made = at_desk.made("work-orders/book-new/", body(family), key="telephone-1")
    again = at_desk.made("work-orders/book-new/", body(family), key="telephone-1")
    assert made["id"] == again["id"]
    order = WorkOrder.objects.get()
    assert (order.customer.name, order.vehicle.plate, order.jobs.count()) == ("Ines Calloway", "KLR-204", 2)


@pytest.mark.flow
def test_one_who_is_likely_in_the_book_is_told_first(at_desk):
    family, known = make_family(), make.make_customer(name="I. Calloway", phone="(555) 0142", email="")
    message = refused(at_desk.post("work-orders/book-new/", body(family)), 400, field="somebody_else", code="twin")
    assert "I. Calloway has this telephone number" in message
    assert Customer.objects.count() == 1
    (twin,) = at_desk.get("customers/duplicates/", phone="555 0142").json()
    assert twin["customer"]["id"] == known.pk
    asked = body(family, customer=known.pk)
    del asked["new_customer"]
    assert at_desk.made("work-orders/book-new/", asked)["customer"]["id"] == known.pk
    assert at_desk.made("work-orders/book-new/", body(family, somebody_else=True))["customer"]["id"] != known.pk


@pytest.mark.flow
def test_somebody_new_gets_the_bench_days_that_were_proposed(at_desk):
    family = make_family()
    make.make_bench_hours()
    make.make_customer(name="Ines Calloway", phone="555-0199", email="")
    monday = (timezone.localdate() + timedelta(days=7 - timezone.localdate().weekday())).isoformat()
    given = body(family, arrives_on=monday)
    asked = {name: given[name] for name in ("new_vehicle", "corners", "arrives_on")}
    found = at_desk.post("work-orders/book-new/proposal/", asked).json()
    assert (found["first_day"], found["minutes"]) == (monday, 180)
    assert not WorkOrder.objects.exists()
    del given["promised_for"]
    given |= {"proposed": found["first_day"], "somebody_else": True}
    over = given | {"bench_from": monday, "anyway": True, "anyway_why": "race on Sunday", "corners": [], "dampers": [
        {"model": family["damper_model"].pk, "model_year": 2015} for _ in range(6)
    ]}  # fmt: skip
    del over["new_vehicle"]
    made = at_desk.made("work-orders/book-new/", over)
    assert made["bench_plan"][0]["day"] == monday
    assert refused(at_desk.post("work-orders/book-new/", given), 409, field="bench_from", code="taken")
    del given["proposed"]
    assert at_desk.made("work-orders/book-new/", given)["promised_for"]
    refused(at_desk.post("work-orders/book-new/proposal/", {"arrives_on": monday}), 400, field="dampers")


@pytest.mark.flow
def test_an_order_that_is_found_tells_the_telephone_answer(at_bench, order):
    (hit,) = at_bench.get("find/", q=order.number).json()["found"][:1]
    assert hit["told"] == "Rebuild of 1 damper. No parts list for these dampers."


@pytest.mark.parametrize(
    ("given", "field"),
    [({"customer": None, "new_customer": {}}, "new_customer.name"), ({"corners": []}, "dampers"),
     ({"corners": [{"position": "roof"}]}, "corners.0.position"), ({"new_vehicle": {}}, None),
     ({"corners": [{"position": "front_left"}] * 2}, "corners"),
     ({"promised_for": "2020-01-01T00:00Z"}, "promised_for"),
     ({"new_vehicle": None}, "new_vehicle"), ({"dampers": [{"model": 0}]}, None)],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_is_written(at_desk, given, field):
    refused(at_desk.post("work-orders/book-new/", body(make_family(), **given)), 400, field=field)
    assert not Customer.objects.exists()


@pytest.mark.flow
def test_two_entries_are_merged_and_the_old_one_says_where_it_went(at_desk, order):
    twin = make.make_customer(name="Ines Caloway", note="rings twice")
    asked = {"gone": twin.pk, "gone_version": 1, "version": 1, "keep_from_gone": ["note"]}
    merged = at_desk.made(f"customers/{order.customer_id}/merge/", asked, key="merge-1")
    assert merged["note"] == "rings twice"
    assert at_desk.made(f"customers/{order.customer_id}/merge/", asked, key="merge-1")["id"] == merged["id"]
    old = at_desk.get(f"customers/{twin.pk}/").json()
    assert old["merged_into"] == {"id": order.customer_id, "name": "Ines Calloway"}
    assert [one["id"] for one in at_desk.get("customers/").json()["results"]] == [order.customer_id]
    refused(at_desk.patch(f"customers/{twin.pk}/", {"version": 2, "name": "X"}), 409, code="merged")
    refused(at_desk.post(f"customers/{order.customer_id}/merge/", asked), 409, code="merged")
    assert at_desk.get("find/", q="caloway").json()["found"][0]["sentence"] == "Merged into Ines Calloway."
