"""Damper models, and which of them a vehicle model carries."""

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel, Fitment, Position
from shop.dampers.selectors import carried
from shop.dampers.services import (
    change_damper_model,
    change_fitment,
    change_vehicle_model,
    copy_fitment,
    create_damper_model,
    fit_dampers,
    remove_fitment,
    remove_vehicle_model,
    set_fitment,
    set_geometry,
)
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


def enter(by, **given):
    defaults = {"maker": "Quoin", "name": "Live 3", "construction": "electronic", "serviceable": False}
    return create_damper_model(**defaults | {"why_not": "It needs the maker's bench."} | given, by=by, at=NOON)


def test_a_damper_that_is_not_serviced_here_says_why(manager):
    model = enter(manager)
    assert model.why_not == "It needs the maker's bench."
    entry = AuditEntry.objects.get(kind="dampermodel", key=model.pk)
    assert entry.what.endswith("electronically controlled, not serviced here: It needs the maker's bench.")


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"why_not": "  "}, "what to tell the customer"),
        ({"serviceable": True}, "nothing to tell"),
        ({"name": "H2", "maker": "HALLINDE"}, "Hallinde H2 is in the catalogue already"),
        ({"construction": "wood"}, "not a valid choice"),
    ],
)
def test_a_damper_model_that_cannot_be_is_refused_and_leaves_no_trace(manager, given, told):
    make.make_damper_model(maker="Hallinde", name="H2")
    with pytest.raises(ValidationError, match=told):
        enter(manager, **given)
    assert DamperModel.objects.count() == 1
    assert not AuditEntry.objects.exists()


def test_vehicles_get_the_dampers_that_their_model_carries_in_their_year(manager, desk):
    """2014 and 2015: the model-year boundary that is common practice, no source."""
    old, new, model = make.make_damper_model(), make.make_damper_model(), make.make_vehicle_model(year_from=2010)
    for position in Position.values:
        common = {"vehicle_model": model, "position": position, "by": manager, "at": NOON}
        set_fitment(**common, damper_model=old, year_to=2014)
        set_fitment(**common, damper_model=new, year_from=2015)
    for year, expected in [(2014, old), (2015, new)]:
        fitted = fit_dampers(vehicle=make.make_vehicle(model=model, model_year=year), by=desk, at=NOON)
        assert {(damper.position, damper.model) for damper in fitted} == {(one, expected) for one in Position.values}


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"year_from": 2009}, "year_from", "no .* of model year 2009: it was built 2010 to 2026"),
        ({"year_to": 2027}, "year_to", "of model year 2027"),
        ({"year_from": 2020, "year_to": 2018}, "year_to", "2018 lies before the first model year, 2020"),
        ({"year_from": 2014}, "position", "Rear left: the .* sits there from 2010 to 2014"),
        ({}, "position", "sits there from 2010 to 2014"),
        ({"position": "boot"}, "position", "not a valid choice"),
    ],
)
def test_a_fitment_that_would_give_a_second_answer_or_none_is_refused(manager, given, field, told):
    model, damper = make.make_vehicle_model(year_from=2010, year_to=2026), make.make_damper_model()
    make.make_fitment(model, Position.REAR_LEFT, damper, year_from=2010, year_to=2014)
    defaults = {"position": Position.REAR_LEFT, "damper_model": make.make_damper_model()}
    with pytest.raises(ValidationError, match=told) as refusal:
        set_fitment(vehicle_model=model, **defaults | given, by=manager, at=NOON)
    assert list(refusal.value.message_dict) == [field]
    assert model.fitments.count() == 1


def test_removing_an_entry_leaves_customers_dampers_alone_and_is_noted_once(manager, desk):
    model = make.make_vehicle_model()
    fitment = make.make_fitment(model, Position.REAR_LEFT, make.make_damper_model())
    vehicle = make.make_vehicle(model=model)
    fit_dampers(vehicle=vehicle, by=desk, at=NOON)
    for _ in range(2):
        remove_fitment(fitment=fitment, by=manager, at=NOON)
    assert vehicle.dampers.count() == 1
    assert AuditEntry.objects.filter(kind="vehiclemodel", key=str(model.pk)).count() == 1


