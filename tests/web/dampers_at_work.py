"""An order on the benches, its dampers as far as a test needs them, through the domain's own functions."""

from datetime import timedelta

from django.urls import reverse

from shop.calc.units import parse
from shop.core.clock import local_day
from shop.dampers.measures import Measure
from shop.dampers.models import Position
from shop.staff.services import set_bench_pin
from shop.workorders import services
from shop.workorders.models import ToolKind
from shop.workorders.selectors import job_steps
from tests import factories as make
from tests.factories import NOON

PIN = "2468"
ZERO_PRESSURE, TORQUE, FILL, AIR, DEPTH, CHARGE, PROVE, REFIT, CLOSE = 3, 8, 9, 10, 11, 12, 13, 14, 15


def order_on_the_benches(desk, *, dampers=1, model=None, sheet=True, at=NOON, found=True, check_in=True, **figures):
    """Dampers of a 2014 vehicle, a kit each on the shelf. 18 lbf·ft, 200 psi, 2.4 in: common practice, no source."""
    model = model or make.make_damper_model()
    vehicle = make.make_vehicle(model_year=2014)
    corners = [make.make_damper(vehicle, position, model=model) for position in Position.values[:dampers]]
    if sheet:
        make.make_sheet(model, **{"torque": 18, "charge": 200, "depth": 2.4} | figures)
    kit = make.make_part(on_hand=dampers, name="seal kit")
    make.make_kit_line(model, kit.number)
    order = services.book(
        customer=vehicle.customer, vehicle=vehicle, dampers=corners, complaint="leaks at the shaft",
        arrives_on=local_day(at), promised_for=at + timedelta(days=1), by=desk, at=at,
    )  # fmt: skip
    if not check_in:
        return order
    settings = [
        (Measure.COMPRESSION_CLICKS, parse("12", "count", "clicks")),
        (Measure.REBOUND_CLICKS, parse("11", "count", "clicks")),
        (Measure.PRELOAD_LENGTH, parse("3.35 in", "length")),
    ]
    as_found = [(job, measure, figure) for job in order.jobs.all() for measure, figure in settings] if found else []
    return services.check_in(order=order, meters=[], as_found=as_found, by=desk, at=at)


def tools(at=NOON):
    """One of each kind in calibration, and a wrench that is not."""
    today = local_day(at)
    good = {"calibrated_on": today - timedelta(days=100), "calibration_due_on": today + timedelta(days=265)}
    old = {"calibrated_on": today - timedelta(days=800), "calibration_due_on": today - timedelta(days=400)}
    return {
        "wrench": make.make_tool(ToolKind.TORQUE_WRENCH, code="TW-2", **good),
        "old wrench": make.make_tool(ToolKind.TORQUE_WRENCH, code="TW-9", **old),
        "gauge": make.make_tool(ToolKind.GAUGE, code="G-1", **good),
        "depth tool": make.make_tool(ToolKind.DEPTH_TOOL, code="D-1", **good),
    }


def work(job, first, second, *, to=99, tools=None, left=True, at=NOON):
    """Do every step before the one with the number to, as it should be done."""
    for state in job_steps(job):
        step = state.step
        if step.number >= to:
            return
        if step.reading:
            record(job, step.reading, first, tools=tools, at=at)
        elif step.as_left and left:
            leave(job, first, at=at)
        services.finish_step(job=job, step=step, by=first, at=at)
        if step.critical:
            services.second_check(job=job, step=step, by=second, at=at)


def record(job, measure, by, text=None, tools=None, at=NOON, **given):
    text, quantity, tool = {
        "shaft_nut_torque": (text or "18.2 lbf·ft", "torque", "wrench"),
        "oil_volume": (text or "304 mL", "volume", None),
        "ifp_depth": (text or "2.41 in", "length", "depth tool"),
        "charge": (text or "201 psi", "pressure", "gauge"),
    }[measure]
    return services.record_reading(
        job=job, measure=measure, moment="set", entered=parse(text, quantity), tool=tools[tool] if tool else None,
        bench_temperature=parse("68 °F", "temperature") if measure == "charge" else None, by=by, at=at, **given,
    )  # fmt: skip


def leave(job, by, only=None, at=NOON, **figures):
    """Note the settings as left: back to as found unless figures say otherwise; with only, one of them."""
    as_found = {"compression_clicks": "12", "rebound_clicks": "11", "preload_length": "3.35"}
    for measure, text in (as_found | figures).items():
        if only in (None, measure):
            entered = parse(text, "length", "in") if measure == "preload_length" else parse(text, "count", "clicks")
            services.record_reading(job=job, measure=measure, moment="left", entered=entered, by=by, at=at)


def with_pin(user, pin=PIN):
    return set_bench_pin(user=user, pin=pin, by="test", at=NOON)


def at_step(job, number):
    return reverse("tablet:step", args=[job.pk, number])


def at_check(job, number):
    return reverse("tablet:check", args=[job.pk, number])
