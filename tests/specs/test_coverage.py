"""What the spec table covers of a damper model, year by year and corner by corner, and what it leaves out."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.dampers.models import Position
from shop.specs.coverage import coverage_of, overview
from shop.specs.models import SheetPosition, SheetStatus
from shop.specs.selectors import sheet_for
from tests import factories as make

pytestmark = pytest.mark.django_db
FRONT, REAR = SheetPosition.FRONT, SheetPosition.REAR
THIS_YEAR = 2026


@pytest.fixture
def model():
    return make.make_damper_model()


def fit(model, positions=Position.values, year_from=2010, year_to=2020, vehicle_model=None):
    vehicle_model = vehicle_model or make.make_vehicle_model()
    for position in positions:
        make.make_fitment(vehicle_model, position, model, year_from=year_from, year_to=year_to)
    return vehicle_model


def dampers(model, count, year, position=Position.REAR_LEFT):
    for _ in range(count):
        make.make_damper(make.make_vehicle(model_year=year), position, model=model)


def gaps(model):
    return [gap.words for gap in coverage_of(model, THIS_YEAR).gaps]


def cells(model):
    """Each row of the picture: its years, and where a cell begins its sheet and how many rows it spans."""
    return [
        (row.years, [(cell.sheet and cell.sheet.code, span) for cell, span in row.cells])
        for row in coverage_of(model, THIS_YEAR).rows
    ]


def columns(model):
    return [column.label for column in coverage_of(model, THIS_YEAR).columns]


def test_a_gap_in_the_years_is_named_in_words_with_the_dampers_that_have_them(model):
    fit(model)
    make.make_sheet(model, code="FRONT", position=FRONT)
    make.make_sheet(model, code="OLD", position=REAR, year_to=2012)
    make.make_sheet(model, code="NEW", position=REAR, year_from=2015)
    dampers(model, 2, 2013)
    dampers(model, 1, 2014, Position.REAR_RIGHT)
    dampers(model, 4, 2013, Position.FRONT_LEFT)
    assert gaps(model) == ["2013 and 2014, rear: no verified sheet; 3 dampers in the book have these years."]
    assert columns(model) == ["front", "rear"]
    # Open towards the future: to the year after this one.
    assert cells(model) == [
        ("2010 to 2012", [("FRONT", 3), ("OLD", 1)]),
        ("2013 and 2014", [(None, 1)]),
        ("2015 to 2027", [("NEW", 1)]),
    ]


def test_corners_that_differ_have_columns_of_their_own_and_equal_ones_share_one(model):
    fit(model, year_to=2011)
    make.make_sheet(model, code="ANY")
    assert columns(model) == ["every position"]
    make.make_sheet(model, code="CORNER", position=SheetPosition.REAR_LEFT)
    assert columns(model) == ["front", "rear left", "rear right"]
    assert cells(model) == [("2010 to 2027", [("ANY", 1), ("CORNER", 1), ("ANY", 1)])]


def test_a_draft_is_no_cover_and_the_gap_names_it(model):
    fit(model, year_from=2012, year_to=2013)
    draft = make.make_sheet(model, status=SheetStatus.DRAFT, year_from=2013, year_to=2013)
    dampers(model, 1, 2013)
    assert gaps(model) == [
        "2012, every position: no verified sheet; no dampers in the book have this year.",
        f"2013, every position: no verified sheet, only the draft {draft}; 1 damper in the book has this year.",
    ]
    (first, _), (second, _) = (cell for row in coverage_of(model, THIS_YEAR).rows for cell in row.cells)
    assert (first.draft, second.draft) == (False, True)


def test_a_withdrawn_sheet_covers_nothing(model):
    fit(model, year_from=2012, year_to=2012)
    make.make_sheet(model, status=SheetStatus.WITHDRAWN)
    assert gaps(model) == ["2012, every position: no verified sheet; no dampers in the book have this year."]


def test_corners_where_the_damper_never_sits_are_no_gap(model):
    fit(model, positions=["rear_left", "rear_right"], year_from=2012, year_to=2012)
    make.make_sheet(model, position=REAR, year_from=2012, year_to=2012)
    assert gaps(model) == []
    (row,) = coverage_of(model, THIS_YEAR).rows
    assert [(cell.fitted, cell.gap) for cell, _ in row.cells] == [(False, False), (True, False)]


def test_sheets_for_every_vehicle_that_carries_the_damper_are_cover_enough_until_one_sits_elsewhere(model):
    first = fit(model, year_from=2012, year_to=2012)
    second = fit(model, year_from=2012, year_to=2012)
    sheets = [make.make_sheet(model, vehicle_model=first, year_from=2012, year_to=2012)]
    assert len(gaps(model)) == 1
    sheets.append(make.make_sheet(model, vehicle_model=second, year_from=2012, year_to=2012))
    assert gaps(model) == []
    ((cell, _),) = coverage_of(model, THIS_YEAR).rows[0].cells
    assert (cell.sheet, list(cell.on_vehicles)) == (None, sheets)
    stranger = make.make_vehicle(model_year=2012)
    make.make_damper(stranger, Position.REAR_LEFT, model=model)
    assert gaps(model) == [
        f"2012, rear left, on {stranger.model}: no verified sheet; 1 damper in the book has this year."
    ]


def test_a_loose_damper_whose_position_nobody_knows_needs_a_sheet_for_any(model):
    make.make_sheet(model, position=FRONT, year_from=2015, year_to=2015)
    make.make_sheet(model, position=REAR, year_from=2015, year_to=2015)
    make.make_damper(model=model, model_year=2015)
    assert gaps(model) == ["2015, position not known: no verified sheet; 1 damper in the book has this year."]


def test_a_damper_that_is_not_serviced_here_needs_no_sheet():
    model = make.make_damper_model(serviceable=False, why_not="sealed: order a new one")
    fit(model)
    dampers(model, 1, 2013)
    assert gaps(model) == []
    assert [one.uncovered for one in overview()] == [0]


def test_a_model_of_which_nothing_is_known_has_an_empty_picture(model):
    found = coverage_of(model, THIS_YEAR)
    assert (found.rows, found.gaps) == ([], [])


def test_every_cell_says_what_the_look_up_says(model):
    fit(model)
    for given in [
        {"position": FRONT, "year_to": 2014},
        {"position": FRONT, "year_from": 2016},
        {"position": SheetPosition.REAR_LEFT, "year_from": 2012, "year_to": 2018},
        {"year_from": 2017},
    ]:
        make.make_sheet(model, **given)
    found, seen = coverage_of(model, THIS_YEAR), 0
    for column in found.columns:
        for corner in column.corners:
            for year, cell in zip(range(found.rows[0].first, found.rows[-1].last + 1), column.cells, strict=True):
                assert cell.sheet == sheet_for(model, year, corner).sheet
                seen += 1
    assert seen == 4 * (2027 - 2010 + 1)


def test_the_overview_begins_with_the_models_whose_dampers_lack_a_sheet(model):
    covered, none = make.make_damper_model(maker="Aa"), make.make_damper_model(maker="Bb")
    make.make_sheet(covered)
    make.make_sheet(covered, status=SheetStatus.DRAFT)
    dampers(covered, 2, 2015)
    make.make_sheet(model, year_to=2014)
    dampers(model, 1, 2014)
    dampers(model, 2, 2015)
    told = [(one.damper_model, one.verified, one.drafts, one.uncovered, one.dampers) for one in overview()]
    assert told == [(model, 1, 0, 2, 3), (covered, 1, 1, 0, 2), (none, 0, 0, 0, 0)]


def test_picture_and_overview_take_as_many_queries_for_many_as_for_few():
    def grow(count):
        for _ in range(count):
            model = make.make_damper_model()
            fit(model)
            make.make_sheet(model, vehicle_model=make.make_vehicle_model())
            make.make_sheet(model, year_to=2014)
            dampers(model, 3, 2014)
        return model

    def asked(call):
        with CaptureQueriesContext(connection) as queries:
            call()
        return len(queries)

    model = grow(2)
    few = asked(overview), asked(lambda: coverage_of(model, THIS_YEAR))
    grow(8)
    for year in range(2015, 2022):
        dampers(model, 2, year)
        make.make_sheet(model, year_from=year, year_to=year, position=REAR)
    assert (asked(overview), asked(lambda: coverage_of(model, THIS_YEAR))) == few
