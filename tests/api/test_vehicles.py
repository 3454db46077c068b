from datetime import timedelta

import pytest

from shop.customers.models import MeterReading, Vehicle
from shop.dampers.models import Damper
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import make_family
from tests.factories import MILE, NOON

TODAY = NOON.date().isoformat()


def test_a_vehicle_is_entered_found_and_read(at_desk):
    customer, model = make.make_customer(), make.make_vehicle_model(name="Cairn 8")
    body = {"customer": customer.pk, "model": model.pk, "model_year": 2015, "vin": "ost15x0042", "plate": "LG 42"}
    told = at_desk.made("vehicles/", body)
    assert told["customer"] == {"id": customer.pk, "name": customer.name}
    assert (told["model"]["name"], told["vin"], told["version"]) == ("Cairn 8", "OST15X0042", 1)
    make.make_vehicle()
    for query in ({"search": "x0042"}, {"search": "cairn"}, {"customer": customer.pk}):
        assert [one["id"] for one in at_desk.get("vehicles/", **query).json()["results"]] == [told["id"]]
    assert at_desk.get(f"vehicles/{told['id']}/").json() == told


@pytest.mark.parametrize("year", [2009, 2027, 0, -2015, 10**9, "x", 2015.5])
def test_a_model_year_in_which_there_was_none_is_refused(at_desk, year):
    body = {"customer": make.make_customer().pk, "model": make.make_vehicle_model().pk, "model_year": year}
    message = refused(at_desk.post("vehicles/", body), 400, field="model_year")
    if year in (2009, 2027):
        assert "it was built 2010 to 2026" in message
    assert not Vehicle.objects.exists()


def test_a_frame_number_twice_is_refused_with_where_to_look(at_desk):
    vehicle = make.make_vehicle(vin="OST15X0042")
    body = {"customer": vehicle.customer_id, "model": vehicle.model_id, "model_year": 2015, "vin": "ost15x0042"}
    assert "Search for it." in refused(at_desk.post("vehicles/", body), 400)


# 11111111111111111 fits its own check digit and 1M8GDM9A0KP042788 asks for X: tests/reference/vin_check_digit.csv.
def test_a_number_that_fails_its_check_digit_is_kept_and_warned_of(at_desk):
    model = make.make_vehicle_model()
    body = {"customer": make.make_customer().pk, "model": model.pk, "model_year": 2015, "vin": "1M8GDM9A0KP042788"}
    told = at_desk.made("vehicles/", body)
    assert told["vin"] == "1M8GDM9A0KP042788"
    [warning] = told["warnings"]
    assert warning["field"] == "vin"
    assert "The ninth character is 0; worked out from the other sixteen it would be X." in warning["text"]
    assert at_desk.get("vehicles/").json()["results"][0]["warnings"] == [warning]
    mended = at_desk.patch(f"vehicles/{told['id']}/", {"version": 1, "vin": "11111111111111111"}).json()
    assert mended["warnings"] == []


def test_a_changed_vehicle_keeps_what_the_change_does_not_name(at_desk):
    vehicle = make.make_vehicle(vin="OST15X0042")
    told = at_desk.patch(f"vehicles/{vehicle.pk}/", {"version": 1, "plate": "lg 7"}).json()
    assert (told["vin"], told["plate"], told["model_year"], told["version"]) == ("OST15X0042", "LG 7", 2015, 2)
    refused(at_desk.patch(f"vehicles/{vehicle.pk}/", {"version": 1, "plate": "lg 8"}), 409, code="stale")


def test_a_sold_vehicle_carries_the_day(at_desk):
    vehicle = make.make_vehicle()
    tomorrow = (NOON + timedelta(days=1)).date().isoformat()
    assert "lies in the future" in refused(
        at_desk.post(f"vehicles/{vehicle.pk}/sold/", {"on": tomorrow}), 400, field="on"
    )
    assert at_desk.made(f"vehicles/{vehicle.pk}/sold/", {"on": TODAY})["sold_on"] == TODAY


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "25.11.2026", "2026-02-30", 20261125])
def test_a_day_no_workshop_knows_is_refused(at_desk, day):
    vehicle = make.make_vehicle()
    refused(at_desk.post(f"vehicles/{vehicle.pk}/sold/", {"on": day}), 400, field="on")


