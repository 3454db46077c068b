import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.customers.models import VehicleModel
from shop.customers.services import change_vehicle_model, create_vehicle, create_vehicle_model
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

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


# --- corrected later --------------------------------------------------------------------------------------------------


def change(model, by, **given):
    now = {"maker": model.maker, "name": model.name, "year_from": model.year_from, "year_to": model.year_to}
    return change_vehicle_model(vehicle_model=model, **{"version": model.version} | now | given, by=by, at=NOON)


def test_a_typing_error_is_corrected_and_the_trail_keeps_both(manager):
    model = change(enter(manager, name="Rigde 900"), manager, name=" Ridge  900", year_to=None)
    assert (str(model), model.years(), model.version) == ("Ostrander Ridge 900", "from 2011", 2)
    entry = AuditEntry.objects.filter(kind="vehiclemodel", key=str(model.pk)).order_by("pk").last()
    assert entry.what == ("changed: Ostrander Rigde 900, built 2011 to 2018; now Ostrander Ridge 900, built from 2011")


def test_a_model_may_change_its_own_spelling_but_not_take_the_name_of_another(manager):
    enter(manager, name="Cairn 600")
    model = change(enter(manager), manager, name="RIDGE 900")
    assert model.name == "RIDGE 900"
    with pytest.raises(ValidationError, match="Ostrander Cairn 600 is in the catalogue already, built 2011 to 2018"):
        change(model, manager, name="cairn 600")


@pytest.mark.parametrize(
    ("years", "field", "told"),
    [
        ({"year_from": 2012}, "year_from", "A vehicle of the book would be left outside these years: 2011 of Ines\\."),
        ({"year_to": 2014}, "year_to", "2 vehicles of the book .* 2015 of Ines and 2018 of Noor"),
        ({"year_to": 2010}, "__all__", "The last model year lies before the first"),
    ],
)
def test_years_that_leave_a_vehicle_of_the_book_outside_are_refused_and_name_it(manager, years, field, told):
    model, ines = enter(manager), make.make_customer(name="Ines")
    for year, customer in [(2011, ines), (2015, ines), (2018, make.make_customer(name="Noor"))]:
        make.make_vehicle(model=model, model_year=year, customer=customer)
    with pytest.raises(ValidationError, match=told) as refusal:
        change(model, manager, **years)
    assert list(refusal.value.message_dict) == [field]
    model.refresh_from_db()
    assert (model.year_from, model.year_to, model.version) == (2011, 2018, 1)
    assert change(model, manager, year_from=2010, year_to=2019).years() == "2010 to 2019"


def test_of_two_managers_the_second_is_told_and_overwrites_nothing(manager):
    model = enter(manager)
    change(model, manager, name="Ridge 950")
    with pytest.raises(Conflict, match="Somebody else has changed this"):
        change(model, manager, year_to=2019)
    model.refresh_from_db()
    assert (model.name, model.year_to) == ("Ridge 950", 2018)


def test_the_search_takes_words_of_maker_and_model_and_a_model_year(manager):
    enter(manager)
    enter(manager, maker="Velloway", name="Trace", year_from=2016, year_to=None)
    for text, found in [
        ("ridge", ["Ridge 900"]), ("ostr 900", ["Ridge 900"]), ("2015", ["Ridge 900"]),
        ("2017", ["Ridge 900", "Trace"]), ("2019", ["Trace"]), ("trace 2015", []), ("1969", []),
        ("", ["Ridge 900", "Trace"]),
    ]:  # fmt: skip
        assert [model.name for model in VehicleModel.objects.matching(text)] == found, text


def test_a_vehicle_of_a_model_that_was_removed_meanwhile_is_refused(desk):
    model, customer = make.make_vehicle_model(), make.make_customer()
    VehicleModel.objects.all().delete()
    with pytest.raises(ValidationError, match="was taken out of the catalogue just now") as refusal:
        create_vehicle(customer=customer, model=model, model_year=2015, by=desk, at=NOON)
    assert list(refusal.value.message_dict) == ["model"]


@pytest.mark.django_db(transaction=True)
def test_a_vehicle_entered_while_the_years_are_narrowed_is_not_left_outside(manager, desk):
    customer = make.make_customer()
    for _ in range(5):
        model = make.make_vehicle_model(year_from=2010, year_to=2018)
        entered, narrowed = at_once(
            lambda model=model: create_vehicle(customer=customer, model=model, model_year=2018, by=desk, at=NOON),
            lambda model=model: change(model, manager, year_to=2017),
        )
        refusals = [one for one in (entered, narrowed) if isinstance(one, ValidationError)]
        assert len(refusals) == 1, (entered, narrowed)
        model.refresh_from_db()
        assert all(vehicle.model_year <= model.year_to for vehicle in model.vehicles.all())
