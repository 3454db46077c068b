import pytest
from django.core.exceptions import ValidationError

from shop.customers.models import VehicleModel
from shop.customers.services import create_vehicle, create_vehicle_model
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


def enter(by, **given):
    defaults = {"maker": "Ostrander", "name": "Ridge 900", "year_from": 2011, "year_to": 2018}
    return create_vehicle_model(**defaults | given, by=by, at=NOON)


def test_a_vehicle_of_a_model_just_entered_can_be_booked_in(manager, desk):
    model = enter(manager, maker=" Ostrander ", name="Ridge  900")
    assert str(model) == "Ostrander Ridge 900"
    vehicle = create_vehicle(customer=make.make_customer(), model=model, model_year=2015, by=desk, at=NOON)
    assert vehicle.model == model
    entry = AuditEntry.objects.get(kind="vehiclemodel", key=model.pk)
    assert (entry.who, entry.what) == (str(manager), "entered: Ostrander Ridge 900, built 2011 to 2018")


def test_a_later_model_may_have_the_same_name_but_no_year_in_common(manager):
    enter(manager)
    with pytest.raises(ValidationError, match="in the catalogue already, built 2011 to 2018"):
        enter(manager, name="RIDGE 900", year_from=2018, year_to=None)
    assert enter(manager, year_from=2019, year_to=None).years() == "from 2019"


@pytest.mark.parametrize("given", [{"year_to": 2010}, {"maker": " "}, {"name": ""}, {"name": "x" * 61}])
def test_a_vehicle_model_that_cannot_be_is_refused_and_leaves_no_trace(manager, given):
    with pytest.raises(ValidationError):
        enter(manager, **given)
    assert not VehicleModel.objects.exists()
    assert not AuditEntry.objects.exists()
