"""Customers, their vehicles and what the meters showed: every write, and nothing else."""

from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

from shop.calc.intervals import day_in_words
from shop.calc.units import Entered
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused, renamed
from shop.core.rows import names, one_line, save_new, sharing_years, unchanged
from shop.customers.merging import check_present, lock_present, stays_of
from shop.customers.meters import doubt
from shop.customers.models import (
    Consent,
    Customer,
    Meter,
    MeterReading,
    Vehicle,
    VehicleModel,
)
from shop.staff import services as staff
from shop.staff.models import User

# No machine of this trade reads further; a longer figure is a slip of the finger.
MOST_METER_SI = {Meter.DISTANCE: 1e9, Meter.HOURS: 3600 * 1e5}


@dataclass(frozen=True)
class NewCustomer:
    """A customer to enter; origin says in the audit trail where it came from: "from customers.csv, line 12"."""

    name: str
    email: str = ""
    phone: str = ""
    address: str = ""
    note: str = ""
    origin: str = ""


@transaction.atomic
def create_customer(
    *,
    name: str,
    email: str = "",
    phone: str = "",
    address: str = "",
    note: str = "",
    anyway: bool = True,
    by: User,
    at: datetime,
) -> Customer:
    """Enter a customer; without anyway, one who is most likely in the book already is refused (field "anyway")."""
    if not anyway and (twin := _twin(name, phone, email)):
        reach = " and ".join(filter(None, [twin.phone, twin.email]))
        sentence = f"{twin} ({reach}) is in the book already. Find that customer, or tick this if it is somebody else."
        raise refused("anyway", sentence, "twin")
    (customer,) = create_customers(new=[NewCustomer(name, email, phone, address, note)], by=by, at=at)
    return customer


@transaction.atomic
def create_customers(*, new: list[NewCustomer], by: User, at: datetime) -> list[Customer]:
    """Enter customers, all or none, in as many queries as one takes. Refused with what is wrong with the first."""
    customers = [
        Customer(
            name=one.name.strip(), email=one.email, phone=one.phone, address=one.address, note=one.note, created_at=at
        )
        for one in new
    ]
    for customer in customers:
        customer.full_clean(validate_constraints=False)  # the rules of the table are those of its fields
    save_new(*customers)
    lines = [(row.pk, "entered", one.origin) for row, one in zip(customers, new, strict=True)]
    staff.note_each(who=by, kind="customer", lines=lines, at=at)
    return customers


def _twin(name: str, phone: str, email: str) -> Customer | None:
    """A customer with the same e-mail address, or with the same name and the same digits of the phone."""
    if email and (row := Customer.objects.present().filter(email__iexact=email).order_by("pk").first()):
        return row
    digits = _digits(phone)
    same_name = Customer.objects.present().filter(name__iexact=name.strip()).order_by("pk")
    return next((row for row in same_name if digits and _digits(row.phone) == digits), None)


def _digits(phone: str) -> str:
    return "".join(one for one in phone if one.isdigit())


@transaction.atomic
def change_customer(
    *,
    customer: Customer,
    version: int,
    name: str,
    email: str = "",
    phone: str = "",
    address: str = "",
    note: str = "",
    by: User,
    at: datetime,
) -> Customer:
    """Change what is known of a customer; version is the one the form was opened with, else Conflict."""
    check_present(Customer.objects.select_related("merged_into").get(pk=customer.pk))
    customer = unchanged(Customer, customer.pk, version)
    customer.name, customer.email, customer.phone = name.strip(), email, phone
    customer.address, customer.note = address, note
    customer.version += 1
    customer.full_clean()
    customer.save()
    _tell(by, customer, "changed", at)
    return customer


