from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from shop.customers.models import Customer, Vehicle
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
    damper = Damper(
        customer=customer,
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
def fit_dampers(*, vehicle: Vehicle, by: User, at: datetime) -> list[Damper]:
    """Enter the dampers that this vehicle model carries in this model year, at every corner that has none yet."""
    Vehicle.objects.select_for_update().get(pk=vehicle.pk)
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
