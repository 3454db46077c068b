from dataclasses import dataclass

from django.conf import settings
from django.core.exceptions import ValidationError

from shop.calc.units import figures
from shop.core.amounts import in_full, in_other_unit, in_shop_unit, shop_unit, span, stock_amount
from shop.core.clock import local_day
from shop.customers.models import METER_QUANTITY, Meter
from shop.dampers.measures import QUANTITY, SPECIFIED, Measure
from shop.documents.selectors import words
from shop.documents.selectors.stroke import Picture, picture
from shop.documents.selectors.why import Why, why
from shop.picklists.needs import Need
from shop.workorders.agreed import agreed_in_words
from shop.workorders.charge import aim_today, bench_conditions, conditions
from shop.workorders.frozen import FrozenSheet
from shop.workorders.kit import oil_of, oil_to_take
from shop.workorders.models import TOOL_FOR, DamperJob, WorkOrder
from shop.workorders.selectors import job_steps, on_bench, settings_of


@dataclass(frozen=True)
class Figure:
    """One specified value; figures is empty when no sheet gives it."""

    label: str
    write_in: list[str]  # what is written by hand beside it
    figures: str = ""
    unit: str = ""
    other: str = ""
    allowed: str = ""
    printed: str = ""  # as the source prints it, where that reads differently
    source: str = ""
    note: str = ""
    to_take: str = ""  # oil: with what bleeding and spilling lose
    meant_at: str = ""  # charge: where the sheet's figure holds
    today: str = ""  # charge: the bench at check-in
    aim: str = ""  # and the reading to aim at there
    why: str = ""
    oil: str = ""  # its name on the pick list


@dataclass(frozen=True)
class Setting:
    label: str
    found: str


@dataclass(frozen=True)
class Part:
    amount: str
    name: str
    number: str
    bin: str
    draft: bool = False  # the amount comes from a sheet that nobody has verified
    instead_of: str = ""  # the number in whose place it was chosen


@dataclass(frozen=True)
class CardStep:
    number: str
    title: str
    only_for: str  # which caps, when nobody knows what cap the damper has; else empty
    caution: bool
    second: bool


@dataclass(frozen=True)
class DamperPage:
    tag: str
    where: str
    model: str
    model_year: str
    other_year: str  # in words, when it is not the vehicle's; else empty
    serial: str
    has_ifp: bool
    sheet: Why | None
    why_no_sheet: str
    figures: list[Figure]
    picture: Picture | None
    settings: list[Setting]
    parts: list[Part]
    optional: list[Part]  # only if the inspection asks for it
    procedure: str
    steps: list[CardStep]


@dataclass(frozen=True)
class Card:
    shop: str
    site: str
    number: str
    customer: str
    vehicle_model: str
    vehicle_year: str
    meters: str
    service: str
    promised: str
    complaint: str
    checked_in: str
    agreed: str
    dampers: list[DamperPage]


def card(order: WorkOrder) -> Card:
    """The job card's words. What the bench writes on it, readings and settings as left, is no part of them.

    ValidationError "not_checked_in": the figures are frozen at check-in, so there is no card before.
    """
    order = WorkOrder.objects.select_related("customer", "vehicle__model", "pick_list").get(pk=order.pk)
    if order.checked_in_at is None:
        raise ValidationError(
            f"{order} is {order.get_status_display()}: the job card comes with the check-in, which fixes its figures.",
            code="not_checked_in",
        )
    lines: dict[str, list] = {}
    for line in order.pick_list.lines.select_related("part"):
        lines.setdefault(line.tag, []).append(line)
    return Card(
        shop=settings.SHOP["name"],
        site=settings.SITE_URL,
        number=order.number,
        customer=order.customer.name,
        vehicle_model=str(order.vehicle.model) if order.vehicle else "",
        vehicle_year=str(order.vehicle.model_year) if order.vehicle else "",
        meters=_meters_at_check_in(order),
        service=order.get_service_display(),
        promised=words.moment(order.promised_for),
        complaint=words.one_line(order.complaint),
        checked_in=words.moment(order.checked_in_at),
        agreed=agreed_in_words(order),
        dampers=[
            _damper_page(job, lines.get(job.tag, []), order.pick_list.offered(job.tag))
            for job in on_bench().filter(order=order).kept()
        ],
    )


def _meters_at_check_in(order: WorkOrder) -> str:
    if not order.vehicle:
        return ""
    day = local_day(order.checked_in_at)
    last = {one.meter: one for one in order.vehicle.meter_readings.standing().filter(read_on__lte=day)}
    return ", ".join(in_full(last[one].value_si, METER_QUANTITY[one]) for one in Meter if one in last)


