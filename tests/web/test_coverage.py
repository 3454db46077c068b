import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.specs.models import SheetPosition, SheetStatus
from tests import factories as make
from tests.web.people import words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
OVERVIEW, WHY = reverse("manage:coverage_overview"), reverse("manage:why")


@pytest.fixture
def model():
    """Fitted from 2010 to 2016; its rear has no sheet for 2013 and 2014, and three dampers of these years are known."""
    model = make.make_damper_model(name="H9")
    vehicle_model = make.make_vehicle_model()
    for position in ("front_left", "front_right", "rear_left", "rear_right"):
        make.make_fitment(vehicle_model, position, model, year_to=2016)
    make.make_sheet(model, code="H9-F", position=SheetPosition.FRONT)
    make.make_sheet(model, code="H9-R", position=SheetPosition.REAR, year_to=2012)
    make.make_sheet(model, code="H9-S", position=SheetPosition.REAR, year_from=2015, status=SheetStatus.DRAFT)
    for year in (2013, 2013, 2014):
        make.make_damper(make.make_vehicle(model=vehicle_model, model_year=year), "rear_left", model=model)
    return model


def page_of(client, model):
    return client.get(reverse("manage:coverage", args=[model.pk]))


def test_the_picture_says_in_words_what_holds_in_which_years_at_which_end(at_bench, model):
    page = words(page_of(at_bench, model))
    assert "2013 and 2014, rear: no verified sheet; 3 dampers in the book have these years." in page
    assert "2015 to 2027, rear: no verified sheet, only the draft H9-S version 1; no dampers in the book" in page
    assert "Model years Front Rear 2010 to 2012 H9-F version 1 verified H9-R version 1 verified" in page
    assert "2013 and 2014 none 2015 to 2027 H9-S version 1 DRAFT" in page
    assert "Enter a sheet" not in page  # a technician enters none


def test_a_gap_leads_the_manager_to_a_new_sheet_that_knows_what_is_missing(as_manager, model):
    page = page_of(as_manager, model).content.decode()
    asked = f"?damper_model={model.pk}&amp;year_from=2013&amp;year_to=2014&amp;position=rear"
    assert f"{reverse('manage:sheet_new')}{asked}" in page
    assert as_manager.get(reverse("manage:sheet_new") + asked.replace("&amp;", "&")).status_code == 200


def test_a_gap_that_only_needs_verifying_leads_to_its_draft(as_manager, at_bench, at_desk, model):
    draft = model.sheets.get(status=SheetStatus.DRAFT)
    to = f'href="{reverse("manage:sheet_verify", args=[draft.pk])}"'
    for client in (as_manager, at_bench):
        page = page_of(client, model)
        assert "no dampers in the book have these years. Verify H9-S version 1" in words(page)
        assert to in page.content.decode()
    assert words(page_of(as_manager, model)).count("Enter a sheet") == 1
    assert to not in page_of(at_desk, model).content.decode()


def test_both_pages_lead_to_the_queue_and_the_table(as_manager, at_desk, model):
    for address in (OVERVIEW, reverse("manage:coverage", args=[model.pk])):
        page = as_manager.get(address).content.decode()
        assert reverse("manage:sheets_queue") in page
        assert reverse("manage:sheets_table") in page
        assert reverse("manage:sheets_queue") not in at_desk.get(address).content.decode()


def test_sheets_for_single_vehicles_stand_in_the_picture_by_their_vehicle(at_desk, model):
    ridge = make.make_vehicle_model(name="Gully")
    make.make_sheet(model, code="H9-G", vehicle_model=ridge, year_from=2013, year_to=2013)
    assert "none for any vehicle on Ostrander Gully: H9-G version 1, verified" in words(page_of(at_desk, model))


def test_the_overview_begins_with_what_is_missing(at_desk, model):
    make.make_damper_model(maker="Aa", name="first by name")
    page = words(at_desk.get(OVERVIEW))
    assert "3 dampers in the book have no verified sheet." in page
    assert page.index("Hallinde H9 2 1 3 3 dampers") < page.index("Aa first by name 0 0 0 no sheet yet")


