"""How papers put things: moments, sources, amounts and readings in words."""

from datetime import date, datetime

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from shop.core.amounts import in_full, shop_unit, stock_amount
from shop.core.rows import one_line
from shop.workorders.models import Reading, WorkOrder

NO_SOURCE = "none"  # what a sheet without a published source holds as revision and page


def moment(at: datetime, *, weekday: bool = True) -> str:
    """Day and time at the shop."""
    return date_format(
        timezone.localtime(at, timezone.get_default_timezone()), "D j M Y, H:i" if weekday else "j M Y, H:i"
    )


def day(iso: str) -> str:
    return date_format(date.fromisoformat(iso), "j M Y")


def site_address(name: str, *args) -> str:
    """Whole address of a page, for a QR code."""
    return f"{settings.SITE_URL}{reverse(name, args=args)}"


def source(document: str, revision: str, page: str) -> str:
    """Where a figure stands; what a sheet without a published source lacks is left out."""
    return ", ".join(part for part in (document, revision, page) if part and part != NO_SOURCE)


def pieces(amount: int, measure: str) -> str:
    """An amount of stock to take: "1 ×", "340 mL", "4 g"."""
    return stock_amount(amount, measure) + (" ×" if measure == "count" else "")


def as_entered(reading: Reading | None) -> str:
    """A reading as it was written down, and in the shop's unit when that was another one; empty for none."""
    if reading is None:
        return ""
    own, text = shop_unit(reading.quantity), f"{reading.figures} {reading.unit}".strip()
    return f"{text} ({in_full(reading.value_si, reading.quantity)})" if own and reading.unit != own else text


def vehicle(order: WorkOrder) -> str:
    return f"{order.vehicle.model}, model year {order.vehicle.model_year}" if order.vehicle else ""


def short_name(name: str) -> str:
    """A customer on a tag that lies about: "I. Calloway"."""
    first, _, rest = one_line(name).partition(" ")
    return f"{first[:1]}. {rest.split()[-1]}" if rest else first
