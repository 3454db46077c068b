from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from shop.calc.units import Entered, show_range
from shop.core.errors import refused, renamed
from shop.core.rows import one_line, save_new, sharing_years
from shop.customers.models import Customer, Vehicle, VehicleModel
from shop.customers.services import create_vehicle, mark_forecast_stale
from shop.dampers.geometry import SIZES
from shop.dampers.models import Damper, DamperModel, Fitment, Position
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
    if vehicle:
        mark_forecast_stale(vehicle=vehicle)
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
def create_damper_model(
    *, maker: str, name: str, construction: str, serviceable: bool, why_not: str = "", by: User, at: datetime
) -> DamperModel:
    """Enter a damper model. One that is not serviced here needs the words that the customer is told."""
    if serviceable and why_not.strip():
        raise ValidationError(
            {"why_not": "It is serviced here, so there is nothing to tell. Empty this, or say that it is not serviced."}
        )
    model = DamperModel(
        maker=one_line(maker),
        name=one_line(name),
        construction=construction,
        serviceable=serviceable,
        why_not=why_not.strip(),
    )
    if twin := DamperModel.objects.filter(maker__iexact=model.maker, name__iexact=model.name).first():
        raise refused("name", f"{twin} is in the catalogue already. Open that one.", "known")
    model.full_clean()
    save_new(model)
    service = "serviced here" if serviceable else f"not serviced here: {model.why_not}"
    what = f"entered: {model}, {model.get_construction_display()}, {service}"
    note(who=by, kind="dampermodel", key=model.pk, what=what, at=at)
    return model


@transaction.atomic
def set_geometry(
    *,
    damper_model: DamperModel,
    reservoir_bore: Entered | None = None,
    cap_intrusion: Entered | None = None,
    shaft: Entered | None = None,
    stroke: Entered | None = None,
    highest_gas: Entered | None = None,
    spring_rate: Entered | None = None,
    by: User,
    at: datetime,
) -> DamperModel:
    """Say all that is known of a damper model's sizes; what is not given is not known any more.

    Jobs on the benches keep the sizes with which they were checked in.
    """
    model = DamperModel.objects.select_for_update(no_key=True).get(pk=damper_model.pk)
    given = dict(zip(SIZES, (reservoir_bore, cap_intrusion, shaft, stroke, highest_gas, spring_rate), strict=True))
    if any(given.values()) and not model.has_ifp:
        raise ValidationError(
            f"{model} has no IFP: where oil and gas share one chamber these sizes do not give the pressure.",
            code="no_ifp",
        )
    for size, entered in given.items():
        if entered and not size.low_si <= entered.si <= size.high_si:
            allowed = show_range(size.low_si, size.high_si, entered.unit)
            words = f"{size.label} cannot be {entered}. Allowed is {allowed}; check figures and unit."
            raise refused(size.argument, words, "size")
        setattr(model, size.name, entered.si if entered else None)
    if shaft and reservoir_bore and shaft.si >= reservoir_bore.si:
        words = f"A shaft of {shaft} does not go with a reservoir bore of {reservoir_bore}. Check both figures."
        raise refused("shaft", words, "shaft")
    model.full_clean()
    model.save(update_fields=[size.name for size in SIZES])
    told = ", ".join(f"{size.label.lower()} {entered}" for size, entered in given.items() if entered)
    note(who=by, kind="dampermodel", key=model.pk, what=f"sizes: {told or 'none known'}", at=at)
    return model


@transaction.atomic
def set_fitment(
    *,
    vehicle_model: VehicleModel,
    position: str,
    damper_model: DamperModel,
    year_from: int | None = None,
    year_to: int | None = None,
    by: User,
    at: datetime,
) -> Fitment:
    """Say what a vehicle model carries at a corner; years left open are those in which it was built.

    Vehicles that are in the book keep the dampers that were entered for them.
    """
    vehicle_model = VehicleModel.objects.select_for_update(no_key=True).get(pk=vehicle_model.pk)
    year_from = vehicle_model.year_from if year_from is None else year_from
    for name, year in (("year_from", year_from), ("year_to", year_to)):
        if year is not None and not vehicle_model.year_from <= year <= (vehicle_model.year_to or year):
            words = f"There is no {vehicle_model} of model year {year}: it was built {vehicle_model.years()}."
            raise ValidationError({name: f"{words} Give one of these years."})
    if year_to is not None and year_to < year_from:
        raise ValidationError({"year_to": f"{year_to} lies before the first model year, {year_from}."})
    rivals = vehicle_model.fitments.filter(sharing_years(year_from, year_to), position=position)
    if rival := rivals.select_related("damper_model").first():
        raise ValidationError(
            {
                "position": f"{_corner(rival)}: the {rival.damper_model} sits there {_years(rival)}. "
                "Remove that entry first, or give model years that it leaves free."
            },
            code="taken",
        )
    fitment = Fitment(
        vehicle_model=vehicle_model,
        position=position,
        damper_model=damper_model,
        year_from=year_from,
        year_to=year_to,
    )
    fitment.full_clean()
    fitment.save()
    what = f"{_corner(fitment)}: {damper_model}, {_years(fitment)}"
    note(who=by, kind="vehiclemodel", key=vehicle_model.pk, what=what, at=at)
    return fitment


@transaction.atomic
def set_fitments(
    *,
    vehicle_model: VehicleModel,
    positions: list[str],
    damper_model: DamperModel,
    year_from: int | None = None,
    year_to: int | None = None,
    by: User,
    at: datetime,
) -> Fitment:
    """Say that a vehicle model carries the same at several corners, all or none; the last entry is the answer."""
    if not positions:
        raise refused("positions", "Name at least one corner.", "no_corner")
    try:
        made = [
            set_fitment(
                vehicle_model=vehicle_model,
                position=position,
                damper_model=damper_model,
                year_from=year_from,
                year_to=year_to,
                by=by,
                at=at,
            )
            for position in positions
        ]
    except ValidationError as error:
        raise renamed(error, position="positions") from error
    return made[-1]


@transaction.atomic
def remove_fitment(*, fitment: Fitment, by: User, at: datetime) -> None:
    """Take an entry away that is wrong. Twice is as good as once; dampers on customers' vehicles stay as they are."""
    removed, _ = Fitment.objects.filter(pk=fitment.pk).delete()
    if removed:
        what = f"removed: {_corner(fitment)}: {fitment.damper_model}, {_years(fitment)}"
        note(who=by, kind="vehiclemodel", key=fitment.vehicle_model_id, what=what, at=at)


def _corner(fitment: Fitment) -> str:
    return Position(fitment.position).label.capitalize()


def _years(fitment: Fitment) -> str:
    return f"from {fitment.year_from}" + (f" to {fitment.year_to}" if fitment.year_to else " on")
