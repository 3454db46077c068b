"""A small shop for the API's tests. Names are invented."""

from datetime import timedelta

from shop.calc.units import parse
from shop.dampers.models import Position
from shop.specs.models import KitMeasure, SheetPosition
from shop.workorders import services
from shop.workorders.models import TOOL_FOR
from tests import factories as make
from tests.factories import NOON

PROMISED = (NOON + timedelta(days=2)).isoformat()
ARRIVES = NOON.date().isoformat()


def make_family():
    """A vehicle model and the damper model at its four corners, with sheets, parts list, parts and tools.

    Common practice, no source: 18 lbf·ft and 200 psi to model year 2014, 22 lbf·ft and 100 psi from 2015; IFP depth
    2.4 in in front, 3.4 in in the rear. The oil volume is invented.
    """
    damper_model = make.make_damper_model()
    vehicle_model = make.make_vehicle_model()
    for position in Position.values:
        make.make_fitment(vehicle_model, position, damper_model)
    for years, torque, charge in [({"year_to": 2014}, 18, 200), ({"year_from": 2015}, 22, 100)]:
        for position, depth in [(SheetPosition.FRONT, 2.4), (SheetPosition.REAR, 3.4)]:
            make.make_sheet(damper_model, torque=torque, charge=charge, depth=depth, position=position, **years)
    kit = make.make_part(on_hand=5)
    oil = make.make_part(name="Tarn No. 5", measure=KitMeasure.VOLUME)
    make.make_container(oil, 1_000_000, name="1 L bottle", full=2)
    make.make_kit_line(damper_model, kit.number)
    make.make_kit_line(damper_model, oil.number, amount=None, measure=KitMeasure.VOLUME, name="Tarn No. 5")
    tools = {measure.value: make.make_tool(kind).code for measure, kind in TOOL_FOR.items()}
    return {"vehicle_model": vehicle_model, "damper_model": damper_model, "kit": kit, "oil": oil, "tools": tools}


def make_booked(at_desk, family=None, year=2015):
    """An order for the four dampers of a new customer's vehicle, as the API tells it."""
    family = family or make_family()
    vehicle = make.make_vehicle(model=family["vehicle_model"], model_year=year)
    dampers = at_desk.made(f"vehicles/{vehicle.pk}/fit-dampers/")
    return at_desk.made("work-orders/", booking(vehicle, dampers))


def booking(on, fitted, **given):
    body = {
        "customer": on.customer_id,
        "vehicle": on.pk,
        "dampers": [damper["id"] for damper in fitted],
        "complaint": "leaks at the shaft",
        "arrives_on": ARRIVES,
        "promised_for": PROMISED,
    }
    return body | given


def make_on_bench(at_desk, family=None):
    """The same order checked in, with the rebound clicks found on its first damper."""
    order = make_booked(at_desk, family)
    found = [{"job": order["jobs"][0]["id"], "measure": "rebound_clicks", "entered": "11 clicks"}]
    return at_desk.made(f"work-orders/{order['id']}/check-in/", {"as_found": found})


def past_the_gate(job, at_bench, second):
    """Spring off, pressure proven to be zero and checked."""
    for number in (1, 2, 3):
        at_bench.made(f"jobs/{job}/steps/{number}/done/")
    check(job, 3, at_bench, second)


def make_one_on_bench(family, desk, technician, second):
    """Id of the job of a single damper past the gate, by the domain's own functions: the short way there."""
    vehicle = make.make_vehicle(model=family["vehicle_model"])
    damper = make.make_damper(vehicle, Position.FRONT_LEFT, model=family["damper_model"])
    order = services.book(
        customer=vehicle.customer, vehicle=vehicle, dampers=[damper], complaint="leaks", arrives_on=NOON.date(),
        promised_for=NOON, by=desk, at=NOON,
    )  # fmt: skip
    job = order.jobs.get()
    found = [(job, "rebound_clicks", parse("11 clicks", "count"))]
    services.check_in(order=order, meters=[], as_found=found, by=desk, at=NOON)
    steps = job.order.jobs.get().procedure.steps.filter(number__lte=3)
    for step in steps:
        services.finish_step(job=job, step=step, by=technician, at=NOON)
    services.second_check(job=job, step=steps[2], by=second, at=NOON)
    return job.pk


def check(job, number, at_bench, second, pin="2468"):
    """The second person's check of a step, of the reading that stands there."""
    step = next(one for one in at_bench.get(f"jobs/{job}/").json()["steps"] if one["number"] == number)
    reading = step["reading"] and step["reading"]["id"]
    asked = {"checker": second.username, "pin": pin, "reading": reading}
    return at_bench.made(f"jobs/{job}/steps/{number}/second-check/", asked)
