"""What the pages about reminders show."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.db.models import QuerySet

from shop.core.clock import local_day
from shop.customers.models import Consent, Meter, MeterReading, ReadingSource, Vehicle
from shop.dampers.models import DamperModel
from shop.reminders.models import Reminder, ReminderStatus, ServiceForecast
from shop.specs.intervals import FoundInterval, interval_for

AHEAD = timedelta(days=28)


def interval_of(vehicle: Vehicle) -> FoundInterval:
    """Which service interval holds for a vehicle, and why."""
    return interval_for(list(DamperModel.objects.filter(dampers__vehicle=vehicle).distinct()), vehicle.model)


def meters_asked(vehicle: Vehicle) -> list[Meter]:
    """The meters a customer is asked for: those its interval or an earlier reading names, else the odometer."""
    read = set(vehicle.meter_readings.order_by().values_list("meter", flat=True).distinct())
    interval = interval_of(vehicle).interval
    if interval and interval.distance_m:
        read.add(Meter.DISTANCE)
    if interval and interval.hours_s:
        read.add(Meter.HOURS)
    return [meter for meter in Meter if meter in read] or [Meter.DISTANCE]


def still_has(reminder: Reminder) -> bool:
    """Whether who got a reminder has the vehicle still: it may be sold, or another customer's by now."""
    return reminder.vehicle.sold_on is None and reminder.vehicle.customer_id == reminder.customer_id


@dataclass(frozen=True)
class CustomersPage:
    """What the page behind a link shows: no more than vehicle model, what this customer answered, and the forecast."""

    reminder: Reminder
    forecast: ServiceForecast | None
    first_name: str
    answered_today: list[MeterReading]

    @property
    def sold(self) -> bool:
        return not still_has(self.reminder)

    @property
    def stopped(self) -> bool:
        return self.reminder.customer.reminder_consent == Consent.NO


def customers_page(reminder: Reminder, now: datetime) -> CustomersPage:
    """The page as it is now. Reads the forecast that is kept and computes none: to look at a page changes nothing."""
    vehicle = reminder.vehicle
    today = vehicle.meter_readings.standing().filter(source=ReadingSource.CUSTOMER, read_on=local_day(now))
    words = reminder.customer.name.split()
    return CustomersPage(reminder, getattr(vehicle, "forecast", None), words[0] if len(words) > 1 else "", list(today))


def coming(today: date) -> QuerySet[ServiceForecast]:
    """Vehicles that the sweep will take within four weeks, by due date; hold says what speaks against a reminder."""
    horizon = today + timedelta(days=settings.REMINDER_LEAD_DAYS) + AHEAD
    rows = ServiceForecast.objects.to_remind(horizon).with_hold().select_related("vehicle__model", "vehicle__customer")
    return rows.order_by("due_on", "pk")


# What the desk's page lists, in the order of how much it wants somebody's hand.
STATES = {
    "failed": ("Could not be sent", [ReminderStatus.FAILED]),
    "waiting": ("Waiting to be sent", [ReminderStatus.QUEUED, ReminderStatus.SENDING]),
    "held": ("Held back", [ReminderStatus.SUPPRESSED]),
    "sent": ("Sent", [ReminderStatus.SENT]),
}


def reminders_in(state: str) -> QuerySet[Reminder]:
    """Reminders of one of STATES, newest first, with all that a row shows."""
    return Reminder.objects.filter(status__in=STATES[state][1]).with_names().order_by("-pk")


def with_answers(reminders) -> list[Reminder]:
    """Reminders as a list, each with .answers: what its customer said since they first answered it, in words."""
    rows = list(reminders)
    answered = [one for one in rows if one.answered_at]
    for one in rows:
        one.answers = []
    if not answered:
        return rows
    readings = MeterReading.objects.standing().filter(
        source=ReadingSource.CUSTOMER, vehicle__in=[one.vehicle_id for one in answered]
    )
    readings = list(readings.order_by("recorded_at", "pk"))
    for one in answered:
        given = [
            str(reading)
            for reading in readings
            if reading.vehicle_id == one.vehicle_id and reading.recorded_at >= one.answered_at
        ]
        if given:
            one.answers.append(f"the meter shows {' and '.join(given)}")
        if one.vehicle.sold_on and one.vehicle.sold_on >= local_day(one.answered_at):
            one.answers.append("the vehicle is sold")
        customer = one.customer
        if customer.reminder_consent == Consent.NO and customer.reminder_consent_at >= one.answered_at:
            one.answers.append("wants no more reminders")
    return rows