# --- entries corrected ------------------------------------------------------------------------------------------------


@pytest.fixture
def ridge():
    return make.make_vehicle_model(maker="Ostrander", name="Ridge 900", year_from=2010, year_to=2018)


def correct(fitment, by, **given):
    now = {name: getattr(fitment, name) for name in ("version", "position", "damper_model", "year_from", "year_to")}
    return change_fitment(fitment=fitment, **now | given, by=by, at=NOON)


def test_an_entry_is_corrected_and_customers_dampers_stay_as_they_are(manager, desk, ridge):
    old, new = make.make_damper_model(), make.make_damper_model()
    fitment = make.make_fitment(ridge, Position.REAR_LEFT, old)
    vehicle = make.make_vehicle(model=ridge)
    fit_dampers(vehicle=vehicle, by=desk, at=NOON)
    fitment = correct(fitment, manager, damper_model=new, position=Position.REAR_RIGHT, year_to=2014)
    assert (fitment.damper_model, fitment.position, fitment.year_to, fitment.version) == (new, "rear_right", 2014, 2)
    assert vehicle.dampers.get().model == old
    entry = AuditEntry.objects.filter(kind="vehiclemodel").order_by("pk").last()
    assert entry.what == f"changed: Rear left: {old}, from 2010 on; now Rear right: {new}, from 2010 to 2014"


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"year_to": 2016}, "position", "Rear left: the .* sits there from 2015 on"),
        ({"position": "rear_right"}, "position", "Rear right: the .* sits there"),
        ({"year_from": 2009}, "year_from", "of model year 2009"),
        ({"year_to": 2019}, "year_to", "of model year 2019"),
        ({"year_from": 2013, "year_to": 2012}, "year_to", "2012 lies before"),
    ],
)
def test_a_correction_that_gives_two_answers_or_none_is_refused_and_changes_nothing(manager, ridge, given, field, told):
    model = make.make_damper_model()
    fitment = make.make_fitment(ridge, Position.REAR_LEFT, model, year_to=2014)
    make.make_fitment(ridge, Position.REAR_LEFT, model, year_from=2015)
    make.make_fitment(ridge, Position.REAR_RIGHT, model)
    with pytest.raises(ValidationError, match=told) as refusal:
        correct(fitment, manager, **given)
    assert list(refusal.value.message_dict) == [field]
    kept = Fitment.objects.get(pk=fitment.pk)
    assert (kept.position, kept.year_from, kept.year_to, kept.version) == ("rear_left", 2010, 2014, 1)


def test_the_second_of_two_corrections_is_told_of_the_first(manager, ridge):
    fitment = make.make_fitment(ridge, Position.REAR_LEFT, make.make_damper_model())
    correct(fitment, manager, year_from=2011)
    with pytest.raises(Conflict):
        correct(fitment, manager, year_from=2012)
    assert Fitment.objects.get().year_from == 2011


def test_an_entry_is_copied_to_other_corners_with_its_years_or_to_none(manager, ridge):
    model = make.make_damper_model()
    fitment = make.make_fitment(ridge, Position.FRONT_LEFT, model, year_from=2012, year_to=2014)
    copy_fitment(fitment=fitment, positions=["front_right", "rear_left"], by=manager, at=NOON)
    there = set(ridge.fitments.values_list("position", "damper_model", "year_from", "year_to"))
    assert there == {(one, model.pk, 2012, 2014) for one in ("front_left", "front_right", "rear_left")}
    with pytest.raises(ValidationError, match=r"Rear left: the .* sits there from 2012 to 2014"):
        copy_fitment(fitment=fitment, positions=["rear_right", "rear_left"], by=manager, at=NOON)
    assert ridge.fitments.count() == 3