def _damper_page(job: DamperJob, lines: list, offers: list[Need]) -> DamperPage:
    damper, sheet, bench_k = job.damper, job.sheet, job.order.bench_temperature_k
    has_ifp = damper.model.has_ifp
    oil = oil_of(lines, sheet)
    states = job_steps(job)
    steps = [state.step for state in states]
    checked = {step.reading for step in steps if step.critical}
    measures = [one for one in SPECIFIED if has_ifp or one != Measure.IFP_DEPTH]
    return DamperPage(
        tag=job.tag,
        where=damper.where(),
        model=str(damper.model),
        model_year=str(damper.model_year),
        other_year=damper.other_year(),
        serial=damper.serial,
        has_ifp=has_ifp,
        sheet=why(sheet) if sheet else None,
        why_no_sheet="" if sheet else sheet.rule,
        figures=[_figure(one, sheet, oil, second_person=one in checked, bench_k=bench_k) for one in measures],
        # A draft does not count; its card has other things to say.
        picture=picture(sheet, bench_k) if sheet.verified else None,
        settings=[Setting(one.label, words.as_entered(one.found)) for one in settings_of(job)],
        parts=[_part(line) for line in lines],
        optional=[_offered(need) for need in offers if need.part_number not in {line.asked_for for line in lines}],
        procedure=str(job.procedure),
        # Counted as the tablet counts them: among the steps that this damper has.
        steps=[
            CardStep(str(count), one.step.title, one.doubt, bool(one.step.caution), one.step.critical)
            for count, one in enumerate(states, 1)
        ],
    )


def _figure(measure: Measure, sheet: FrozenSheet, oil: str, *, second_person: bool, bench_k: float | None) -> Figure:
    value, quantity, unit = sheet.values.get(measure), QUANTITY[measure], shop_unit(QUANTITY[measure])
    write_in = ["filled" if measure == Measure.OIL_VOLUME else "reading"]
    if measure == Measure.CHARGE:
        write_in.append(f"bench {shop_unit('temperature')}")
    if measure in TOOL_FOR:
        write_in.append(TOOL_FOR[measure].label)
    if second_person:
        write_in.append("second person")
    if value is None:
        return Figure(measure.label, write_in, oil=oil if measure == Measure.OIL_VOLUME else "")
    charge = _charge(sheet, bench_k) if measure == Measure.CHARGE else {}
    if charge and not charge.get("aim"):
        write_in.insert(0, "aim at, today")
    printed = f"{value.figures} {value.unit}"
    return Figure(
        label=measure.label,
        write_in=write_in,
        figures=in_shop_unit(value.value_si, quantity),
        unit=unit,
        other=in_other_unit(value.value_si, quantity),
        allowed=f"{span(value.low_si, value.high_si, quantity)} {unit}",
        printed=printed if printed != in_full(value.value_si, quantity) else "",
        source=words.source(sheet.document, sheet.revision, value.page or sheet.page),
        note=value.note,
        to_take=stock_amount(oil_to_take(sheet), "volume") if measure == Measure.OIL_VOLUME else "",
        **charge,
        oil=oil if measure == Measure.OIL_VOLUME else "",
    )


def _charge(sheet: FrozenSheet, bench_k: float | None) -> dict[str, str]:
    """Where the charge holds, and for the bench at check-in what to aim at; a blank line is left for it otherwise."""
    meant_at = conditions(sheet)
    aim = aim_today(sheet, bench_k) if bench_k is not None else None
    if aim is None:
        return {"meant_at": meant_at} if meant_at else {}
    unit, limits = shop_unit("pressure"), (aim.low_pa, aim.high_pa)
    reading = figures(aim.reading_pa, unit, low_si=aim.low_pa, high_si=aim.high_pa)
    return {
        "meant_at": meant_at,
        "today": bench_conditions(sheet, bench_k),
        "aim": f"{reading} {unit} ({span(*limits, 'pressure')})",
        "why": aim.why,
    }


def _part(line) -> Part:
    place = line.part.bin if line.part else ""
    amount = words.pieces(line.amount, line.measure)
    return Part(amount, line.name, line.part_number, place, line.from_draft, line.instead_of)


def _offered(need: Need) -> Part:
    return Part(words.pieces(need.amount, need.measure), need.name, need.part_number, "", need.from_draft)
