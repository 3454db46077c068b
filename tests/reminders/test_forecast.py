"""When service is due: first of date, distance and engine hours since the last service, and why, in words.

Expected days are worked out here by hand. Rate of use: Sen (1968), as tests/calc/test_usage.py checks against
tests/reference/usage_forecast.csv; month ends: rows of tests/reference/calendar.csv (proleptic Gregorian calendar).
1500 miles or 12 months, the default interval: common practice, no source.
"""

import threading
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from shop.calc.units import parse
from shop.customers.models import Meter, MeterReading, ReadingSource, Vehicle
from shop.customers.services import record_meter
from shop.reminders.models import Rule, ServiceForecast
from shop.reminders.services import forecast_of, refresh_stale
from shop.specs.models import ServiceInterval
from shop.workorders.models import OrderStatus
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once
from tests.reminders.makers import TODAY, at_noon, make_interval, make_order_row, make_service

pytestmark = pytest.mark.django_db


def forecast(vehicle, now=NOON):
    Vehicle.objects.filter(pk=vehicle.pk).update(forecast_stale=True)  # rows of these tests are made past the services
    return forecast_of(vehicle=vehicle, now=now)


def read(vehicle, *readings):
    for on, miles in readings:
        make.make_meter_reading(vehicle, miles=miles, on=on)


def every(days, start, first, step, times):
    """Readings of a steady use: times readings, step more every so many days."""
    return [(start + timedelta(days=days * n), first + step * n) for n in range(times)]


def test_without_a_service_it_counts_from_the_day_the_vehicle_came_into_the_book():
    vehicle = make.make_vehicle(created_at=at_noon(date(2026, 3, 5)))
    found = forecast(vehicle)
    assert (found.cycle, found.due_on, found.decided_by) == (date(2026, 3, 5), date(2027, 3, 5), Rule.DATE)
    assert "12 months after it came into our book on 5 March 2026" in found.reason
    assert found.last_service is None


@pytest.mark.parametrize(
    ("start", "months", "due"),
    [
        (date(2024, 2, 29), 12, date(2025, 2, 28)),  # CAL-007
        (date(2026, 8, 31), 6, date(2027, 2, 28)),  # CAL-014
        (date(2026, 10, 31), 4, date(2027, 2, 28)),  # CAL-015
        (date(2026, 12, 31), 12, date(2027, 12, 31)),  # CAL-018
    ],
)
def test_months_end_on_the_last_day_of_a_shorter_month(start, months, due):
    vehicle = make.make_vehicle(created_at=at_noon(start))
    make_interval(vehicle.model, months=months)
    assert forecast(vehicle).due_on == due


def test_the_cycle_begins_on_the_shops_calendar_day_of_the_last_service():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2025, 6, 1))
    last = make_order_row(vehicle, OrderStatus.READY, closed_at=datetime(2026, 12, 1, 3, 0, tzinfo=UTC))  # 20:00 before
    make_order_row(vehicle, OrderStatus.CALLED_OFF, closed_at=at_noon(date(2026, 12, 20)), called_off_why="sold")
    found = forecast(vehicle)
    assert (found.cycle, found.due_on, found.last_service) == (date(2026, 11, 30), date(2027, 11, 30), last)
    assert "12 months after the service of 30 November 2026" in found.reason


def test_distance_comes_first_when_the_vehicle_is_used_much():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 1, 1))
    read(vehicle, *every(30, date(2026, 1, 1), 5000, 300, 4))  # 10 mi a day
    found = forecast(vehicle)
    # 5900 mi on 1 April; 6500 mi are reached 60 days later.
    assert (found.due_on, found.decided_by) == (date(2026, 5, 31), Rule.DISTANCE)
    assert (found.by_distance_on, found.by_date_on, found.by_hours_on) == (date(2026, 5, 31), date(2027, 1, 1), None)
    assert found.reason == (
        "About 300 mi a month from 4 readings: due about 31 May 2026, or at the latest 1 January 2027 by date."
    )


def test_a_wavering_rate_gives_a_range_and_the_date_its_end():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 1, 1))
    days = [date(2026, 1, 1), date(2026, 2, 1), date(2026, 3, 1), date(2026, 4, 1), date(2026, 5, 1)]
    read(vehicle, *zip(days, [5000, 5110, 5400, 5500, 5980], strict=True))
    found = forecast(vehicle)
    assert found.decided_by == Rule.DISTANCE
    assert date(2026, 5, 1) < found.due_early < found.due_on < found.due_late <= found.by_date_on
    assert f"between {found.due_early.day}" in found.reason


