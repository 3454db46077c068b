"""Which sheet holds: the most specific verified one, never two, and the year boundary of the trade's table."""

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.specs.models import SheetPosition, SheetStatus, SpecSheet
from shop.specs.selectors import sheet_for
from shop.specs.services import NewValue, enter_sheet, verify_sheet, withdraw_sheet
from tests import factories as make
from tests.factories import INCH, LBF_FT, NOON, PSI
from tests.racing import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    return make.make_damper_model()


@pytest.mark.parametrize(
    ("year", "position", "torque", "charge", "depth"),
    [
        # common practice, no source
        (2013, "front_left", 18, 200, 2.4),
        (2014, "front_right", 18, 200, 2.4),
        (2014, "rear_left", 18, 200, 3.4),
        (2015, "front_left", 22, 100, 2.4),
        (2015, "rear_right", 22, 100, 3.4),
        (2026, "rear_right", 22, 100, 3.4),
    ],
)
def test_the_model_year_decides_torque_and_charge_and_the_end_decides_the_ifp_depth(
    model, year, position, torque, charge, depth
):
    for end, ifp in [(SheetPosition.FRONT, 2.4), (SheetPosition.REAR, 3.4)]:
        make.make_sheet(model, torque=18, charge=200, depth=ifp, year_to=2014, position=end)
        make.make_sheet(model, torque=22, charge=100, depth=ifp, year_from=2015, position=end)
    values = {value.measure: value.value_si for value in sheet_for(model, year, position).sheet.values.all()}
    assert values["shaft_nut_torque"] == pytest.approx(torque * LBF_FT)
    assert values["charge"] == pytest.approx(charge * PSI)
    assert values["ifp_depth"] == pytest.approx(depth * INCH)


def test_a_sheet_for_the_vehicle_goes_before_one_for_any_and_a_finer_position_before_a_coarser(model):
    vehicle_model = make.make_vehicle_model()
    any_sheet = make.make_sheet(model)
    rear = make.make_sheet(model, position=SheetPosition.REAR)
    corner = make.make_sheet(model, position=SheetPosition.REAR_LEFT)
    vehicle = make.make_sheet(model, vehicle_model=vehicle_model)
    assert sheet_for(model, 2015, "front_left").sheet == any_sheet
    assert sheet_for(model, 2015, "rear_right").sheet == rear
    assert sheet_for(model, 2015, "rear_left").sheet == corner
    assert sheet_for(model, 2015, "rear_left", vehicle_model).sheet == vehicle
    assert sheet_for(model, 2015, "").sheet == any_sheet


def test_a_draft_is_found_only_when_nothing_is_verified_and_says_that_it_is_one(model):
    draft = make.make_sheet(model, status=SheetStatus.DRAFT, position=SheetPosition.REAR_LEFT)
    found = sheet_for(model, 2015, "rear_left")
    assert (found.sheet, found.rule[:5]) == (draft, "DRAFT")
    verified = make.make_sheet(model)
    assert sheet_for(model, 2015, "rear_left").sheet == verified


def test_no_sheet_is_an_answer_too(model):
    make.make_sheet(model, year_to=2014)
    assert sheet_for(model, 2015, "rear_left").sheet is None


def test_whoever_entered_a_sheet_cannot_verify_it(model, manager, technician):
    sheet = make.make_sheet(model, status=SheetStatus.DRAFT, entered_by=manager)
    with pytest.raises(ValidationError, match="second person"):
        verify_sheet(sheet=sheet, edition=sheet.edition, by=manager, at=NOON)
    with pytest.raises(IntegrityError, match="specsheet_second_person"), transaction.atomic():
        SpecSheet.objects.filter(pk=sheet.pk).update(status="verified", verified_by=manager, verified_at=NOON)
    assert verify_sheet(sheet=sheet, edition=sheet.edition, by=technician, at=NOON).status == SheetStatus.VERIFIED