@transaction.atomic
def record_consent(*, customer: Customer, wants: bool, by: User | None, at: datetime, how: str) -> Customer:
    """Note whether the customer wants service reminders and how we know; by is None when the customer used a link.

    Who was merged meanwhile speaks for the entry that stays.
    """
    customer = stays_of(Customer.objects.select_related("merged_into").get(pk=customer.pk))
    customer = Customer.objects.select_for_update().get(pk=customer.pk)
    customer.reminder_consent = Consent.YES if wants else Consent.NO
    customer.reminder_consent_at = at
    customer.save(update_fields=["reminder_consent", "reminder_consent_at"])
    words = "wants reminders" if wants else "wants no reminders"
    staff.note(who=by or customer, kind="customer", key=customer.pk, what=f"{words} ({how})", at=at)
    return customer


@transaction.atomic
def create_vehicle(
    *,
    customer: Customer,
    model: VehicleModel,
    model_year: int,
    vin: str = "",
    plate: str = "",
    note: str = "",
    severe_use: bool = False,
    by: User,
    at: datetime,
) -> Vehicle:
    customer = lock_present(customer)
    _check_year(model, model_year)
    vehicle = Vehicle(
        customer=customer,
        model=model,
        model_year=model_year,
        vin=vin.strip().upper(),
        plate=plate.strip().upper(),
        note=note,
        severe_use=severe_use,
        created_at=at,
    )
    vehicle.full_clean()
    vehicle.save()
    _tell(by, vehicle, f"entered for {customer}", at)
    return vehicle


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
    by: User,
    at: datetime,
) -> Vehicle:
    """Change what is known of a vehicle; version is the one the form was opened with, else Conflict."""
    _check_year(model, model_year)
    vehicle = unchanged(Vehicle, vehicle.pk, version)
    vehicle.model, vehicle.model_year, vehicle.note = model, model_year, note
    vehicle.vin, vehicle.plate = vin.strip().upper(), plate.strip().upper()
    vehicle.severe_use = severe_use
    vehicle.version += 1
    vehicle.forecast_stale = True
    vehicle.full_clean()
    vehicle.save()
    _tell(by, vehicle, "changed", at)
    return vehicle


@transaction.atomic
def mark_sold(*, vehicle: Vehicle, on: date, by: User | None, at: datetime, how: str = "") -> Vehicle:
    """The customer has it no more: nobody is reminded about it. Twice is as good as once."""
    vehicle = Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    if vehicle.sold_on:
        return vehicle
    if on > local_day(at):
        raise ValidationError(
            {"on": f"{day_in_words(on)} lies in the future. Give the day it was sold, today or before."}
        )
    vehicle.sold_on, vehicle.forecast_stale = on, True
    vehicle.save(update_fields=["sold_on", "forecast_stale"])
    what = f"sold on {day_in_words(on)}" + (f" ({how})" if how else "")
    staff.note(who=by or vehicle.customer, kind="vehicle", key=vehicle.pk, what=what, at=at)
    return vehicle


@transaction.atomic
def take_back_sold(*, vehicle: Vehicle, why: str, by: User, at: datetime) -> Vehicle:
    """It was not sold after all: it counts again as its owner's. Twice is as good as once."""
    vehicle = Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    if not vehicle.sold_on:
        return vehicle
    if not why.strip():
        raise refused("why", "Say why it was not sold: the wrong vehicle, a sale that fell through.", "why_missing")
    vehicle.sold_on, vehicle.forecast_stale = None, True
    vehicle.save(update_fields=["sold_on", "forecast_stale"])
    staff.note(who=by, kind="vehicle", key=vehicle.pk, what=f"not sold after all: {one_line(why)}", at=at)
    return vehicle


