"""Whose a vehicle is: sold, not sold after all, another customer's; by page, API and the customer's link."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.customers.services import mark_sold
from shop.reminders.services import answer_meter, answer_sold
from shop.staff.models import AuditEntry
from shop.workorders.services import pass_on_vehicle
from tests import factories as make
from tests.api.conftest import Caller
from tests.factories import NOON
from tests.racing import at_once
from tests.reminders.makers import make_reminder

pytestmark = pytest.mark.django_db


@pytest.fixture
def vehicle():
    row = make.make_vehicle()
    make.make_damper(row)
    return row


def test_a_vehicle_goes_to_its_new_owner_with_the_dampers_on_it_and_its_orders_stay(client, desk, vehicle):
    before, to = vehicle.customer, make.make_customer(name="Theo Marsh-Lindqvist")
    mark_sold(vehicle=vehicle, on=NOON.date(), by=desk, at=NOON)
    client.force_login(desk)
    url = reverse("desk:vehicle_owner", args=[vehicle.pk])
    found = client.get(url, {"q": "marsh"})
    assert f"?to={to.pk}" in found.content.decode()
    asked = client.get(url, {"to": to.pk})
    assert f"Until now it was {before}" in asked.content.decode()
    answer = client.post(f"{url}?to={to.pk}", {"request_key": "a"})
    assert answer.status_code == 302
    vehicle.refresh_from_db()
    assert (vehicle.customer, vehicle.sold_on) == (to, None)
    assert [damper.customer for damper in vehicle.dampers.all()] == [to]
    assert AuditEntry.objects.filter(kind="customer", key=str(before.pk), what__contains=f"now it is {to}").exists()


def test_a_vehicle_in_a_running_order_keeps_its_owner(desk, vehicle):
    order = make.make_order(by=desk, vehicle=vehicle, dampers=list(vehicle.dampers.all()))
    with pytest.raises(Conflict, match=f"is in {order} for"):
        pass_on_vehicle(vehicle=vehicle, to=make.make_customer(), by=desk, at=NOON)
    vehicle.refresh_from_db()
    assert vehicle.customer == order.customer


def test_a_sale_is_taken_back_with_a_reason(client, desk, vehicle):
    mark_sold(vehicle=vehicle, on=NOON.date(), by=desk, at=NOON)
    client.force_login(desk)
    url = reverse("desk:vehicle_not_sold", args=[vehicle.pk])
    assert client.post(url, {"why": "  "}).status_code == 422
    assert client.post(url, {"why": "the other one was meant"}).status_code == 302
    vehicle.refresh_from_db()
    assert vehicle.sold_on is None
    assert AuditEntry.objects.filter(kind="vehicle", what__contains="not sold after all: the other one").exists()


def test_programs_change_owners_once_per_key(desk, vehicle):
    to = make.make_customer()
    caller = Caller(desk)
    url = f"vehicles/{vehicle.pk}/owner/"
    for _ in range(2):
        answer = caller.send("POST", url, {"to": to.pk}, key="one-key")
        assert answer.status_code == 200, answer.json()
    assert AuditEntry.objects.filter(kind="vehicle", what__contains="the owner was").count() == 1
    assert caller.send("POST", url, {"to": to.pk}).status_code == 400


def test_who_had_the_vehicle_before_answers_nothing_about_it_any_more(desk):
    reminder = make_reminder()
    vehicle = reminder.vehicle
    pass_on_vehicle(vehicle=vehicle, to=make.make_customer(), by=desk, at=NOON)
    reminder = type(reminder).objects.get(pk=reminder.pk)
    answer_sold(reminder=reminder, at=NOON)
    vehicle.refresh_from_db()
    assert vehicle.sold_on is None
    with pytest.raises(ValidationError, match="Another customer has this vehicle now"):
        answer_meter(reminder=reminder, distance=parse("900", "distance", "mi"), at=NOON)
    assert not vehicle.meter_readings.exists()


@pytest.mark.django_db(transaction=True)
def test_an_owner_is_changed_or_an_order_booked_never_both(desk):
    vehicle = make.make_vehicle()
    damper = make.make_damper(vehicle)
    to, before = make.make_customer(), vehicle.customer

    def booking():
        return make.make_order(by=desk, vehicle=vehicle, dampers=[damper])

    outcomes = at_once(booking, lambda: pass_on_vehicle(vehicle=vehicle, to=to, by=desk, at=NOON))
    refused = [one for one in outcomes if isinstance(one, ValidationError)]
    assert len(refused) == 1, outcomes
    vehicle.refresh_from_db()
    assert vehicle.customer == (before if vehicle.orders.exists() else to)
