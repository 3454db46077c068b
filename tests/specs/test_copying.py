"""Copies of sheets for other model years: all or none, each says where it comes from."""

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.specs.history import content_of, difference
from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.services import Copy, copy_sheets
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def sheets():
    model = make.make_damper_model()
    printed = {"charge": {"page": "p. 41", "note": "cold"}}
    where = {"year_to": 2014, "source_document": "manual", "source_revision": "rev B", "source_page": "p. 12"}
    return [
        make.make_sheet(model, code="H2-C", position="front", printed=printed, note="bench", **where),
        make.make_sheet(model, code="H2-D", position="rear", reference_k=295.0, reference_altitude_m=300.0, **where),
    ]


def copies(sheets, codes=("H2-E", "H2-F"), years=(2015, 2018)):
    return [Copy(one, code, one.position, *years) for one, code in zip(sheets, codes, strict=True)]


def test_a_copy_is_a_draft_that_says_the_same_for_other_years(sheets, manager):
    made = copy_sheets(copies=copies(sheets), by=manager, at=NOON)
    assert [(one.code, one.version, one.status, one.entered_by) for one in made] == [
        ("H2-E", 1, SheetStatus.DRAFT, manager),
        ("H2-F", 1, SheetStatus.DRAFT, manager),
    ]
    for old, new in zip(sheets, made, strict=True):
        (changed,) = difference(content_of(old), content_of(new))
        assert (changed.what, changed.after) == ("Model years", "model years 2015 to 2018")
        assert new.editions.get().why == f"copied from {old}"


def test_a_source_given_once_holds_for_all_copies_and_old_pages_of_single_figures_go(sheets, manager):
    made = copy_sheets(copies=copies(sheets), source_page="p. 14", source_revision="rev C", by=manager, at=NOON)
    assert {one.source() for one in made} == {"manual, rev C, p. 14"}
    charge = made[0].values.get(measure="charge")
    assert (charge.page, charge.note) == ("", "cold")


def test_of_several_copies_all_are_made_or_none_and_every_refusal_names_its_row(sheets, manager):
    wrong = copies(sheets, codes=("H2-C", "H2-F"), years=(2018, 2015))
    with pytest.raises(ValidationError) as refusal:
        copy_sheets(copies=wrong, by=manager, at=NOON)
    assert {name[0] for name in refusal.value.message_dict} == {"0", "1"}
    told = str(refusal.value.message_dict)
    assert "2015 lies before the first model year, 2018." in told
    assert "has this code already" in told
    assert SpecSheet.objects.count() == 2


def test_a_code_twice_in_one_change_is_refused(sheets, manager):
    with pytest.raises(ValidationError) as refusal:
        copy_sheets(copies=copies(sheets, codes=("H2-E", "H2-E")), by=manager, at=NOON)
    assert not isinstance(refusal.value, Conflict)
    assert list(refusal.value.message_dict) == ["1-code"]
    assert SpecSheet.objects.count() == 2


def test_nothing_chosen_is_refused(manager):
    with pytest.raises(ValidationError, match="No sheet is chosen"):
        copy_sheets(copies=[], by=manager, at=NOON)
