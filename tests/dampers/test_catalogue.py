"""Damper models, and which of them a vehicle model carries."""

import pytest
from django.core.exceptions import ValidationError

from shop.dampers.models import DamperModel, Position
from shop.dampers.services import create_damper_model, fit_dampers, remove_fitment, set_fitment
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
