"""The used-oil log, its drums and the walking order through the API."""

import pytest

from shop.parts.models import OilEntry
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import make_booked


@pytest.fixture
def drum(at_desk):
    return at_desk.made("drums/", {"name": "Used Oil 1", "holds": "oil", "capacity": "200 L"})


@pytest.mark.flow
def test_oil_is_noted_handed_over_corrected_and_adds_up(at_desk, at_bench, drum):
    at_bench.made("used-oil/", {"drum": drum["id"], "volume": "12 L", "source": "the parts washer"})
    wrong = at_bench.made("used-oil/", {"drum": drum["id"], "volume": "2 L", "look": "dark"})
    right = at_desk.made(f"used-oil/{wrong['id']}/correct/", {"volume": "2 qt", "why": "quarts"})
    assert (right["corrects"], right["entered"], right["look"]) == (wrong["id"], "2 qt", "dark")
    out = at_desk.made(f"drums/{drum['id']}/hand-over/", {"hauler": "Basin Oil Recovery", "volume": "10 L"})
    assert out["amount"]["figures"] == "−10000"
    (log,) = at_bench.get("used-oil/", period="day").json()["drums"]
    assert (log["opening"], log["poured"], log["handed_over"], log["closing"]) == (
        "0",
        "13892.706",
        "10000",
        "3892.706",
    )
    assert [line["counts"] for line in log["lines"]] == [True, False, True, True]
    assert at_bench.get("drums/").json()[0]["held"]["figures"] == "3893"


def test_more_than_the_book_has_is_asked_about(at_desk, drum):
    path = f"drums/{drum['id']}/hand-over/"
    body = {"hauler": "Basin Oil Recovery", "volume": "10 L"}
    assert "Look at the hauler's paper again" in refused(at_desk.post(path, body), 400, field="sure")
    at_desk.made(path, body | {"sure": True})
    at_desk.made(f"drums/{drum['id']}/out-of-use/")


def test_the_same_key_pours_once(at_bench, drum):
    for _ in range(2):
        at_bench.made("used-oil/", {"drum": drum["id"], "volume": "12 L"}, key="p-1")
    assert OilEntry.objects.count() == 1


def test_oil_of_a_damper_is_estimated_by_its_sheet(at_desk, at_bench, drum):
    job = make_booked(at_desk)["jobs"][0]["id"]
    at_desk.made(f"work-orders/{order_of(job)}/check-in/")
    told = at_bench.made("used-oil/", {"drum": drum["id"], "job": job})
    assert (told["estimated"], told["entered"]) == (True, "305 mL")
    refused(at_bench.post("used-oil/", {"drum": drum["id"], "job": job}), 400, field="sure")


def order_of(job):
    from shop.workorders.models import DamperJob

    return DamperJob.objects.get(pk=job).order_id


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"volume": "12"}, "volume"),
        ({"volume": "0 L"}, "volume"),
        ({"volume": "-1 L"}, "volume"),
        ({"volume": "1 L", "fluid": "milk"}, "fluid"),
        ({"volume": "1 L", "fluid": "solvent"}, "drum"),
        ({"volume": "1 L", "on": "2026-11-26"}, "on"),
        ({"volume": "99999 L"}, "volume"),
        ({}, "volume"),
    ],
)
def test_what_cannot_be_poured_is_refused_under_its_field(at_bench, drum, body, field):
    refused(at_bench.post("used-oil/", {"drum": drum["id"]} | body), 400, field=field)
    assert not OilEntry.objects.exists()


def test_a_correction_has_a_volume_or_strikes_out(at_desk, drum):
    entry = make.make_oil_entry()
    path = f"used-oil/{entry.pk}/correct/"
    refused(at_desk.post(path, {"why": "x"}), 400, field="volume")
    refused(at_desk.post(path, {"why": "x", "volume": "1 L", "strike_out": True}), 400, field="volume")
    assert at_desk.made(path, {"why": "never drained", "strike_out": True})["amount"]["figures"] == "0"


def test_the_walking_order_is_read_and_said(at_desk, at_bench):
    make.make_part(bin="B-7")
    told = at_bench.get("walking-order/").json()
    assert told["stretches"] == [{"prefix": "B", "items": 1, "place": None}]
    said = at_desk.made("walking-order/", {"prefixes": ["f", "b"], "seen": told["seen"]})
    assert said["prefixes"] == ["F", "B"]
    refused(at_desk.post("walking-order/", {"prefixes": ["C"], "seen": told["seen"]}), 409, code="stale")
