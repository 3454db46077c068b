"""Which service interval holds, why, and what severe use leaves of it."""

from dataclasses import dataclass

from django.db.models import Q

from shop.calc.intervals import shortened
from shop.core.services import fingerprint
from shop.customers.models import VehicleModel
from shop.dampers.models import DamperModel
from shop.specs.models import ServiceInterval

TOLD = ("pk", "months", "distance_m", "hours_s", "severe_factor", "source")
FAR = float("inf")


@dataclass(frozen=True)
class FoundInterval:
    """The interval that holds, or None, and in a sentence the rule that chose it."""

    interval: ServiceInterval | None
    rule: str


@dataclass(frozen=True)
class Limits:
    """After how much service is due; None: that does not count."""

    months: int | None
    distance_m: float | None
    hours_s: float | None


def interval_for(damper_models: list[DamperModel], vehicle_model: VehicleModel | None = None) -> FoundInterval:
    """The interval of the vehicle model, else the shortest among its damper models, else the shop's default."""
    rows = ServiceInterval.objects.filter(
        Q(vehicle_model=vehicle_model, vehicle_model__isnull=False)
        | Q(damper_model__in=damper_models)
        | Q(vehicle_model=None, damper_model=None)
    ).select_related("vehicle_model", "damper_model")
    found = min(rows, key=_rank, default=None)
    return FoundInterval(found, _rule(found, damper_models, vehicle_model))


def limits(interval: ServiceInterval, severe: bool) -> Limits:
    """The interval as it is, or what severe use leaves of it: whole months, rounded down, at least one."""
    factor = interval.severe_factor if severe else 1.0
    return Limits(
        interval.months and shortened(interval.months, factor),
        interval.distance_m and interval.distance_m * factor,
        interval.hours_s and interval.hours_s * factor,
    )


def as_seen(interval: ServiceInterval | None) -> str:
    """A mark of all that an interval says: another one, and somebody has changed it since it was read."""
    return fingerprint([getattr(interval, name) for name in TOLD]) if interval else ""


def _rank(one: ServiceInterval) -> tuple:
    return (
        one.vehicle_model_id is None,
        one.damper_model_id is None,
        one.months or FAR,
        one.distance_m or FAR,
        one.hours_s or FAR,
    )


def _rule(found: ServiceInterval | None, damper_models: list[DamperModel], vehicle_model: VehicleModel | None) -> str:
    if found is None:
        return "No interval holds: the shop has no default."
    if vehicle_model is None:
        return _rule_by_itself(found, damper_models)
    if found.vehicle_model:
        return f"The interval of the vehicle model, {vehicle_model}, goes before any other."
    if found.damper_model:
        several = len({one.pk for one in damper_models}) > 1
        which = "the shortest among its damper models'" if several else "the one of its damper model"
        return f"The vehicle model has none of its own, so {which} holds: {found.damper_model}."
    return "Neither the vehicle model nor a damper model has one of its own, so the shop's default holds."


def _rule_by_itself(found: ServiceInterval, damper_models: list[DamperModel]) -> str:
    """For damper models that are asked about without a vehicle, and for the shop."""
    if found.damper_model:
        return "Its own holds, except on vehicle models that have one of theirs."
    if damper_models:
        return "It has none of its own, so the shop's default holds, except on vehicle models that have one of theirs."
    return "The shop's default holds where neither the vehicle model nor a damper model has one of its own."
