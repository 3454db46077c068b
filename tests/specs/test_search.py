"""The search line of the spec table: words and a model year."""

import pytest

from shop.specs.models import SheetStatus
from shop.specs.search import Asked, find_sheets, waiting
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def sheets():
    h2, p40 = make.make_damper_model(name="H2"), make.make_damper_model(maker="Pell & Varga", name="P40")
    ridge = make.make_vehicle_model(maker="Ostrander", name="Ridge")
    slope = make.make_vehicle_model(maker="Velloway", name="Slope")
    make.make_fitment(ridge, "rear_left", h2)
    make.make_sheet(h2, code="A", year_to=2014, position="rear")
    make.make_sheet(h2, code="B", year_from=2015, position="rear_right", source_document="Bench manual")
    make.make_sheet(h2, code="C", year_from=2015, position="front")
    make.make_sheet(h2, code="D", year_from=2015, position="front", vehicle_model=slope)
    make.make_sheet(p40, code="E", status=SheetStatus.DRAFT)


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("", "ABCDE"),
        ("H2 2015 rear", "B"),
        ("h2 2014", "A"),
        ("rear", "AB"),
        ("rear right", "B"),
        ("2014", "AE"),
        ("2014 2015", "E"),
        ("varga", "E"),
        ("bench", "B"),
        ("Ostrander", "ABC"),
        ("Ridge 2014", "A"),
        ("Velloway", "D"),
        ("any", "E"),
        ("1600", ""),
        ("nothing", ""),
        ("２０１５", ""),
    ],
)
def test_every_word_is_found_somewhere_and_a_model_year_is_one_in_which_the_sheet_holds(sheets, text, codes):
    assert "".join(one.code for one in find_sheets(Asked.of(text))) == codes


def test_a_status_narrows_the_search(sheets):
    assert [one.code for one in find_sheets(Asked.of("2014"), SheetStatus.DRAFT)] == ["E"]


@pytest.mark.parametrize(
    ("text", "said"),
    [("H2 2015 rear", "holding in 2015"), ("2014 2015", "holding in 2014 and in 2015"), ("H2 1600", "")],
)
def test_what_the_year_did_is_said(text, said):
    assert Asked.of(text).said() == said


def test_a_search_takes_two_queries_however_many_sheets_it_finds(sheets, django_assert_num_queries):
    with django_assert_num_queries(2):  # sheets, their figures
        for one in find_sheets(Asked.of("Ostrander 2015")):
            assert str(one.damper_model)
            assert len(one.values.all()) == 4


def test_drafts_wait_in_the_order_in_which_they_were_entered(sheets):
    newer = make.make_sheet(make.make_damper_model(), code="AA", status=SheetStatus.DRAFT)
    assert [one.code for one in waiting()] == ["E", newer.code]
