import pytest

from shop.specs.models import SheetStatus
from tests import factories as make
from tests.api.conftest import refused
from tests.factories import LBF_FT


@pytest.fixture
def model(db):
    return make.make_damper_model()


def test_the_model_year_decides_between_two_sheets(at_bench, model):
    # Common practice, no source: 18 lbf·ft up to model year 2014, 22 lbf·ft from 2015.
    make.make_sheet(model, torque=18, year_to=2014)
    make.make_sheet(model, torque=22, year_from=2015)
    for year, torque, low, high in [(2014, "18", "17.1", "18.9"), (2015, "22", "20.9", "23.1")]:
        told = at_bench.get("spec/", damper_model=model.pk, model_year=year, position="rear_left").json()
        assert told["state"] == "verified"
        assert "manual for the exact unit prevails" in told["caution"]
        value = told["sheet"]["values"][0]
        assert value["measure"] == "shaft_nut_torque"
        assert value["value"] == {"figures": torque, "unit": "lbf·ft", "si": pytest.approx(float(torque) * LBF_FT)}
        assert (value["low"]["figures"], value["high"]["figures"]) == (low, high)
        assert value["tolerance"] == "± 5 %"


def test_a_sheet_names_its_source_and_both_people(at_bench, model):
    sheet = make.make_sheet(model, source_document="bench notes", source_revision="C", source_page="7")
    told = at_bench.get("spec/", damper_model=model.pk, model_year=2015).json()
    assert told["sheet"]["source"] == "bench notes, C, page 7"
    assert told["sheet"]["entered_by"]["name"] == str(sheet.entered_by)
    assert told["sheet"]["verified_by"]["name"] == str(sheet.verified_by)
    assert told["rule"] == "all model years, any position, any vehicle"


def test_a_draft_says_so(at_bench, model):
    make.make_sheet(model, status=SheetStatus.DRAFT)
    told = at_bench.get("spec/", damper_model=model.pk, model_year=2015).json()
    assert (told["state"], told["sheet"]["verified_by"]) == ("DRAFT", None)
    assert told["rule"].startswith("DRAFT, nobody has verified it yet")


def test_no_sheet_is_an_answer_that_says_what_was_looked_for(at_bench, model):
    make.make_sheet(model, year_to=2014)
    told = at_bench.get("spec/", damper_model=model.pk, model_year=2015, position="rear_left").json()
    assert (told["state"], told["sheet"]) == ("none", None)
    assert told["rule"] == f"No sheet covers {model}, model year 2015, rear left."


def test_a_sheet_for_the_vehicle_goes_before_one_for_any(at_bench, model):
    vehicle_model = make.make_vehicle_model()
    make.make_sheet(model, torque=18)
    make.make_sheet(model, torque=22, vehicle_model=vehicle_model)
    asked = {"damper_model": model.pk, "model_year": 2015}
    assert at_bench.get("spec/", **asked).json()["sheet"]["values"][0]["value"]["figures"] == "18"
    told = at_bench.get("spec/", **asked, vehicle_model=vehicle_model.pk).json()
    assert told["sheet"]["values"][0]["value"]["figures"] == "22"
    assert told["sheet"]["vehicle_model"]["name"] == str(vehicle_model)


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"model_year": 2015}, "damper_model"),
        ({"damper_model": 4711, "model_year": 2015}, "damper_model"),
        ({"damper_model": 1, "model_year": "soon"}, "model_year"),
        ({"damper_model": 1, "model_year": 2015, "position": "middle"}, "position"),
        ({"damper_model": 1, "model_year": 2015, "vehicle_model": 4711}, "vehicle_model"),
    ],
)
def test_a_question_that_cannot_be_answered_is_400(at_bench, model, asked, field):
    if asked.get("damper_model") == 1:
        asked = asked | {"damper_model": model.pk}
    refused(at_bench.get("spec/", **asked), 400, field=field)


def test_every_candidate_says_why_it_holds_or_does_not(at_bench, model):
    old = make.make_sheet(model, year_to=2014)
    holds = make.make_sheet(model, year_from=2015)
    draft = make.make_sheet(model, status=SheetStatus.DRAFT)
    told = at_bench.get("spec/", damper_model=model.pk, model_year=2015).json()["candidates"]
    assert [(one["sheet"]["name"], one["status"], one["holds"], one["why"]) for one in told] == [
        (str(holds), "verified", True, "model years from 2015, any position, any vehicle"),
        (str(draft), "draft", False, "draft: nobody has verified it yet"),
        (str(old), "verified", False, "model years to 2014, not 2015"),
    ]
