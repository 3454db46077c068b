"""Which service interval holds, and why; one that is set or removed makes the forecasts that rest on it stale.

1500 miles or 12 months, whichever comes first: common practice, no source. So is the factor of 0.5 for severe use.
"""

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.errors import OutOfRange
from shop.calc.intervals import shortened
from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.customers.models import Vehicle
from shop.specs.intervals import as_seen, interval_for, limits
from shop.specs.models import ServiceInterval
from shop.specs.services import remove_interval, set_interval
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import MILE, NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db


def put(by, **given):
    return set_interval(**{"months": 6, "source": "the shop's own"} | given, by=by, at=NOON)


def test_without_any_other_1500_miles_or_12_months_hold():
    found = interval_for([make.make_damper_model()], make.make_vehicle_model())
    assert (found.interval.months, found.interval.distance_m) == (12, pytest.approx(1500 * MILE))
    assert found.rule == (
        "Neither the vehicle model nor a damper model has one of its own, so the shop's default holds."
    )


def test_the_vehicle_models_own_goes_first_then_the_shortest_of_its_damper_models(manager):
    vehicle, front, rear = make.make_vehicle_model(), make.make_damper_model(), make.make_damper_model()
    put(manager, damper_model=front, months=10)
    put(manager, damper_model=rear, months=8)
    found = interval_for([front, rear], vehicle)
    assert found.interval.months == 8
    assert (
        found.rule == f"The vehicle model has none of its own, so the shortest among its damper models' holds: {rear}."
    )
    own = put(manager, vehicle_model=vehicle, months=24)
    found = interval_for([front, rear], vehicle)
    assert (found.interval, found.rule) == (
        own,
        f"The interval of the vehicle model, {vehicle}, goes before any other.",
    )
    assert interval_for([rear]).rule == "Its own holds, except on vehicle models that have one of theirs."
    other = make.make_damper_model()
    assert interval_for([other]).rule.startswith("It has none of its own, so the shop's default holds")
    for interval in list(ServiceInterval.objects.all()):
        remove_interval(interval=interval, by=manager, at=NOON)
    assert interval_for([front, rear], vehicle).rule == "No interval holds: the shop has no default."


def test_an_interval_makes_stale_the_forecasts_that_rest_on_it_set_or_removed(manager):
    by_model, by_damper, plain = (make.make_vehicle(forecast_stale=False) for _ in range(3))
    damper = make.make_damper(by_damper)
    put(manager, vehicle_model=by_model.model)

    def stale(act):
        Vehicle.objects.update(forecast_stale=False)
        act()
        return set(Vehicle.objects.filter(forecast_stale=True))

    assert stale(lambda: put(manager, vehicle_model=by_model.model, months=8)) == {by_model}
    assert stale(lambda: put(manager, damper_model=damper.model)) == {by_damper}
    assert stale(lambda: put(manager)) == {by_damper, plain}  # a vehicle model's own goes before the default anyway
    for models, vehicles in [
        ({"vehicle_model": by_model.model}, {by_model}),
        ({"damper_model": damper.model}, {by_damper}),
        ({}, {by_model, by_damper, plain}),
    ]:
        interval = ServiceInterval.objects.get(**{"vehicle_model": None, "damper_model": None} | models)
        for expected in (vehicles, set()):  # twice is as good as once
            assert stale(lambda one=interval: remove_interval(interval=one, by=manager, at=NOON)) == expected


def test_the_history_of_each_tells_what_was_set_and_removed(manager):
    vehicle = make.make_vehicle_model()
    made = put(manager, vehicle_model=vehicle, distance=parse("800 mi", "distance"), severe_factor=0.5)
    remove_interval(interval=made, by=manager, at=NOON)
    put(manager)
    said = "6 months or 800 mi"
    assert list(AuditEntry.objects.order_by("pk").values_list("kind", "key", "what")) == [
        ("vehiclemodel", str(vehicle.pk), f"service interval: {said}, in severe use 0.5 of it (the shop's own)"),
        ("vehiclemodel", str(vehicle.pk), "service interval removed (the shop's own)"),
        ("interval", "default", "service interval: 6 months (the shop's own)"),
    ]  # fmt: skip


def test_of_two_managers_the_second_is_told_what_the_first_one_wrote(manager):
    model = make.make_damper_model()
    put(manager, damper_model=model, seen="")
    with pytest.raises(Conflict, match="Somebody else has changed this interval"):
        put(manager, damper_model=model, months=9, seen="")
    interval = ServiceInterval.objects.get(damper_model=model)
    seen = as_seen(interval)
    put(manager, damper_model=model, months=9, seen=seen)
    with pytest.raises(Conflict):
        remove_interval(interval=interval, seen=seen, by=manager, at=NOON)
    interval.refresh_from_db()
    assert interval.months == 9


@pytest.mark.django_db(transaction=True)
def test_of_two_who_enter_the_first_default_at_once_one_is_told():
    ServiceInterval.objects.all().delete()
    managers = make.make_user(), make.make_user()
    outcomes = at_once(*[lambda by=by: put(by, seen="") for by in managers])
    assert ServiceInterval.objects.count() == 1
    assert sum(isinstance(one, ValidationError) for one in outcomes) == 1


@pytest.mark.parametrize("factor", [0, -0.5, 1.01, float("nan"), float("inf")])
def test_a_factor_that_lengthens_or_takes_all_is_refused(manager, factor):
    with pytest.raises(ValidationError, match="Give more than 0 and at most 1") as refusal:
        put(manager, severe_factor=factor)
    assert set(refusal.value.message_dict) == {"severe_factor"}


def test_severe_use_leaves_the_factor_of_each_limit():
    interval = ServiceInterval(months=12, distance_m=1500 * MILE, hours_s=None, severe_factor=0.5)
    left = limits(interval, True)
    assert (left.months, left.distance_m, left.hours_s) == (6, pytest.approx(750 * MILE), None)
    assert limits(interval, False).months == 12


@pytest.mark.parametrize(
    ("months", "factor", "left"),
    [(12, 0.5, 6), (12, 1, 12), (7, 0.5, 3), (1, 0.5, 1), (3, 0.1, 1), (100, 0.29, 29), (10, 0.7, 7)],
)
def test_whole_months_are_left_rounded_down_and_at_least_one(months, factor, left):
    assert shortened(months, factor) == left


@given(st.integers(1, 240), st.integers(1, 100))
def test_a_percentage_of_months_is_what_whole_numbers_say(months, percent):
    assert shortened(months, percent / 100) == max(1, months * percent // 100)


@pytest.mark.parametrize(("months", "factor"), [(0, 0.5), (1.5, 0.5), (True, 0.5), (12, 0), (12, 1.1)])
def test_nonsense_is_out_of_range(months, factor):
    with pytest.raises(OutOfRange):
        shortened(months, factor)
