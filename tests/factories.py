"""Plain makers of rows for tests: make_x(**given), everything else by default. Data here is invented."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import count

from shop.customers.models import Customer, Meter, MeterReading, ReadingSource, Vehicle, VehicleModel
from shop.dampers.models import Adjuster, AdjusterKind, Construction, Damper, DamperModel, Fitment, Position
from shop.parts.models import Container, Movement, MovementKind, Part
from shop.specs.history import content_of
from shop.specs.models import KitLine, KitMeasure, SheetEdition, SheetPosition, SheetStatus, SpecSheet, SpecValue
from shop.staff.models import Role, User
from shop.workorders.models import Tool, ToolKind

NOON = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)  # 12:00 at the shop
MILE = 1609.344
LBF_FT = 1.3558179483314004
PSI = 6894.757293168361
INCH = 0.0254
ML = 1e-6
PASSWORD = "grease-and-patience"

_number = count(1)


def make_user(role=Role.MANAGER, **given):
    n = next(_number)
    names = {"username": f"{role}{n}", "first_name": "Test", "last_name": f"{Role(role).label} {n}"}
    user = User(role=role, **names | given)
    user.set_password(PASSWORD)
    user.save()
    return user


def make_bench_hours(person=None, minutes=420, from_day=date(2026, 1, 5)):
    """The shop works Monday to Friday from 8 to 17, and this person is at the benches for so many minutes of each day.

    Answers the person.
    """
    from shop.staff.models import BenchHours, WorkingHours

    person = person or make_user(Role.TECHNICIAN)
    for weekday in range(7):
        span = {"opens": time(8), "closes": time(17)} if weekday < 5 else {}
        WorkingHours.objects.get_or_create(from_day=from_day, weekday=weekday, defaults=span)
        BenchHours.objects.create(
            person=person, from_day=from_day, weekday=weekday, minutes=minutes if weekday < 5 else 0
        )
    return person


def make_absence(person, **given):
    from shop.staff.models import Absence

    defaults = {"first_day": date(2026, 12, 21), "last_day": date(2026, 12, 23), "why": "leave"}
    return Absence.objects.create(person=person, **defaults | given)


def make_closed_day(**given):
    """The fourth Thursday of November, every year."""
    from shop.staff.models import ClosedDay

    rule = {"month": 11, "weekday": 3, "nth": 4}
    return ClosedDay.objects.create(**{"name": "Thanksgiving Day", "first_day": date(2026, 1, 1)} | rule | given)


def make_customer(**given):
    defaults = {"name": f"Ines Calloway {next(_number)}", "email": "ines@example.com", "created_at": NOON}
    return Customer.objects.create(**defaults | given)


def make_vehicle_model(**given):
    defaults = {"maker": "Ostrander", "name": f"Ridge {next(_number)}", "year_from": 2010, "year_to": 2026}
    return VehicleModel.objects.create(**defaults | given)


def make_vehicle(**given):
    customer = given.pop("customer", None) or make_customer()
    model = given.pop("model", None) or make_vehicle_model()
    return Vehicle.objects.create(customer=customer, model=model, **{"model_year": 2015, "created_at": NOON} | given)


def make_meter_reading(vehicle, miles=None, hours=None, on=date(2026, 11, 25), **given):
    meter = Meter.DISTANCE if miles is not None else Meter.HOURS
    value, unit = (miles * MILE, "mi") if miles is not None else (hours * 3600, "h")
    defaults = {
        "meter": meter, "value_si": value, "figures": str(miles if miles is not None else hours), "unit": unit,
        "read_on": on, "source": ReadingSource.DESK, "by": None, "recorded_at": NOON,
    }  # fmt: skip
    return MeterReading.objects.create(vehicle=vehicle, **defaults | given)


def make_damper_model(**given):
    defaults = {"maker": "Hallinde", "name": f"H{next(_number)}", "construction": Construction.RESERVOIR}
    return DamperModel.objects.create(**defaults | given)


def make_adjuster(damper_model, kind=AdjusterKind.REBOUND, clicks=22):
    return Adjuster.objects.create(damper_model=damper_model, kind=kind, clicks=clicks)


def make_fitment(vehicle_model, position, damper_model, **given):
    return Fitment.objects.create(
        vehicle_model=vehicle_model, position=position, damper_model=damper_model, **{"year_from": 2010} | given
    )


def make_damper(vehicle=None, position=Position.REAR_RIGHT, **given):
    defaults = {"model_year": vehicle.model_year if vehicle else 2015, "serial": f"S-{next(_number)}"}
    model = given.pop("model", None) or make_damper_model()
    customer = given.pop("customer", None) or (vehicle.customer if vehicle else make_customer())
    where = {"vehicle": vehicle, "position": position if vehicle else ""}
    return Damper.objects.create(customer=customer, model=model, **where | defaults | given)


def make_sheet(
    damper_model, torque=22, charge=100, depth=3.4, oil=305, status=SheetStatus.VERIFIED, printed=None, **given
):
    """A sheet in lbf·ft, psi, in and mL; tolerances ± 5 %, ± 5 psi, ± 0.03 in, ± 5 mL. None leaves a value out.

    printed gives columns of a value otherwise: {"charge": {"page": "p. 41"}}.
    """
    defaults = {
        "code": f"H-{next(_number)}", "version": 1, "position": SheetPosition.ANY,
        "source_document": "common practice, no source", "source_revision": "none", "source_page": "none",
        "entered_by": None, "entered_at": NOON,
    }  # fmt: skip
    given = defaults | given
    given["entered_by"] = given["entered_by"] or make_user(Role.MANAGER)
    verified = {"verified_by": given.pop("verified_by", None), "verified_at": given.pop("verified_at", NOON)}
    sheet = SpecSheet.objects.create(damper_model=damper_model, status=SheetStatus.DRAFT, **given)
    for measure, value, unit, factor, tolerance, words in [
        ("shaft_nut_torque", torque, "lbf·ft", LBF_FT, (torque or 0) * 0.05, "± 5 %"),
        ("charge", charge, "psi", PSI, 5, "± 5"),
        ("ifp_depth", depth, "in", INCH, 0.03, "± 0.03"),
        ("oil_volume", oil, "mL", ML, 5, "± 5"),
    ]:
        if value is not None:
            columns = {
                "value_si": value * factor, "low_si": (value - tolerance) * factor,
                "high_si": (value + tolerance) * factor, "figures": f"{value:g}", "unit": unit, "tolerance": words,
            }  # fmt: skip
            SpecValue.objects.create(sheet=sheet, measure=measure, **columns | (printed or {}).get(measure, {}))
    SheetEdition.objects.create(sheet=sheet, number=1, by=sheet.entered_by, at=NOON, content=content_of(sheet))
    if status != SheetStatus.DRAFT:  # what is verified can be changed no more, so this comes last
        sheet.verified_by = verified["verified_by"] or make_user(Role.TECHNICIAN)
        sheet.verified_at, sheet.status = verified["verified_at"], SheetStatus.VERIFIED
        sheet.save()
    if status == SheetStatus.WITHDRAWN:
        sheet.status = status
        sheet.save()
    return sheet


def make_draft(by=None, name=None, change=None):
    """A draft with the steps of the current procedure: its next version, or with a name one of that name.

    change(steps) may do to the rows what no page would let through.
    """
    from shop.specs.selectors import current_procedure
    from shop.specs.services import change_procedure, start_procedure

    by, current = by or make_user(Role.MANAGER), current_procedure()
    if name:
        draft = start_procedure(name=name, copy_of=current, by=by, at=NOON)
    else:
        draft = change_procedure(procedure=current, by=by, at=NOON)
    if change:
        change(draft.steps)
    return draft


def put_in_force(draft, by=None):
    from shop.specs.selectors import current_procedure
    from shop.specs.services import make_current

    seen = {"edition": draft.edition, "instead_of": current_procedure()}
    return make_current(procedure=draft, **seen, why="learned on the bench", by=by or make_user(Role.MANAGER), at=NOON)


def make_part(number=None, on_hand=0, **given):
    n = next(_number)
    defaults = {"name": f"seal kit {n}", "measure": KitMeasure.COUNT, "bin": "B-07"}
    part = Part.objects.create(number=number or f"SK-{n}", **defaults | given)
    if on_hand:
        make_movement(part, on_hand)
    return part


def make_container(part, size, price="19.50", name=None, full=0, **given):
    container = Container.objects.create(part=part, size=size, price=price, name=name or f"{size} bottle", **given)
    if full:
        make_movement(part, full * size, container=container)
    return container


def make_movement(part, amount, container=None, **given):
    defaults = {"kind": MovementKind.RECEIVED, "by": None, "at": NOON}
    given = defaults | given
    given["by"] = given["by"] or make_user(Role.DESK)
    return Movement.objects.create(part=part, container=container, amount=amount, **given)


def make_supplier(**given):
    from shop.parts.services import create_supplier

    by = given.pop("by", None) or make_user(Role.MANAGER)
    defaults = {"name": f"Ferrisgate Supply {next(_number)}", "lead_days": 5, "email": "orders@example.com"}
    return create_supplier(**defaults | given, by=by, at=NOON)


def make_item(part=None, supplier=None, price="8.00", **given):
    """What a supplier sells, with a price that holds from NOON's day on."""
    from shop.parts.services import add_item

    given["by"] = given.get("by") or make_user(Role.MANAGER)
    price = None if price is None else Decimal(price)
    return add_item(supplier=supplier or make_supplier(), part=part or make_part(), price=price, **{"at": NOON} | given)


