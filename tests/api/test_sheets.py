import pytest

from shop.specs.models import SheetStatus, SpecSheet
from tests import factories as make
from tests.api.conftest import refused


@pytest.fixture
def model(db):
    return make.make_damper_model()


def body(model, **given):
    source = {"source_document": "bench manual", "source_revision": "rev C", "source_page": "p. 41"}
    values = [
        {"measure": "shaft_nut_torque", "value": "22 lbf·ft", "tolerance": "± 5 %"},
        {"measure": "charge", "value": "100 psi", "low": "95 psi", "high": "105 psi"},
    ]
    return {"damper_model": model.pk, "code": "H2-C", "position": "rear", "values": values} | source | given


def test_a_sheet_is_entered_as_a_draft_with_limits_from_its_tolerance(as_manager, model):
    told = as_manager.made("sheets/", body(model, year_from=2015))
    assert (told["status"], told["edition"], told["years"]) == ("draft", 1, "model years from 2015")
    torque, charge = told["values"]
    assert (torque["low"]["figures"], torque["high"]["figures"]) == ("20.9", "23.1")
    assert (charge["value"]["figures"], charge["value"]["unit"]) == ("100", "psi")
    assert as_manager.get(f"sheets/{told['id']}/").json() == told


@pytest.mark.parametrize(
    ("value", "field", "words"),
    [
        ({"measure": "charge", "value": "100 psi"}, "tolerance", "such as ± 5 %"),
        ({"measure": "charge", "value": "100 psi", "low": "95 psi"}, "high", "give the highest that still is"),
        (
            {"measure": "charge", "value": "120 psi", "tolerance": "± 5 %", "low": "10 psi", "high": "400 psi"},
            "low",
            "± 5 % of 120 psi is 114 to 126 psi, but the lowest is typed as 10 psi.",
        ),
        ({"measure": "charge", "value": "100"}, "value", "a unit with the number"),
        ({"measure": "charge", "value": "22 lbf·ft", "tolerance": "± 5"}, "value", "lbf·ft measures torque"),
        ({"measure": "rebound_clicks", "value": "9 clicks", "tolerance": "± 1"}, "measure", "none of"),
    ],
)
def test_a_figure_that_cannot_be_read_is_told_in_its_field(as_manager, model, value, field, words):
    answer = as_manager.post("sheets/", body(model, values=[value]))
    assert answer.status_code == 400
    assert words in answer.content.decode()
    assert field in answer.content.decode()
    assert not SpecSheet.objects.exists()


def test_a_figure_given_twice_and_a_sheet_without_any_are_refused(as_manager, model):
    twice = body(model)["values"][:1] * 2
    assert "Given more than once: shaft_nut_torque" in str(as_manager.post("sheets/", body(model, values=twice)).json())
    assert "needs at least one figure" in str(as_manager.post("sheets/", body(model, values=[])).json())


def test_an_unusual_figure_asks_and_is_taken_when_somebody_is_sure(as_manager, model):
    values = [{"measure": "charge", "value": "14 psi", "tolerance": "± 1"}]
    answer = as_manager.post("sheets/", body(model, values=values))
    refused(answer, 400, field="values", code="doubtful")
    assert "Did you mean 14 bar?" in str(answer.json())
    assert as_manager.made("sheets/", body(model, values=values, sure=True))["status"] == "draft"


def test_a_draft_is_changed_in_part_and_keeps_its_history(as_manager, model):
    told = as_manager.made("sheets/", body(model))
    path = f"sheets/{told['id']}/"
    change = {"edition": 1, "why": "page misread", "source_page": "p. 42"}
    changed = as_manager.patch(path, change).json()
    assert (changed["edition"], changed["source_page"]) == (2, "p. 42")
    assert changed["values"] == told["values"]
    newest, first = as_manager.get(f"{path}history/").json()
    assert (newest["why"], newest["by"]) == ("page misread", str(as_manager.user))
    assert newest["changed"] == [{"what": "Page", "before": "p. 41", "after": "p. 42"}]
    assert first["changed"] == []
    refused(as_manager.patch(path, change), 409, code="changed_meanwhile")
    refused(as_manager.patch(path, {"edition": 2, "source_page": "p. 43"}), 400, field="why")


