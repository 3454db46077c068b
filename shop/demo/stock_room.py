"""The stock room of the demo shop: the way one walks through it, and half a year of used oil."""

from datetime import timedelta

from shop.calc.units import parse
from shop.core.clock import local_day
from shop.parts.models import Container, Fluid, Look
from shop.parts.services import add_drum, correct_entry, hand_over, pour_in, receive, set_walking_order, write_off
from shop.specs.models import KitMeasure
from shop.workorders.models import DamperJob, JobStatus
from shop.workorders.services import note_drained_oil

HAULER = "Basin Oil Recovery (invented)"


def fill_stock_room(shop) -> None:
    """shop: the scenario's, with its people and its moment."""
    desk, bench, at = shop.people["desk"], shop.people["bench"], shop.now
    today = local_day(at)
    set_walking_order(prefixes=["F", "B", "C"], by=shop.people["manager"], at=at - timedelta(days=190))
    oil = _drum(shop, "Used Oil, drum 1", "oil", "55 gal")
    _drum(shop, "Spent solvent, can 1", "solvent", "20 L")

    def pour(days, text, **given):
        on, when = today - timedelta(days=days), at - timedelta(days=days)
        return pour_in(drum=oil, entered=parse(text, "volume"), on=on, by=bench, at=when, **given)

    pour(180, "150 L", fluid=Fluid.OIL, source="the drum as it stood when this log was begun")
    pour(120, "21 L", fluid=Fluid.OIL, source="the parts washer's tray")
    hand_over(
        drum=oil, hauler=HAULER, document="M-2217", entered=parse("44 gal", "volume"), emptied=True,
        on=today - timedelta(days=100), sure=True, by=desk, at=at - timedelta(days=100),
    )  # fmt: skip
    pour(60, "158 L", fluid=Fluid.OIL, source="sixty dampers of the season, from the bench's sheet")
    wrong = pour(6, "2 L", fluid=Fluid.OIL, source="the parts washer's tray")
    correct_entry(
        entry=wrong, entered=parse("2 qt", "volume"), why="quarts were written as litres", by=desk,
        at=at - timedelta(days=5),
    )  # fmt: skip
    _throw_away_a_bottle(shop, oil)
    jobs = DamperJob.objects.filter(status=JobStatus.OPEN).order_by("order", "index").prefetch_related("spec_changes")
    for job, text, look in zip(jobs, ("295 mL", "", "310 mL"), (Look.DARK, Look.DARK, Look.METALLIC), strict=False):
        entered = parse(text, "volume") if text else None
        note_drained_oil(job=job, drum=oil, look=look, entered=entered, on=today, by=bench, at=at)


def _throw_away_a_bottle(shop, drum) -> None:
    """One that came with a broken seal: out of the stock and into the drum, with one act."""
    bottle = Container.objects.filter(part__measure=KitMeasure.VOLUME).order_by("part__number", "size").first()
    manager, at = shop.people["manager"], shop.now
    lot = receive(
        part=bottle.part, amount=bottle.size, container=bottle, lot_code="B2210", by=manager, at=at
    ).lot  # fmt: skip
    write_off(
        part=bottle.part, amount=bottle.size, container=bottle, lot=lot, reason="its seal was broken when it came",
        drum=drum, sure=True, by=manager, at=at,
    )  # fmt: skip


def _drum(shop, name, holds, capacity):
    at = shop.now - timedelta(days=190)
    return add_drum(name=name, holds=holds, capacity=parse(capacity, "volume"), by=shop.people["desk"], at=at)