def make_purchase(*lines, sent=True, expected_on=date(2026, 12, 2), by=None, at=NOON):
    """An order of (item, units) pairs, all of one supplier, sent unless told otherwise."""
    from shop.parts.services import Wanted, send_order, start_order

    by = by or make_user(Role.DESK)
    wanted = [Wanted(item, units) for item, units in lines]
    order = start_order(supplier=wanted[0].item.supplier, wanted=wanted, by=by, at=at)
    return send_order(order=order, how="email", expected_on=expected_on, by=by, at=at) if sent else order


def make_delivery(by=None, units=8):
    """An order of twelve of which eight came with the delivery note n-1, and a reorder point set by hand."""
    from shop.parts.services import Arrived, fix_reorder, receive_delivery

    by, part = by or make_user(Role.DESK), make_part()
    order = make_purchase((make_item(part), 12), by=by)
    fix_reorder(part=part, point=2, amount=6, why="season", by=by, at=NOON)
    arrived = [Arrived(order.lines.get(), units)]
    return receive_delivery(order=order, delivery_note="n-1", arrived=arrived, by=by, at=NOON)


def make_kit_line(damper_model, part_number, amount=1, measure=KitMeasure.COUNT, **given):
    return KitLine.objects.create(
        damper_model=damper_model,
        part_number=part_number,
        amount=amount,
        measure=measure,
        **{"name": "seal kit"} | given,
    )


