"""From readings and an interval to a due date and the sentences that say why. Reads no table, writes none."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format

from shop.calc import usage
from shop.calc.errors import CalcError
from shop.calc.intervals import first_due
from shop.calc.units import from_si, show
from shop.core.amounts import in_full, in_shop_unit, shop_unit
from shop.customers.meters import usage_of
from shop.customers.models import METER_QUANTITY, Meter, MeterReading
from shop.reminders.models import Rule
from shop.specs.intervals import Limits, limits
from shop.specs.models import ServiceInterval

DAYS_A_MONTH = 365.25 / 12
RULE_OF = {"months": Rule.DATE, "distance": Rule.DISTANCE, "hours": Rule.HOURS}
METER_OF = {Rule.DISTANCE: Meter.DISTANCE, Rule.HOURS: Meter.HOURS}


def reckon(
    *,
    cycle: date,
    in_shop_from: date,
    serviced: bool,
    readings: Sequence[MeterReading],
    interval: ServiceInterval | None,
    severe: bool = False,
) -> dict:
    """The computed fields of a ServiceForecast: first of date, distance and hours, its range, the reason in words."""
    if interval is None:
        return {"reason": "No service interval is known for this vehicle. A manager enters it."}
    now = limits(interval, severe)
    steps = {Meter.DISTANCE: now.distance_m, Meter.HOURS: now.hours_s}
    meters = {meter: reckon_meter(meter, step, cycle, in_shop_from, readings) for meter, step in steps.items() if step}
    by_meter = {meter: one.on for meter, one in meters.items()}
    due = first_due(cycle, now.months or None, by_meter.get(Meter.DISTANCE), by_meter.get(Meter.HOURS))
    start = f"the service of {day(cycle)}" if serviced else f"it came into our book on {day(cycle)}"
    notes = " ".join(note for one in meters.values() for note in one.notes)
    if due is None:
        reason = " ".join(_without_date(one) for one in meters.values())
        return {"reason": _with_severe_use(reason, interval, severe), "notes": notes}
    by_date_on = due.by_rule.get("months")
    rule = RULE_OF[due.rule]
    reached = [one for one in meters.values() if one.on]
    early = min([one.early for one in reached] + ([by_date_on] if by_date_on else []))
    late = min([one.late for one in reached if one.late] + ([by_date_on] if by_date_on else []), default=None)
    if rule == Rule.DATE:
        reason = _by_date(now.months, start, meters.values())
    else:
        reason = _by_meter(meters[METER_OF[rule]], due.on, early, late, by_date_on, start)
    return {
        "due_on": due.on,
        "due_early": early,
        "due_late": late,
        "by_date_on": by_date_on,
        "by_distance_on": by_meter.get(Meter.DISTANCE),
        "by_hours_on": by_meter.get(Meter.HOURS),
        "decided_by": rule,
        "reason": _with_severe_use(reason, interval, severe),
        "notes": notes,
    }


@dataclass(frozen=True)
class MeterReckoning:
    """What one meter says: when the interval is reached. Figures are in the shop's unit, the rate per month."""

    meter: Meter
    step: str
    status: str
    on: date | None = None
    early: date | None = None
    late: date | None = None
    rate: float | None = None
    readings: int = 0
    last_on: date | None = None
    since: str = ""
    notes: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        return shop_unit(METER_QUANTITY[self.meter])

    @property
    def pace(self) -> str:
        """In words: about 410 mi a month from 5 readings."""
        return f"about {_two_figures(self.rate)} {self.unit} a month from {self.readings} readings"


def reckon_meter(
    meter: Meter, step_si: float, cycle: date, in_shop_from: date, readings: Sequence[MeterReading]
) -> MeterReckoning:
    """When step_si more than at the service will stand on the meter, at the usual rate from its last good reading."""
    quantity = METER_QUANTITY[meter]
    step, in_words = from_si(step_si, shop_unit(quantity)), show(step_si, shop_unit(quantity))
    try:
        used = usage_of(meter, readings)
        if used.last_on is None:
            return MeterReckoning(meter, in_words, usage.NOT_ENOUGH_DATA)
        at_service = _total_on(used, cycle, in_shop_from)
        reach = usage.date_of_reaching(used, max(at_service + step, 0))
    except CalcError as error:
        return MeterReckoning(meter, in_words, usage.NOT_ENOUGH_DATA, notes=(str(error),))
    # The last note of a rate that cannot be told only repeats the status.
    notes = used.notes if used.status == usage.OK else used.notes[:-1]
    days = [reach.on, reach.earliest, reach.latest]
    if reach.status == usage.ALREADY_REACHED:
        days = [used.last_on] * 3
    elif reach.on is None:
        days = [None] * 3
    on, early, late = (one and max(one, cycle) for one in days)
    return MeterReckoning(
        meter,
        in_words,
        reach.status,
        on=on,
        early=early,
        late=late,
        rate=None if used.rate is None else used.rate * DAYS_A_MONTH,
        readings=len(used.kept),
        last_on=used.last_on,
        since=f"{_two_figures(used.last_value - at_service)} {shop_unit(quantity)}",
        notes=notes,
    )


