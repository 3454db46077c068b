"""Orders for papers, made the way the desk and the bench make them. Names and dampers are invented."""

from datetime import timedelta
from io import BytesIO

from pypdf import PdfReader

from shop.calc.units import parse
from shop.dampers.measures import FOUND_AND_LEFT, QUANTITY
from shop.dampers.models import Position
from shop.specs.models import KitMeasure, SheetPosition
from shop.workorders.models import TOOL_FOR
from shop.workorders.selectors import job_steps
from shop.workorders.services import book, check_in, finish_step, record_reading, second_check
from tests import factories
from tests.factories import NOON

CORNERS = [Position.FRONT_LEFT, Position.FRONT_RIGHT, Position.REAR_LEFT, Position.REAR_RIGHT]


def make_family(**given):
    """A damper model with the figures of one damper family and the IFP depths of one vehicle.

    Common practice, no source: 18 lbf·ft and 200 psi to model year 2014, 22 lbf·ft and 100 psi from 2015; IFP depth
    2.4 in in front, 3.4 in in the rear. The oil volume is invented.
    """
    model = factories.make_damper_model(**given)
    for years, torque, charge in [({"year_to": 2014}, 18, 200), ({"year_from": 2015}, 22, 100)]:
        for position, depth in [(SheetPosition.FRONT, 2.4), (SheetPosition.REAR, 3.4)]:
            factories.make_sheet(model, torque=torque, charge=charge, depth=depth, position=position, **years)
    stock_kit(model)
    return model


def stock_kit(model):
    """A parts list of a seal kit, the sheet's oil and 4 g of grease, all of it on the shelf."""
    kit = factories.make_part(on_hand=20, name=f"seal kit for {model}")
    oil = factories.make_part(name="Tarn No. 5", measure=KitMeasure.VOLUME, bin="F-02")
    factories.make_container(oil, 1_000_000, name="1 L bottle", full=20)
    grease = factories.make_part(on_hand=500_000, name="seal grease", measure=KitMeasure.MASS, bin="F-05")
    factories.make_kit_line(model, kit.number, name="seal kit")
    factories.make_kit_line(model, oil.number, amount=None, measure=KitMeasure.VOLUME, name="Tarn No. 5")
    factories.make_kit_line(model, grease.number, amount=4000, measure=KitMeasure.MASS, name="seal grease")


def make_booked(model=None, year=2015, corners=CORNERS, customer=None, complaint="leaks at the shaft", loose=0):
    """A booking of a vehicle's dampers at these corners, all of one model; or of so many loose ones."""
    customer = customer or factories.make_customer()
    model = model or make_family()
    vehicle = None if loose else factories.make_vehicle(customer=customer, model_year=year)
    if loose:
        dampers = [factories.make_damper(customer=customer, model=model, model_year=year) for _ in range(loose)]
    else:
        dampers = [factories.make_damper(vehicle, corner, model=model) for corner in corners]
    return book(
        customer=customer,
        vehicle=vehicle,
        dampers=dampers,
        complaint=complaint,
        arrives_on=NOON.date(),
        promised_for=NOON + timedelta(days=2, hours=4),
        by=factories.make_user("desk"),
        at=NOON,
    )


def make_checked_in(clicks="7", bench_temperature=None, **given):
    """The same on the benches: 4218 mi and 391 h on the meters, settings as found noted."""
    order = make_booked(**given)
    found = [
        ("compression_clicks", clicks, "count"),
        ("rebound_clicks", "11", "count"),
        ("preload_length", "121 mm", "length"),
    ]
    return check_in(
        order=order,
        meters=[("distance", parse("4218", "distance", "mi")), ("hours", parse("391", "time", "h"))]
        if order.vehicle
        else [],
        as_found=[
            (job, measure, parse(text, quantity, {"count": "clicks"}.get(quantity)))
            for job in order.jobs.all()
            for measure, text, quantity in found
        ],
        bench_temperature=bench_temperature,
        by=factories.make_user("desk"),
        at=NOON,
    )


def pages(pdf):
    """The text of each page, as one line."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(pdf)).pages]


def rebuild(job, tools, first, second, at=NOON, torque="22", left=("7", "11", "121 mm")):
    """Everything the procedure asks for, in tolerance, checked by a second person; the job stays open."""
    read = {"shaft_nut_torque": torque, "charge": "100", "ifp_depth": "3.4", "oil_volume": "305"}
    units = {"shaft_nut_torque": "lbf·ft", "charge": "psi", "ifp_depth": "in", "oil_volume": "mL"}
    for state in job_steps(job):
        step, measure = state.step, state.step.reading
        if measure:
            record_reading(
                job=job,
                measure=measure,
                moment="set",
                entered=parse(read[measure], QUANTITY[measure], units[measure]),
                tool=tools.get(measure),
                bench_temperature=parse("61", "temperature", "°F") if measure == "charge" else None,
                by=first,
                at=at,
            )
        if step.as_left:
            for measure, text in zip(FOUND_AND_LEFT, left, strict=True):
                unit = "clicks" if QUANTITY[measure] == "count" else "mm"
                record_reading(
                    job=job,
                    measure=measure,
                    moment="left",
                    entered=parse(text, QUANTITY[measure], unit),
                    by=first,
                    at=at,
                )
        finish_step(job=job, step=step, by=first, at=at)
        if step.critical:
            second_check(job=job, step=step, by=second, at=at)


def make_tools():
    """A tool in calibration for each figure that needs one."""
    return {measure: factories.make_tool(kind) for measure, kind in TOOL_FOR.items()}
