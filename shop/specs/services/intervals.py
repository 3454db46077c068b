"""Service intervals: when dampers of a model, vehicles of a model, or all others are due."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.units import Entered
from shop.core.errors import Conflict, refused
from shop.core.rows import one_line, save_new
from shop.customers.models import Vehicle, VehicleModel
from shop.dampers.models import Damper, DamperModel
from shop.specs.intervals import as_seen
from shop.specs.models import ServiceInterval
from shop.staff.models import User
from shop.staff.services import note as audit


@transaction.atomic
def set_interval(
    *,
    damper_model: DamperModel | None = None,
    vehicle_model: VehicleModel | None = None,
    months: int | None = None,
    distance: Entered | None = None,
    hours: Entered | None = None,
    severe_factor: float = 1.0,
    source: str,
    seen: str | None = None,
    by: User,
    at: datetime,
) -> ServiceInterval:
    """Say when such dampers or vehicles are due, whichever comes first, in the place of what was said before.

    Without a model it is the shop's default. seen is as_seen of the interval when it was read, "" when there was none;
    Conflict "stale" when it says something else by now. Marks the forecasts that rest on it as stale.
    """
    _lock(damper_model, vehicle_model)
    given = {"months": months, "distance": distance and distance.si, "hours": hours and hours.si}
    for name, value in given.items():
        if value is not None and value <= 0:
            raise ValidationError({name: "Service cannot be due after zero. Give more, or leave it empty."})
    if not 0 < severe_factor <= 1:
        words = (
            f"{severe_factor:g} cannot be the factor for severe use: 1 leaves the interval as it is, 0.5 is service "
            "twice as often. Give more than 0 and at most 1."
        )
        raise refused("severe_factor", words, "severe_factor")
    if not source.strip():
        raise ValidationError({"source": "Say where the interval comes from: document and page, or the shop's own."})
    interval = ServiceInterval.objects.filter(damper_model=damper_model, vehicle_model=vehicle_model).first()
    _check_seen(interval, seen)
    interval = interval or ServiceInterval(damper_model=damper_model, vehicle_model=vehicle_model)
    interval.months, interval.distance_m, interval.hours_s = given.values()
    interval.severe_factor = severe_factor
    interval.source = one_line(source)
    interval.full_clean()
    if interval.pk:
        interval.save()
    else:
        save_new(interval)
    _mark_stale(interval)
    rules = [f"{months} months" if months else "", str(distance or ""), str(hours or "")]
    severe = f", in severe use {severe_factor:g} of it" if severe_factor < 1 else ""
    _tell(interval, f"service interval: {' or '.join(filter(None, rules))}{severe} ({interval.source})", by, at)
    return interval


@transaction.atomic
def remove_interval(*, interval: ServiceInterval, seen: str | None = None, by: User, at: datetime) -> None:
    """Take an interval away, so that the next rule holds. Twice is as good as once."""
    _lock(interval.damper_model, interval.vehicle_model)
    present = ServiceInterval.objects.filter(pk=interval.pk).first()
    if present is None:
        return
    _check_seen(present, seen)
    _mark_stale(present)
    _tell(present, f"service interval removed ({present.source})", by, at)
    present.delete()


def _lock(damper_model: DamperModel | None, vehicle_model: VehicleModel | None) -> None:
    """One at a time over the interval of a model; of two who enter the first default, a constraint lets one in."""
    for model in filter(None, (damper_model, vehicle_model)):
        type(model).objects.select_for_update(no_key=True).get(pk=model.pk)
    if damper_model is None and vehicle_model is None:
        list(ServiceInterval.objects.select_for_update().filter(damper_model=None, vehicle_model=None))


def _check_seen(interval: ServiceInterval | None, seen: str | None) -> None:
    if seen is not None and as_seen(interval) != seen:
        raise Conflict(
            "Somebody else has changed this interval since you opened it. What you typed is still here: compare it "
            "with the interval as it is now, then save again.",
            code="stale",
        )


def _mark_stale(interval: ServiceInterval) -> None:
    """The forecasts that may rest on it, locked in one order, like those that are computed meanwhile."""
    vehicles = Vehicle.objects.order_by("pk")
    if interval.vehicle_model_id:
        vehicles = vehicles.filter(model=interval.vehicle_model_id)
    elif interval.damper_model_id:
        vehicles = vehicles.filter(pk__in=Damper.objects.filter(model=interval.damper_model_id).values("vehicle"))
    else:
        vehicles = vehicles.filter(model__intervals=None)
    keys = list(vehicles.select_for_update(of=("self",), no_key=True).values_list("pk", flat=True))
    Vehicle.objects.filter(pk__in=keys).update(forecast_stale=True)


def _tell(interval: ServiceInterval, what: str, by: User, at: datetime) -> None:
    kind, key = "interval", "default"
    if interval.damper_model_id:
        kind, key = "dampermodel", interval.damper_model_id
    elif interval.vehicle_model_id:
        kind, key = "vehiclemodel", interval.vehicle_model_id
    audit(who=by, kind=kind, key=key, what=what, at=at)