def test_verification_is_an_action_of_a_second_person_on_what_was_compared(as_manager, at_bench, model):
    told = as_manager.made("sheets/", body(model))
    path = f"sheets/{told['id']}/"
    refused(as_manager.post(f"{path}verify/", {"edition": 1}), 400, code="second_person")
    refused(at_bench.post(f"{path}verify/", {}), 400, field="edition")
    as_manager.patch(path, {"edition": 1, "why": "page misread", "source_page": "p. 42"})
    refused(at_bench.post(f"{path}verify/", {"edition": 1}), 409, code="changed_meanwhile")
    verified = at_bench.post(f"{path}verify/", {"edition": 2}).json()
    assert (verified["status"], verified["verified_by"]["name"]) == ("verified", str(at_bench.user))
    refused(as_manager.patch(path, {"edition": 2, "why": "again"}), 409, code="not_a_draft")


def test_a_draft_is_sent_back_by_a_second_person_with_a_note_until_it_is_changed(as_manager, at_bench, model):
    told = as_manager.made("sheets/", body(model))
    path = f"sheets/{told['id']}/"
    note = {"edition": 1, "why": "the page prints 24 lbf·ft"}
    refused(as_manager.post(f"{path}send-back/", note), 400, code="second_person")
    refused(at_bench.post(f"{path}send-back/", note | {"why": " "}), 400, field="why")
    refused(at_bench.post(f"{path}send-back/", note | {"edition": 2}), 409, code="changed_meanwhile")
    sent = at_bench.post(f"{path}send-back/", note).json()
    assert (sent["status"], sent["sent_back_why"]) == ("draft", "the page prints 24 lbf·ft")
    changed = as_manager.patch(path, {"edition": 1, "why": "misread", "source_page": "p. 42"}).json()
    assert changed["sent_back_why"] is None


def test_a_next_version_takes_the_place_and_both_are_compared(as_manager, at_bench, model):
    old = make.make_sheet(model, code="H2-C", torque=18, depth=None, oil=None)
    given = body(model, position="any", replaces=old.pk, code="")
    refused(as_manager.post("sheets/", given), 400, field="why")
    new = as_manager.made("sheets/", given | {"why": "rev C came"})
    assert (new["code"], new["version"], new["replaces"]["id"]) == ("H2-C", 2, old.pk)
    told = as_manager.get(f"sheets/{old.pk}/differences/", other=new["id"]).json()
    assert {"what": "Shaft nut torque", "before": "18 lbf·ft", "after": "22 lbf·ft"} in told
    at_bench.post(f"sheets/{new['id']}/verify/", {"edition": 1})
    assert as_manager.get(f"sheets/{old.pk}/").json()["status"] == "withdrawn"
    assert as_manager.get(f"sheets/{old.pk}/").json()["replaced_by"]["id"] == new["id"]


def test_a_sheet_is_withdrawn_with_a_reason(as_manager, model):
    sheet = make.make_sheet(model)
    refused(as_manager.post(f"sheets/{sheet.pk}/withdraw/", {"why": " "}), 400, field="why")
    told = as_manager.post(f"sheets/{sheet.pk}/withdraw/", {"why": "misread"}).json()
    assert told["status"] == "withdrawn"


def test_the_list_is_narrowed(as_manager, model):
    make.make_sheet(model, code="H2-A", year_to=2014)
    make.make_sheet(model, code="H2-C", year_from=2015)
    make.make_sheet(make.make_damper_model(name="P4"), code="P4", status=SheetStatus.DRAFT)
    for query, codes in [
        ({}, {"H2-A", "H2-C", "P4"}),
        ({"year": 2014}, {"H2-A", "P4"}),
        ({"status": "draft"}, {"P4"}),
        ({"damper_model": model.pk}, {"H2-A", "H2-C"}),
        ({"search": "h2-a"}, {"H2-A"}),
        ({"search": "h2 2015 any"}, {"H2-C"}),
    ]:
        assert {one["code"] for one in as_manager.get("sheets/", **query).json()["results"]} == codes


def test_the_same_key_enters_one_sheet(as_manager, model):
    first, again = (as_manager.made("sheets/", body(model), key="a-1") for _ in range(2))
    assert first["id"] == again["id"]