@transaction.atomic
def change_owner(*, vehicle: Vehicle, to: Customer, by: User, at: datetime) -> Vehicle:
    """The vehicle is another customer's from now on; its meters and services stay its own.

    Come by way of workorders.services, which takes its dampers along and asks whether one is booked.
    """
    vehicle = Vehicle.objects.select_for_update(of=("self",), no_key=True).select_related("customer").get(pk=vehicle.pk)
    before, to = vehicle.customer, lock_present(to)
    if before == to:
        if vehicle.sold_on:
            raise refused("to", f"{to} sold it. If that is not so, take the sale back on its page.", "same_owner")
        raise refused("to", f"It is {to}'s already. Choose another customer.", "same_owner")
    vehicle.customer, vehicle.sold_on, vehicle.forecast_stale = to, None, True
    vehicle.version += 1
    vehicle.save(update_fields=["customer", "sold_on", "forecast_stale", "version"])
    what = f"the owner was {before}, now it is {to}"
    staff.note(who=by, kind="vehicle", key=vehicle.pk, what=what, at=at)
    for customer in (before, to):
        staff.note(who=by, kind="customer", key=customer.pk, what=f"{vehicle}: {what}", at=at)
    return vehicle


@transaction.atomic
def record_meter(
    *,
    vehicle: Vehicle,
    meter: str,
    entered: Entered,
    read_on: date,
    source: str,
    by: User | None,
    at: datetime,
    corrects: MeterReading | None = None,
) -> MeterReading:
    """Note what a meter showed on a day. A reading below an earlier one stands too: the forecast explains it, or a
    later row that corrects it does."""
    if read_on > local_day(at):
        raise ValidationError(
            {"read_on": f"{day_in_words(read_on)} lies in the future. Give the day the meter was read."}
        )
    if entered.si > MOST_METER_SI[Meter(meter)]:
        raise ValidationError({"entered": f"{entered} is more than any such meter shows. Read it once more."})
    if corrects and (corrects.vehicle_id != vehicle.pk or corrects.meter != meter):
        raise ValidationError("A correction belongs to the same vehicle and meter as the reading it corrects.")
    Vehicle.objects.select_for_update(no_key=True).get(pk=vehicle.pk)
    if corrects and MeterReading.objects.filter(corrects=corrects).exists():
        raise Conflict("Somebody has corrected this reading already. Open the vehicle's page again.", code="corrected")
    reading = MeterReading(
        vehicle=vehicle,
        meter=meter,
        value_si=entered.si,
        figures=entered.figures,
        unit=entered.unit,
        read_on=read_on,
        source=source,
        by=by,
        recorded_at=at,
        corrects=corrects,
    )
    reading.full_clean()
    reading.save()
    mark_forecast_stale(vehicle=vehicle)
    return reading


@transaction.atomic
def record_meters(
    *,
    vehicle: Vehicle,
    distance: Entered | None = None,
    hours: Entered | None = None,
    read_on: date,
    source: str,
    by: User | None,
    at: datetime,
    corrects: MeterReading | None = None,
    confirmed: bool = False,
) -> MeterReading:
    """Note one or both meters of a vehicle as read on one day; both or none. The last reading is the answer.

    Refused with "doubtful" when a figure hardly fits the earlier ones; confirmed=True settles it.
    """
    made = None
    given = [(Meter.DISTANCE, distance), (Meter.HOURS, hours)]
    check_meters(
        vehicle=vehicle, meters=[(meter, one) for meter, one in given if one], on=read_on, confirmed=confirmed,
        corrects=corrects,
    )  # fmt: skip
    for field, meter, entered in [("distance", Meter.DISTANCE, distance), ("hours", Meter.HOURS, hours)]:
        if entered is None:
            continue
        try:
            made = record_meter(
                vehicle=vehicle,
                meter=meter,
                entered=entered,
                read_on=read_on,
                source=source,
                by=by,
                at=at,
                corrects=corrects,
            )
        except ValidationError as error:
            raise renamed(error, entered=field) from error
    if made is None:
        raise ValidationError("Neither meter has a reading. Give the odometer or the hour meter.")
    return made


