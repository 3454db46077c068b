"""Parts lists and service intervals through the API, and what becomes of optional parts and alternates at a job."""

import pytest

from shop.specs.models import KitLine, ServiceInterval
from tests import factories as make
from tests.api.conftest import refused
from tests.api.shop import make_on_bench

pytestmark = pytest.mark.django_db


@pytest.fixture
def damper():
    damper = make.make_damper_model()
    kit = make.make_kit_line(damper, "SK-1")
    make.make_alternate(kit, "SK-2")
    make.make_kit_line(damper, "SH-1", name="shaft", optional=True)
    return damper


def lines_of(answer):
    return [
        (one["part_number"], one["optional"], one["stands_in_for"] and one["stands_in_for"]["name"], one["rank"])
        for one in answer["lines"]
    ]


def test_a_parts_list_is_read_and_written_back_as_it_was_read(at_bench, as_manager, damper):
    told = at_bench.get(f"damper-models/{damper.pk}/parts-list/").json()
    assert lines_of(told) == [("SK-1", False, None, 0), ("SK-2", False, "SK-1 seal kit", 1), ("SH-1", True, None, 0)]
    assert told["lines"][0]["amount"] == {"figures": "1", "unit": "pcs", "si": 1.0}
    lines = [
        {
            "id": one["id"], "part_number": one["part_number"], "name": one["name"], "measure": one["measure"],
            "amount": f"{one['amount']['figures']} {one['amount']['unit']}", "optional": one["optional"],
            "stands_in_for": "SK-1" if one["stands_in_for"] else "",
        }
        for one in told["lines"]
    ]  # fmt: skip
    before = list(KitLine.objects.order_by("pk").values())
    again = as_manager.made(f"damper-models/{damper.pk}/parts-list/", {"seen": told["seen"], "lines": lines})
    assert again == told
    assert list(KitLine.objects.order_by("pk").values()) == before


def test_a_refusal_names_the_row_and_the_field(as_manager, damper):
    url = f"damper-models/{damper.pk}/parts-list/"
    seen = as_manager.get(url).json()["seen"]
    good = {"part_number": "X-1", "name": "x", "measure": "count", "amount": "1 pcs"}
    answer = as_manager.post(
        url, {"seen": seen, "lines": [good, good | {"part_number": "X-2", "stands_in_for": "X-9"}]}
    )
    refused(answer, 400, field="lines.1.stands_in_for")
    answer = as_manager.post(url, {"seen": seen, "lines": [good | {"amount": "4 g"}]})
    refused(answer, 400, field="lines.0.amount")
    assert damper.kit_lines.count() == 3
    refused(as_manager.post(url, {"seen": "older", "lines": [good]}), 409, code="stale")


def test_lines_are_added_changed_and_removed_one_by_one(as_manager, damper):
    kit = damper.kit_lines.get(part_number="SK-1")
    url = f"damper-models/{damper.pk}/parts-list/lines/"
    new = {"part_number": "SK-3", "name": "third", "measure": "count", "amount": "1 pcs", "stands_in_for": kit.pk}
    told = as_manager.made(url, new, key="add-1")
    assert as_manager.made(url, new, key="add-1") == told
    assert lines_of(told)[2] == ("SK-3", False, "SK-1 seal kit", 2)
    line = f"kit-lines/{told['lines'][2]['id']}/"
    changed = as_manager.patch(line, new | {"seen": told["seen"], "rank": 1, "amount": "2 pcs"})
    assert changed.status_code == 200
    refused(as_manager.patch(line, new | {"seen": told["seen"]}), 409, code="stale")
    assert KitLine.objects.get(part_number="SK-3").amount == 2
    left = as_manager.made(f"kit-lines/{kit.pk}/remove/")
    assert lines_of(left) == [("SH-1", True, None, 0)]
    refused(as_manager.post(f"kit-lines/{kit.pk}/remove/"), 404)


def test_a_list_is_copied(as_manager, damper):
    other = make.make_damper_model()
    told = as_manager.made(f"damper-models/{damper.pk}/parts-list/copy/", {"to": other.pk})
    assert (told["damper_model"]["id"], len(told["lines"])) == (other.pk, 3)
    refused(as_manager.post(f"damper-models/{damper.pk}/parts-list/copy/", {"to": other.pk}), 400, field="to")


# --- at a job ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def order(at_desk, damper):
    make.make_part("SK-2", on_hand=3, name="second")
    make.make_part("SH-1", on_hand=1, name="shaft")
    vehicle_model = make.make_vehicle_model()
    for position in ("rear_left", "rear_right"):
        make.make_fitment(vehicle_model, position, damper)
    return make_on_bench(at_desk, {"vehicle_model": vehicle_model, "damper_model": damper})


