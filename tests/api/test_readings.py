import pytest

from shop.staff.services import set_bench_pin
from shop.workorders.models import Moment, Reading
from tests.api.conftest import Caller, refused
from tests.api.shop import check, make_booked, make_family, make_on_bench, make_one_on_bench
from tests.factories import NOON


@pytest.fixture
def family(db):
    return make_family()


@pytest.fixture
def job(family, desk, technician, second):
    """Id of a job on the bench whose zero pressure is proven and checked."""
    set_bench_pin(user=second, pin="2468", by="test", at=NOON)
    return make_one_on_bench(family, desk, technician, second)


@pytest.fixture
def torque(family):
    def entry(entered, **given):
        return {"measure": "shaft_nut_torque", "entered": entered, "tool": family["tools"]["shaft_nut_torque"]} | given

    return entry


def test_a_reading_is_kept_as_entered_with_tool_and_person(at_bench, technician, family, job, torque):
    told = at_bench.made(f"jobs/{job}/readings/", torque("29.9 N·m"))
    assert told["entered"] == {"figures": "29.9", "unit": "N·m", "si": 29.9}
    assert (told["moment"], told["tool"]) == ("set", family["tools"]["shaft_nut_torque"])
    assert told["by"] == {"id": technician.pk, "name": str(technician)}


@pytest.mark.parametrize("entered", ["18 lbf·ft", "22 N·m", "0 lbf·ft", "1e6 lbf·ft", "23.11 lbf·ft"])
def test_out_of_tolerance_is_refused_with_the_allowed_range(at_bench, job, torque, entered):
    answer = at_bench.post(f"jobs/{job}/readings/", torque(entered))
    assert "Allowed is 20.9 to 23.1 lbf·ft." in refused(answer, 400, field="entered")
    assert not Reading.objects.filter(moment=Moment.SET).exists()


@pytest.mark.parametrize(
    ("entered", "told"),
    [
        ("22", "a unit with the number"),
        ("22 psi", "psi measures pressure"),
        ("-22 lbf·ft", "zero or more"),
        ("NaN lbf·ft", "cannot be read"),
        ("Infinity lbf·ft", "cannot be read"),
        ("1e999 lbf·ft", "ordinary size"),
        ("2,200 lbf·ft", "the comma could mean either"),
        ("22 lbf·ft\x00", "cannot be read"),
        ("x" * 100_000, "cannot be read"),
        (22, "as text with their unit"),
        (None, None),
    ],
)
def test_what_is_no_torque_is_refused_with_what_is_allowed(at_bench, job, torque, entered, told):
    message = refused(at_bench.post(f"jobs/{job}/readings/", torque(entered)), 400, field="entered")
    assert told is None or told in message
    assert not Reading.objects.filter(moment=Moment.SET).exists()


def test_a_second_reading_is_409_until_it_names_the_first_and_why(at_bench, job, torque):
    first = at_bench.made(f"jobs/{job}/readings/", torque("22 lbf·ft"))
    message = refused(at_bench.post(f"jobs/{job}/readings/", torque("22.5 lbf·ft")), 409, code="recorded")
    assert "recorded already: 22 lbf·ft" in message
    correction = torque("22.5 lbf·ft", corrects=first["id"])
    assert "Say why" in refused(at_bench.post(f"jobs/{job}/readings/", correction), 400)
    told = at_bench.made(f"jobs/{job}/readings/", correction | {"why": "read the wrong scale"})
    assert told["corrects"] == first["id"]
    listed = at_bench.get(f"jobs/{job}/readings/").json()["results"]
    assert [one["entered"]["figures"] for one in listed] == ["11", "22", "22.5"]
    steps = at_bench.get(f"jobs/{job}/").json()["steps"]
    assert [step["reading"]["id"] for step in steps if step["reading"]] == [told["id"]]


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"tool": "T-none"}, "tool", "There is no tool “T-none”."),
        ({"tool": None}, "tool", None),
        ({"tool": ""}, "tool", None),
        ({"tool": "\x00"}, "tool", "Give the code of a tool."),
        ({"measure": "noise"}, "measure", "is none of: shaft_nut_torque"),
        ({"moment": "later"}, "moment", "is none of: found, set, left"),
        ({"corrects": 4711}, "corrects", "There is no reading 4711."),
        ({"bench_temperature": "-500 °F"}, "bench_temperature", "absolute zero"),
    ],
)
def test_the_rest_of_a_reading_is_held_to_its_own_rules(at_bench, job, torque, given, field, told):
    message = refused(at_bench.post(f"jobs/{job}/readings/", torque("22 lbf·ft", **given)), 400, field=field)
    assert told is None or told in message