def check_meters(
    *,
    vehicle: Vehicle,
    meters: list[tuple[str, Entered]],
    on: date,
    confirmed: bool,
    corrects: MeterReading | None = None,
) -> None:
    """Ask about figures that hardly fit the earlier ones: a refusal on each meter, "doubtful", unless confirmed."""
    if confirmed:
        return
    standing = vehicle.meter_readings.standing().filter(read_on__lte=on)
    readings = [one for one in standing if corrects is None or one.pk != corrects.pk]
    questions = {
        Meter(meter).value: ValidationError(question, code="doubtful")
        for meter, entered in meters
        if (question := doubt(Meter(meter), entered, on, readings))
    }
    if questions:
        raise ValidationError(questions)


def mark_forecast_stale(*, vehicle: Vehicle) -> None:
    """Something the forecast rests on has changed; reminders compute it anew before they use it."""
    Vehicle.objects.filter(pk=vehicle.pk).update(forecast_stale=True)


def _check_year(model: VehicleModel, model_year: int) -> None:
    """Under a lock, so that the years of the model are not narrowed meanwhile."""
    known = VehicleModel.objects.select_for_update(no_key=True).filter(pk=model.pk).first()
    if known is None:
        raise refused("model", f"{model} was taken out of the catalogue just now. Choose another model.", "gone")
    known.check_year(model_year)


def _tell(by, thing, what, at):
    staff.note(who=by, kind=thing._meta.model_name, key=thing.pk, what=what, at=at)


@transaction.atomic
def create_vehicle_model(
    *, maker: str, name: str, year_from: int, year_to: int | None = None, by: User, at: datetime
) -> VehicleModel:
    """Enter a vehicle model and the model years it was built in; year_to None means that it is still built.

    A second one of the same name has other years: maker, name and model year lead to one entry.
    """
    model = VehicleModel(maker=one_line(maker), name=one_line(name), year_from=year_from, year_to=year_to)
    _check_twin(model)
    model.full_clean()
    save_new(model)
    _tell(by, model, f"entered: {model}, built {model.years()}", at)
    return model


@transaction.atomic
def change_vehicle_model(
    *,
    vehicle_model: VehicleModel,
    version: int,
    maker: str,
    name: str,
    year_from: int,
    year_to: int | None = None,
    by: User,
    at: datetime,
) -> VehicleModel:
    """Correct maker, name or years. Come by way of dampers.services, which asks what is entered at its corners.

    Years that leave a vehicle of the book outside are refused.
    """
    model = unchanged(VehicleModel, vehicle_model.pk, version)
    before = f"{model}, built {model.years()}"
    model.maker, model.name, model.year_from, model.year_to = one_line(maker), one_line(name), year_from, year_to
    model.version += 1
    model.full_clean()
    _check_twin(model)
    _check_vehicles_inside(model)
    model.save()
    _tell(by, model, f"changed: {before}; now {model}, built {model.years()}", at)
    return model


def _check_twin(model: VehicleModel) -> None:
    same = VehicleModel.objects.filter(maker__iexact=model.maker, name__iexact=model.name).exclude(pk=model.pk)
    if twin := same.filter(sharing_years(model.year_from, model.year_to)).first():
        raise refused("name", f"{twin} is in the catalogue already, built {twin.years()}. Open that one.", "known")


def _check_vehicles_inside(model: VehicleModel) -> None:
    sides = {"year_from": Q(model_year__lt=model.year_from)}
    if model.year_to:
        sides["year_to"] = Q(model_year__gt=model.year_to)
    for field, outside in sides.items():
        rows = list(model.vehicles.filter(outside).select_related("customer").order_by("model_year", "pk"))
        if not rows:
            continue
        told = names(rows, lambda one: f"{one.model_year} of {one.customer}")
        words = (
            f"A vehicle of the book would be left outside these years: {told}. Give years that hold it too, or correct "
            "its model year first."
            if len(rows) == 1
            else f"{len(rows)} vehicles of the book would be left outside these years: {told}. Give years that hold "
            "them too, or correct their model years first."
        )
        raise refused(field, words, "vehicles_outside")
