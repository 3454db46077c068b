"""Corrections to a customer's dampers and to the vehicle they sit on, with what is booked for them.

Here and not beside the dampers: whether one may be changed hangs on the orders it is in.
"""

from datetime import datetime

from django.db import transaction

from shop.core.errors import Conflict, refused
from shop.customers import services as customers
from shop.customers.models import Customer, Vehicle, VehicleModel
from shop.dampers import services as dampers
from shop.dampers.models import Damper, DamperModel
from shop.staff.models import User
from shop.workorders.models import DamperJob, JobStatus, WorkOrder
from shop.workorders.services.booking import fill_anew

RUNNING = [JobStatus.BOOKED, JobStatus.OPEN]


@transaction.atomic
def change_damper(
    *, damper: Damper, model: DamperModel, model_year: int, position: str, serial: str = "", by: User, at: datetime
) -> Damper:
    """Correct what is known of a damper. What is held for it while it is booked is reckoned anew.

    Conflict "on_bench" when it is checked in: its job and its card keep the figures they were given.
    """
    orders = _lock([damper.pk])
    _refuse_at_work(orders, damper)
    if orders and not model.serviceable:
        words = f"It is booked in {orders[0]}, and the {model} is not serviced here: {model.why_not}"
        raise refused("model", words, "not_serviceable")
    changed = dampers.change_damper(
        damper=damper, model=model, model_year=model_year, position=position, serial=serial, by=by, at=at
    )
    for order in orders:
        # What was taken up by hand was a part of the model that the damper turned out not to be.
        other = changed.model_id != damper.model_id
        fill_anew(order=order, anew=[job.tag for job in order.jobs.filter(damper=damper)] if other else [], at=at)
    return changed


@transaction.atomic
def take_off_damper(*, damper: Damper, by: User, at: datetime) -> Damper:
    """Note that a damper sits on its vehicle no more. Conflict while an order for it is running."""
    orders = _lock([damper.pk])
    _refuse_at_work(orders, damper)
    if orders:
        raise Conflict(f"{damper} is booked in {orders[0]}. Call that order off first, or finish it.", code="booked")
    return dampers.take_off(damper=damper, by=by, at=at)


@transaction.atomic
def change_vehicle(
    *,
    vehicle: Vehicle,
    version: int,
    model: VehicleModel,
    model_year: int,
    vin: str = "",
    plate: str = "",
    note: str = "",
    severe_use: bool = False,
    dampers_too: bool = True,
    by: User,
    at: datetime,
) -> Vehicle:
    """Change a vehicle and, with dampers_too, its dampers of the old model year to the new one: all or nothing.

    Refused on dampers_too when one of those is checked in. Otherwise as customers.services.change_vehicle.
    """
    own = Damper.objects.filter(vehicle=vehicle)
    orders = _lock(own.values_list("pk", flat=True))
    old_year = Vehicle.objects.get(pk=vehicle.pk).model_year
    changed = customers.change_vehicle(
        vehicle=vehicle,
        version=version,
        model=model,
        model_year=model_year,
        vin=vin,
        plate=plate,
        note=note,
        severe_use=severe_use,
        by=by,
        at=at,
    )
    same_year = list(own.filter(model_year=old_year).select_related("model")) if old_year != model_year else []
    if dampers_too and same_year:
        at_work = DamperJob.objects.filter(damper__in=same_year, status=JobStatus.OPEN)
        if busy := at_work.select_related("damper__model", "order").first():
            raise refused(
                "dampers_too",
                f"The damper {busy.damper.where()}, {busy.damper}, is on the bench in {busy.order} with the figures of "
                f"{old_year}: its model year cannot be changed now. Stop the work on it if that year is wrong and tell "
                "the manager. Change the vehicle when that order is closed, or without its dampers.",
                "on_bench",
            )
        for damper in same_year:
            dampers.change_damper(
                damper=damper,
                model=damper.model,
                model_year=model_year,
                position=damper.position,
                serial=damper.serial,
                by=by,
                at=at,
            )
    for order in orders:
        fill_anew(order=order, at=at)
    return changed


@transaction.atomic
def pass_on_vehicle(*, vehicle: Vehicle, to: Customer, by: User, at: datetime) -> Vehicle:
    """A vehicle has another owner, with the dampers on it. Earlier orders stay with who gave them.

    Conflict while an order for it is running: somebody waits for that one.
    """
    own = Damper.objects.filter(vehicle=vehicle)
    orders = _lock(own.values_list("pk", flat=True))
    if orders:
        raise Conflict(
            f"{vehicle} is in {orders[0]} for {orders[0].customer}, which is not over. Hand it back first, or call it "
            "off, then change the owner.",
            code="booked",
        )
    changed = customers.change_owner(vehicle=vehicle, to=to, by=by, at=at)
    dampers.change_owner(vehicle=changed, by=by, at=at)
    return changed


def _lock(keys) -> list[WorkOrder]:
    """The running orders of these dampers, locked, and then the dampers, so that none is booked or checked in now."""
    running = DamperJob.objects.filter(damper__in=list(keys), status__in=RUNNING).order_by("order")
    names = set(running.values_list("order", flat=True))
    orders = list(WorkOrder.objects.select_for_update(of=("self",)).filter(pk__in=names).order_by("pk"))
    list(Damper.objects.select_for_update(of=("self",)).filter(pk__in=list(keys)).order_by("pk"))
    if set(running.values_list("order", flat=True)) - names:
        raise Conflict("A damper was booked at this moment. Open the page again.", code="booked")
    return orders


def _refuse_at_work(orders: list[WorkOrder], damper: Damper) -> None:
    job = damper.jobs.filter(order__in=orders, status=JobStatus.OPEN).select_related("order").first()
    if job:
        raise Conflict(
            f"{damper} is on the bench in {job.order} with the figures it was given at check-in: nothing about it can "
            "be changed now. Stop the work on it if they are wrong, tell the manager, and change it when that damper "
            "is closed.",
            code="on_bench",
        )
