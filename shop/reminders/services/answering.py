"""What a customer answers through the link of a reminder."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.units import Entered
from shop.core.clock import local_day
from shop.customers.meters import doubt
from shop.customers.models import Consent, Meter, ReadingSource, Vehicle
from shop.customers.services import mark_sold, record_consent, record_meter
from shop.reminders.models import Reminder

# Nobody reads a meter more often; a link that is played with stops here.
MOST_READINGS_A_DAY = 5


@transaction.atomic
def answer_meter(
    *,
    reminder: Reminder,
    distance: Entered | None = None,
    hours: Entered | None = None,
    confirmed: bool = False,
    at: datetime,
) -> Reminder:
    """Note what the customer reads off the meters today. The same figure twice on a day is one reading.

    Refusals are ValidationError on distance or hours: "doubtful" asks to confirm, confirmed=True settles it;
    "too_many" says that the day's readings are used up. At least one of the two has to be given.
    """
    given = {meter: entered for meter, entered in ((Meter.DISTANCE, distance), (Meter.HOURS, hours)) if entered}
    if not given:
        raise ValidationError("Type what the meter shows today.", code="required")
    vehicle = Vehicle.objects.select_for_update().get(pk=reminder.vehicle_id)
    if vehicle.customer_id != reminder.customer_id:
        raise ValidationError("Another customer has this vehicle now. Call us if that is a mistake.", code="not_theirs")
    today = local_day(at)
    readings = list(vehicle.meter_readings.standing())
    todays = [one for one in readings if one.source == ReadingSource.CUSTOMER and one.read_on == today]
    for meter, entered in given.items():
        if any(one.meter == meter and one.value_si == entered.si for one in todays):
            continue
        field = meter.value
        if len(todays) >= MOST_READINGS_A_DAY:
            raise _refused(field, f"We had {len(todays)} readings from you today. Call us instead.", "too_many")
        try:
            reading = record_meter(
                vehicle=vehicle,
                meter=meter,
                entered=entered,
                read_on=today,
                source=ReadingSource.CUSTOMER,
                by=None,
                at=at,
            )
        except ValidationError as error:
            raise ValidationError({field: error.messages}) from error
        if not confirmed and (question := doubt(meter, entered, today, readings)):
            raise _refused(field, question, "doubtful")
        todays.append(reading)
    return _answered(reminder, at)


@transaction.atomic
def answer_sold(*, reminder: Reminder, at: datetime) -> Reminder:
    """The customer has the vehicle no more. Twice is as good as once."""
    vehicle = Vehicle.objects.select_for_update().get(pk=reminder.vehicle_id)
    if vehicle.customer_id == reminder.customer_id:  # else it is another customer's by now, who did not say so
        mark_sold(vehicle=vehicle, on=local_day(at), by=None, at=at, how="through the link of a reminder")
    return _answered(reminder, at)


@transaction.atomic
def stop_reminders(*, reminder: Reminder, at: datetime) -> Reminder:
    """The person who got this reminder wants no more, of any vehicle. At once; twice is as good as once."""
    if reminder.customer.reminder_consent != Consent.NO:
        how = "through the link of a reminder"
        reminder.customer = record_consent(customer=reminder.customer, wants=False, by=None, at=at, how=how)
    return _answered(reminder, at)


def _answered(reminder: Reminder, at: datetime) -> Reminder:
    Reminder.objects.filter(pk=reminder.pk, answered_at=None).update(answered_at=at)
    reminder.refresh_from_db(fields=["answered_at"])
    return reminder


def _refused(field: str, words: str, code: str) -> ValidationError:
    return ValidationError({field: ValidationError(words, code=code)})