def make_alternate(line, part_number, **given):
    """A line that stands in for another one of its list."""
    rank = 1 + line.alternates.count()
    return make_kit_line(
        line.damper_model, part_number, stands_in_for=line, **{"rank": rank, "measure": line.measure} | given
    )


def make_import_run(by=None, **given):
    """A file of stock items that was refused, so that nothing of it is left on the disk."""
    from shop.exchange.models import ImportRun

    defaults = {
        "kind": "parts", "file_name": "parts.csv", "digest": "0" * 64, "uploaded_at": NOON, "state": "refused",
        "rows": 1, "problems": [{"line": 2, "column": "Name", "value": "", "sentence": "Nothing stands here."}],
        "problem_count": 1,
    }  # fmt: skip
    return ImportRun.objects.create(uploaded_by=by or make_user(Role.MANAGER), **defaults | given)


def make_tool(kind=ToolKind.TORQUE_WRENCH, **given):
    low, high = {
        ToolKind.TORQUE_WRENCH: (5 * LBF_FT, 60 * LBF_FT),
        ToolKind.GAUGE: (0, 300 * PSI),
        ToolKind.DEPTH_TOOL: (0, 6 * INCH),
    }[kind]
    defaults = {
        "code": f"T-{next(_number)}", "low_si": low, "high_si": high,
        "calibrated_on": NOON.date() - timedelta(days=100), "calibration_due_on": NOON.date() + timedelta(days=265),
    }  # fmt: skip
    return Tool.objects.create(kind=kind, **defaults | given)


