"""Procedures over the API: read by all, drafted, changed and made current by managers."""

import pytest

from shop.specs.models import Procedure
from shop.specs.selectors import current_procedure
from tests import factories as make
from tests.api.conftest import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft(as_manager):
    return as_manager.made(f"procedures/{current_procedure().pk}/change/")


def make_it(draft, **given):
    return {"edition": draft["edition"], "instead_of": current_procedure().pk, "why": "winter"} | given


def titles(procedure):
    return [step["title"] for step in procedure["steps"]]


def test_anybody_reads_the_procedures_and_their_steps(at_desk, draft):
    found = at_desk.get("procedures/").json()["results"]
    assert [(one["name"], one["version"], one["state"]) for one in found] == [
        ("Rebuild", 3, "draft"), ("Rebuild", 2, "current"), ("Rebuild", 1, "former")
    ]  # fmt: skip
    told = at_desk.get(f"procedures/{current_procedure().pk}/").json()
    assert [step["number"] for step in told["steps"]] == list(range(1, 16))
    depth = told["steps"][10]
    assert (depth["reading"], depth["constructions"], depth["cap_styles"]) == (
        "ifp_depth", ["reservoir", "internal"], []
    )  # fmt: skip
    assert told["steps"][2]["pressure"] == "proven"
    assert told["unfit"] == []
    refused(at_desk.get("procedures/0/"), 404)


def test_a_next_version_is_drafted_changed_compared_and_made_current(as_manager, at_desk, manager, draft):
    url = f"procedures/{draft['id']}/"
    made = as_manager.made(f"{url}steps/", {"number": 5, "stage": "Strip", "title": "Weigh it", "tool": "scale"})
    step = made["steps"][4]
    assert (step["title"], len(made["steps"])) == ("Weigh it", 16)
    changed = as_manager.patch(f"{url}steps/{step['id']}/", {"edition": step["edition"], "text": "In grams."}).json()
    assert (changed["steps"][4]["text"], changed["steps"][4]["tool"]) == ("In grams.", "scale")
    moved = as_manager.made(f"{url}steps/{step['id']}/move/", {"number": 2})
    assert titles(moved)[1] == "Weigh it"
    gone = moved["steps"][15]
    out = as_manager.made(f"{url}steps/{gone['id']}/remove/")
    assert gone["title"] not in titles(out)
    told = at_desk.get(f"{url}compare/", **{"with": current_procedure().pk}).json()
    assert [(one["title"], one["words"]) for one in told] == [
        ("Weigh it", "new, step 2"), ("Compare, bag, lay ready", "taken out, was step 15")
    ]  # fmt: skip
    answer = as_manager.made(f"{url}make-current/", make_it(out))
    assert (answer["state"], answer["made_current_by"]["id"], answer["why"]) == ("current", manager.pk, "winter")
    assert current_procedure().pk == draft["id"]


def test_the_same_request_under_one_key_is_done_once(as_manager, draft):
    body = {"stage": "Close", "title": "Sweep the bench"}
    for _ in range(2):
        as_manager.made(f"procedures/{draft['id']}/steps/", body, key="k1")
    assert titles(as_manager.get(f"procedures/{draft['id']}/").json()).count("Sweep the bench") == 1
    for _ in range(2):
        assert as_manager.post(f"procedures/{draft['id']}/discard/", key="k2").status_code in (204, 404)
    assert not Procedure.objects.filter(pk=draft["id"]).exists()


def test_a_draft_that_does_not_hold_together_is_not_made_current(as_manager, draft):
    opening = draft["steps"][3]
    draft = as_manager.made(f"procedures/{draft['id']}/steps/{opening['id']}/move/", {"number": 1})
    sentence = "Step 1 (“Open, drain, lay out”) comes before zero pressure is proven in step 4. Move it behind that."
    assert draft["unfit"] == [sentence]
    message = refused(as_manager.post(f"procedures/{draft['id']}/make-current/", make_it(draft)), 400, code="unfit")
    assert message == sentence


