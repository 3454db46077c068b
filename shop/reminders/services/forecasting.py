"""When each vehicle is due: computed from services, readings and interval, and kept, so that the sweep is one query.

A cycle is named after the service that began it, not after a day: a day depends on the shop's time zone, and a cycle
has to stay what it is, or its customer would be reminded twice. A vehicle that was never serviced here counts from the
day it came into the book.
"""

import logging
from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime

from django.db import transaction
from django.db.models import F

from shop.calc.errors import CalcError
from shop.core.clock import local_day
from shop.customers.models import MeterReading, Vehicle
from shop.reminders.models import Reminder, ServiceForecast
from shop.reminders.reckoning import reckon
from shop.specs.intervals import interval_for
from shop.workorders.models import OrderStatus, WorkOrder

log = logging.getLogger(__name__)

NEVER_SERVICED = "new"
# Vehicles locked together for some tens of milliseconds; memory stays flat however many are stale.
BATCH = 100
COMPUTED = [
    "cycle_key",
    "cycle",
    "last_service",
    "due_on",
    "due_early",
    "due_late",
    "by_date_on",
    "by_distance_on",
    "by_hours_on",
    "decided_by",
    "reason",
    "notes",
    "awaits_reminder",
    "computed_at",
]


def forecast_of(*, vehicle: Vehicle, now: datetime) -> ServiceForecast:
    """The vehicle's forecast, computed anew if something it rests on has changed."""
    kept = ServiceForecast.objects.filter(vehicle=vehicle, vehicle__forecast_stale=False).first()
    if kept is None:
        _refresh_one(vehicle.pk, now)
        kept = ServiceForecast.objects.get(vehicle=vehicle)
    return kept


def refresh_stale(*, now: datetime) -> int:
    """Compute every stale forecast anew; answers how many. Each batch is a transaction of its own.

    Whoever changes what a forecast rests on marks the vehicle in the same transaction. We lock the vehicle before we
    read: what was committed before is seen, what comes after waits for us and marks the vehicle again. A vehicle in
    somebody's hands is left for the end and then waited for alone, so that nobody ever waits for us in a circle.
    """
    count, last = 0, 0
    while True:
        with transaction.atomic():
            stale = _lockable(skip_locked=True).filter(forecast_stale=True, pk__gt=last).order_by("pk")
            vehicles = list(stale[:BATCH])
            if not vehicles:
                break
            _compute(vehicles, now)
        count, last = count + len(vehicles), vehicles[-1].pk
    for pk in Vehicle.objects.filter(forecast_stale=True).values_list("pk", flat=True):
        _refresh_one(pk, now)
        count += 1
    return count


@transaction.atomic
def _refresh_one(pk: int, now: datetime) -> None:
    _compute([_lockable().get(pk=pk)], now)


def _lockable(**how):
    # The key stays free: a row that only points at the vehicle can be added meanwhile.
    return Vehicle.objects.select_related("model").select_for_update(of=("self",), no_key=True, **how)


def _compute(vehicles: list[Vehicle], now: datetime) -> None:
    """Store the forecasts of locked vehicles and clear their marks, in the caller's transaction."""
    services = _last_services(vehicles)
    readings = defaultdict(list)
    for reading in MeterReading.objects.standing().filter(vehicle__in=vehicles).order_by("read_on", "pk"):
        readings[reading.vehicle_id].append(reading)
    reminded = set(Reminder.objects.filter(vehicle__in=vehicles).values_list("vehicle_id", "cycle_key"))
    interval = _intervals(vehicles)
    rows = []
    for vehicle in vehicles:
        service = services.get(vehicle.pk)
        cycle_key, cycle, in_shop_from = _cycle(vehicle, service)
        try:
            reckoned = reckon(
                cycle=cycle,
                in_shop_from=in_shop_from,
                serviced=service is not None,
                readings=readings[vehicle.pk],
                interval=interval(vehicle),
                severe=vehicle.severe_use,
            )
        except CalcError as error:  # one vehicle with nonsense in its figures must not stop the sweep of all others
            log.exception("The forecast of vehicle %s cannot be computed", vehicle.pk)
            reckoned = {"reason": f"The due date cannot be computed. {error}"}
        awaits = (vehicle.pk, cycle_key) not in reminded
        rows.append(
            ServiceForecast(
                vehicle=vehicle,
                cycle_key=cycle_key,
                cycle=cycle,
                last_service=service,
                awaits_reminder=awaits,
                computed_at=now,
                **reckoned,
            )
        )
    ServiceForecast.objects.bulk_create(rows, update_conflicts=True, unique_fields=["vehicle"], update_fields=COMPUTED)
    Vehicle.objects.filter(pk__in=[vehicle.pk for vehicle in vehicles]).update(forecast_stale=False)


def _cycle(vehicle: Vehicle, service: WorkOrder | None) -> tuple[str, date, date]:
    """Name and first day of the present cycle, and the day from which the meter stood still in the shop."""
    if service is None:
        day = local_day(vehicle.created_at)
        return NEVER_SERVICED, day, day
    closed, came = service.closed_at, service.checked_in_at or service.closed_at
    return f"order-{service.pk}", local_day(closed), local_day(came)


def _last_services(vehicles: Iterable[Vehicle]) -> dict[int, WorkOrder]:
    closed = WorkOrder.objects.filter(vehicle__in=vehicles, closed_at__isnull=False)
    closed = closed.exclude(status=OrderStatus.CALLED_OFF).order_by(F("closed_at"), "pk")
    return {order.vehicle_id: order for order in closed}  # the last one stands


def _intervals(vehicles: list[Vehicle]):
    """A function from vehicle to interval that asks once for vehicles with the same model and dampers."""
    found = {}
    dampers = defaultdict(dict)
    for vehicle in Vehicle.objects.filter(pk__in=[one.pk for one in vehicles]).prefetch_related("dampers__model"):
        for damper in vehicle.dampers.all():
            dampers[vehicle.pk][damper.model_id] = damper.model

    def interval(vehicle):
        models = dampers[vehicle.pk]
        kind = (vehicle.model_id, frozenset(models))
        if kind not in found:
            found[kind] = interval_for(list(models.values()), vehicle.model).interval
        return found[kind]

    return interval
