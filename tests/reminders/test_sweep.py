"""The nightly sweep: who gets a reminder, who does not and why, and never two in one cycle."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop.customers.models import Consent, Vehicle
from shop.customers.services import change_customer, mark_sold, record_consent
from shop.reminders import services, tasks
from shop.reminders.models import Hold, Reminder, ReminderStatus, ServiceForecast
from shop.workorders.models import OrderStatus
from shop.workorders.services import call_off
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once
from tests.reminders.makers import (
    LEAD,
    TODAY,
    make_due_vehicle,
    make_order_row,
    make_reminder,
    make_service,
    make_willing_customer,
)

pytestmark = pytest.mark.django_db


def sweep(now=NOON):
    return services.sweep(now=now)


def test_a_vehicle_is_reminded_of_so_many_days_before_it_is_due():
    in_time, too_early = make_due_vehicle(TODAY + LEAD), make_due_vehicle(TODAY + LEAD + timedelta(days=1))
    assert sweep().made == 1
    reminder = Reminder.objects.get()
    assert (reminder.vehicle, reminder.customer) == (in_time, in_time.customer)
    assert (reminder.status, reminder.due_on) == (ReminderStatus.QUEUED, TODAY + LEAD)
    assert reminder.to_address == "ines@example.com"
    assert sweep(NOON + timedelta(days=1)).made == 1
    assert Reminder.objects.first().vehicle == too_early


def test_the_day_is_the_shops_own():
    make_due_vehicle(TODAY + LEAD)
    evening_before = datetime(2026, 11, 25, 6, 30, tzinfo=UTC)  # 23:30 on the 24th at the shop
    assert sweep(evening_before).made == 0
    assert sweep(evening_before + timedelta(hours=1)).made == 1


def test_a_vehicle_overdue_for_long_is_not_forgotten():
    make_due_vehicle(TODAY - timedelta(days=200))
    assert sweep().made == 1


def test_a_second_sweep_makes_no_second_reminder():
    make_due_vehicle()
    assert [sweep().made, sweep().made, sweep(NOON + timedelta(days=300)).made] == [1, 0, 0]
    assert Reminder.objects.count() == 1


def test_the_constraint_has_the_last_word_where_the_mark_is_lost():
    make_due_vehicle()
    sweep()
    ServiceForecast.objects.update(awaits_reminder=True)
    sweep()
    assert Reminder.objects.count() == 1
    assert not ServiceForecast.objects.get().awaits_reminder


@pytest.mark.django_db(transaction=True)
def test_sweeps_at_the_same_moment_make_one_reminder_a_vehicle():
    for _ in range(30):
        make_due_vehicle()
    outcomes = at_once(*[sweep] * 3)
    assert sum(one.made for one in outcomes) == 30, outcomes
    assert Reminder.objects.count() == 30
    assert set(Reminder.objects.values_list("status", flat=True)) == {ReminderStatus.QUEUED}


def test_the_next_service_begins_a_new_cycle_with_its_own_reminder():
    vehicle = make_due_vehicle()
    sweep()
    make_service(vehicle, TODAY)
    vehicle.forecast_stale = True
    vehicle.save()
    assert sweep().made == 0
    assert sweep(NOON + timedelta(days=365)).made == 1
    assert Reminder.objects.filter(vehicle=vehicle).count() == 2


@pytest.mark.parametrize("serviced", [False, True])
def test_another_time_zone_makes_no_second_reminder_about_the_same_service(settings, serviced):
    late = datetime(2025, 11, 25, 5, tzinfo=UTC)  # 22:00 on the 24th in Denver, the 25th in most of the world
    vehicle = make.make_vehicle(customer=make_willing_customer(), created_at=late - timedelta(days=500 * serviced))
    if serviced:
        make_order_row(vehicle, OrderStatus.HANDED_BACK, closed_at=late, checked_in_at=late, handed_back_at=late)
    assert sweep().made == 1
    before = ServiceForecast.objects.get()
    settings.TIME_ZONE = "Pacific/Auckland"
    Vehicle.objects.update(forecast_stale=True)
    assert sweep().made == 0
    after = ServiceForecast.objects.get()
    assert (before.cycle, after.cycle) == (date(2025, 11, 24), date(2025, 11, 25))
    assert after.awaits_reminder is False
    services.send_due_reminders(now=NOON)
    assert Reminder.objects.get().status == ReminderStatus.SENT


def test_the_task_sweeps_by_the_clock_of_now():
    make_due_vehicle(timezone.localdate() + LEAD)
    tasks.sweep()
    assert Reminder.objects.count() == 1


# --- held back ------------------------------------------------------------------------------------------------------


def opted_out(vehicle):
    record_consent(customer=vehicle.customer, wants=False, by=None, at=NOON, how="at the desk")


def not_asked(vehicle):
    type(vehicle.customer).objects.filter(pk=vehicle.customer_id).update(reminder_consent=Consent.NOT_ASKED)


def sold(vehicle):
    mark_sold(vehicle=vehicle, on=TODAY, by=None, at=NOON)


def booked(vehicle):
    make_order_row(vehicle, OrderStatus.BOOKED)


def in_the_shop(vehicle):
    make_order_row(vehicle, OrderStatus.ON_BENCH)


def without_address(vehicle):
    type(vehicle.customer).objects.filter(pk=vehicle.customer_id).update(email="")


REASONS = [
    (opted_out, Hold.OPTED_OUT),
    (not_asked, Hold.NOT_ASKED),
    (sold, Hold.SOLD),
    (booked, Hold.BOOKED),
    (in_the_shop, Hold.BOOKED),
    (without_address, Hold.NO_ADDRESS),
]


@pytest.mark.parametrize(("happens", "hold"), REASONS)
def test_a_reminder_is_held_back_and_says_why(happens, hold):
    vehicle = make_due_vehicle()
    happens(vehicle)
    sweep()
    reminder = Reminder.objects.get()
    assert (reminder.status, reminder.held_by, reminder.why()) == (ReminderStatus.SUPPRESSED, hold, hold.label)


def test_orders_that_are_over_hold_nothing_back():
    vehicle = make_due_vehicle()
    make_order_row(vehicle, OrderStatus.CALLED_OFF, called_off_why="no time")
    sweep()
    assert Reminder.objects.get().status == ReminderStatus.QUEUED


def test_an_address_added_later_lets_the_reminder_go(desk):
    reminder = make_reminder(customer=make_willing_customer(email=""))
    assert reminder.held_by == Hold.NO_ADDRESS
    customer = reminder.customer
    change_customer(
        customer=customer, version=customer.version, name=customer.name, email="ines@example.org", by=desk, at=NOON
    )  # fmt: skip
    assert sweep(NOON + timedelta(days=1)).released == 1
    reminder.refresh_from_db()
    assert (reminder.status, reminder.held_by) == (ReminderStatus.QUEUED, "")
    assert sweep(NOON + timedelta(days=2)).released == 0


def test_an_order_called_off_lets_the_reminder_go(desk):
    vehicle = make_due_vehicle()
    order = make.make_order(by=desk, dampers=[make.make_damper(vehicle)])
    sweep()
    assert Reminder.objects.get().held_by == Hold.BOOKED
    call_off(order=order, why="no time this month", by=desk, at=NOON)
    sweep()
    assert Reminder.objects.get().status == ReminderStatus.QUEUED


def test_another_reason_takes_the_place_of_one_that_ended():
    reminder = make_reminder(customer=make_willing_customer(reminder_consent=Consent.NOT_ASKED))
    opted_out(reminder.vehicle)
    sweep()
    reminder.refresh_from_db()
    assert (reminder.status, reminder.held_by) == (ReminderStatus.SUPPRESSED, Hold.OPTED_OUT)


def test_a_reminder_held_back_in_an_earlier_cycle_stays_so():
    vehicle = make_due_vehicle()
    order = make_order_row(vehicle, OrderStatus.BOOKED)
    sweep()
    order.delete()
    make_service(vehicle, TODAY)
    vehicle.forecast_stale = True
    vehicle.save()
    assert sweep().released == 0
    assert Reminder.objects.get().held_by == Hold.BOOKED


def test_what_failed_on_its_address_is_tried_on_the_new_one():
    reminder = make_reminder()
    Reminder.objects.update(status=ReminderStatus.FAILED, error="The mail server answered 550 no such user")
    assert sweep().released == 0
    reminder.customer.email = "ines@example.org"
    reminder.customer.save()
    assert sweep().released == 1
    reminder.refresh_from_db()
    assert (reminder.status, reminder.error) == (ReminderStatus.QUEUED, "")


# --- what the database refuses --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "wrong",
    [
        {"status": "lost"},
        {"status": ReminderStatus.SUPPRESSED},
        {"held_by": Hold.SOLD},
        {"status": ReminderStatus.SUPPRESSED, "held_by": "whim"},
        {"status": ReminderStatus.FAILED},
        {"status": ReminderStatus.SENDING},
        {"status": ReminderStatus.SENT},
        {"status": ReminderStatus.SENT, "sent_at": NOON, "to_address": ""},
    ],
)
def test_the_database_refuses_a_reminder_without_the_words_of_its_status(wrong):
    make_reminder()
    with pytest.raises(IntegrityError), transaction.atomic():
        Reminder.objects.update(**wrong)


def test_a_second_reminder_in_a_cycle_is_refused():
    reminder = make_reminder()
    reminder.pk, reminder.message_id = None, "<other@example.com>"
    with pytest.raises(IntegrityError), transaction.atomic():
        reminder.save(force_insert=True)


def test_message_ids_are_never_the_same():
    first, second = make_reminder(), make_reminder()
    assert first.message_id != second.message_id
    with pytest.raises(IntegrityError), transaction.atomic():
        Reminder.objects.filter(pk=first.pk).update(message_id=second.message_id)


def test_the_sweep_takes_the_same_number_of_queries_for_more_vehicles():
    model = make.make_vehicle_model()

    def queries_for(count):
        for _ in range(count):
            make_due_vehicle(TODAY + LEAD, model=model)
        with CaptureQueriesContext(connection) as queries:
            assert sweep().made == count
        return len(queries)

    assert queries_for(2) == queries_for(40)


def test_a_leap_day_in_the_book_is_due_on_the_last_of_february():
    """CAL-007 of calendar.csv."""
    make.make_vehicle(customer=make_willing_customer(), created_at=datetime(2024, 2, 29, 19, tzinfo=UTC))
    sweep(datetime(2025, 2, 28, 19, tzinfo=UTC) - LEAD)
    assert Reminder.objects.get().due_on == date(2025, 2, 28)
