"""The picture of the gas pressure along the stroke: where each line and each word stands, for a template to draw."""

from dataclasses import dataclass, replace
from math import ceil, floor, log10

from shop.calc.errors import OutOfRange
from shop.calc.gas import Stroke
from shop.calc.units import from_si, to_si
from shop.core.amounts import in_full, in_other_unit, shop_unit
from shop.specs.gas import lift_of, stroke_of
from shop.workorders.charge import aim_today, bench_conditions, conditions
from shop.workorders.frozen import FrozenSheet

# Of the drawing, in its own units; the axes leave room for their words.
WIDTH, HEIGHT = 480, 250
LEFT, RIGHT, TOP, BOTTOM = 52, 366, 14, 206
MOST_TICKS = 6
WORDS_BELOW = 14  # the template's dy beside a point


@dataclass(frozen=True)
class Tick:
    at: str
    words: str


@dataclass(frozen=True)
class Mark:
    """A point or a line of the picture with its words; y_words keeps words apart that would lie on each other."""

    x: str
    y: str
    y_words: str
    words: str


@dataclass(frozen=True)
class Picture:
    """All as text: two pictures are the same exactly when they show the same."""

    title: str
    desc: str
    slow: str
    fast: str
    x_ticks: list[Tick]
    y_ticks: list[Tick]
    x_words: str
    y_words: str
    spec: Mark
    ends: list[Mark]
    today: Mark | None
    limit: Mark | None
    facts: list[str]