def test_an_optional_part_is_taken_up_and_back(at_bench, order):
    job = order["jobs"][0]
    (offer,) = at_bench.get(f"jobs/{job['id']}/").json()["optional_parts"]
    assert (offer["part_number"], offer["amount"]["figures"], offer["taken_up"]) == ("SH-1", "1", None)
    line = at_bench.made(f"jobs/{job['id']}/parts/take-up/", {"part_number": "SH-1"}, key="up-1")
    assert (line["tag"], line["held"]["figures"], line["taken_up_by"]["id"]) == (job["tag"], "1", at_bench.user.pk)
    assert at_bench.get(f"jobs/{job['id']}/").json()["optional_parts"][0]["taken_up"] == line
    sheet = at_bench.get(f"work-orders/{order['id']}/pick-list/").json()
    assert [(one["tag"], bool(one["taken_up"])) for one in sheet["optional"]] == [
        (job["tag"], True), (order["jobs"][1]["tag"], False),
    ]  # fmt: skip
    left = at_bench.made(f"jobs/{job['id']}/parts/take-back/", {"part_number": "SH-1"})
    assert [one["part_number"] for one in left] == ["SK-1"]


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"part_number": "SK-1"}, "part_number"),
        ({"part_number": "\0"}, "part_number"),
        ({"part_number": "SH-1", "amount": "4 g"}, "amount"),
        ({"part_number": "SH-1", "amount": "0 pcs"}, "amount"),
        ({"part_number": "X", "amount": "nonsense"}, "part_number"),
    ],
)
def test_what_cannot_be_taken_up_is_refused(at_bench, order, asked, field):
    refused(at_bench.post(f"jobs/{order['jobs'][0]['id']}/parts/take-up/", asked), 400, field=field)


def test_an_alternate_on_hand_is_told_and_taken_for_one_line(at_bench, order):
    url = f"work-orders/{order['id']}/pick-list/"
    (row,) = at_bench.get(url).json()["rows"]
    assert [(one["part_number"], one["free"]["figures"], one["enough"]) for one in row["alternates"]] == [
        ("SK-2", "3", True)
    ]
    line = at_bench.made(f"pick-lines/{row['lines'][0]['id']}/swap/", {"part_number": "SK-2"})
    assert (line["part_number"], line["instead_of"], line["held"]["figures"]) == ("SK-2", "SK-1", "1")
    refused(at_bench.post(f"pick-lines/{line['id']}/swap/", {"part_number": "SK-9"}), 400, field="part_number")


def test_a_list_on_the_benches_says_that_it_keeps_its_own(at_bench, as_manager, order, damper):
    url = f"work-orders/{order['id']}/pick-list/"
    assert at_bench.get(url).json()["changed"] == ""
    as_manager.made(f"kit-lines/{damper.kit_lines.get(part_number='SH-1').pk}/remove/")
    assert "keeps the parts that it was given then" in at_bench.get(url).json()["changed"]


# --- intervals --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("of", ["damper-models", "vehicle-models", "default"])
def test_an_interval_is_set_read_and_removed(at_bench, as_manager, of):
    if of == "default":
        url = "intervals/default/"
    else:
        maker = make.make_damper_model if of == "damper-models" else make.make_vehicle_model
        url = f"{of}/{maker().pk}/interval/"
    before = at_bench.get(f"{url}").json()
    assert before["interval"]["months"] == 12
    assert bool(before["own"]) == (of == "default")
    new = {"months": 8, "distance": "1000 mi", "severe_factor": 0.5, "source": "the shop's own", "seen": before["seen"]}
    told = as_manager.made(url, new)
    assert (told["own"], told["own"]["months"], told["own"]["severe_factor"]) == (told["interval"], 8, 0.5)
    refused(as_manager.post(url, new | {"months": 9}), 409, code="stale")
    refused(as_manager.post(url, new | {"seen": told["seen"], "severe_factor": 2}), 400, field="severe_factor")
    refused(as_manager.post(f"{url}remove/", {"seen": "older"}), 409, code="stale")
    gone = as_manager.made(f"{url}remove/", {"seen": told["seen"]})
    assert gone["own"] is None
    assert as_manager.made(f"{url}remove/", {"seen": told["seen"]}) == gone


def test_a_vehicle_tells_which_interval_holds_and_what_severe_use_leaves_of_it(at_bench, at_desk):
    """1500 miles or 12 months, half of it in severe use: common practice, no source."""
    ServiceInterval.objects.filter(damper_model=None, vehicle_model=None).update(severe_factor=0.5)
    model, customer = make.make_vehicle_model(), make.make_customer()
    vehicle = at_desk.made(
        "vehicles/", {"customer": customer.pk, "model": model.pk, "model_year": 2015, "severe_use": True}
    )
    assert vehicle["severe_use"] is True
    told = at_bench.get(f"vehicles/{vehicle['id']}/interval/").json()
    assert (told["severe_use"], told["limits"]["months"], told["limits"]["distance"]["figures"]) == (True, 6, "750")
    assert "the shop's default holds" in told["rule"]
    changed = at_desk.patch(f"vehicles/{vehicle['id']}/", {"version": vehicle["version"], "severe_use": False})
    assert changed.json()["severe_use"] is False
    assert at_bench.get(f"vehicles/{vehicle['id']}/interval/").json()["limits"]["months"] == 12
    ServiceInterval.objects.all().delete()
    assert at_bench.get(f"vehicles/{vehicle['id']}/interval/").json()["limits"] is None