def test_the_date_comes_first_when_it_is_used_little():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 1, 1))
    read(vehicle, *every(50, date(2026, 1, 1), 5000, 50, 3))  # 1 mi a day: 1500 mi take until February 2030
    found = forecast(vehicle)
    assert (found.due_on, found.decided_by, found.due_late) == (date(2027, 1, 1), Rule.DATE, date(2027, 1, 1))
    assert found.by_distance_on == date(2026, 1, 1) + timedelta(days=1500)
    assert "At about 30 mi a month from 3 readings the 1500 mi come later, about 9 February 2030." in found.reason


def test_engine_hours_count_where_the_interval_names_them():
    vehicle = make.make_vehicle()
    make_interval(vehicle.model, months=24, miles=3000, hours=50)
    make_service(vehicle, date(2026, 1, 1))
    for n in range(4):
        make.make_meter_reading(vehicle, hours=100 + 8 * n, on=date(2026, 1, 1) + timedelta(days=20 * n))
    found = forecast(vehicle)
    # 0.4 h a day; 124 h on 2 March; 150 h are reached 65 days later.
    assert (found.due_on, found.decided_by) == (date(2026, 5, 6), Rule.HOURS)
    assert found.reason.startswith("About 12 h a month from 4 readings: due about 6 May 2026")


def test_without_readings_the_date_alone_counts():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 1, 1))
    found = forecast(vehicle)
    assert (found.due_on, found.by_distance_on) == (date(2027, 1, 1), None)
    assert found.reason == (
        "12 months after the service of 1 January 2026. There are too few readings of the odometer to tell how much it "
        "is used. So far the date alone counts."
    )
    read(vehicle, (date(2026, 1, 1), 655))
    assert forecast(vehicle).reason == (
        "12 months after the service of 1 January 2026. There is only one reading of the odometer: a second one tells "
        "how much it is used. So far the date alone counts."
    )


def test_an_interval_by_date_alone_says_nothing_of_meters():
    vehicle = make.make_vehicle()
    make_interval(vehicle.model, months=12)
    make_service(vehicle, date(2026, 1, 1))
    assert forecast(vehicle).reason == "12 months after the service of 1 January 2026."


def test_a_meter_that_stands_still_leaves_the_date():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 1, 1))
    read(vehicle, (date(2026, 1, 1), 655), (date(2026, 6, 1), 655), (date(2026, 10, 1), 655))
    found = forecast(vehicle)
    assert (found.due_on, found.decided_by, found.by_distance_on) == (date(2027, 1, 1), Rule.DATE, None)
    assert "The odometer has hardly moved over the last 3 readings." in found.reason


def test_after_a_swapped_meter_the_new_one_counts_alone():
    """The rate is row USE-009 of usage_forecast.csv: 0.4675 a day on the new meter."""
    vehicle = make.make_vehicle()
    make_interval(vehicle.model, months=12, miles=100)
    make_service(vehicle, date(2026, 2, 1))
    read(vehicle, (date(2025, 10, 1), 610), (date(2025, 12, 1), 640))
    read(vehicle, (date(2026, 2, 1), 12), (date(2026, 4, 1), 39.7), (date(2026, 6, 1), 68.1))
    found = forecast(vehicle)
    # 112 on the new meter: (112 - 68.1) / 0.4675 = 93.9, so 94 days after 1 June.
    assert (found.due_on, found.decided_by) == (date(2026, 9, 3), Rule.DISTANCE)
    assert "it was swapped, it seems" in found.notes


def test_a_typing_error_is_left_out_and_told_to_the_desk():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 1, 1))
    steady = every(30, date(2026, 1, 1), 5000, 300, 4)
    read(vehicle, *steady, (date(2026, 2, 15), 54500))
    found = forecast(vehicle)
    assert found.due_on == date(2026, 5, 31)
    assert "54500" in found.notes
    assert "54500" not in found.reason


def test_a_corrected_reading_counts_as_corrected():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 1, 1))
    read(vehicle, (date(2026, 1, 1), 5000))
    wrong = make.make_meter_reading(vehicle, miles=5100, on=date(2026, 4, 11))
    make.make_meter_reading(vehicle, miles=6000, on=date(2026, 4, 11), corrects=wrong)
    # 10 mi a day by the corrected one: 6500 mi fifty days later.
    assert forecast(vehicle).due_on == date(2026, 5, 31)


def test_the_meter_at_a_service_without_a_reading_is_reckoned_between_its_neighbours():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 3, 2))
    read(vehicle, (date(2026, 1, 1), 5000), (date(2026, 5, 1), 6200))  # 10 mi a day, 5600 at the service
    assert forecast(vehicle).due_on == date(2026, 5, 1) + timedelta(days=90)


def test_the_reading_at_check_in_counts_however_long_the_vehicle_stood_in_the_shop():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 3, 22), checked_in_on=date(2026, 3, 2))
    read(vehicle, (date(2026, 1, 1), 5000), (date(2026, 3, 2), 5600), (date(2026, 5, 1), 6200))
    assert forecast(vehicle).due_on == date(2026, 5, 1) + timedelta(days=90)


