"""Measuring tools under calibration."""

from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.intervals import add_months, day_in_words
from shop.calc.torque import CALIBRATION_MONTHS
from shop.calc.units import Entered
from shop.core.clock import local_day
from shop.core.errors import refused
from shop.core.rows import save_new
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.models import Tool


@transaction.atomic
def add_tool(
    *,
    code: str,
    kind: str,
    low: Entered,
    high: Entered,
    calibrated_on: date,
    calibration_due_on: date | None = None,
    by: User,
    at: datetime,
) -> Tool:
    """Enter a tool with the range it measures and its last calibration; for the due day see due_day."""
    code = code.strip()
    if twin := Tool.objects.filter(code__iexact=code).first():
        raise ValidationError({"code": f"{twin} is a {twin.get_kind_display()} already. Give another code."})
    if high.si <= low.si:
        raise ValidationError({"high": f"The range ends above where it begins: give more than {low}."})
    due_on = due_day(calibrated_on, calibration_due_on, local_day(at))
    tool = Tool(
        code=code,
        kind=kind,
        low_si=low.si,
        high_si=high.si,
        calibrated_on=calibrated_on,
        calibration_due_on=due_on,
    )
    tool.full_clean()
    save_new(tool)
    what = f"entered: {tool.get_kind_display()}, {low} to {high}, {held(calibrated_on, due_on)}"
    note(who=by, kind="tool", key=tool.pk, what=what, at=at)
    return tool


@transaction.atomic
def record_calibration(
    *, tool: Tool, calibrated_on: date, calibration_due_on: date | None = None, by: User, at: datetime
) -> Tool:
    """Enter a new calibration of a tool; for the due day see due_day. It brings back one that was out of use."""
    tool = Tool.objects.select_for_update().get(pk=tool.pk)
    due_on = due_day(calibrated_on, calibration_due_on, local_day(at))
    if calibrated_on < tool.calibrated_on:
        raise ValidationError(
            {
                "calibrated_on": f"{tool} was calibrated on {day_in_words(tool.calibrated_on)}, after "
                f"{day_in_words(calibrated_on)}. Check the date."
            }
        )
    back = "" if tool.in_use else ", in use again"
    tool.calibrated_on, tool.calibration_due_on, tool.in_use = calibrated_on, due_on, True
    tool.save(update_fields=["calibrated_on", "calibration_due_on", "in_use"])
    note(who=by, kind="tool", key=tool.pk, what=f"{held(calibrated_on, due_on)}{back}", at=at)
    return tool


@transaction.atomic
def take_out_of_use(*, tool: Tool, why: str, by: User, at: datetime) -> Tool:
    """No figure is read with it until it is calibrated again. Twice is as good as once."""
    if not why.strip():
        raise ValidationError({"why": "Say why the tool is taken out of use."})
    tool = Tool.objects.select_for_update().get(pk=tool.pk)
    if tool.in_use:
        tool.in_use = False
        tool.save(update_fields=["in_use"])
        note(who=by, kind="tool", key=tool.pk, what=f"out of use: {why.strip()}", at=at)
    return tool


def held(calibrated_on: date, due_on: date) -> str:
    """From when to when a calibration holds, in words."""
    return f"calibrated on {day_in_words(calibrated_on)}, due on {day_in_words(due_on)}"


def due_day(calibrated_on: date, due_on: date | None, today: date) -> date:
    """The last day on which a calibration holds, checked; by default 12 months after it.

    Source of the 12 months: ISO 6789 for torque tools (from memory); for the others common practice, no source.
    """
    if calibrated_on > today:
        raise ValidationError(
            {
                "calibrated_on": f"{day_in_words(calibrated_on)} lies in the future. "
                "Give the day on the certificate, today or before."
            }
        )
    latest = add_months(calibrated_on, CALIBRATION_MONTHS)
    due_on = due_on or latest
    if due_on > latest:
        words = (
            f"{day_in_words(due_on)} is more than {CALIBRATION_MONTHS} months after the calibration on "
            f"{day_in_words(calibrated_on)}. Give {day_in_words(latest)} or an earlier day."
        )
        raise refused("calibration_due_on", words, "too_long")
    if due_on <= calibrated_on:
        raise ValidationError(
            {
                "calibration_due_on": f"{day_in_words(due_on)} is not after the calibration on "
                f"{day_in_words(calibrated_on)}. Give a later day."
            }
        )
    return due_on