def _total_on(used: usage.Usage, cycle: date, in_shop_from: date) -> float:
    """What the meter showed at the service: read in the shop, else reckoned from the readings around it."""
    before = [one for one in used.kept if one[0] <= cycle]
    after = [one for one in used.kept if one[0] > cycle]
    if before and before[-1][0] >= in_shop_from:
        return before[-1][1]
    if before and after:
        (start, low), (end, high) = before[-1], after[0]
        return low + (high - low) * (cycle - start).days / (end - start).days
    rate = used.rate if used.status == usage.OK else 0.0
    there, value = (before or after)[-1 if before else 0]
    return value + rate * (cycle - there).days


# --- words ----------------------------------------------------------------------------------------------------------


def day(one: date) -> str:
    """A day in words: 14 May 2027."""
    return date_format(one, "j F Y")


PARTS_OF_ONE = {0.25: "a quarter of", 0.5: "half", 0.75: "three quarters of"}


def severe_use_in_words(interval: ServiceInterval) -> str:
    """What severe use leaves of an interval: half the interval, 6 months instead of 12."""
    whole, left = limits(interval, False), limits(interval, True)
    if left == whole:
        return "the interval that holds names none shorter for it, so it stays as it is"
    part = PARTS_OF_ONE.get(interval.severe_factor, f"{interval.severe_factor:g} of")
    return f"{part} the interval, {' and '.join(_instead(left, whole))}"


def _instead(left: Limits, whole: Limits) -> list[str]:
    told = []
    if whole.months:
        told.append(f"{left.months} month{'' if left.months == 1 else 's'} instead of {whole.months}")
    for si, of, quantity in (
        (left.distance_m, whole.distance_m, "distance"), (left.hours_s, whole.hours_s, "time"),
    ):  # fmt: skip
        if of:
            told.append(f"{in_full(si, quantity)} instead of {in_shop_unit(of, quantity)}")
    return told


def _with_severe_use(reason: str, interval: ServiceInterval, severe: bool) -> str:
    return f"{reason} Severe use: {severe_use_in_words(interval)}." if severe else reason


def _by_meter(
    one: MeterReckoning, on: date, early: date, late: date | None, by_date_on: date | None, start: str
) -> str:
    if one.status == usage.ALREADY_REACHED:
        return (
            f"Service is due every {one.step}. By the reading of {day(one.last_on)} it is about {one.since} "
            f"since {start}."
        )
    text = f"{one.pace}: due about {day(on)}"
    if late and early < late:
        text += f", between {_span(early, late)}"
    if by_date_on:
        text += f", or at the latest {day(by_date_on)} by date"
    return f"{text[0].upper()}{text[1:]}."


def _by_date(months: int, start: str, meters) -> str:
    text = f"{months} month{'' if months == 1 else 's'} after {start}."
    for one in meters:
        if one.status == usage.OK:
            text += f" At {one.pace} the {one.step} come later, about {day(one.on)}."
        else:
            text += f" {_without_date(one)}"
    if meters and not any(one.status == usage.OK for one in meters):
        text += " So far the date alone counts."
    return text


def _without_date(one: MeterReckoning) -> str:
    if one.status == usage.NO_USAGE and one.readings > 1:
        return f"The {one.meter.label.lower()} has hardly moved over the last {one.readings} readings."
    if one.readings == 1:
        return f"There is only one reading of the {one.meter.label.lower()}: a second one tells how much it is used."
    return f"There are too few readings of the {one.meter.label.lower()} to tell how much it is used."


def _span(early: date, late: date) -> str:
    """Two days in words: 2 and 29 May 2027."""
    if (early.year, early.month) == (late.year, late.month):
        return f"{early.day} and {day(late)}"
    if early.year == late.year:
        return f"{date_format(early, 'j F')} and {day(late)}"
    return f"{day(early)} and {day(late)}"


def _two_figures(value: float) -> str:
    """As exact as a rate of use deserves: 412.3 reads 410, 8.62 reads 8.6."""
    if value >= 1000:
        return f"{round(value, -2):.0f}"
    if value >= 100:
        return f"{round(value, -1):.0f}"
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}".removesuffix(".0")
