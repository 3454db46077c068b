from datetime import timedelta

import pytest

from shop.workorders.models import OrderStatus, WorkOrder
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import booking, make_booked, make_family, make_on_bench
from tests.factories import NOON

YESTERDAY = (NOON - timedelta(days=1)).date().isoformat()


@pytest.fixture
def vehicle(db):
    return make.make_vehicle(model=make_family()["vehicle_model"])


def test_a_booking_tells_its_number_its_dampers_and_what_it_waits_for(at_desk):
    order = make_booked(at_desk)
    assert order["number"] == f"LG-{1000 + order['id']}"
    assert [job["position"] for job in order["jobs"]] == ["front_left", "front_right", "rear_left", "rear_right"]
    assert order["state"] == "Rebuild of 4 dampers. All parts are held for it."
    assert at_desk.get(f"work-orders/{order['id']}/").json() == order


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"dampers": []}, "dampers", None),
        ({"dampers": [4711]}, "dampers.0", "There is no damper 4711."),
        ({"dampers": "all"}, "dampers", None),
        ({"arrives_on": YESTERDAY}, "arrives_on", "is past"),
        ({"promised_for": f"{YESTERDAY}T12:00:00Z"}, "promised_for", "before the day of arrival"),
        ({"promised_for": "9999-12-31T23:59:59-07:00"}, "promised_for", None),
        ({"promised_for": "0001-01-01T00:00:00Z"}, "promised_for", None),
        ({"promised_for": "soon"}, "promised_for", None),
        ({"complaint": "x" * 1001}, "complaint", None),
    ],
)
def test_a_booking_that_cannot_be_is_refused_by_field(at_desk, vehicle, given, field, told):
    dampers = at_desk.made(f"vehicles/{vehicle.pk}/fit-dampers/")
    message = refused(at_desk.post("work-orders/", booking(vehicle, dampers, **given)), 400, field=field)
    assert told is None or told in message
    assert not WorkOrder.objects.exists()


def test_a_damper_of_another_customer_is_refused_by_name(at_desk, vehicle):
    stranger = make.make_damper()
    answer = at_desk.post("work-orders/", booking(vehicle, [{"id": stranger.pk}]))
    assert "belongs to another customer" in refused(answer, 400, field="dampers")


def test_check_in_freezes_the_figures_and_notes_what_was_found(at_desk, at_bench):
    order = make_on_bench(at_desk)
    assert order["status"] == "on_bench"
    job = at_bench.get(f"jobs/{order['jobs'][0]['id']}/").json()
    assert (job["sheet"]["verified"], job["figures_changed"]) == (True, "")
    assert {value["measure"]: value["value"]["figures"] for value in job["sheet"]["values"]} == {
        "shaft_nut_torque": "22", "charge": "100", "ifp_depth": "2.4", "oil_volume": "305",
    }  # fmt: skip
    found = {one["measure"]: one["found"] for one in job["settings"]}
    assert found["rebound_clicks"]["entered"] == {"figures": "11", "unit": "clicks", "si": 11.0}
    assert found["compression_clicks"] is None
    assert [step["number"] for step in job["steps"]] == sorted(step["number"] for step in job["steps"])
    assert job["missing"][0]["step"] == 1


def test_a_damper_no_sheet_covers_says_so_instead_of_a_figure(at_desk, at_bench):
    damper = make.make_damper()
    body = booking(make.make_vehicle(customer=damper.customer), [{"id": damper.pk}], vehicle=None)
    order = at_desk.made("work-orders/", body)
    at_desk.made(f"work-orders/{order['id']}/check-in/")
    job = at_bench.get(f"jobs/{order['jobs'][0]['id']}/").json()
    assert (job["sheet"]["code"], job["sheet"]["values"], job["sheet"]["source"]) == ("", [], "")
    assert "No sheet covers" in job["sheet"]["rule"]
    assert "No spec sheet covered this damper" in job["missing"][0]["text"]


@pytest.mark.parametrize(
    ("found", "field", "told"),
    [
        ({"entered": "11"}, "as_found.0.entered", "clicks"),
        ({"entered": "11.5 clicks"}, "as_found.0.entered", "a whole number of clicks"),
        ({"entered": "-1 clicks"}, "as_found.0.entered", "zero or more"),
        ({"entered": "3 turns"}, "as_found.0.entered", "the number in clicks"),
        ({"measure": "stroke"}, "as_found.0.measure", "is none of"),
        ({"measure": "charge", "entered": "100 psi"}, "as_found", "not noted at check-in"),
        ({"job": 4711}, "as_found.0.job", "There is no damper job 4711."),
    ],
)
def test_a_setting_that_cannot_be_is_refused_and_nothing_is_checked_in(at_desk, found, field, told):
    order = make_booked(at_desk)
    entry = {"job": order["jobs"][0]["id"], "measure": "rebound_clicks", "entered": "11 clicks"} | found
    body = {"meters": [{"meter": "distance", "entered": "1204 mi"}], "as_found": [entry]}
    assert told in refused(at_desk.post(f"work-orders/{order['id']}/check-in/", body), 400, field=field)
    assert at_desk.get(f"work-orders/{order['id']}/").json()["status"] == "booked"
    assert at_desk.get(f"vehicles/{order['vehicle']['id']}/meter-readings/").json()["count"] == 0


