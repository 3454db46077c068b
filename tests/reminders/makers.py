"""Makers for the tests of the reminders: a past service, a customer who wants reminders, a reminder on its way."""

from datetime import UTC, datetime, time, timedelta
from itertools import count

from django.conf import settings

from shop.calc.intervals import add_months
from shop.core.clock import local_day
from shop.customers.models import Consent
from shop.picklists.models import PickList
from shop.reminders import services
from shop.reminders.models import Reminder
from shop.specs.models import ServiceInterval
from shop.staff.models import Role
from shop.workorders.models import OrderStatus, WorkOrder
from tests import factories as make
from tests.factories import MILE, NOON

TODAY = local_day(NOON)
LEAD = timedelta(days=settings.REMINDER_LEAD_DAYS)

_number = count(1)


def at_noon(on):
    """A moment of that day which is the same day everywhere in America."""
    return datetime.combine(on, time(19), UTC)


def make_interval(vehicle_model, months=None, miles=None, hours=None):
    return ServiceInterval.objects.create(
        vehicle_model=vehicle_model,
        months=months,
        distance_m=miles and miles * MILE,
        hours_s=hours and hours * 3600,
        source="made up",
    )


def make_order_row(vehicle, status=OrderStatus.BOOKED, **given):
    """An order of a vehicle in any state, without the work that leads there."""
    by = make.make_user(Role.DESK)
    if status in (OrderStatus.ON_BENCH, OrderStatus.READY, OrderStatus.HANDED_BACK):
        given |= {"checked_in_by": by, "checked_in_at": given.get("checked_in_at", NOON)}
    if status in (OrderStatus.READY, OrderStatus.HANDED_BACK):
        given |= {"closed_by": by, "closed_at": given.get("closed_at", NOON)}
    defaults = {
        "customer": vehicle.customer, "complaint": "leaks", "arrives_on": TODAY, "promised_for": NOON,
        "pick_list": PickList.objects.create(title=f"list {next(_number)}", made_at=NOON),
        "booked_by": by, "booked_at": NOON,
    }  # fmt: skip
    return WorkOrder.objects.create(vehicle=vehicle, status=status, **defaults | given)


def make_service(vehicle, on, checked_in_on=None):
    """A finished service of the vehicle, handed back."""
    return make_order_row(
        vehicle,
        OrderStatus.HANDED_BACK,
        closed_at=at_noon(on),
        checked_in_at=at_noon(checked_in_on or on),
        handed_back_at=at_noon(on),
    )


def make_willing_customer(**given):
    return make.make_customer(**{"reminder_consent": Consent.YES, "reminder_consent_at": NOON} | given)


def make_due_vehicle(due_on=TODAY, customer=None, **given):
    """A vehicle of a willing customer that is due on that day by date: it came into the book twelve months before."""
    start = add_months(due_on, -12)
    return make.make_vehicle(customer=customer or make_willing_customer(), created_at=at_noon(start), **given)


def make_reminder(now=NOON, **given):
    """A queued reminder about a vehicle that is due, made by the sweep."""
    vehicle = make_due_vehicle(**given)
    services.sweep(now=now)
    return Reminder.objects.get(vehicle=vehicle)


def make_sent_reminder(now=NOON, **given):
    reminder = make_reminder(now=now, **given)
    services.send_due_reminders(now=now)
    reminder.refresh_from_db()
    assert reminder.sent_at, reminder.why()
    return reminder
