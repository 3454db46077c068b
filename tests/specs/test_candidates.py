"""Why this sheet and none of the others, in words."""

from datetime import timedelta

import pytest

from shop.specs.candidates import explain
from shop.specs.models import SheetPosition, SheetStatus
from shop.specs.services import verify_sheet, withdraw_sheet
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    return make.make_damper_model()


def told(*place):
    return [(one.sheet.code, one.holds, one.why) for one in explain(*place)]


def test_the_sheet_that_holds_comes_first_and_each_of_the_others_says_what_speaks_against_it(model, manager):
    ridge, other = make.make_vehicle_model(name="Ridge"), make.make_vehicle_model(name="Gully")
    make.make_sheet(model, code="ANY")
    make.make_sheet(model, code="REAR", position=SheetPosition.REAR)
    make.make_sheet(model, code="RIDGE", vehicle_model=ridge)
    make.make_sheet(model, code="CORNER", vehicle_model=ridge, position=SheetPosition.REAR_LEFT)
    make.make_sheet(model, code="FRONT", position=SheetPosition.FRONT)
    make.make_sheet(model, code="GULLY", vehicle_model=other, position=SheetPosition.REAR, year_from=2016)
    make.make_sheet(model, code="DRAFT", status=SheetStatus.DRAFT, position=SheetPosition.REAR_LEFT, year_to=2015)
    withdrawn = make.make_sheet(model, code="OLD", year_to=2014, position=SheetPosition.REAR_RIGHT)
    withdraw_sheet(sheet=withdrawn, why="page misread", by=manager, at=NOON)
    make.make_sheet(make.make_damper_model(), code="STRANGER")
    assert told(model, 2015, "rear_left", ridge) == [
        ("CORNER", True, "all model years, rear left, on Ostrander Ridge"),
        ("RIDGE", False, "any position: a sheet for rear left goes before it"),
        ("REAR", False, "any vehicle: a sheet for Ostrander Ridge goes before it"),
        ("ANY", False, "any vehicle: a sheet for Ostrander Ridge goes before it"),
        ("DRAFT", False, "draft: nobody has verified it yet"),
        ("FRONT", False, "front, not rear left"),
        ("GULLY", False, "model years from 2016, not 2015; only on Ostrander Gully"),
        ("OLD", False, "withdrawn; model years to 2014, not 2015; rear right, not rear left"),
    ]


def test_where_nothing_is_verified_the_newest_draft_holds_and_the_older_one_says_so(model):
    make.make_sheet(model, code="OLD", status=SheetStatus.DRAFT)
    make.make_sheet(model, code="NEW", status=SheetStatus.DRAFT, entered_at=NOON + timedelta(hours=1))
    assert told(model, 2015, "") == [
        ("NEW", True, "DRAFT, nobody has verified it yet; all model years, any position, any vehicle"),
        ("OLD", False, "an older draft: NEW version 1 was entered later"),
    ]


def test_where_nothing_covers_the_place_no_candidate_holds(model):
    make.make_sheet(model, code="REAR", position=SheetPosition.REAR)
    make.make_sheet(model, code="OLD", status=SheetStatus.DRAFT, year_to=2010)
    assert told(model, 2015, "") == [
        ("REAR", False, "rear, not an unknown position"),
        ("OLD", False, "draft: nobody has verified it yet; model years to 2010, not 2015"),
    ]
    assert told(make.make_damper_model(), 2015, "") == []


def test_a_replaced_version_names_the_one_that_took_its_place(model, technician):
    old = make.make_sheet(model, code="H-A")
    new = make.make_sheet(model, code="H-A", version=2, status=SheetStatus.DRAFT, replaces=old)
    assert [why for _, _, why in told(model, 2015, "")][1] == "draft: nobody has verified it yet"
    verify_sheet(sheet=new, edition=new.edition, by=technician, at=NOON)
    assert [why for _, _, why in told(model, 2015, "")][1] == "withdrawn, H-A version 2 took its place"
