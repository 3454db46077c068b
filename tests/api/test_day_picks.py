"""The day's pick list through the API."""

import pytest

from shop.picklists.models import PickLine
from tests.api.conftest import refused
from tests.api.shop import make_booked, make_family


@pytest.fixture
def family(db):
    return make_family()


@pytest.mark.flow
def test_the_day_is_read_scanned_and_undone(at_desk, at_bench, family):
    order = make_booked(at_desk, family)
    told = at_bench.get("picks/").json()
    assert (told["day"], [one["id"] for one in told["orders"]], told["dampers"]) == ("2026-11-25", [order["id"]], 4)
    kit = next(row for row in told["rows"] if row["part_number"] == family["kit"].number)
    assert [kit[name]["figures"] for name in ("needed", "picked", "to_take", "short")] == ["4", "0", "4", "0"]
    scanned = at_bench.made("picks/scan/", {"code": family["kit"].number.lower()})
    assert scanned["said"].endswith("; 3 more to go.")
    at_bench.made(f"pick-lines/{scanned['line']['id']}/undo/")
    assert not PickLine.objects.filter(picked_at__isnull=False).exists()


def test_the_same_key_picks_once(at_desk, at_bench, family):
    make_booked(at_desk, family)
    first, second = (at_bench.made("picks/scan/", {"code": family["kit"].number}, key="s-1") for _ in range(2))
    assert first["line"]["id"] == second["line"]["id"]
    assert PickLine.objects.filter(picked_at__isnull=False).count() == 1
    refused(at_bench.post("picks/scan/", {"code": "TARN"}, key="s-1"), 409)


def test_a_part_is_picked_for_one_order_or_for_all_but_those_left_out(at_desk, at_bench, family):
    one, two = make_booked(at_desk, family), make_booked(at_desk, family)
    number = family["kit"].number
    at_bench.made("picks/pick/", {"part_number": number, "order": one["id"]})
    assert PickLine.objects.filter(picked_at__isnull=False).count() == 4
    answer = at_bench.post("picks/pick/", {"part_number": number, "without": [two["id"]]})
    assert "every bag has it" in refused(answer, 409, code="done")
    at_bench.made("picks/pick/", {"part_number": number, "without": [one["id"]]})
    told = at_bench.get("picks/", without=str(one["id"])).json()
    assert [row["id"] for row in told["left_out"]] == [one["id"]]
    assert told["at_risk"][0]["part_numbers"]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"code": "XX-9"}, "code"),
        ({"code": ""}, "code"),
        ({}, "code"),
        ({"code": "SK", "day": "1066-01-01"}, "day"),
        ({"code": "SK", "without": ["x"]}, "without"),
        ({"code": "SK", "order": 1}, "order"),
    ],
)
def test_what_cannot_be_scanned_is_refused(at_bench, db, body, field):
    answer = at_bench.post("picks/scan/", body)
    refused(answer, 400)
    assert any(name.startswith(field) for name in answer.json()["fields"])


def test_nonsense_in_the_query_is_refused(at_bench, db):
    assert at_bench.get("picks/", without="1;2").status_code == 400
    assert at_bench.get("picks/", day="soon").status_code == 400