def test_a_distance_already_driven_is_due_since_that_reading():
    vehicle = make.make_vehicle()
    make_service(vehicle, date(2026, 1, 1))
    read(vehicle, (date(2026, 1, 1), 5000), (date(2026, 10, 1), 6720))
    found = forecast(vehicle)
    assert (found.due_on, found.due_early, found.due_late) == (date(2026, 10, 1),) * 3
    assert found.reason == (
        "Service is due every 1500 mi. By the reading of 1 October 2026 it is about 1700 mi since the service of "
        "1 January 2026."
    )


def test_without_any_interval_there_is_no_date_and_a_sentence_says_so():
    ServiceInterval.objects.all().delete()
    found = forecast(make.make_vehicle())
    assert (found.due_on, found.decided_by) == (None, "")
    assert "No service interval is known" in found.reason


def test_an_interval_by_distance_alone_waits_for_readings():
    vehicle = make.make_vehicle()
    make_interval(vehicle.model, miles=1500)
    make_service(vehicle, date(2026, 1, 1))
    found = forecast(vehicle)
    assert found.due_on is None
    assert "too few readings" in found.reason
    read(vehicle, (date(2026, 1, 1), 5000), (date(2026, 2, 10), 5400))
    assert forecast(vehicle).due_on == date(2026, 2, 10) + timedelta(days=110)


# --- kept and computed anew -----------------------------------------------------------------------------------------


def note(vehicle, miles, on=TODAY, at=NOON):
    entered = parse(f"{miles} mi", "distance")
    return record_meter(
        vehicle=vehicle, meter=Meter.DISTANCE, entered=entered, read_on=on, source=ReadingSource.DESK, by=None, at=at
    )  # fmt: skip


def test_an_event_makes_the_forecast_stale_and_asking_for_it_computes_it_anew():
    vehicle = make.make_vehicle(created_at=at_noon(date(2026, 1, 1)))
    assert forecast_of(vehicle=vehicle, now=NOON).decided_by == Rule.DATE
    note(vehicle, 5000, on=date(2026, 1, 1))
    note(vehicle, 6000, on=date(2026, 4, 11))
    assert forecast_of(vehicle=vehicle, now=NOON).due_on == date(2026, 5, 31)
    vehicle.refresh_from_db()
    assert not vehicle.forecast_stale


def test_a_forecast_that_was_thrown_away_comes_back():
    vehicle = make.make_vehicle()
    forecast_of(vehicle=vehicle, now=NOON)
    ServiceForecast.objects.all().delete()
    assert forecast_of(vehicle=vehicle, now=NOON).due_on


def test_the_refresh_takes_every_stale_one_and_no_other():
    vehicles = [make.make_vehicle() for _ in range(3)]
    assert refresh_stale(now=NOON) == 3
    note(vehicles[1], 5000)
    assert refresh_stale(now=NOON + timedelta(hours=1)) == 1
    fresh = ServiceForecast.objects.filter(computed_at=NOON + timedelta(hours=1))
    assert [one.vehicle for one in fresh] == [vehicles[1]]


def test_what_is_kept_equals_what_is_computed_from_scratch():
    vehicles = [make.make_vehicle() for _ in range(3)]
    for n, vehicle in enumerate(vehicles):
        make_service(vehicle, date(2026, 1, 1 + n))
        forecast_of(vehicle=vehicle, now=NOON)
        for miles, on in [(5000, date(2026, 2, 1)), (5000 + 900 * n, date(2026, 4, 1)), (7000, date(2026, 6, 1))]:
            note(vehicle, miles, on=on)
            forecast_of(vehicle=vehicle, now=NOON)
    kept = list(ServiceForecast.objects.order_by("vehicle").values())
    ServiceForecast.objects.all().delete()
    Vehicle.objects.update(forecast_stale=True)
    refresh_stale(now=NOON + timedelta(days=1))
    again = list(ServiceForecast.objects.order_by("vehicle").values())
    for one in kept + again:
        del one["id"], one["computed_at"]
    assert again == kept


def test_the_refresh_takes_the_same_number_of_queries_for_more_vehicles():
    damper_model = make.make_damper_model()
    model = make.make_vehicle_model()

    def stale(count):
        for _ in range(count):
            vehicle = make.make_vehicle(model=model)
            make.make_damper(vehicle, model=damper_model)
            make.make_meter_reading(vehicle, miles=5000)
            make_service(vehicle, date(2026, 1, 1))

    def count_queries():
        with CaptureQueriesContext(connection) as queries:
            refresh_stale(now=NOON)
        return len(queries)

    stale(2)
    few = count_queries()
    stale(20)
    assert count_queries() == few


