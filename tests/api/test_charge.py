"""The charge for the bench, through the API."""

import pytest

from shop.workorders.models import WorkOrder
from tests.api.conftest import refused
from tests.api.shop import make_booked
from tests.web.dampers_at_work import PROVE, order_on_the_benches, tools, work


def test_a_check_in_takes_the_bench_temperature(at_desk, db):
    order = make_booked(at_desk)
    told = at_desk.made(f"work-orders/{order['id']}/check-in/", {"bench_temperature": "6 °C"})
    assert told["bench_temperature"]["si"] == pytest.approx(279.15)
    sheet = at_desk.get(f"jobs/{told['jobs'][0]['id']}/").json()["sheet"]
    assert sheet["reference_temperature"]["si"] == pytest.approx(293.15)
    assert (sheet["reference_altitude_m"], sheet["bench_altitude_m"]) == (0, 0)


def test_a_charge_on_record_tells_what_the_gauge_takes_the_next_time(at_bench, desk, technician, second):
    job, kit = order_on_the_benches(desk).jobs.get(), tools()
    assert at_bench.get(f"jobs/{job.pk}/").json()["gauge_note"] == ""
    work(job, technician, second, tools=kit, to=PROVE)
    assert "the reading will be lower" in at_bench.get(f"jobs/{job.pk}/").json()["gauge_note"]


def test_a_check_in_at_an_impossible_temperature_is_refused(at_desk, db):
    order = make_booked(at_desk)
    answer = at_desk.post(f"work-orders/{order['id']}/check-in/", {"bench_temperature": "6 K"})
    assert "Bench temperature cannot be 6 K" in refused(answer, 400, field="bench_temperature")
    assert WorkOrder.objects.get().status == "booked"
