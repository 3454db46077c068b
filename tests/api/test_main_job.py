"""The whole job by a program that knows nothing but the API."""

import io
import re

import pytest
from pypdf import PdfReader

from shop.staff.services import set_bench_pin
from tests.api.conftest import Caller
from tests.api.shop import ARRIVES, PROMISED, check, make_family, past_the_gate
from tests.factories import NOON

# Common practice, no source: 22 lbf·ft and 100 psi from model year 2015, IFP depth 2.4 in in front, 3.4 in in the rear.
READ = {"shaft_nut_torque": "22 lbf·ft", "charge": "100 psi", "oil_volume": "304 mL"}


@pytest.fixture
def family(db):
    return make_family()


def do_the_work(job, family, at_bench, second):
    for step in at_bench.get(f"jobs/{job['id']}/").json()["steps"]:
        measure = step["measure"]
        if measure:
            depth = "2.41 in" if job["position"].startswith("front") else "3.39 in"
            entry = {"measure": measure, "entered": READ.get(measure, depth), "tool": family["tools"].get(measure)}
            if measure == "charge":
                entry["bench_temperature"] = {"figures": "61", "unit": "°F"}
            if entry["tool"] is None:
                del entry["tool"]
            at_bench.made(f"jobs/{job['id']}/readings/", entry)
        if step["as_left"]:
            left = {"measure": "rebound_clicks", "moment": "left", "entered": "11 clicks"}
            at_bench.made(f"jobs/{job['id']}/readings/", left)
        if not step["done"]:
            at_bench.made(f"jobs/{job['id']}/steps/{step['number']}/done/")
        if step["critical"] and not step["second_check"]:
            check(job["id"], step["number"], at_bench, second)


@pytest.mark.flow
def test_the_main_job_through_the_api_alone(family, desk, technician, second):
    at_desk, at_bench = Caller(desk), Caller(technician)
    set_bench_pin(user=second, pin="2468", by="test", at=NOON)

    customer = at_desk.made("customers/", {"name": "Ines Calloway", "email": "ines@example.com"})
    vehicle = at_desk.made(
        "vehicles/", {"customer": customer["id"], "model": family["vehicle_model"].pk, "model_year": 2015}
    )
    dampers = at_desk.made(f"vehicles/{vehicle['id']}/fit-dampers/")
    assert [damper["position"] for damper in dampers] == ["front_left", "front_right", "rear_left", "rear_right"]
    order = at_desk.made(
        "work-orders/",
        {
            "customer": customer["id"],
            "vehicle": vehicle["id"],
            "dampers": [damper["id"] for damper in dampers],
            "complaint": "leaks at the shaft",
            "arrives_on": ARRIVES,
            "promised_for": PROMISED,
        },
    )
    assert order["status"] == "booked"

    found = [{"job": job["id"], "measure": "rebound_clicks", "entered": "11 clicks"} for job in order["jobs"]]
    meters = [{"meter": "distance", "entered": "1204 mi"}]
    order = at_desk.made(f"work-orders/{order['id']}/check-in/", {"meters": meters, "as_found": found})
    assert order["status"] == "on_bench"
    assert at_desk.get(f"vehicles/{vehicle['id']}/meter-readings/").json()["results"][0]["entered"]["unit"] == "mi"

    sheet = at_desk.get(f"work-orders/{order['id']}/pick-list/").json()
    rows = {row["part_number"]: row for row in sheet["rows"]}
    assert rows[family["kit"].number]["needed"] == {"figures": "4", "unit": "pcs", "si": 4.0}
    # 4 × 305 mL and 10 % for bleeding and spilling: two bottles of 1 L.
    assert rows[family["oil"].number]["needed"]["figures"] == "1342"
    assert rows[family["oil"].number]["plan"] == ["2 × 1 L bottle"]
    assert not sheet["short"]
    for row in sheet["rows"]:
        for line in row["lines"]:
            at_bench.made(f"pick-lines/{line['id']}/pick/")
    assert at_desk.get(f"work-orders/{order['id']}/pick-list/").json()["picked"]

    card = at_desk.get(f"work-orders/{order['id']}/job-card/")
    assert card["Content-Type"] == "application/pdf"
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(card.content)).pages).split())
    assert order["number"] in text
    assert re.search(r"\b22\b", text)
    assert re.search(r"\b100\b", text)

    for job in order["jobs"]:
        past_the_gate(job["id"], at_bench, second)
        do_the_work(job, family, at_bench, second)
        charge = next(
            one for one in at_bench.get(f"jobs/{job['id']}/readings/").json()["results"] if one["measure"] == "charge"
        )
        assert charge["bench_temperature"] == {"figures": "61", "unit": "°F", "si": pytest.approx(289.261, abs=0.001)}
        closed = at_bench.made(f"jobs/{job['id']}/close/")
        assert (closed["status"], closed["missing"], closed["override_reason"]) == ("closed", [], "")
        assert closed["settings"][1]["left"]["entered"]["figures"] == "11"

    assert at_bench.made(f"work-orders/{order['id']}/close/")["status"] == "ready"
    part = at_desk.get(f"parts/{family['oil'].pk}/").json()
    assert (part["on_hand"]["figures"], part["held"]["figures"]) == ("658", "0")
    order = at_desk.made(f"work-orders/{order['id']}/hand-back/", {"wants_reminders": True})
    assert order["status"] == "handed_back"
    assert at_desk.get(f"customers/{customer['id']}/").json()["reminder_consent"] == "yes"
