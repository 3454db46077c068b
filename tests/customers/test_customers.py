from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.customers import services
from shop.customers.models import Consent, Customer, Meter, ReadingSource
from shop.customers.services import NewCustomer, create_customers
from shop.dampers.models import Position
from shop.dampers.services import create_damper, fit_dampers
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


def test_a_form_opened_before_somebody_elses_change_is_refused(desk):
    customer = make.make_customer(name="Ines")
    services.change_customer(customer=customer, version=1, name="Ines C.", by=desk, at=NOON)
    with pytest.raises(Conflict, match="Somebody else has changed this"):
        services.change_customer(customer=customer, version=1, name="Inés", by=desk, at=NOON)
    customer.refresh_from_db()
    assert customer.name == "Ines C."


@pytest.mark.parametrize("year", [2009, 2027])
def test_a_model_year_that_was_never_built_is_refused_with_the_years_that_were(desk, year):
    model = make.make_vehicle_model(name="Ridge 900", year_from=2010, year_to=2026)
    with pytest.raises(ValidationError, match="built 2010 to 2026"):
        services.create_vehicle(customer=make.make_customer(), model=model, model_year=year, by=desk, at=NOON)


def test_the_dampers_of_a_known_model_and_year_are_fitted_once(desk):
    old, new = make.make_damper_model(), make.make_damper_model()
    model = make.make_vehicle_model()
    for position in Position.values:
        make.make_fitment(model, position, old, year_from=2010, year_to=2014)
        make.make_fitment(model, position, new, year_from=2015)
    vehicle = make.make_vehicle(model=model, model_year=2015)
    assert {damper.model for damper in fit_dampers(vehicle=vehicle, by=desk, at=NOON)} == {new}
    assert fit_dampers(vehicle=vehicle, by=desk, at=NOON) == []
    assert vehicle.dampers.count() == 4


def test_a_corner_holds_one_damper(desk):
    damper = make.make_damper(make.make_vehicle(), Position.REAR_LEFT)
    with pytest.raises(ValidationError, match="already has a damper"):
        create_damper(
            customer=damper.customer, vehicle=damper.vehicle, position=Position.REAR_LEFT, model=damper.model,
            model_year=2015, by=desk, at=NOON,
        )  # fmt: skip


def read(vehicle, text, by, on=date(2026, 11, 25), **given):
    meter, quantity = (Meter.HOURS, "time") if text.endswith("h") else (Meter.DISTANCE, "distance")
    return services.record_meter(
        vehicle=vehicle, meter=meter, entered=parse(text, quantity), read_on=on, source=ReadingSource.DESK, by=by,
        at=NOON, **given,
    )  # fmt: skip


def test_a_meter_reading_marks_the_forecast_stale(desk):
    vehicle = make.make_vehicle(forecast_stale=False)
    read(vehicle, "4218 mi", desk)
    vehicle.refresh_from_db()
    assert vehicle.forecast_stale


def test_a_meter_reading_of_tomorrow_is_refused(desk):
    with pytest.raises(ValidationError, match="future"):
        read(make.make_vehicle(), "4218 mi", desk, on=NOON.date() + timedelta(days=1))


def test_a_meter_reading_that_no_meter_shows_is_refused(desk):
    with pytest.raises(ValidationError, match="more than any such meter shows"):
        read(make.make_vehicle(), "999999999 mi", desk)


def test_a_correction_stands_for_the_reading_it_names_and_a_second_one_is_a_conflict(desk):
    vehicle = make.make_vehicle()
    wrong = read(vehicle, "42180 mi", desk)
    right = read(vehicle, "4218 mi", desk, corrects=wrong)
    assert list(vehicle.meter_readings.standing()) == [right]
    with pytest.raises(Conflict, match="corrected this reading already"):
        read(vehicle, "4219 mi", desk, corrects=wrong)


def test_consent_is_kept_with_when_and_how(desk):
    customer = services.record_consent(
        customer=make.make_customer(), wants=True, by=desk, at=NOON, how="at the counter"
    )
    assert (customer.reminder_consent, customer.reminder_consent_at) == (Consent.YES, NOON)
    assert AuditEntry.objects.get(kind="customer").what == "wants reminders (at the counter)"


def test_a_vehicle_is_sold_once(desk):
    vehicle = make.make_vehicle()
    services.mark_sold(vehicle=vehicle, on=date(2026, 11, 20), by=desk, at=NOON)
    services.mark_sold(vehicle=vehicle, on=date(2026, 11, 21), by=desk, at=NOON)
    vehicle.refresh_from_db()
    assert vehicle.sold_on == date(2026, 11, 20)


def test_severe_use_is_noted_and_marks_the_forecast_stale(desk):
    vehicle = make.make_vehicle(forecast_stale=False)
    known = {"model": vehicle.model, "model_year": vehicle.model_year}
    changed = services.change_vehicle(
        vehicle=vehicle, version=vehicle.version, **known, severe_use=True, by=desk, at=NOON
    )
    assert (changed.severe_use, changed.forecast_stale) == (True, True)


def test_many_customers_are_entered_all_or_none_under_the_same_rules(desk):
    new = [
        NewCustomer(" Ines Calloway ", "ines@example.com"),
        NewCustomer("Omar Whitlock", origin="from a.csv, line 3"),
    ]
    first, second = create_customers(new=new, by=desk, at=NOON)
    assert (first.name, first.email, second.created_at) == ("Ines Calloway", "ines@example.com", NOON)
    assert AuditEntry.objects.get(kind="customer", key=str(second.pk)).what == "entered (from a.csv, line 3)"
    for spoilt, field in [(NewCustomer(" "), "name"), (NewCustomer("X", "nobody"), "email")]:
        with pytest.raises(ValidationError) as refused:
            create_customers(new=[NewCustomer("Jo Silent"), spoilt], by=desk, at=NOON)
        assert set(refused.value.message_dict) == {field}
    assert Customer.objects.count() == 2
