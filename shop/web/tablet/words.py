"""How the bench reads a step, a figure with its source, and what was recorded."""

from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.formats import date_format

from shop.calc.units import figures
from shop.core.amounts import in_full, in_other_unit, in_shop_unit, shop_unit, span
from shop.core.clock import local_day
from shop.dampers.measures import SPECIFIED, Measure
from shop.documents.selectors import Why, why
from shop.documents.selectors.words import as_entered
from shop.specs.history import Difference
from shop.workorders.charge import aim_today, allowed_range, bench_conditions, conditions, gauge_note
from shop.workorders.frozen import FrozenSheet, FrozenValue
from shop.workorders.models import TOOL_FOR, DamperJob, Moment, Reading
from shop.workorders.selectors import StepState, job_steps


@dataclass(frozen=True)
class Line:
    """A step as lists and ticks show it. count: its place among the steps that this damper has."""

    count: int
    state: StepState

    @property
    def step(self):
        return self.state.step

    @property
    def settled(self) -> bool:
        return self.state.settled

    @property
    def care(self) -> bool:
        """Whether it is done as far as the bench goes, and still does not count."""
        return self.settled and not self.state.complete

    @property
    def caution(self) -> tuple[str, str]:
        """The caution's first sentence, which names the danger, and the rest."""
        first, dot, rest = self.step.caution.partition(". ")
        return first + dot.strip(), rest

    def tools(self) -> str:
        """What lies ready for it: tools in words, and the one under calibration that its reading is taken with."""
        kind = TOOL_FOR.get(self.step.reading)
        return ", ".join(filter(None, [self.step.tool, f"{kind.label} in calibration" if kind else ""]))

    def told(self) -> list[str]:
        """What was recorded, and by whom it was done and checked."""
        state, lines = self.state, []
        if state.reading:
            lines.append(recorded(state.reading))
            if moved := moved_range(state):
                lines.append(moved)
        elif state.done:
            lines.append(f"{'does not apply' if state.passed_over else 'done'}: {signed(state.done)}")
        if state.check:
            lines.append(f"checked: {signed(state.check)}")
        return lines


def lines_of(job: DamperJob) -> list[Line]:
    return [Line(count, state) for count, state in enumerate(job_steps(job), 1)]


def next_to_do(lines: list[Line]) -> Line | None:
    return next((line for line in lines if not line.settled), None)


@dataclass(frozen=True)
class Aim:
    """The number that the hands need, in the shop's unit, with all that belongs beside it."""

    label: str
    figures: str
    unit: str
    allowed: str
    other: str
    printed: str  # as the source prints it, where that reads differently
    why: Why
    draft: bool
    meant_at: str  # a charge: the temperature and altitude at which it holds


@dataclass(frozen=True)
class Today:
    """The charge to aim at on this bench, in the shop's unit; low and high are in tolerance."""

    bench: str
    figures: str
    unit: str
    low: str
    high: str
    why: str


def today(sheet: FrozenSheet, bench_k: float) -> Today | None:
    """None: this sheet's charge is not moved, it holds as it is printed."""
    aim = aim_today(sheet, bench_k)
    if aim is None:
        return None
    unit = shop_unit("pressure")
    low, high = span(aim.low_pa, aim.high_pa, "pressure").split(" to ")
    reading = figures(aim.reading_pa, unit, low_si=aim.low_pa, high_si=aim.high_pa)
    return Today(bench_conditions(sheet, bench_k), reading, unit, low, high, aim.why)


def aim(sheet: FrozenSheet, value: FrozenValue) -> Aim:
    unit = shop_unit(value.quantity)
    return Aim(
        label=value.label,
        # The source's own figures are rounded by nobody.
        figures=value.figures if value.unit == unit else in_shop_unit(value.value_si, value.quantity),
        unit=unit,
        allowed=span(value.low_si, value.high_si, value.quantity),
        other=in_other_unit(value.value_si, value.quantity),
        printed="" if value.unit == unit else f"{value.figures} {value.unit}",
        why=why(sheet, value),
        draft=not sheet.verified,
        meant_at=conditions(sheet) if value.measure == Measure.CHARGE else "",
    )


def aims(sheet: FrozenSheet) -> list[Aim]:
    return [aim(sheet, value) for value in sheet.values.values()]


def differing(kept: FrozenSheet, today: FrozenSheet) -> list[Difference]:
    """The figures that a sheet of today gives otherwise than the one that is kept, in the order of a sheet's page."""
    rows = []
    for measure in SPECIFIED:
        before, after = _figure(kept, measure), _figure(today, measure)
        if before != after:
            rows.append(Difference(measure.label, before, after))
    return rows


def _figure(sheet: FrozenSheet, measure: Measure) -> str:
    """A figure with all that can make it another one; empty when the sheet gives none."""
    if measure not in sheet.values:
        return ""
    told = aim(sheet, sheet.values[measure])
    at = f" at {told.meant_at}" if told.meant_at else ""
    printed = f", printed as {told.printed}" if told.printed else ""
    note = f"; {sheet.values[measure].note}" if sheet.values[measure].note else ""
    return f"{told.figures} {told.unit}{at}, allowed {told.allowed} {told.unit}{printed}{note}"


def moved_range(state: StepState) -> str:
    """What a charge in the books is held against when that is not what the sheet prints; else empty."""
    bench_k = state.reading.bench_temperature_k
    if state.step.reading != Measure.CHARGE or state.value is None or bench_k is None:
        return ""
    limits = allowed_range(state.value, state.sheet, bench_k)
    if limits == (state.value.low_si, state.value.high_si):
        return ""
    allowed = span(*limits, "pressure")
    return f"allowed on that bench ({bench_conditions(state.sheet, bench_k)}): {allowed} {shop_unit('pressure')}"


def before_the_gauge(sheet: FrozenSheet, reading: Reading | None) -> str:
    """What to know before the gauge goes on a damper whose charge is in the books; empty for any other reading."""
    if reading is None or (reading.measure, reading.moment) != (Measure.CHARGE, Moment.SET):
        return ""
    return gauge_note(sheet, reading.value_si, reading.bench_temperature_k)


def recorded(reading: Reading) -> str:
    """A reading with the tool, the bench temperature and who took it: one line of a list."""
    parts = [as_entered(reading)]
    if reading.bench_temperature_k is not None:
        parts.append(f"bench at {in_full(reading.bench_temperature_k, 'temperature')}")
    if reading.tool:
        parts.append(f"with {reading.tool}")
    return f"{', '.join(parts)}: {signed(reading)}"


def signed(row) -> str:
    """Who and when, of anything with by and at."""
    return f"{row.by}, {clock(row.at)}"


def clock(at: datetime) -> str:
    """Time of day at the shop, with the day unless it is today."""
    today = local_day(at) == local_day(timezone.now())
    return date_format(timezone.localtime(at), "H:i" if today else "j M Y, H:i")