def test_the_table_by_years_draws_equal_years_together_and_tells_every_gap(ridge):
    front, rear = make.make_damper_model(), make.make_damper_model()
    for position, years in [
        (Position.FRONT_LEFT, {}),
        (Position.FRONT_RIGHT, {"year_from": 2012, "year_to": 2012}),
        (Position.FRONT_RIGHT, {"year_from": 2014}),
        (Position.REAR_LEFT, {"year_to": 2014}),
        (Position.REAR_RIGHT, {}),
    ]:
        make.make_fitment(ridge, position, front if position.startswith("front") else rear, **years)
    rows = carried(ridge)
    assert [row.words for row in rows] == ["2010 to 2011", "2012", "2013", "2014", "2015 to 2018"]
    assert [row.gap for row in rows] == [
        "2010 to 2011: nothing known at front right.",
        "",
        "2013: nothing known at front right.",
        "",
        "2015 to 2018: nothing known at rear left.",
    ]
    assert rows[2].at[Position.REAR_LEFT].damper_model == rear


def test_a_vehicle_model_that_is_still_built_has_an_open_last_row():
    model = make.make_vehicle_model(year_from=2012, year_to=None)
    assert [row.gap for row in carried(model)] == ["2012 on: nothing known at any corner."]
    make.make_fitment(model, Position.REAR_LEFT, make.make_damper_model(), year_from=2012, year_to=2014)
    assert [row.words for row in carried(model)] == ["2012 to 2014", "2015 on"]
    assert carried(model)[0].gap == "2012 to 2014: nothing known at front left, front right and rear right."


# --- vehicle models ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("years", "field", "told"),
    [
        (
            {"year_from": 2011},
            "year_from",
            "An entry of its corners .*: Rear left: .*, from 2010 to 2012. Correct",
        ),
        ({"year_to": 2012}, "year_to", "2 entries of its corners .*: Front left: .*; Rear left: .*, from 2013 on"),
    ],
)
def test_years_that_leave_an_entry_of_a_corner_outside_are_refused_and_name_it(manager, ridge, years, field, told):
    model = make.make_damper_model()
    make.make_fitment(ridge, Position.REAR_LEFT, model, year_to=2012)
    make.make_fitment(ridge, Position.REAR_LEFT, model, year_from=2013)
    make.make_fitment(ridge, Position.FRONT_LEFT, model, year_from=2012, year_to=2014)
    now = {"version": 1, "maker": "Ostrander", "name": "Ridge 900", "year_from": 2010, "year_to": 2018}
    with pytest.raises(ValidationError, match=told) as refusal:
        change_vehicle_model(vehicle_model=ridge, **now | years, by=manager, at=NOON)
    assert list(refusal.value.message_dict) == [field]
    ridge.refresh_from_db()
    assert ridge.years() == "2010 to 2018"


def test_a_vehicle_model_that_nothing_hangs_on_is_removed_with_its_corners(manager, ridge):
    make.make_fitment(ridge, Position.REAR_LEFT, make.make_damper_model())
    remove_vehicle_model(vehicle_model=ridge, by=manager, at=NOON)
    assert not VehicleModel.objects.exists()
    assert not Fitment.objects.exists()
    assert AuditEntry.objects.get(kind="vehiclemodel").what == "removed: Ostrander Ridge 900, built 2010 to 2018"
    with pytest.raises(Conflict, match="removed already"):
        remove_vehicle_model(vehicle_model=ridge, by=manager, at=NOON)


def test_a_vehicle_model_with_vehicles_or_sheets_stays_and_says_because_of_which(manager, ridge):
    make.make_vehicle(model=ridge, customer=make.make_customer(name="Ines"))
    make.make_vehicle(model=ridge, model_year=2012, customer=make.make_customer(name="Noor"))
    make.make_sheet(make.make_damper_model(), vehicle_model=ridge, code="H2-A", status="draft")
    with pytest.raises(ValidationError) as refusal:
        remove_vehicle_model(vehicle_model=ridge, by=manager, at=NOON)
    assert "2 vehicles (2015 of Ines and 2012 of Noor) and 1 spec sheet (H2-A version 1)" in refusal.value.messages[0]
    assert VehicleModel.objects.filter(pk=ridge.pk).exists()


# --- damper models ----------------------------------------------------------------------------------------------------