def test_whoever_has_not_seen_the_present_state_is_told(as_manager, manager, draft):
    url, seen = f"procedures/{draft['id']}/", draft["steps"][0]
    as_manager.patch(f"{url}steps/{seen['id']}/", {"edition": seen["edition"], "tool": "tag"})
    late = as_manager.patch(f"{url}steps/{seen['id']}/", {"edition": seen["edition"], "tool": "camera"})
    assert "Somebody else has changed step 1" in refused(late, 409)
    assert "was changed meanwhile" in refused(as_manager.post(f"{url}make-current/", make_it(draft)), 409)
    other = make.put_in_force(make.make_draft(manager, name="Seal service"), manager)
    old = make_it(as_manager.get(url).json(), instead_of=Procedure.objects.get(version=2).pk)
    assert f"{other} was made current by" in refused(as_manager.post(f"{url}make-current/", old), 409)


def test_what_is_current_is_not_changed(as_manager):
    current = current_procedure()
    url, step = f"procedures/{current.pk}/", current.steps.first()
    for answer in (
        as_manager.post(f"{url}steps/", {"stage": "Close", "title": "x"}),
        as_manager.patch(f"{url}steps/{step.pk}/", {"edition": 1, "title": "x"}),
        as_manager.post(f"{url}steps/{step.pk}/move/", {"number": 2}),
        as_manager.post(f"{url}steps/{step.pk}/remove/"),
        as_manager.post(f"{url}discard/"),
    ):
        assert "is or was current, so it stays as it is" in refused(answer, 409)


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"title": ""}, "title"), ({"stage": "x" * 41}, "stage"), ({"reading": "smell"}, "reading"),
        ({"pressure": "high"}, "pressure"), ({"constructions": "reservoir"}, "constructions"),
        ({"cap_styles": ["bayonet"]}, "cap_styles"), ({"number": 0}, "number"), ({"number": 99}, "number"),
        ({"opens": True}, "opens"),
    ],
)  # fmt: skip
def test_a_step_that_cannot_be_is_refused_under_its_field(as_manager, draft, body, field):
    told = as_manager.post(f"procedures/{draft['id']}/steps/", {"stage": "Close", "title": "Sweep"} | body)
    refused(told, 400)
    assert [name.partition(".")[0] for name in told.json()["fields"]] == [field]
    assert Procedure.objects.get(pk=draft["id"]).steps.count() == 15


def test_a_step_of_another_procedure_is_not_found(as_manager, draft):
    step = current_procedure().steps.first()
    refused(as_manager.post(f"procedures/{draft['id']}/steps/{step.pk}/move/", {"number": 2}), 404)


def test_a_step_for_some_caps_is_passed_over_where_nobody_knows_the_cap(as_manager, at_bench, desk, manager, draft):
    as_manager.made(
        f"procedures/{draft['id']}/steps/", {"number": 1, "stage": "Strip", "title": "Turn", "cap_styles": ["ring"]}
    )
    make.put_in_force(Procedure.objects.get(pk=draft["id"]), manager)
    job = make.make_open_job(by=desk)
    told = at_bench.get(f"jobs/{job.pk}/").json()
    assert told["procedure"]["name"] == "Rebuild version 3"
    assert (told["steps"][0]["doubt"], told["steps"][0]["passed_over"]) == ("only for a cap held by a ring", False)
    told = at_bench.made(f"jobs/{job.pk}/steps/1/does-not-apply/")
    assert (told["steps"][0]["passed_over"], told["steps"][0]["complete"]) == (True, True)
    assert "belongs to every" in refused(at_bench.post(f"jobs/{job.pk}/steps/2/does-not-apply/"), 400)


def test_the_list_takes_as_many_queries_for_two_versions_as_for_six(at_desk, manager, django_assert_num_queries):
    with django_assert_num_queries(3):  # token with its user, count, procedures
        assert at_desk.get("procedures/").json()["count"] == 2
    for _ in range(4):
        make.put_in_force(make.make_draft(manager), manager)
    with django_assert_num_queries(3):
        assert at_desk.get("procedures/").json()["count"] == 6