def test_a_meter_or_a_setting_named_twice_is_refused(at_desk):
    order = make_booked(at_desk)
    path = f"work-orders/{order['id']}/check-in/"
    meter = {"meter": "distance", "entered": "1204 mi"}
    setting = {"job": order["jobs"][0]["id"], "measure": "rebound_clicks", "entered": "11 clicks"}
    assert "named twice" in refused(at_desk.post(path, {"meters": [meter] * 2}), 400, field="meters")
    assert "named twice" in refused(at_desk.post(path, {"as_found": [setting] * 2}), 400, field="as_found")


def test_what_comes_too_late_is_409_and_says_how_far_the_order_is(at_desk, at_bench):
    order = make_on_bench(at_desk)
    path = f"work-orders/{order['id']}"
    assert "on the benches" in refused(at_desk.post(f"{path}/check-in/"), 409, code="checked_in")
    assert "only a booked order" in refused(at_desk.post(f"{path}/call-off/", {"why": "ill"}), 409, code="not_booked")
    assert "when it is ready" in refused(at_desk.post(f"{path}/hand-back/"), 409, code="not_ready")
    assert "is not closed yet" in refused(at_bench.post(f"{path}/close/"), 400)


def test_a_called_off_order_frees_its_parts_and_keeps_the_reason(at_desk):
    family = make_family()
    order = make_booked(at_desk, family)
    assert at_desk.get(f"parts/{family['kit'].pk}/").json()["held"]["figures"] == "4"
    refused(at_desk.post(f"work-orders/{order['id']}/call-off/"), 400, field="why")
    told = at_desk.made(f"work-orders/{order['id']}/call-off/", {"why": "customer fell ill"})
    assert (told["status"], told["called_off_why"]) == ("called_off", "customer fell ill")
    assert at_desk.get(f"parts/{family['kit'].pk}/").json()["held"]["figures"] == "0"


def test_one_damper_is_dropped_from_a_booked_order_and_the_last_one_is_not(at_desk):
    family = make_family()
    order = make_booked(at_desk, family)
    first, *others = order["jobs"]
    refused(at_desk.post(f"jobs/{first['id']}/drop/"), 400, field="why")
    for job in order["jobs"][:-1]:
        assert at_desk.made(f"jobs/{job['id']}/drop/", {"why": "sold"})["status"] == "called_off"
    assert at_desk.get(f"parts/{family['kit'].pk}/").json()["held"]["figures"] == "1"
    refused(at_desk.post(f"jobs/{others[-1]['id']}/drop/", {"why": "sold"}), 409, code="last_damper")
    assert at_desk.get(f"work-orders/{order['id']}/").json()["status"] == "booked"


def test_an_order_is_closed_with_what_was_really_used(at_desk, as_manager):
    family = make_family()
    order = make_on_bench(at_desk, family)
    for job in order["jobs"]:
        as_manager.made(f"jobs/{job['id']}/close/", {"override_reason": "scrapped, customer agreed"})
    lines = at_desk.get(f"work-orders/{order['id']}/pick-list/").json()["rows"]
    oil = next(row for row in lines if row["part_number"] == family["oil"].number)["lines"]
    path = f"work-orders/{order['id']}/close/"
    twice = [{"line": oil[0]["id"], "amount": "300 mL"}] * 2
    assert "named twice" in refused(as_manager.post(path, {"used": twice}), 400, field="used")
    for amount, told in [("5 L", "used, but the book has"), ("99 m³", "cannot be read"), ("1e9 L", "at most 10")]:
        answer = as_manager.post(path, {"used": [{"line": oil[0]["id"], "amount": amount}]})
        assert told in refused(answer, 400)
    told = as_manager.made(path, {"used": [{"line": oil[0]["id"], "amount": "0.3 L"}]})
    assert told["status"] == "ready"
    # 2 L less 300 mL and three times 305 mL with 10 % for bleeding and spilling
    assert at_desk.get(f"parts/{family['oil'].pk}/").json()["on_hand"]["si"] == pytest.approx(0.6935e-3)


def test_orders_are_found_by_status_customer_vehicle_and_day_newest_first(at_desk):
    family = make_family()
    first, second = make_booked(at_desk, family), make_booked(at_desk, family)
    at_desk.made(f"work-orders/{first['id']}/call-off/", {"why": "ill"})

    def found(**query):
        return [order["id"] for order in at_desk.get("work-orders/", **query).json()["results"]]

    assert found() == [second["id"], first["id"]]
    assert found(status="booked") == [second["id"]]
    assert found(customer=first["customer"]["id"]) == [first["id"]]
    assert found(vehicle=second["vehicle"]["id"]) == [second["id"]]
    assert found(arrives_from=NOON.date().isoformat()) == [second["id"], first["id"]]
    assert found(arrives_to=YESTERDAY) == []
    names = ", ".join(OrderStatus.values)
    assert names in refused(at_desk.get("work-orders/", status="lost"), 400, field="status")


def test_the_job_card_waits_for_check_in(at_desk):
    order = make_booked(at_desk)
    refused(at_desk.get(f"work-orders/{order['id']}/job-card/"), 400)
    at_desk.made(f"work-orders/{order['id']}/check-in/")
    card = at_desk.get(f"work-orders/{order['id']}/job-card/")
    assert (card["Content-Type"], card["Card-Revision"]) == ("application/pdf", "1")
    assert card.content.startswith(b"%PDF-")
    wanted = at_desk.client.get(f"/api/v1/work-orders/{order['id']}/job-card/", headers={"Accept": "application/pdf"})
    assert wanted.content == card.content