def make_order(by=None, dampers=None, vehicle=None, **given):
    """A booked order, through the domain function, at NOON for the same day."""
    from shop.workorders.services import book

    dampers = dampers or [make_damper(vehicle)]
    defaults = {
        "customer": dampers[0].customer, "vehicle": vehicle or dampers[0].vehicle, "complaint": "leaks at the shaft",
        "arrives_on": date(2026, 11, 25), "promised_for": NOON + timedelta(days=2), "at": NOON,
    }  # fmt: skip
    return book(dampers=dampers, by=by or make_user(Role.DESK), **defaults | given)


def make_open_job(by=None, damper=None, found=11, **given):
    """The only job of an order that is checked in, with rebound clicks as found."""
    from shop.calc.units import parse
    from shop.workorders.services import check_in

    by = by or make_user(Role.DESK)
    order = make_order(by=by, dampers=[damper or make_damper()])
    as_found = [(order.jobs.get(), "rebound_clicks", parse(str(found), "count", "clicks"))]
    check_in(order=order, meters=[], as_found=as_found, by=by, at=NOON)
    return order.jobs.get()


def make_agreement(order, up_to="420.00", by=None, **given):
    """What was agreed at check-in; up_to=None: no limit, ask first."""
    from decimal import Decimal

    from shop.workorders.services import NewAgreement, note_agreement

    agreed = {"what": "Rebuild", "up_to": Decimal(up_to) if up_to else None, "agreed_by": order.customer.name} | given
    return note_agreement(order=order, agreed=NewAgreement(**agreed), by=by or make_user(Role.DESK), at=NOON)


def make_question(order, job=None, by=None, **given):
    """A question that the desk has asked the customer."""
    from decimal import Decimal

    from shop.workorders.agreed import agreed_total
    from shop.workorders.services import ask_customer

    defaults = {"what": "new shaft", "why": "the chrome is worn through", "by_how_much": Decimal("85.00"), "at": NOON}
    if agreed_total(order) is None:
        defaults["new_total"] = Decimal("505.00")
    return ask_customer(order=order, job=job, by=by or make_user(Role.DESK), **defaults | given)


def make_photo(job, by=None, **given):
    """A photo of a damper, whose picture lies nowhere."""
    from shop.workorders.models import Photo

    defaults = {"moment": "found", "digest": "a" * 64, "width": 40, "height": 30, "at": NOON}
    return Photo.objects.create(order=job.order, job=job, by=by or make_user(Role.DESK), **defaults | given)


def open_the_gate(job, first, second):
    """Everything up to "zero pressure proven", checked by the second person."""
    from shop.workorders.selectors import job_steps
    from shop.workorders.services import finish_step, second_check

    for state in job_steps(job):
        finish_step(job=job, step=state.step, by=first, at=NOON)
        if state.step.critical:
            second_check(job=job, step=state.step, by=second, at=NOON)
            return


def make_drum(name=None, litres=200, **given):
    from shop.parts.models import Drum

    given = {"holds": "oil", "made_at": NOON} | given
    return Drum.objects.create(name=name or f"Used Oil {next(_number)}", capacity=round(litres * 1_000_000), **given)


def make_oil_entry(drum=None, millilitres=340, **given):
    """What was poured into a drum; below zero: handed over."""
    from shop.parts.models import OilEntry

    defaults = {"kind": "in", "fluid": "oil"} if millilitres >= 0 else {"kind": "out", "hauler": "Basin Oil Recovery"}
    defaults |= {"figures": str(abs(millilitres)), "unit": "mL", "on": NOON.date(), "at": NOON}
    given = defaults | {"by": None} | given
    given["by"] = given["by"] or make_user(Role.DESK)
    return OilEntry.objects.create(drum=drum or make_drum(), amount=millilitres * 1000, **given)


def make_oil_paper(entry=None, digest="d" * 64, **given):
    from shop.parts.models import OilPaper

    entry = entry or make_oil_entry(millilitres=-340)
    given = {"width": 10, "height": 10, "file_name": "manifest.pdf", "by": entry.by, "at": NOON} | given
    return OilPaper.objects.create(entry=entry, digest=digest, **given)


def make_pick_list(part, amount, tag="1001-1", title="LG-1001"):
    """A pick list with one line, filled: it holds what is free."""
    from shop.picklists.models import PickList
    from shop.picklists.services import Need, fill

    pick_list = PickList.objects.create(title=title, made_at=NOON)
    fill(pick_list=pick_list, needs=[Need(tag, part.number, part.name, part.measure, amount)], at=NOON)
    return pick_list
