"""What a damper's rebuild takes: from its parts list and, for the oil, its frozen figures."""

import math
from collections.abc import Iterable
from dataclasses import asdict

from django.conf import settings
from django.db.models import QuerySet

from shop.calc.units import from_si
from shop.core.clock import local_day
from shop.dampers.measures import Measure
from shop.picklists.models import PickLine
from shop.picklists.needs import Choice, Need
from shop.picklists.services import differs
from shop.specs.models import KitLine, KitMeasure, SheetStatus, SpecSheet
from shop.specs.parts_lists import kit_lines_for
from shop.specs.selectors import FoundSheet
from shop.workorders.frozen import FrozenSheet, FrozenValue
from shop.workorders.models import DamperJob, OrderStatus, WorkOrder


def freeze(found: FoundSheet) -> FrozenSheet:
    """A sheet as a job keeps it: every figure, who says so, and the rule that chose it."""
    sheet = found.sheet
    if sheet is None:
        return FrozenSheet(rule=found.rule)
    return FrozenSheet(
        code=sheet.code,
        version=sheet.version,
        edition=sheet.edition,
        verified=sheet.status == SheetStatus.VERIFIED,
        years=sheet.years(),
        position=sheet.get_position_display(),
        vehicle=str(sheet.vehicle_model or ""),
        rule=found.rule,
        document=sheet.source_document,
        revision=sheet.source_revision,
        page=sheet.source_page,
        note=sheet.note,
        entered_by=str(sheet.entered_by),
        verified_by=str(sheet.verified_by or ""),
        reference_k=sheet.reference_k,
        reference_altitude_m=sheet.reference_altitude_m,
        bench_altitude_m=settings.SHOP_ALTITUDE_M,
        sizes=_sizes(sheet),
        verified_on=local_day(sheet.verified_at).isoformat() if sheet.verified_at else "",
        values=_values(sheet),
    )


def _sizes(sheet: SpecSheet) -> dict[str, float]:
    if not sheet.damper_model.has_ifp:
        return {}
    return {name: size for name, size in asdict(sheet.damper_model.geometry).items() if size is not None}


def _values(sheet: SpecSheet) -> dict[str, FrozenValue]:
    return {
        one.measure: FrozenValue(
            measure=one.measure,
            value_si=one.value_si,
            low_si=one.low_si,
            high_si=one.high_si,
            figures=one.figures,
            unit=one.unit,
            tolerance=one.tolerance,
            page=one.page,
            note=one.note,
        )
        for one in sheet.values.all()
    }


def needs(job: DamperJob, sheet: FrozenSheet) -> list[Need]:
    """Lines for this damper's bag, and the optional ones that an inspection may add.

    Oil whose volume no sheet gives is left out: the job says that it has no sheet.
    """
    found = []
    for line, alternates in kit_lines_for(job.damper.model, job.damper.model_year):
        if first := _choice(line, sheet):
            others = [choice for one in alternates if (choice := _choice(one, sheet))]
            found.append(
                Need(
                    job.tag, first.part_number, first.name, line.measure, first.amount, first.from_draft,
                    tuple(others), line.optional, first.by_sheet,
                )
            )  # fmt: skip
    return found


def _choice(line: KitLine, sheet: FrozenSheet) -> Choice | None:
    amount, by_sheet = line.amount or oil_to_take(sheet), not line.amount
    if not amount:
        return None
    return Choice(line.part_number, line.name, amount, by_sheet and not sheet.verified, by_sheet)


def with_kit(order: WorkOrder) -> QuerySet[DamperJob]:
    """An order's jobs that are not called off, with all that tells what they need."""
    jobs = order.jobs.kept().select_related("damper__model", "damper__vehicle__model")
    return jobs.prefetch_related("damper__model__kit_lines", "spec_changes")


def parts_changed(order: WorkOrder) -> str:
    """A sentence when the parts lists ask for something else now than an order on the benches was given; else empty.

    One that is only booked takes the change up when it is filled next.
    """
    if order.status != OrderStatus.ON_BENCH:
        return ""
    today = [need for job in with_kit(order) for need in needs(job, job.sheet)]
    if not differs(order.pick_list, today):
        return ""
    return "A parts list has changed since the check-in. This order keeps the parts that it was given then."


def oil_of(lines: Iterable[PickLine], sheet: FrozenSheet) -> str:
    """Which oil goes into a damper: the pick list line of its tag that asks for the sheet's oil; empty without one.

    Other fluids of the bag, such as thread-locker, ask for an amount of their own.
    """
    oils = [line for line in lines if is_sheets_oil(line, sheet)]
    return ", ".join(f"{line.name} ({line.part_number})" for line in oils)


def is_sheets_oil(line: PickLine, sheet: FrozenSheet) -> bool:
    """Whether a line takes the oil of its damper's sheet.

    Of a line that was filled before that was noted, an amount that is the sheet's with today's allowance tells it.
    """
    if line.by_sheet is not None:
        return line.by_sheet
    return line.measure == KitMeasure.VOLUME and line.amount == oil_to_take(sheet)


def oil_to_take(sheet: FrozenSheet) -> int:
    """Microlitres of oil for one damper: the sheet's volume and the allowance for bleeding and spilling, rounded up."""
    value = sheet.values.get(Measure.OIL_VOLUME)
    if value is None:
        return 0
    exact = from_si(value.value_si, "µL") * (1 + settings.OIL_ALLOWANCE_PERCENT / 100)
    return math.ceil(round(exact, 3))