def picture(sheet: FrozenSheet, bench_k: float | None = None) -> Picture | None:
    """The pressure along the stroke of a sheet's damper, with today's charge for a bench temperature in K.

    None while a size of the damper, the charge or the IFP depth is not known, or they cannot belong together.
    """
    gas = sheet.gas
    try:
        stroke = stroke_of(sheet.geometry, gas)
    except OutOfRange:
        return None
    if stroke is None or len(stroke.points) < 2:
        return None
    limit_pa = sheet.geometry.highest_gas_pa
    aim = aim_today(sheet, bench_k) if bench_k is not None else None
    length, pressure = shop_unit("length"), shop_unit("pressure")
    highest = max(filter(None, [stroke.points[-1].fast_pa, limit_pa, aim.reading_pa if aim else 0]))
    x_step, y_step = _step(from_si(stroke.stroke_m, length)), _step(from_si(highest, pressure) * 1.04)
    top = to_si(ceil(from_si(highest, pressure) * 1.04 / y_step) * y_step, pressure)

    def x(metres):
        return LEFT + metres / stroke.stroke_m * (RIGHT - LEFT)

    def y(pa):
        return BOTTOM - pa / top * (BOTTOM - TOP)

    def path(name):
        return " ".join(f"{x(one.travel_m):.1f},{y(getattr(one, name)):.1f}" for one in stroke.points)

    last = stroke.points[-1]
    ends = [("fast", last.fast_pa), ("slow", last.slow_pa)]
    right = [(f"{name} {in_full(pa, 'pressure')}", x(last.travel_m), y(pa)) for name, pa in ends]
    if limit_pa:
        right.append((f"limit {in_full(limit_pa, 'pressure')}", RIGHT, y(limit_pa)))
    marks = {words.split(" ")[0]: mark for words, mark in _apart(right)}
    spec = f"sheet {in_full(gas.charge_pa, 'pressure')}"
    left = [(spec, x(0), y(gas.charge_pa))]
    if aim:
        left.append((f"today {in_full(aim.reading_pa, 'pressure')}", x(0), y(aim.reading_pa)))
    near = stroke.points[(len(stroke.points) - 1) // 2]  # as far as the words reach
    points = {words.split(" ")[0]: mark for words, mark in _at_the_start(left, y(near.fast_pa))}
    facts = _facts(sheet, stroke)
    at = f"at {conditions(sheet)}"
    now = (
        f" Today at {bench_conditions(sheet, bench_k)} the charge to aim at is {in_full(aim.reading_pa, 'pressure')}."
        if aim
        else ""
    )
    return Picture(
        title=f"Gas pressure along the stroke, charged {at}",
        desc=f"From the {spec} at full extension to {_end(stroke)}.{now}"
        + (f" The shop's limit is {in_full(limit_pa, 'pressure')}." if limit_pa else ""),
        slow=path("slow_pa"),
        fast=path("fast_pa"),
        x_ticks=[
            Tick(f"{x(to_si(at, length)):.1f}", f"{at:g}") for at in _ticks(x_step, from_si(stroke.stroke_m, length))
        ],
        y_ticks=[Tick(f"{y(to_si(at, pressure)):.1f}", f"{at:g}") for at in _ticks(y_step, from_si(top, pressure))],
        x_words=f"shaft travel, {length}",
        y_words=f"gauge pressure, {pressure}",
        spec=points["sheet"],
        ends=[marks["fast"], marks["slow"]],
        today=points.get("today"),
        limit=marks.get("limit"),
        facts=facts,
    )


def _end(stroke: Stroke) -> str:
    if stroke.slow_pa is None:
        return "where the gas has no more room; full stroke is not reached"
    slow, fast = in_full(stroke.slow_pa, "pressure"), in_full(stroke.fast_pa, "pressure")
    return f"{slow} after a slow full stroke and {fast} after a fast one"


def _facts(sheet: FrozenSheet, stroke: Stroke) -> list[str]:
    """What the figures mean beside the picture, one line each."""
    facts = [
        f"IFP travels {_both(stroke.ifp_travel_m, 'length')}; "
        f"{_both(max(stroke.clearance_m, 0), 'length')} to the cap at full stroke"
    ]
    try:
        warm = stroke_of(sheet.geometry, sheet.gas, warm=True) if sheet.gas.oil_m3 is not None else None
    except OutOfRange:
        warm = None
    if warm:
        rest = warm.points[0].slow_pa
        full = f", {_both(warm.fast_pa, 'pressure')} after a fast full stroke" if warm.fast_pa is not None else ""
        at = in_full(warm.points[0].fast_k, "temperature")
        facts.append(f"warm ({at}, oil grown): {_both(rest, 'pressure')} at rest{full}")
    if lift := lift_of(sheet.geometry, sheet.gas):
        on_spring = f", which lifts {_both(lift.lift_m, 'length')} on its spring" if lift.lift_m is not None else ""
        facts.append(f"gas pushes the shaft out with {_both(lift.force_n, 'force')}{on_spring}")
    return facts


def _both(value_si: float, quantity: str) -> str:
    return f"{in_full(value_si, quantity)} ({in_other_unit(value_si, quantity)})"


def _step(highest: float) -> float:
    """A round step that parts 0 to highest into at most MOST_TICKS."""
    power = 10 ** floor(log10(highest / MOST_TICKS))
    return next(step * power for step in (1, 2, 2.5, 5, 10) if highest / (step * power) <= MOST_TICKS)


def _ticks(step: float, highest: float) -> list[float]:
    return [round(step * i, 9) for i in range(int(highest / step + 1e-9) + 1)]


def _apart(rows: list[tuple[str, float, float]], room: float = 14) -> list[tuple[str, Mark]]:
    """Marks for (words, x, y), their words moved down as far as they would lie on those above."""
    marks, free = [], float("-inf")
    for words, x, y in sorted(rows, key=lambda row: row[2]):
        at = max(y, free)
        free = at + room
        marks.append((words, Mark(f"{x:.1f}", f"{y:.1f}", f"{at + 4:.1f}", words)))
    return marks


def _at_the_start(rows: list[tuple[str, float, float]], line: float) -> list[tuple[str, Mark]]:
    """Marks whose words stand below their points (WORDS_BELOW), or above the line where the axis leaves no room."""
    marks = _apart(rows)
    lowest = max(float(mark.y_words) for _, mark in marks) + WORDS_BELOW
    if lowest <= BOTTOM - 3:
        return marks
    lift = lowest - min(line, *(y for _, _, y in rows)) + 8
    return [(words, replace(mark, y_words=f"{float(mark.y_words) - lift:.1f}")) for words, mark in marks]
