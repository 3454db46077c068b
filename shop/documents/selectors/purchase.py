from dataclasses import dataclass
from textwrap import wrap

from django.conf import settings
from django.utils.formats import date_format

from shop.core.amounts import price_in_words, stock_amount
from shop.core.clock import local_day
from shop.parts.models import PurchaseLine, PurchaseOrder, PurchaseStatus

TEXT_WIDTH = 76


@dataclass(frozen=True)
class OrderedLine:
    """One thing that is ordered, as the supplier reads it."""

    their_number: str
    number: str
    name: str
    unit: str  # "piece", "1 L bottle of 1000 mL"
    units: int
    price: str  # of one; empty when nobody knows it
    net: str


@dataclass(frozen=True)
class PurchasePaper:
    shop: str
    address: str
    phone: str
    email: str
    number: str
    supplier: str
    supplier_address: str
    account_number: str
    day: str
    expected: str  # empty before it is sent
    draft: bool
    called_off: bool
    note: str
    currency: str
    lines: list[OrderedLine]
    total: str
    without_price: int

    def as_text(self) -> str:
        """For an e-mail: plain text, lines of at most 76 letters."""
        state = " (DRAFT: nothing is ordered yet)" if self.draft else " (called off)" if self.called_off else ""
        rows = [f"Purchase order {self.number}{state}", f"{self.shop}, {self.day}", ""]
        rows.append(f"To {self.supplier}{f', our account {self.account_number}' if self.account_number else ''}")
        if self.expected:
            rows.append(f"Expected by {self.expected}")
        rows += ["", "Please send:"]
        for line in self.lines:
            theirs = f"{line.their_number}, " if line.their_number else ""
            price = f", at {line.price} {self.currency} = {line.net} {self.currency}" if line.price else ""
            words = f"{line.units} × {line.unit}: {theirs}{line.name} (our {line.number}){price}"
            rows += wrap(words, TEXT_WIDTH, initial_indent="- ", subsequent_indent="  ")
        unknown = ", without the lines that have no price yet" if self.without_price else ""
        rows += ["", f"Sum {self.total} {self.currency}{unknown}, tax and postage as agreed."]
        if self.note:
            rows += ["", *wrap(self.note, TEXT_WIDTH)]
        rows += ["", f"Please put our number {self.number} on the delivery note.", ""]
        rows += [row for row in (self.shop, *self.address.splitlines(), self.phone, self.email) if row]
        short = [part for row in rows for part in ([row] if len(row) <= TEXT_WIDTH else wrap(row, TEXT_WIDTH))]
        return "\n".join(short) + "\n"


def purchase(order: PurchaseOrder) -> PurchasePaper:
    """An order to a supplier; what was called off of it is not asked for any more."""
    order = PurchaseOrder.objects.select_related("supplier").get(pk=order.pk)
    lines = list(order.lines.select_related("item__container", "part").order_by("pk"))
    nets = [line.net for line in lines if line.net is not None]
    return PurchasePaper(
        shop=settings.SHOP["name"],
        address=settings.SHOP["address"],
        phone=settings.SHOP["phone"],
        email=settings.SHOP["email"],
        number=order.number,
        supplier=order.supplier.name,
        supplier_address=order.supplier.address,
        account_number=order.supplier.account_number,
        day=date_format(local_day(order.sent_at or order.made_at), "j F Y"),
        expected=date_format(order.expected_on, "l j F Y") if order.expected_on else "",
        draft=order.status == PurchaseStatus.DRAFT,
        called_off=order.status == PurchaseStatus.CALLED_OFF,
        note=order.note,
        currency=order.currency,
        lines=[_line(line) for line in lines],
        total=f"{sum(nets):.2f}",
        without_price=len(lines) - len(nets),
    )


def _line(line: PurchaseLine) -> OrderedLine:
    container = line.item.container
    held = f" of {stock_amount(container.size, line.part.measure)}" if container else ""
    return OrderedLine(
        their_number=line.item.their_number,
        number=line.part.number,
        name=line.part.name,
        unit=f"{line.item.unit_name}{held}",
        units=line.units,
        price="" if line.price is None else price_in_words(line.price),
        net="" if line.net is None else f"{line.net:.2f}",
    )
