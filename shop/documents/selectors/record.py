from dataclasses import dataclass

from django.conf import settings
from django.core.exceptions import ValidationError

from shop.calc.intervals import add_months
from shop.core.amounts import in_full, shop_unit, span
from shop.core.clock import local_day
from shop.customers.models import METER_QUANTITY, Meter
from shop.dampers.measures import Measure
from shop.documents.selectors import words
from shop.documents.selectors.card import Part
from shop.documents.selectors.why import Why, why
from shop.specs.intervals import interval_for, limits
from shop.workorders.agreed import AGREED, ASKED, agreed_in_words
from shop.workorders.charge import allowed_range
from shop.workorders.models import DamperJob, Moment, QuestionState, Reading, Reopening, WorkOrder
from shop.workorders.selectors import StepState, job_steps, on_bench, settings_of


@dataclass(frozen=True)
class Setting:
    label: str
    found: str
    left: str


@dataclass(frozen=True)
class RecordStep:
    """One step as it was done; state is in words when something about it is not as it should be."""

    title: str
    label: str
    reading: str
    allowed: str
    with_what: str
    corrected: str
    done: str
    second: str
    wanting: str


@dataclass(frozen=True)
class DamperRecord:
    tag: str
    where: str
    model: str
    model_year: str
    serial: str
    sheet: Why | None
    why_no_sheet: str
    draft: bool
    procedure: str
    settings: list[Setting]
    steps: list[RecordStep]
    opened_again: list[str]
    override: str
    closed: str
    parts: list[Part]
    condition: str
    came_along: str
    declined: list[str]  # findings that the customer did not agree to


@dataclass(frozen=True)
class Record:
    shop: str
    address: str
    phone: str
    email: str
    number: str
    customer: str
    vehicle: str
    service: str
    complaint: str
    closed: str
    meters: str
    next_service: str
    agreed: str
    declined: list[str]  # about the order as a whole
    collected: str
    dampers: list[DamperRecord]


def record(order: WorkOrder) -> Record:
    """What was found, set and left on each damper, by whom, and what was used.

    ValidationError "not_closed": the record is of finished work.
    """
    rows = WorkOrder.objects.select_related("customer", "vehicle__model", "pick_list")
    order = rows.prefetch_related("conditions", ASKED, AGREED).get(pk=order.pk)
    if order.closed_at is None:
        raise ValidationError(
            f"{order} is {order.get_status_display()}: the service record comes when the order is closed.",
            code="not_closed",
        )
    lines: dict[str, list] = {}
    for line in order.pick_list.lines.select_related("part"):
        lines.setdefault(line.tag, []).append(line)
    return Record(
        shop=settings.SHOP["name"],
        address=settings.SHOP["address"],
        phone=settings.SHOP["phone"],
        email=settings.SHOP["email"],
        number=order.number,
        customer=order.customer.name,
        vehicle=words.vehicle(order),
        service=order.get_service_display(),
        complaint=words.one_line(order.complaint),
        closed=words.moment(order.closed_at),
        meters=_meters(order),
        next_service=_next_service(order),
        agreed=agreed_in_words(order),
        declined=_declined(order, None),
        collected=_collected(order),
        dampers=[_damper(order, job, lines.get(job.tag, [])) for job in on_bench().filter(order=order).kept()],
    )


def _meters(order: WorkOrder) -> str:
    """What the meters showed last when it was closed, and when that was read."""
    told = [
        f"{in_full(one.value_si, METER_QUANTITY[one.meter])} on {words.day(one.read_on.isoformat())}"
        for one in _last_readings(order).values()
    ]
    return ", ".join(told)


def _last_readings(order: WorkOrder) -> dict:
    if not order.vehicle:
        return {}
    until = local_day(order.handed_back_at or order.closed_at)
    rows = order.vehicle.meter_readings.standing().filter(read_on__lte=until).order_by("read_on", "pk")
    last = {one.meter: one for one in rows}
    return {meter: last[meter] for meter in Meter if meter in last}


