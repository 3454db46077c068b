"""The catalogue through the API: what a manager enters and corrects, and the refusals."""

import pytest

from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel, Fitment
from tests import factories as make
from tests.api.conftest import refused

RIDGE = {"maker": "Ostrander", "name": "Ridge 900", "year_from": 2011, "year_to": 2018}
LIVE = {"maker": "Quoin", "name": "Live 3", "construction": "electronic"}


@pytest.fixture
def ridge(as_manager):
    return as_manager.made("vehicle-models/", RIDGE)


@pytest.fixture
def h2(as_manager):
    return as_manager.made("damper-models/", {"maker": "Hallinde", "name": "H2", "construction": "reservoir"})


# --- vehicle models ---------------------------------------------------------------------------------------------------


def test_a_vehicle_model_is_entered_found_by_year_and_corrected(as_manager, at_bench, ridge):
    assert ridge == RIDGE | {"id": ridge["id"], "version": 1}
    as_manager.made("vehicle-models/", {"maker": "Velloway", "name": "Trace", "year_from": 2019})
    found = at_bench.get("vehicle-models/", search="2015").json()["results"]
    assert [one["name"] for one in found] == ["Ridge 900"]
    path = f"vehicle-models/{ridge['id']}/"
    told = as_manager.patch(path, {"version": 1, "year_to": None}).json()
    assert (told["name"], told["year_to"], told["version"]) == ("Ridge 900", None, 2)
    assert at_bench.get(path).json() == told
    refused(as_manager.patch(path, {"version": 1, "name": "Ridge"}), 409, code="stale")


@pytest.mark.parametrize(
    ("given", "status", "field", "told"),
    [
        ({"name": "ridge  900", "year_from": 2018, "year_to": None}, 400, "name", "in the catalogue already"),
        ({"name": ""}, 400, "name", "blank"),
        ({"year_from": 1969}, 400, "year_from", "1970"),
        ({"year_to": 2010}, 400, None, "The last model year lies before the first"),
        ({"wheels": 4}, 400, "wheels", "There is no field of this name"),
    ],
)
def test_a_vehicle_model_that_cannot_be_is_refused(as_manager, ridge, given, status, field, told):
    answer = as_manager.post("vehicle-models/", RIDGE | {"name": "Cairn"} | given)
    assert told in refused(answer, status, field=field)
    assert VehicleModel.objects.count() == 1


def test_years_that_leave_a_vehicle_outside_are_refused_and_name_it(as_manager, ridge):
    make.make_vehicle(model=VehicleModel.objects.get(), customer=make.make_customer(name="Ines"))
    answer = as_manager.patch(f"vehicle-models/{ridge['id']}/", {"version": 1, "year_to": 2014})
    assert "2015 of Ines" in refused(answer, 400, field="year_to", code="vehicles_outside")


def test_an_unused_vehicle_model_is_removed_and_a_used_one_says_why_not(as_manager, ridge):
    used = make.make_vehicle().model
    answer = as_manager.post(f"vehicle-models/{used.pk}/remove/")
    assert "cannot be removed, because of 1 vehicle (2015 of" in refused(answer, 400, code="in_use")
    assert as_manager.made(f"vehicle-models/{ridge['id']}/remove/", key="once") == ridge
    assert list(VehicleModel.objects.all()) == [used]
    refused(as_manager.post(f"vehicle-models/{ridge['id']}/remove/", key="once"), 404)


# --- what sits where --------------------------------------------------------------------------------------------------


def test_corners_are_entered_copied_corrected_and_removed(as_manager, at_desk, ridge, h2):
    path = f"vehicle-models/{ridge['id']}/fitments/"
    told = as_manager.made(path, {"positions": ["front_left", "front_right"], "damper_model": h2["id"]})
    assert told["gaps"] == ["2011 to 2018: nothing known at rear left and rear right."]
    first = told["fitments"][0]
    assert first == {
        "id": first["id"], "position": "front_left", "damper_model": {"id": h2["id"], "name": "Hallinde H2"},
        "year_from": 2011, "year_to": None, "version": 1,
    }  # fmt: skip
    told = as_manager.made(f"fitments/{first['id']}/copy/", {"positions": ["rear_left", "rear_right"]})
    assert told["gaps"] == []
    changed = as_manager.patch(f"fitments/{first['id']}/", {"version": 1, "year_to": 2014}).json()
    assert (changed["year_from"], changed["year_to"], changed["version"]) == (2011, 2014, 2)
    refused(as_manager.patch(f"fitments/{first['id']}/", {"version": 1, "year_to": 2015}), 409, code="stale")
    assert at_desk.get(f"vehicle-models/{ridge['id']}/").json()["gaps"] == [
        "2015 to 2018: nothing known at front left."
    ]
    told = as_manager.made(f"fitments/{told['fitments'][3]['id']}/remove/")
    assert len(told["fitments"]) == 3
    assert at_desk.get(path).json()["count"] == 3


def test_a_corner_that_is_taken_or_unknown_is_refused_and_none_is_entered(as_manager, ridge, h2):
    path = f"vehicle-models/{ridge['id']}/fitments/"
    as_manager.made(path, {"positions": ["rear_left"], "damper_model": h2["id"]})
    body = {"positions": ["front_left", "rear_left"], "damper_model": h2["id"], "year_from": 2015}
    answer = as_manager.post(path, body)
    assert "Rear left: the Hallinde H2 sits there from 2011 on" in refused(answer, 400, field="positions", code="taken")
    refused(as_manager.post(path, body | {"positions": []}), 400, field="positions")
    refused(as_manager.post(path, body | {"positions": ["roof"]}), 400, field="positions.0")
    refused(as_manager.post(path, body | {"damper_model": 0}), 400, field="damper_model")
    refused(as_manager.post(path, body | {"year_from": 2019}), 400, field="year_from", code="unknown_year")
    assert Fitment.objects.count() == 1