def test_a_charge_needs_the_bench_temperature_and_its_turn(at_bench, job, family):
    entry = {"measure": "charge", "entered": "100 psi", "tool": family["tools"]["charge"]}
    refused(at_bench.post(f"jobs/{job}/readings/", entry), 400, field="bench_temperature")
    warm = entry | {"bench_temperature": "68 °F"}
    assert "Open, drain, lay out" in refused(at_bench.post(f"jobs/{job}/readings/", warm), 400, code="gate")


class TestSteps:
    def test_nothing_after_the_gate_before_zero_pressure_is_checked(self, at_desk, at_bench, second):
        job = make_on_bench(at_desk)["jobs"][0]["id"]
        assert "Nothing after it" in refused(at_bench.post(f"jobs/{job}/steps/4/done/"), 400, code="gate")

    def test_a_done_step_carries_who_and_when(self, at_bench, technician, job):
        step = at_bench.made(f"jobs/{job}/steps/4/done/")["steps"][3]
        assert (step["state"], step["complete"], step["done"]["by"]["id"]) == ("done", True, technician.pk)

    @pytest.mark.parametrize("number", [0, 99, 10**20])
    def test_a_step_that_is_not_is_404(self, at_bench, job, number):
        assert f"There is no step {number}" in refused(at_bench.post(f"jobs/{job}/steps/{number}/done/"), 404)

    def test_a_booked_job_has_no_steps_yet(self, at_desk, at_bench, db):
        job = make_booked(at_desk)["jobs"][0]["id"]
        assert at_bench.get(f"jobs/{job}/").json()["steps"] == []
        refused(at_bench.post(f"jobs/{job}/steps/1/done/"), 409, code="not_open")

    def test_the_second_check_is_by_another_person_with_their_pin(self, at_bench, technician, second, job, torque):
        seen = {"reading": at_bench.made(f"jobs/{job}/readings/", torque("22 lbf·ft"))["id"]}
        number = next(s["number"] for s in at_bench.get(f"jobs/{job}/").json()["steps"] if s["reading"])
        path = f"jobs/{job}/steps/{number}/second-check/"
        blind = at_bench.post(path, {"checker": second.username, "pin": "2468"})
        assert "Say which reading" in refused(blind, 400, field="reading")
        wrong = at_bench.post(path, seen | {"checker": second.username, "pin": "1111"})
        assert "Wrong PIN" in refused(wrong, 400, field="pin")
        set_bench_pin(user=technician, pin="1357", by="test", at=NOON)
        own = at_bench.post(path, seen | {"checker": technician.username, "pin": "1357"})
        assert "A second person has to check this" in refused(own, 400)
        told = check(job, number, at_bench, second)
        assert told["steps"][number - 1]["second_check"]["by"]["id"] == second.pk

    def test_five_wrong_pins_lock_the_person_although_nothing_else_was_written(self, at_bench, second, job):
        path = f"jobs/{job}/steps/3/second-check/"
        for _ in range(5):
            refused(at_bench.post(path, {"checker": second.username, "pin": "1111"}), 400, field="pin")
        right = at_bench.post(path, {"checker": second.username, "pin": "2468"})
        assert "locked for another 10 min" in refused(right, 400, field="pin") or "11 min" in right.json()["message"]

    def test_an_unknown_checker_is_refused_by_name(self, at_bench, job):
        answer = at_bench.post(f"jobs/{job}/steps/3/second-check/", {"checker": "nobody", "pin": "1111"})
        assert "There is no user “nobody”." in refused(answer, 400, field="checker")


class TestClosing:
    def test_a_job_that_lacks_something_tells_each_thing(self, at_bench, job):
        message = refused(at_bench.post(f"jobs/{job}/close/"), 400)
        assert "Tighten the shaft nut: waits for the shaft nut torque." in message
        lacking = at_bench.get(f"jobs/{job}/").json()["missing"]
        assert all(one["text"] in message for one in lacking)

    def test_only_a_manager_closes_it_all_the_same_and_only_with_a_reason(self, at_bench, manager, job):
        body = {"override_reason": "scrapped, customer agreed"}
        refused(at_bench.post(f"jobs/{job}/close/", body), 400, field="override_reason")
        told = Caller(manager).made(f"jobs/{job}/close/", body)
        assert (told["status"], told["override_reason"]) == ("closed", "scrapped, customer agreed")

    def test_the_bench_list_has_the_open_jobs(self, at_bench, manager, job):
        assert job in [one["id"] for one in at_bench.get("jobs/").json()["results"]]
        Caller(manager).made(f"jobs/{job}/close/", {"override_reason": "scrapped"})
        assert job not in [one["id"] for one in at_bench.get("jobs/").json()["results"]]
