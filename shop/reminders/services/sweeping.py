"""The nightly sweep: a reminder for every vehicle that falls due, and a second look at those that were held back."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.db.models import F

from shop.core.clock import local_day
from shop.reminders.mail import message_id_for
from shop.reminders.models import Hold, Reminder, ReminderStatus, ServiceForecast
from shop.reminders.services.forecasting import refresh_stale

BATCH = 100


@dataclass(frozen=True)
class Swept:
    """What a sweep did: forecasts computed anew, reminders made, and reminders that may go now or again."""

    refreshed: int
    made: int
    released: int


def sweep(*, now: datetime) -> Swept:
    """Make the reminders that are due by the shop's calendar. Again, or twice at a time, makes no second one.

    Every batch is a transaction: a sweep that is killed leaves whole batches, and the next one finds the rest.
    """
    return Swept(refresh_stale(now=now), _make(now), _look_again(now))


def last_day(now: datetime) -> date:
    """A service due on or before this day is one to remind of."""
    return local_day(now) + timedelta(days=settings.REMINDER_LEAD_DAYS)


def _make(now: datetime) -> int:
    due = ServiceForecast.objects.to_remind(last_day(now))
    made = 0
    for pks in _batches(due):
        made += _make_batch(due.filter(pk__in=pks), now, skip_locked=True)
    # Forecasts that were in somebody's hands: waited for one at a time, so that nobody waits for us in a circle.
    for pk in list(due.values_list("pk", flat=True)):
        made += _make_batch(due.filter(pk=pk), now)
    return made


@transaction.atomic
def _make_batch(due, now: datetime, **how) -> int:
    due = due.select_for_update(of=("self",), **how).with_hold()
    forecasts = list(due.select_related("vehicle__customer").order_by("pk"))
    # Asked under the forecasts' locks, for a forecast that was computed anew meanwhile awaits a reminder once more.
    there = Reminder.objects.filter(vehicle__in=[one.vehicle_id for one in forecasts])
    known = set(there.values_list("vehicle", "cycle_key"))
    new = [_reminder(one, now) for one in forecasts if (one.vehicle_id, one.cycle_key) not in known]
    # The constraint has the last word all the same.
    Reminder.objects.bulk_create(new, ignore_conflicts=True)
    ServiceForecast.objects.filter(pk__in=[one.pk for one in forecasts]).update(awaits_reminder=False)
    return len(new)


def _reminder(forecast: ServiceForecast, now: datetime) -> Reminder:
    vehicle = forecast.vehicle
    return Reminder(
        vehicle=vehicle,
        cycle_key=forecast.cycle_key,
        cycle=forecast.cycle,
        customer=vehicle.customer,
        to_address=vehicle.customer.email,
        due_on=forecast.due_on,
        status=ReminderStatus.SUPPRESSED if forecast.hold else ReminderStatus.QUEUED,
        held_by=forecast.hold,
        created_at=now,
        send_after=now,
        message_id=message_id_for(vehicle.pk, forecast.cycle_key),
    )


def _look_again(now: datetime) -> int:
    """Release what nothing speaks against any more; where something else does now, say that instead."""
    due = Reminder.objects.of_present_cycle().filter(vehicle__forecast__due_on__lte=last_day(now)).with_hold()
    held = due.filter(status=ReminderStatus.SUPPRESSED).exclude(hold=F("held_by"))
    # What failed on its address is tried on the new one; what failed otherwise is for people to look at.
    mended = due.filter(status=ReminderStatus.FAILED, hold="").exclude(to_address=F("vehicle__customer__email"))
    released = 0
    for pks in _batches(held):
        with transaction.atomic():
            now_held = dict(_locked(held, pks).values_list("pk", "hold"))
            released += _requeue([pk for pk, hold in now_held.items() if not hold], now)
            for hold in Hold.values:
                changed = [pk for pk, other in now_held.items() if other == hold]
                Reminder.objects.filter(pk__in=changed).update(held_by=hold)
    for pks in _batches(mended):
        with transaction.atomic():
            released += _requeue(list(_locked(mended, pks).values_list("pk", flat=True)), now)
    return released


def _locked(reminders, pks):
    return reminders.filter(pk__in=pks).order_by("pk").select_for_update(of=("self",), skip_locked=True)


def _requeue(pks: list[int], now: datetime) -> int:
    return Reminder.objects.filter(pk__in=pks).update(
        status=ReminderStatus.QUEUED, held_by="", error="", deferrals=0, claims_lost=0, send_after=now
    )


def _batches(rows):
    pks = list(rows.order_by("pk").values_list("pk", flat=True))
    return [pks[start : start + BATCH] for start in range(0, len(pks), BATCH)]