# --- damper models ----------------------------------------------------------------------------------------------------


def test_a_damper_model_is_entered_described_and_found_by_the_vehicle_it_sits_on(as_manager, at_desk, ridge, h2):
    assert (h2["serviceable"], h2["cap_style"], h2["adjusters"], h2["version"]) == (True, "", [], 1)
    body = {"positions": ["rear_left"], "damper_model": h2["id"]}
    as_manager.made(f"vehicle-models/{ridge['id']}/fitments/", body)
    as_manager.made("damper-models/", LIVE | {"serviceable": False, "why_not": "It needs the maker's bench."})
    found = at_desk.get("damper-models/", search="ridge 2012").json()["results"]
    assert [one["name"] for one in found] == ["H2"]
    told = as_manager.patch(f"damper-models/{h2['id']}/", {"version": 1, "cap_style": "clip"}).json()
    assert (told["name"], told["cap_style"], told["version"]) == ("H2", "clip", 2)
    assert at_desk.get(f"damper-models/{h2['id']}/").json() == told


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"serviceable": False}, None, "what to tell the customer"),
        ({"why_not": "Sealed."}, "why_not", "nothing to tell"),
        ({"construction": "wood"}, "construction", "“wood” is none of: reservoir, internal"),
        ({"cap_style": "ring"}, "cap_style", "Only a damper with an IFP"),
        ({"maker": "hallinde", "name": "h2"}, "name", "Hallinde H2 is in the catalogue already"),
    ],
)
def test_a_damper_model_that_cannot_be_is_refused(as_manager, h2, given, field, told):
    assert told in refused(as_manager.post("damper-models/", LIVE | given), 400, field=field)
    assert DamperModel.objects.count() == 1


def test_a_model_that_is_not_serviced_any_more_names_the_orders_that_were_booked(as_manager, h2):
    order = make.make_order(dampers=[make.make_damper(model=DamperModel.objects.get())])
    body = {"version": 1, "serviceable": False, "why_not": "No parts to be had."}
    told = as_manager.patch(f"damper-models/{h2['id']}/", body).json()
    assert told["booked_in_vain"] == [order.number]


def test_the_construction_stays_while_one_is_on_the_benches(as_manager, h2):
    job = make.make_open_job(damper=make.make_damper(model=DamperModel.objects.get()))
    answer = as_manager.patch(f"damper-models/{h2['id']}/", {"version": 1, "construction": "emulsion"})
    assert job.order.number in refused(answer, 400, field="construction", code="on_bench")


def test_sizes_and_adjusters_are_given_whole_with_their_units(as_manager, h2):
    path = f"damper-models/{h2['id']}/"
    told = as_manager.made(f"{path}sizes/", {"version": 1, "body_bore": "51 mm", "reservoir_depth": "125 mm"})
    assert (told["body_bore_m"], told["reservoir_depth_m"], told["stroke_m"]) == (
        pytest.approx(0.051),
        pytest.approx(0.125),
        None,
    )
    told = as_manager.made(f"{path}adjusters/", {"version": 2, "low_speed": "18 clicks", "rebound": "22 clicks"})
    assert told["adjusters"] == [{"kind": "low_speed", "clicks": 18}, {"kind": "rebound", "clicks": 22}]
    assert told["version"] == 3
    refused(as_manager.post(f"{path}sizes/", {"version": 1}), 409, code="stale")
    refused(as_manager.post(f"{path}sizes/", {"version": 3, "shaft": "16"}), 400, field="shaft")
    refused(as_manager.post(f"{path}sizes/", {"version": 3, "shaft": "3 m"}), 400, field="shaft", code="size")
    refused(as_manager.post(f"{path}adjusters/", {"version": 3, "rebound": "100 clicks"}), 400, field="rebound")
    refused(as_manager.post(f"{path}adjusters/", {"rebound": "20 clicks"}), 400, field="version")
    body = {"version": 3, "compression": "20 clicks", "low_speed": "18 clicks"}
    refused(as_manager.post(f"{path}adjusters/", body), 400, field="compression", code="one_or_two")


def test_a_count_beyond_the_clicks_is_refused_where_readings_come_in(at_bench, technician):
    job = make.make_open_job(found=11)
    make.make_adjuster(job.damper.model, clicks=22)
    body = {"measure": "rebound_clicks", "moment": "found", "entered": "25 clicks", "corrects": job.readings.get().pk}
    answer = at_bench.post(f"jobs/{job.pk}/readings/", body | {"why": "slip"})
    assert "has 22 clicks; 25 were counted" in refused(answer, 400, field="entered", code="too_many_clicks")


def test_a_damper_that_is_not_serviced_here_is_not_booked_and_the_answer_says_what_to_tell(at_desk):
    model = make.make_damper_model(serviceable=False, why_not="It needs the maker's bench.")
    damper = make.make_damper(model=model)
    told = at_desk.get(f"dampers/{damper.pk}/").json()["model"]
    assert (told["serviceable"], told["why_not"]) == (False, "It needs the maker's bench.")
    body = {
        "customer": damper.customer_id, "dampers": [damper.pk], "complaint": "leaks", "arrives_on": "2026-11-26",
        "promised_for": "2026-11-28T16:00:00-07:00",
    }  # fmt: skip
    answer = at_desk.post("work-orders/", body)
    assert "It needs the maker's bench." in refused(answer, 400, field="dampers", code="not_serviceable")
