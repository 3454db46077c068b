"""Dampers that customers own: entered, corrected, taken off."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from shop.customers.merging import lock_present
from shop.customers.models import Customer, Vehicle, VehicleModel
from shop.customers.services import create_vehicle, mark_forecast_stale
from shop.dampers.models import Damper, DamperModel, Fitment
from shop.staff.models import User
from shop.staff.services import note


@transaction.atomic
def create_damper(
    *,
    customer: Customer,
    vehicle: Vehicle | None = None,
    position: str = "",
    model: DamperModel,
    model_year: int,
    serial: str = "",
    by: User,
    at: datetime,
) -> Damper:
    """Enter a damper on a corner of a vehicle, or loose (no vehicle; a position then only says where it came from)."""
    if vehicle and vehicle.customer_id != customer.pk:
        raise ValidationError({"vehicle": f"The {vehicle} belongs to another customer."})
    if vehicle:  # before the customer, as merging two customers does
        mark_forecast_stale(vehicle=vehicle)
    damper = Damper(
        customer=lock_present(customer),
        vehicle=vehicle,
        position=position,
        model=model,
        model_year=model_year,
        serial=serial.strip(),
    )
    damper.full_clean()
    damper.save()
    note(who=by, kind="damper", key=damper.pk, what=f"entered: {damper}, {damper.where()}", at=at)
    return damper


@transaction.atomic
def change_damper(
    *, damper: Damper, model: DamperModel, model_year: int, position: str, serial: str = "", by: User, at: datetime
) -> Damper:
    """Correct what is known of a damper. Come by way of workorders.services, which asks whether it is at work."""
    damper = Damper.objects.select_for_update(of=("self",)).select_related("vehicle", "model").get(pk=damper.pk)
    before = f"{damper}, {damper.where()}"
    damper.model, damper.model_year = model, model_year
    damper.position, damper.serial = position, serial.strip()
    damper.full_clean()
    damper.save()
    if damper.vehicle:
        mark_forecast_stale(vehicle=damper.vehicle)
    what = f"changed: {before}; now {damper}, {damper.where()}"
    note(who=by, kind="damper", key=damper.pk, what=what, at=at)
    return damper


@transaction.atomic
def take_off(*, damper: Damper, by: User, at: datetime) -> Damper:
    """Make a damper loose; it remembers the corner it came from. Twice is as good as once."""
    damper = Damper.objects.select_for_update(of=("self",)).select_related("vehicle__model", "model").get(pk=damper.pk)
    if vehicle := damper.vehicle:
        damper.vehicle = None
        damper.save(update_fields=["vehicle"])
        mark_forecast_stale(vehicle=vehicle)
        note(who=by, kind="damper", key=damper.pk, what=f"taken off the {vehicle}, {damper.where()}", at=at)
    return damper


@transaction.atomic
def fit_dampers(*, vehicle: Vehicle, by: User, at: datetime) -> list[Damper]:
    """Enter the dampers that this vehicle model carries in this model year, at every corner that has none yet."""
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    taken = set(vehicle.dampers.values_list("position", flat=True))
    fitments = Fitment.objects.filter(
        Q(year_to=None) | Q(year_to__gte=vehicle.model_year),
        vehicle_model=vehicle.model_id,
        year_from__lte=vehicle.model_year,
    ).select_related("damper_model")
    known = {one.position: one.damper_model for one in fitments.order_by("year_from")}
    return [
        create_damper(
            customer=vehicle.customer,
            vehicle=vehicle,
            position=position,
            model=model,
            model_year=vehicle.model_year,
            by=by,
            at=at,
        )
        for position, model in known.items()
        if position not in taken
    ]


@transaction.atomic
def enter_vehicle(
    *,
    customer: Customer,
    model: VehicleModel,
    model_year: int,
    vin: str = "",
    plate: str = "",
    note: str = "",
    severe_use: bool = False,
    fit: bool,
    by: User,
    at: datetime,
) -> Vehicle:
    """Enter a vehicle and, with fit, the dampers that its model carries in its model year: all of it or nothing."""
    vehicle = create_vehicle(
        customer=customer,
        model=model,
        model_year=model_year,
        vin=vin,
        plate=plate,
        note=note,
        severe_use=severe_use,
        by=by,
        at=at,
    )
    if fit:
        fit_dampers(vehicle=vehicle, by=by, at=at)
    return vehicle


@transaction.atomic
def change_owner(*, vehicle: Vehicle, by: User, at: datetime) -> None:
    """The dampers on a vehicle belong to whom it belongs to now. Come by way of workorders.services."""
    for damper in Damper.objects.filter(vehicle=vehicle).exclude(customer=vehicle.customer_id).select_related("model"):
        damper.customer_id = vehicle.customer_id
        damper.save(update_fields=["customer"])
        note(who=by, kind="damper", key=damper.pk, what=f"came to {vehicle.customer} with the {vehicle}", at=at)