def test_an_overview_without_gaps_says_so(at_desk):
    assert "No damper model yet." in words(at_desk.get(OVERVIEW))
    model = make.make_damper_model()
    make.make_sheet(model)
    make.make_damper(model=model)
    assert "Every damper in the book that is serviced here has a verified sheet." in words(at_desk.get(OVERVIEW))
    assert "No gap: a verified sheet holds for every model year and position." in words(page_of(at_desk, model))


def test_a_model_of_which_nothing_is_known_and_one_that_is_not_serviced(at_desk):
    assert "Nothing is known of it yet." in words(page_of(at_desk, make.make_damper_model()))
    sealed = make.make_damper_model(serviceable=False, why_not="sealed: order a new one")
    assert "Not serviced here: no sheet is needed." in words(page_of(at_desk, sealed))
    assert "not serviced here" in words(at_desk.get(OVERVIEW))
    assert at_desk.get(reverse("manage:coverage", args=[4711])).status_code == 404


def test_the_spec_table_and_the_damper_model_lead_to_the_picture(at_desk, model):
    assert f'href="{OVERVIEW}"' in at_desk.get(reverse("manage:sheets")).content.decode()
    address = reverse("manage:coverage", args=[model.pk])
    assert f'href="{address}"' in at_desk.get(reverse("manage:damper_model", args=[model.pk])).content.decode()
    assert f'href="{address}"' in at_desk.get(OVERVIEW).content.decode()


def test_the_overview_takes_as_many_queries_for_forty_models_as_for_one(at_desk, model):
    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert at_desk.get(OVERVIEW).status_code == 200
        return len(queries)

    def grow(models):
        for _ in range(models):
            other = make.make_damper_model()
            make.make_sheet(other)
            make.make_damper(model=other)

    grow(1)
    few = asked()
    grow(38)
    assert asked() == few


# --- which sheet holds?


def test_whoever_looks_learns_which_sheet_holds_and_why_the_others_do_not(at_desk, model):
    page = words(at_desk.get(WHY, {"damper_model": model.pk, "year": 2012, "position": "rear_left"}))
    assert "H9-R version 1 holds. Chosen as: model years to 2012, rear, any vehicle." in page
    assert "Source: common practice, no source, none, none. Entered by" in page
    assert "H9-R version 1 Model years to 2012, rear any vehicle verified holds" in page
    assert "H9-F version 1 All model years, front any vehicle verified Front, not rear left" in page
    assert "DRAFT Draft: nobody has verified it yet; model years from 2015, not 2012" in page


def test_it_is_said_when_only_a_draft_or_nothing_holds(at_desk, model):
    page = words(at_desk.get(WHY, {"damper_model": model.pk, "year": 2015, "position": "rear_left"}))
    assert "Only a DRAFT: H9-S version 1. Chosen as: DRAFT, nobody has verified it yet" in page
    page = words(at_desk.get(WHY, {"damper_model": model.pk, "year": 2013, "position": "rear_left"}))
    assert "No sheet. No sheet covers Hallinde H9, model year 2013, rear left." in page


def test_the_page_asks_first_and_refuses_nonsense_with_what_was_typed(at_desk, model):
    assert "Look up" in words(at_desk.get(WHY))
    half = at_desk.get(WHY, {"damper_model": model.pk})
    assert half.status_code == 200
    assert f'<option value="{model.pk}" selected>' in half.content.decode()
    for wrong in [{"year": "20l5"}, {"year": "1"}, {"damper_model": "x"}, {"position": "top"}, {"year": "2015\0"}]:
        asked = {"damper_model": model.pk, "year": 2015, "position": "rear_left"} | wrong
        answer = at_desk.get(WHY, asked)
        assert answer.status_code == 422, wrong
        assert "holds. Chosen as" not in words(answer)
