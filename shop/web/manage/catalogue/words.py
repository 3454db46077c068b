"""How the catalogue says things."""

from datetime import date

from shop.calc.intervals import day_in_words
from shop.core.amounts import in_full
from shop.reminders.reckoning import severe_use_in_words
from shop.specs.intervals import FoundInterval
from shop.specs.models import ServiceInterval
from shop.web.words import count
from shop.workorders.models import Tool

# A calibration that ends this soon is pointed out: the laboratory needs its time.
SOON_DAYS = 30


def told_interval(found: FoundInterval) -> dict:
    """The interval that holds, in words, and why it does."""
    interval = found.interval
    if interval is None:
        return {"rule": found.rule}
    return {
        "rule": found.rule,
        "due": due_after(interval),
        "severe": severe_use_in_words(interval) if interval.severe_factor < 1 else "",
        "source": interval.source,
    }


def due_after(interval: ServiceInterval) -> str:
    """In words: 12 months or 1500 mi, whichever comes first."""
    rules = []
    if interval.months:
        rules.append(count(interval.months, "month"))
    if interval.distance_m:
        rules.append(in_full(interval.distance_m, "distance"))
    if interval.hours_s:
        rules.append(in_full(interval.hours_s, "time"))
    return " or ".join(rules) + (", whichever comes first" if len(rules) > 1 else "")


def is_pressing(tool: Tool, today: date) -> bool:
    """Whether a tool in use is out of calibration or will be soon."""
    return tool.in_use and (tool.calibration_due_on - today).days <= SOON_DAYS


def calibration(tool: Tool, today: date) -> str:
    """When a tool's calibration ends, as one says it on a day."""
    due = day_in_words(tool.calibration_due_on)
    if not tool.in_use:
        return f"out of use, calibration ended {due}" if today > tool.calibration_due_on else "out of use"
    if today > tool.calibration_due_on:
        return f"out of calibration since {due}"
    left = (tool.calibration_due_on - today).days
    if not left:
        return f"calibration ends today, {due}"
    if left <= SOON_DAYS:
        return f"calibration due in {count(left, 'day')}, on {due}"
    return f"calibration due on {due}"
