"""Who sells to the demo shop, an order on its way, one that is late, and one that came in part. All invented."""

from datetime import datetime, timedelta
from decimal import Decimal

from shop.core.clock import local_day
from shop.parts.models import Part, PurchaseOrder, SupplierItem
from shop.parts.services import (
    Arrived,
    Wanted,
    add_item,
    create_supplier,
    fix_reorder,
    note_price,
    receive_delivery,
    send_order,
    start_order,
)
from shop.parts.workdays import add_working_days
from shop.staff.models import User


def load(*, manager: User, desk: User, now: datetime) -> None:
    """Two suppliers with prices of two years, and what was ordered from them."""
    ferrisgate = create_supplier(
        name="Ferrisgate Supply", email="orders@ferrisgate.example", phone="555-0161", account_number="LG-2207",
        lead_days=5, lead_deviation_days=1, order_days="024", note="Seal kits and hard parts.", by=manager,
        at=now - timedelta(days=390),
    )  # fmt: skip
    ondreval = create_supplier(
        name="Ondreval Fluids", email="desk@ondreval.example", phone="555-0163", account_number="7714", lead_days=8,
        lead_deviation_days=2, note="Oil, grease, locker. Ask for the safety data sheets.", by=manager,
        at=now - timedelta(days=390),
    )  # fmt: skip
    items = {}
    for supplier, number, size, theirs, pack, before, today in [
        (ferrisgate, "SK-H2", None, "FG-10442", 1, "17.90", "18.50"),
        (ferrisgate, "SK-P40", None, "FG-10451", 1, "21.40", "22.75"),
        (ferrisgate, "SK-E5", None, "FG-10460", 2, "11.20", "11.20"),
        (ferrisgate, "SH-H2", None, "FG-20017", 1, "64.00", "68.50"),
        (ondreval, "TARN-5", 1_000_000, "T5-1", 1, "20.90", "21.50"),
        (ondreval, "TARN-5", 5_000_000, "T5-5", 1, "86.00", "89.00"),
        (ondreval, "SG-1", 100_000, "SG-100", 1, "13.80", "14.20"),
        (ondreval, "TL-M", 50_000, "TL-50", 2, "17.80", "17.80"),
    ]:
        part = Part.objects.get(number=number)
        items[number, size] = item = add_item(
            supplier=supplier, part=part, container=part.containers.get(size=size) if size else None,
            their_number=theirs, pack=pack, price=Decimal(before), by=manager, at=now - timedelta(days=389),
        )  # fmt: skip
        if today != before:
            first = local_day(now) - timedelta(days=60)
            note_price(item=item, price=Decimal(today), from_day=first, by=manager, at=now - timedelta(days=62))
    _ordered(items, desk, now)
    part = items["SK-H2", None].part
    fix_reorder(part=part, point=6, amount=12, why="the dune season begins in March", by=manager, at=now)


def _ordered(items: dict, desk: User, now: datetime) -> None:
    in_part = _send([(items["SK-P40", None], 6), (items["SK-E5", None], 4)], 9, 4, desk, now)
    line = in_part.lines.last()
    receive_delivery(
        order=in_part, delivery_note="FG 88172", arrived=[Arrived(line, 2)], by=desk, at=now - timedelta(days=2)
    )
    _send([(items["TARN-5", 1_000_000], 6), (items["SG-1", 100_000], 1)], 3, 7, desk, now)
    _send([(items["TL-M", 50_000], 2)], 16, -3, desk, now)


def _send(wanted: list[tuple[SupplierItem, int]], ago: int, in_days: int, desk: User, now: datetime) -> PurchaseOrder:
    """An order sent some days ago, expected some working days from now, or days before."""
    at = now - timedelta(days=ago)
    lines = [Wanted(item, units) for item, units in wanted]
    order = start_order(supplier=lines[0].item.supplier, wanted=lines, by=desk, at=at)
    today = local_day(now)
    expected = add_working_days(today, in_days) if in_days > 0 else today + timedelta(days=in_days)
    return send_order(order=order, how="email", expected_on=expected, by=desk, at=at)
