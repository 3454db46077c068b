"""A booking for somebody who was never here: customer, vehicle, dampers and order in one go, all of it or nothing."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.errors import refused, renamed
from shop.customers.duplicates import Twin, likely_same
from shop.customers.models import Customer, Vehicle, VehicleModel
from shop.customers.services import create_customer
from shop.dampers.models import Damper, DamperModel, Position
from shop.dampers.selectors import corners_of
from shop.dampers.services import create_damper, enter_vehicle
from shop.staff.models import User
from shop.workorders.models import WorkOrder
from shop.workorders.services.booking import book

CUSTOMER, VEHICLE = "customer", "vehicle"


@dataclass(frozen=True)
class VehicleTyped:
    """A vehicle as it is told on the telephone."""

    model: VehicleModel
    model_year: int
    vin: str = ""
    plate: str = ""
    severe_use: bool = False


@dataclass(frozen=True)
class DamperTyped:
    """A damper that no vehicle model brings: at a corner of the vehicle, or loose. place names its fields."""

    model: DamperModel
    model_year: int
    position: str = ""
    serial: str = ""
    place: str = "dampers.0"


def twins_of(customer: dict, vin: str = "") -> list[Twin]:
    asked = {name: customer.get(name) or "" for name in ("name", "phone", "email")}
    return likely_same(**asked, vin=vin)


def dampers_to_be(
    *,
    vehicle: Vehicle | None = None,
    new_vehicle: VehicleTyped | None = None,
    corners: Iterable[str] = (),
    dampers: Iterable[DamperTyped] = (),
) -> list[Damper]:
    """What book_new() would book, for propose(): dampers that are not entered yet are made up and never saved.

    A corner of which nothing is known is left out. A constant number of queries.
    """
    sits_on = vehicle
    if new_vehicle and not vehicle:
        sits_on = Vehicle(model=new_vehicle.model, model_year=new_vehicle.model_year)
    there = corners_of(new_vehicle and new_vehicle.model, new_vehicle and new_vehicle.model_year, vehicle)
    wanted = [
        (one.model.pk, one.damper.model_year if one.damper else sits_on.model_year, one.position)
        for one in there
        if one.model and one.position in corners
    ]
    wanted += [(one.model.pk, one.model_year, one.position) for one in dampers]
    models = DamperModel.objects.prefetch_related("kit_lines").in_bulk({key for key, _, _ in wanted})
    return [
        Damper(model=models[key], model_year=year, position=position, vehicle=sits_on) for key, year, position in wanted
    ]


@transaction.atomic
def book_new(
    *,
    customer: Customer | None,
    new_customer: dict | None = None,
    vehicle: Vehicle | None = None,
    new_vehicle: VehicleTyped | None = None,
    corners: dict[str, str] | None = None,
    dampers: list[DamperTyped] = (),
    somebody_else: bool = False,
    by: User,
    at: datetime,
    **booking,
) -> WorkOrder:
    """Enter what is new and book it. booking is what book() takes beside customer, vehicle and dampers.

    corners: which corners of the vehicle are booked, with a serial number or none for each. A new vehicle gets all
    dampers that its model carries in its year. Without a vehicle the dampers are loose. A customer who is most likely
    in the book already is refused under "somebody_else", unless that is said.
    """
    corners = corners or {}
    if customer is None:
        customer = _enter_customer(new_customer or {}, new_vehicle, somebody_else, by, at)
    if new_vehicle and vehicle:
        raise refused("vehicle", "Give a vehicle of the book or a new one, not both.", "both")
    if new_vehicle:
        vehicle = _enter_vehicle(customer, new_vehicle, by, at)
    if strange := sorted(set(corners) - set(Position.values)):
        words = f"“{strange[0]}” is no corner; there are {', '.join(Position.values)}."
        raise refused("corners", words, "no_corner")
    if corners and not vehicle:
        raise refused("corners", "Corners are those of a vehicle, and none is given.", "no_vehicle")
    booked = _at_corners(vehicle, corners) if vehicle else []
    for typed in dampers:
        booked.append(_enter_damper(customer, vehicle, typed, by, at))
    return book(customer=customer, vehicle=vehicle, dampers=booked, by=by, at=at, **booking)


def _enter_customer(typed, new_vehicle, somebody_else, by, at) -> Customer:
    vin = new_vehicle.vin if new_vehicle else ""
    if not somebody_else and (twins := twins_of(typed, vin)):
        told = "; ".join(f"{twin.customer} {twin.why}" for twin in twins)
        words = f"{told}. Take that customer, or say that it is somebody else."
        raise refused("somebody_else", words, "twin")
    try:
        return create_customer(**typed, by=by, at=at)
    except ValidationError as error:
        raise _under(error, CUSTOMER) from error


def _enter_vehicle(customer, typed, by, at) -> Vehicle:
    number = typed.vin.strip().upper()
    known = Vehicle.objects.filter(vin=number).select_related("customer", "model").first() if number else None
    if known and known.customer_id == customer.pk and not known.sold_on:
        return known
    if known:
        words = (
            f"{number} is the {known} of {known.customer}. Take that customer, or mark the vehicle as sold there and "
            "leave the number out here."
        )
        raise refused(f"{VEHICLE}.vin", words, "known")
    try:
        return enter_vehicle(
            customer=customer, model=typed.model, model_year=typed.model_year, vin=typed.vin, plate=typed.plate,
            severe_use=typed.severe_use, fit=True, by=by, at=at,
        )  # fmt: skip
    except ValidationError as error:
        raise _under(error, VEHICLE) from error


def _at_corners(vehicle, corners) -> list[Damper]:
    """The dampers at these corners; a serial number that was told is noted where none stands."""
    there = {damper.position: damper for damper in vehicle.dampers.all()}
    if missing := [position for position in corners if position not in there]:
        where = Position(missing[0]).label
        words = f"No damper is known at {where} of the {vehicle}. Enter it as a damper of its own, with that position."
        raise refused("corners", words, "no_damper")
    for position, serial in corners.items():
        damper = there[position]
        if serial.strip() and not damper.serial:
            damper.serial = serial.strip()
            damper.full_clean()
            damper.save(update_fields=["serial"])
    return [there[position] for position in corners]


def _enter_damper(customer, vehicle, typed, by, at) -> Damper:
    try:
        return create_damper(
            customer=customer, vehicle=vehicle, position=typed.position, model=typed.model,
            model_year=typed.model_year, serial=typed.serial, by=by, at=at,
        )  # fmt: skip
    except ValidationError as error:
        raise _under(error, typed.place) from error


def _under(error: ValidationError, place: str) -> ValidationError:
    """The same refusal with its fields under the name of what they belong to."""
    names = {name: f"{place}.{name}" for name in error.update_error_dict({})}
    return renamed(error, **names)