def _next_service(order: WorkOrder) -> str:
    """When the interval that holds is reached, reckoned from this service; whichever comes first."""
    if not order.vehicle:
        return ""
    models = [one.model for one in order.vehicle.dampers.select_related("model")]
    interval = interval_for(models, order.vehicle.model).interval
    if interval is None:
        return ""
    after, last = limits(interval, order.vehicle.severe_use), _last_readings(order)
    told = []
    if after.months:
        told.append(f"on {words.day(add_months(local_day(order.closed_at), after.months).isoformat())}")
    for meter, more in ((Meter.DISTANCE, after.distance_m), (Meter.HOURS, after.hours_s)):
        if more and meter in last:
            told.append(f"at {in_full(last[meter].value_si + more, METER_QUANTITY[meter])}")
        elif more:
            told.append(f"after {in_full(more, METER_QUANTITY[meter])} more")
    return " or ".join(told) + (", whichever comes first" if len(told) > 1 else "")


def _declined(order: WorkOrder, job: DamperJob | None) -> list[str]:
    about = job.pk if job else None
    return [
        f"{one.what.rstrip('.')}: {one.why.rstrip('.')}. Not agreed by {one.answered_name}; it "
        f"{one.get_after_display()}."
        for one in order.questions.all()
        if one.state == QuestionState.DECLINED and one.job_id == about
    ]


def _collected(order: WorkOrder) -> str:
    if not order.handed_back_at:
        return ""
    by = f" to {order.collected_by}" if order.collected_by else ""
    return f"handed back{by}, {words.moment(order.handed_back_at)}"


def _damper(order: WorkOrder, job: DamperJob, lines: list) -> DamperRecord:
    damper, sheet = job.damper, job.sheet
    conditions = [one for one in order.conditions.all() if one.job_id == job.pk]
    return DamperRecord(
        tag=job.tag,
        where=damper.where(),
        model=str(damper.model),
        model_year=str(damper.model_year),
        serial=damper.serial,
        sheet=why(sheet) if sheet else None,
        why_no_sheet="" if sheet else sheet.rule,
        draft=bool(sheet) and not sheet.verified,
        procedure=str(job.procedure),
        settings=[
            Setting(one.label, words.as_entered(one.found), words.as_entered(one.left)) for one in settings_of(job)
        ],
        steps=[_step(job, state) for state in job_steps(job)],
        opened_again=[_opened_again(job, one) for one in job.reopenings.all()],
        override=job.override_reason,
        closed=f"{job.closed_by}, {words.moment(job.closed_at)}",
        parts=[
            Part(words.pieces(line.used, line.measure), line.name, line.part_number, "") for line in lines if line.used
        ],
        condition=words.one_line(conditions[-1].words) if conditions else "",
        came_along=words.one_line(conditions[-1].came_along) if conditions else "",
        declined=_declined(order, job),
    )


def _opened_again(job: DamperJob, one: Reopening) -> str:
    """When, why, and what had been read until then."""
    before = [words.as_entered(r) for r in job.readings.all() if r.round == one.round - 1 and r.moment == Moment.SET]
    read = f" Read before: {', '.join(before)}." if before else ""
    return f"{words.moment(one.at)}, {one.by}: “{one.why}”.{read}"


def _step(job: DamperJob, state: StepState) -> RecordStep:
    reading, value = state.reading, state.value
    allowed = ""
    if reading and value:
        limits = allowed_range(value, state.sheet, reading.bench_temperature_k)
        allowed = f"{span(*limits, value.quantity)} {shop_unit(value.quantity)}"
    return RecordStep(
        title=state.step.title,
        label=Measure(state.step.reading).label if state.step.reading else "",
        reading=words.as_entered(reading),
        allowed=allowed,
        with_what=_with_what(reading) if reading else "",
        corrected=_corrected(job, reading) if reading else "",
        done=("does not apply: " if state.passed_over else "") + _who_when(state.reading or state.done),
        second=_who_when(state.check),
        wanting="" if state.complete else state.words,
    )


def _with_what(reading: Reading) -> str:
    tool = f"{reading.tool.get_kind_display()} {reading.tool}" if reading.tool else ""
    bench = reading.bench_temperature_k
    return ", ".join(filter(None, [tool, f"bench at {in_full(bench, 'temperature')}" if bench is not None else ""]))


def _corrected(job: DamperJob, reading: Reading) -> str:
    """What this reading stands in place of, back to the first one."""
    by_key, before = {one.pk: one for one in job.readings.all()}, []
    while reading.corrects_id:
        old = by_key[reading.corrects_id]
        before.append(f"corrects {words.as_entered(old)} by {old.by}: {reading.why}")
        reading = old
    return "; ".join(before)


def _who_when(one) -> str:
    return f"{one.by}, {words.moment(one.at, weekday=False)}" if one else ""