def describe(model, by, **given):
    names = ("version", "maker", "name", "construction", "serviceable", "why_not", "cap_style")
    now = {name: getattr(model, name) for name in names}
    return change_damper_model(damper_model=model, **now | given, by=by, at=NOON)


def test_a_damper_model_is_corrected_and_the_trail_keeps_both(manager):
    model = make.make_damper_model(maker="Hallinde", name="H22")
    model = describe(model, manager, name="H2", cap_style="ring", serviceable=False, why_not="No parts to be had.")
    entry = AuditEntry.objects.get(kind="dampermodel", key=str(model.pk))
    assert entry.what == (
        "changed: Hallinde H22, monotube with reservoir and IFP, serviced here; now Hallinde H2, monotube with "
        "reservoir and IFP, cap under a snap ring, not serviced here: No parts to be had."
    )
    assert model.version == 2


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"name": "p40", "maker": "pell & varga"}, "name", "Pell & Varga P40 is in the catalogue already"),
        ({"serviceable": False}, "__all__", "what to tell the customer"),
        ({"why_not": "Sealed."}, "why_not", "nothing to tell"),
        ({"cap_style": "glued"}, "cap_style", "not a valid choice"),
        ({"construction": "emulsion", "cap_style": "ring"}, "cap_style", "Only a damper with an IFP has a cap over it"),
        ({"construction": "emulsion"}, "construction", "sizes for one are entered: reservoir bore. Empty them"),
    ],
)
def test_a_damper_model_is_not_corrected_into_what_cannot_be(manager, given, field, told):
    make.make_damper_model(maker="Pell & Varga", name="P40")
    model = set_geometry(
        damper_model=make.make_damper_model(name="H2"), reservoir_bore=parse("40 mm", "length"), by=manager, at=NOON
    )
    with pytest.raises(ValidationError, match=told) as refusal:
        describe(model, manager, **given)
    assert list(refusal.value.message_dict) == [field]
    kept = DamperModel.objects.get(pk=model.pk)
    assert (kept.name, kept.construction, kept.cap_style, kept.serviceable) == ("H2", "reservoir", "", True)


def test_sizes_and_description_share_one_version_so_that_nobody_writes_over_the_other(manager):
    model = make.make_damper_model()
    set_geometry(damper_model=model, version=1, body_bore=parse("51 mm", "length"), by=manager, at=NOON)
    with pytest.raises(Conflict):
        describe(model, manager, name="H3")
    with pytest.raises(Conflict):
        set_geometry(damper_model=model, version=1, by=manager, at=NOON)
    assert DamperModel.objects.get().body_bore_m == pytest.approx(0.051)


def test_a_shaft_does_not_go_into_a_body_as_narrow(manager):
    with pytest.raises(ValidationError, match="A shaft of 16 mm does not go with a body bore of 16 mm"):
        set_geometry(
            damper_model=make.make_damper_model(), shaft=parse("16 mm", "length"), body_bore=parse("16 mm", "length"),
            by=manager, at=NOON,
        )  # fmt: skip


def test_the_search_finds_a_damper_model_by_its_own_name_and_by_what_it_sits_on(ridge):
    h2, p40 = make.make_damper_model(name="H2"), make.make_damper_model(maker="Pell & Varga", name="P40")
    trace = make.make_vehicle_model(maker="Velloway", name="Trace", year_from=2013, year_to=2020)
    make.make_fitment(ridge, Position.REAR_LEFT, h2, year_to=2014)
    make.make_fitment(ridge, Position.REAR_LEFT, p40, year_from=2015)
    make.make_fitment(trace, Position.REAR_LEFT, p40, year_from=2013)
    for text, found in [
        ("h2", ["H2"]), ("varga p40", ["P40"]), ("ridge", ["H2", "P40"]), ("ridge 2014", ["H2"]),
        ("trace 2014 p4", ["P40"]), ("trace h2", []), ("2014", ["H2", "P40"]), ("2016", ["P40"]), ("2021", []),
        ("", ["H2", "P40"]),
    ]:  # fmt: skip
        assert [model.name for model in DamperModel.objects.matching(text)] == found, text