class TestMeter:
    @pytest.fixture
    def path(self, db):
        return f"vehicles/{make.make_vehicle().pk}/meter-readings/"

    @pytest.mark.parametrize("entered", ["1204 mi", "1,204.0 mi", {"figures": "1204", "unit": "miles"}])
    def test_a_reading_is_kept_with_figures_unit_and_si_value(self, at_desk, path, entered):
        told = at_desk.post(path, {"meter": "distance", "entered": entered, "read_on": TODAY})
        assert told.status_code == 201
        assert told.json()["entered"]["unit"] == "mi"
        assert told.json()["entered"]["si"] == pytest.approx(1204 * MILE)
        assert told.json()["source"] == "desk"
        assert [one["id"] for one in at_desk.get(path).json()["results"]] == [told.json()["id"]]

    def test_a_technicians_reading_comes_from_the_bench(self, at_bench, path):
        assert at_bench.made(path, {"meter": "hours", "entered": "86.5 h", "read_on": TODAY})["source"] == "bench"

    def test_a_correction_is_a_new_row_that_names_the_old_one(self, at_desk, path):
        wrong = at_desk.made(path, {"meter": "distance", "entered": "12040 mi", "read_on": TODAY})
        body = {"meter": "distance", "entered": "1204 mi", "read_on": TODAY, "corrects": wrong["id"]}
        assert at_desk.made(path, body)["corrects"] == wrong["id"]
        assert at_desk.get(path).json()["count"] == 2
        refused(at_desk.post(path, body), 409, code="corrected")

    @pytest.mark.parametrize(
        ("entered", "told"),
        [
            ("1204", "a unit with the number: mi or km"),
            ("1204 h", "the number in mi or km; h measures time"),
            ("-5 mi", "zero or more"),
            ("NaN mi", "cannot be read"),
            ("1e400 mi", "ordinary size"),
            ("9e12 mi", "more than any such meter shows"),
            ("1" * 25 + " mi", "at most 20 figures"),
            ("", "is empty"),
            (1204, "as text with their unit"),
            ({"figures": 1204, "unit": "mi"}, "as text with their unit"),
            ({"figures": "1204"}, "as text with their unit"),
            (["1204 mi"], "as text with their unit"),
        ],
    )
    def test_what_is_no_distance_is_refused_with_what_is_allowed(self, at_desk, path, entered, told):
        answer = at_desk.post(path, {"meter": "distance", "entered": entered, "read_on": TODAY})
        assert told in refused(answer, 400, field="entered")
        assert not MeterReading.objects.exists()

    def test_zero_is_a_reading(self, at_desk, path):
        assert at_desk.made(path, {"meter": "hours", "entered": "0 h", "read_on": TODAY})["entered"]["si"] == 0

    def test_an_unknown_meter_is_refused_with_the_known_ones(self, at_desk, path):
        answer = at_desk.post(path, {"meter": "fuel", "entered": "1 h", "read_on": TODAY})
        assert "“fuel” is none of: distance, hours." in refused(answer, 400, field="meter")


class TestDampers:
    def test_the_known_corners_are_fitted_once(self, at_desk):
        family = make_family()
        vehicle = make.make_vehicle(model=family["vehicle_model"])
        first = at_desk.made(f"vehicles/{vehicle.pk}/fit-dampers/")
        assert {one["position"] for one in first} == {"front_left", "front_right", "rear_left", "rear_right"}
        assert at_desk.made(f"vehicles/{vehicle.pk}/fit-dampers/") == first
        assert at_desk.get("dampers/", vehicle=vehicle.pk).json()["count"] == 4

    def test_a_loose_damper_is_entered_and_read(self, at_desk):
        customer, model = make.make_customer(), make.make_damper_model()
        body = {"customer": customer.pk, "model": model.pk, "model_year": 2014, "serial": "H2-77"}
        told = at_desk.made("dampers/", body)
        assert (told["vehicle"], told["position"], told["model"]["id"]) == (None, "", model.pk)
        assert at_desk.get(f"dampers/{told['id']}/").json() == told
        assert at_desk.get("dampers/", customer=customer.pk).json()["count"] == 1

    def test_a_corner_that_has_a_damper_takes_no_second(self, at_desk):
        damper = make.make_damper(make.make_vehicle())
        body = {
            "customer": damper.customer_id, "vehicle": damper.vehicle_id, "position": damper.position,
            "model": damper.model_id, "model_year": 2015,
        }  # fmt: skip
        assert "This corner already has a damper." in refused(at_desk.post("dampers/", body), 400)
        assert Damper.objects.count() == 1

    def test_an_unknown_corner_is_refused_with_the_known_ones(self, at_desk):
        body = {"customer": make.make_customer().pk, "model": make.make_damper_model().pk, "model_year": 2015}
        answer = at_desk.post("dampers/", body | {"position": "middle"})
        assert "front_left, front_right, rear_left, rear_right" in refused(answer, 400, field="position")

    def test_models_tell_whether_they_are_serviced_here(self, at_bench):
        make.make_damper_model(name="S9", serviceable=False, why_not="Sealed: the maker sells it whole.")
        told = at_bench.get("damper-models/").json()["results"][0]
        assert (told["serviceable"], told["why_not"]) == (False, "Sealed: the maker sells it whole.")
        assert at_bench.get("vehicle-models/").json()["count"] == 0