@pytest.mark.parametrize(
    ("first", "then"),
    [
        ((None, None), (2015, 2016)),
        ((None, 2014), (2014, None)),
        ((2010, 2012), (2012, 2012)),
        ((2015, None), (None, None)),
    ],
)
def test_an_overlap_of_equal_rank_is_refused_by_the_function_and_by_the_database(model, technician, first, then):
    make.make_sheet(model, year_from=first[0], year_to=first[1])
    rival = make.make_sheet(model, year_from=then[0], year_to=then[1], status=SheetStatus.DRAFT)
    with pytest.raises(ValidationError, match="two sheets would give two answers"):
        verify_sheet(sheet=rival, edition=rival.edition, by=technician, at=NOON)
    with pytest.raises(IntegrityError, match="specsheet_one_answer"), transaction.atomic():
        SpecSheet.objects.filter(pk=rival.pk).update(status="verified", verified_by=technician, verified_at=NOON)


def test_neighbouring_years_and_other_ranks_are_no_overlap(model, technician):
    make.make_sheet(model, year_to=2014)
    for given in [{"year_from": 2015}, {"year_to": 2014, "position": SheetPosition.REAR}]:
        sheet = make.make_sheet(model, status=SheetStatus.DRAFT, **given)
        assert verify_sheet(sheet=sheet, edition=sheet.edition, by=technician, at=NOON).status == SheetStatus.VERIFIED


def test_a_next_version_takes_the_place_of_the_one_it_replaces(model, technician):
    old = make.make_sheet(model, code="H-A")
    new = make.make_sheet(model, code="H-A", version=2, status=SheetStatus.DRAFT, replaces=old)
    assert sheet_for(model, 2015, "").sheet == old
    verify_sheet(sheet=new, edition=new.edition, by=technician, at=NOON)
    assert sheet_for(model, 2015, "").sheet == new
    old.refresh_from_db()
    assert old.status == SheetStatus.WITHDRAWN
    with pytest.raises(Conflict, match="withdrawn"):
        verify_sheet(sheet=old, edition=old.edition, by=technician, at=NOON)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"year_from": 2012, "year_to": 2020}, "would leave the others without a sheet"),
        ({"year_from": 2010, "year_to": 2014}, "would leave the others without a sheet"),
        ({"year_from": 2010, "year_to": 2020, "position": "rear_left"}, "holds for the same place"),
    ],
)
def test_a_next_version_leaves_no_damper_without_a_sheet(model, manager, given, words):
    old = make.make_sheet(model, year_from=2010, year_to=2020)
    with pytest.raises(ValidationError, match=words):
        next_version(old, manager, **given)
    assert next_version(old, manager, year_from=2009, year_to=None).version == 2


def next_version(old, by, **given):
    torque = parse("22 lbf·ft", "torque")
    values = [NewValue("shaft_nut_torque", torque, torque, torque)]
    source = {"source_document": "manual", "source_revision": "rev D", "source_page": "p. 41"}
    return enter_sheet(
        code="", damper_model=old.damper_model, replaces=old, values=values, why="rev D", by=by, at=NOON,
        **{"position": "any"} | source | given,
    )  # fmt: skip


@pytest.mark.django_db(transaction=True)
def test_two_people_verifying_sheets_of_one_model_at_once_do_not_block_each_other():
    model, by = make.make_damper_model(), make.make_user("technician")
    sheets = [make.make_sheet(model, status="draft", position=p) for p in ("front", "rear", "any", "rear_left")]
    outcomes = at_once(
        *[lambda one=one: verify_sheet(sheet=one, edition=one.edition, by=by, at=NOON) for one in sheets]
    )
    assert [one.status for one in outcomes] == [SheetStatus.VERIFIED] * 4


def test_a_sheet_is_withdrawn_with_a_reason(model, manager):
    sheet = make.make_sheet(model)
    with pytest.raises(ValidationError, match="Say why"):
        withdraw_sheet(sheet=sheet, why=" ", by=manager, at=NOON)
    withdraw_sheet(sheet=sheet, why="page misread", by=manager, at=NOON)
    assert sheet_for(model, 2015, "").sheet is None