@pytest.mark.django_db(transaction=True)
def test_a_reading_that_comes_while_the_forecast_is_computed_is_not_lost():
    vehicle = make.make_vehicle()
    note(vehicle, 5000, on=date(2026, 1, 1))
    computed, go_on = threading.Event(), threading.Event()

    def refresh():
        with transaction.atomic():
            refresh_stale(now=NOON)
            computed.set()
            go_on.wait(1)  # the other one waits for our lock meanwhile
        return "refreshed"

    def write():
        computed.wait(30)
        note(vehicle, 6000, on=date(2026, 4, 11))
        return "noted"

    assert at_once(refresh, write) == ["refreshed", "noted"]
    vehicle.refresh_from_db()
    assert vehicle.forecast_stale
    assert forecast_of(vehicle=vehicle, now=NOON).by_distance_on


@pytest.mark.django_db(transaction=True)
def test_two_refreshes_at_once_leave_one_forecast_a_vehicle_and_none_stale():
    vehicles = [make.make_vehicle() for _ in range(30)]
    outcomes = at_once(*[lambda: refresh_stale(now=NOON)] * 3)
    assert all(isinstance(one, int) for one in outcomes), outcomes
    assert ServiceForecast.objects.count() == len(vehicles)
    assert not Vehicle.objects.filter(forecast_stale=True).exists()


@pytest.mark.parametrize(
    "wrong",
    [
        {"decided_by": "moon"},
        {"due_on": None},
        {"decided_by": ""},
        {"due_early": date(2028, 1, 1)},
        {"due_late": date(2020, 1, 1)},
    ],
)
def test_the_database_refuses_a_forecast_that_contradicts_itself(wrong):
    found = forecast(make.make_vehicle())
    with pytest.raises(IntegrityError), transaction.atomic():
        ServiceForecast.objects.filter(pk=found.pk).update(**wrong)


def test_a_vehicle_has_one_forecast():
    found = forecast(make.make_vehicle())
    found.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        found.save(force_insert=True)


def test_readings_are_never_touched_by_a_forecast():
    vehicle = make.make_vehicle()
    read(vehicle, (date(2026, 1, 1), 5000), (date(2026, 2, 1), 12), (date(2026, 3, 1), 99999))
    before = list(MeterReading.objects.values())
    forecast(vehicle)
    assert list(MeterReading.objects.values()) == before


# --- severe use -------------------------------------------------------------------------------------------------------


def test_severe_use_halves_date_and_distance_and_says_so():
    """Half the interval for mud, dunes, racing or hauling: common practice, no source."""
    vehicle = make.make_vehicle(severe_use=True)
    interval = make_interval(vehicle.model, months=12, miles=1500)
    ServiceInterval.objects.filter(pk=interval.pk).update(severe_factor=0.5)
    make_service(vehicle, date(2026, 1, 1))
    read(vehicle, *every(30, date(2026, 1, 1), 5000, 300, 3))  # 10 mi a day: 750 mi are reached 75 days later
    found = forecast(vehicle)
    assert (found.due_on, found.decided_by) == (date(2026, 3, 17), Rule.DISTANCE)
    assert found.by_date_on == date(2026, 7, 1)
    assert found.reason.endswith("Severe use: half the interval, 6 months instead of 12 and 750 mi instead of 1500.")


@pytest.mark.parametrize(
    ("factor", "months", "due", "words"),
    [
        (0.5, 7, date(2026, 4, 1), "half the interval, 3 months instead of 7."),
        (0.3, 1, date(2026, 2, 1), "names none shorter for it, so it stays as it is."),
        (0.6, 2, date(2026, 2, 1), "0.6 of the interval, 1 month instead of 2."),
        (1, 12, date(2027, 1, 1), "names none shorter for it, so it stays as it is."),
    ],
)
def test_severe_use_leaves_whole_months_at_least_one(factor, months, due, words):
    vehicle = make.make_vehicle(severe_use=True, created_at=at_noon(date(2026, 1, 1)))
    interval = make_interval(vehicle.model, months=months)
    ServiceInterval.objects.filter(pk=interval.pk).update(severe_factor=factor)
    found = forecast(vehicle)
    assert found.due_on == due
    assert found.reason.endswith(words)


def test_usual_use_takes_no_notice_of_the_factor():
    vehicle = make.make_vehicle(created_at=at_noon(date(2026, 1, 1)))
    interval = make_interval(vehicle.model, months=12)
    ServiceInterval.objects.filter(pk=interval.pk).update(severe_factor=0.5)
    found = forecast(vehicle)
    assert found.due_on == date(2027, 1, 1)
    assert "Severe" not in found.reason
