"""Purchase orders: made, sent, received delivery by delivery, closed or called off."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction

from shop.calc.intervals import day_in_words
from shop.core.amounts import price_in_words
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused, renamed
from shop.core.rows import one_line
from shop.parts.models import (
    MOST_UNITS,
    PurchaseLine,
    PurchaseOrder,
    PurchaseStatus,
    Receipt,
    ReceiptLine,
    SentHow,
    Supplier,
    SupplierItem,
)
from shop.parts.services.counting import put_right
from shop.parts.services.stock import lock, receive
from shop.parts.services.suppliers import DEAREST
from shop.staff.models import User
from shop.staff.services import note as note_down

LONGEST_WAIT_DAYS = 730


@dataclass(frozen=True)
class Wanted:
    """So many pieces or containers of what a supplier sells; without a price the one that holds today is taken."""

    item: SupplierItem
    units: int
    price: Decimal | None = None


@dataclass(frozen=True)
class Arrived:
    """What came of one line: pieces or containers, what was paid for one, and why more is kept than was ordered.

    lot_code and use_by are those on the label, as for receive().
    """

    line: PurchaseLine
    units: int
    price: Decimal | None = None
    why: str = ""
    lot_code: str = ""
    use_by: date | None = None


@transaction.atomic
def start_order(*, supplier: Supplier, wanted: list[Wanted], note: str = "", by: User, at: datetime) -> PurchaseOrder:
    """Draft an order; nothing is on its way before it is sent."""
    if not wanted:
        raise refused("wanted", "Nothing is chosen. Choose at least one thing to order.", "empty")
    if not supplier.in_use:
        raise refused("supplier", f"{supplier} is not in use any more. Choose another supplier.", "not_in_use")
    if len({one.item.pk for one in wanted}) < len(wanted):
        raise refused("wanted", "One thing is named twice. Give each once, with all that is wanted of it.", "twice")
    order = PurchaseOrder(supplier=supplier, currency=settings.CURRENCY, note=one_line(note), made_by=by, made_at=at)
    order.full_clean()
    order.save()
    for one in wanted:
        _new_line(order, one, at)
    _tell(order, f"drafted for {supplier}: {', '.join(str(line) for line in order.lines.all())}", by, at)
    return order


def _new_line(order: PurchaseOrder, one: Wanted, at: datetime) -> PurchaseLine:
    if one.item.supplier_id != order.supplier_id:
        raise refused("item", f"{order.supplier} does not sell {one.item}. Choose what they sell.", "other_supplier")
    if not one.item.in_use:
        raise refused("item", f"{order.supplier} does not sell {one.item} any more.", "not_in_use")
    _check_units(one.item, one.units)
    price = one.item.price_on(local_day(at)) if one.price is None else one.price
    _check_price(price)
    return PurchaseLine.objects.create(order=order, item=one.item, part=one.item.part, units=one.units, price=price)


def _check_units(item: SupplierItem, units: int) -> None:
    if not 0 < units <= MOST_UNITS:
        raise refused("units", f"{units} cannot be ordered. Give 1 to {MOST_UNITS}.", "units")
    if units % item.pack:
        fewer, more = units // item.pack * item.pack, -(-units // item.pack) * item.pack
        near = f"{fewer} or {more}" if fewer else str(more)
        words = f"They send {item} in packs of {item.pack}, and {units} are no whole packs. Give {near}."
        raise refused("units", words, "pack")
    if units < item.minimum:
        raise refused("units", f"They send {item.minimum} of {item} at least. Give {item.minimum} or more.", "minimum")


def _check_price(price: Decimal | None, field: str = "price") -> None:
    if price is not None and (not price.is_finite() or not 0 <= price < DEAREST or price != round(price, 4)):
        words = f"{price} cannot be a price. Give zero or more, at most four figures behind the point."
        raise refused(field, words, "price")


def _locked(order: PurchaseOrder) -> PurchaseOrder:
    """The order as it stands now, alone with it until the transaction ends."""
    return PurchaseOrder.objects.select_for_update(of=("self",)).select_related("supplier").get(pk=order.pk)


def _lines(order: PurchaseOrder) -> list[PurchaseLine]:
    return list(order.lines.with_received().select_related("item__container", "item__part", "part"))


def _check_not_over(order: PurchaseOrder) -> None:
    if order.status in (PurchaseStatus.CLOSED, PurchaseStatus.CALLED_OFF):
        words = f"{order} is {order.get_status_display()}: it is not changed any more. Make a new order."
        raise Conflict(words, code="over")


@transaction.atomic
def set_line(
    *,
    order: PurchaseOrder,
    item: SupplierItem,
    units: int,
    price: Decimal | None = None,
    expected_on: date | None = None,
    why: str = "",
    by: User,
    at: datetime,
) -> PurchaseOrder:
    """Change or add a line. In a draft freely, 0 units take it off; of an order that was sent with a reason.

    units count what is ordered in all, with what came already; what was called off of the line is ordered again.
    """
    order, why = _locked(order), one_line(why)
    _check_not_over(order)
    draft = order.status == PurchaseStatus.DRAFT
    if not draft and not why:
        words = f"{order} was sent. Say why it changes: what the supplier said, and when."
        raise refused("why", words, "reason")
    if expected_on:
        _check_expected(order, expected_on, at)
    _check_price(price)
    line = next((one for one in _lines(order) if one.item_id == item.pk), None)
    if units == 0:
        return _take_off(order, line, by, at)
    if line is None:
        line = _new_line(order, Wanted(item, units, price), at)
        line.expected_on = expected_on
        line.save(update_fields=["expected_on"])
        _tell(order, f"added: {line}{_because(why)}", by, at)
        return order
    if units < line.received:
        words = f"{line.received} of {line.item} came already. Give {line.received} or more."
        raise refused("units", words, "came_already")
    if units != line.units and units != line.received:  # what came may well be broken packs
        _check_units(item, units)
    changed = [
        f"{what}: {new}"
        for what, old, new in [
            ("ordered", line.units, units),
            ("price of one", line.price, price),
            ("expected", line.expected_on, expected_on),
        ]
        if old != new
    ]
    if changed:
        if units != line.units:
            line.called_off = 0
        line.units, line.price, line.expected_on = units, price, expected_on
        line.save(update_fields=["units", "price", "expected_on", "called_off"])
        _tell(order, f"{item}: {', '.join(changed)}{_because(why)}", by, at)
        _settle(order, at)
    return order


def _take_off(order: PurchaseOrder, line: PurchaseLine | None, by: User, at: datetime) -> PurchaseOrder:
    if order.status != PurchaseStatus.DRAFT:
        raise refused("units", f"{order} was sent. Call off what will not come instead.", "sent")
    if line is None:
        return order
    if order.lines.count() == 1:
        raise refused("units", "It is the only line. Call the whole order off instead.", "last_line")
    line.delete()
    _tell(order, f"taken off: {line.item}", by, at)
    return order


def _because(why: str) -> str:
    return f" ({why})" if why else ""


@transaction.atomic
def send_order(*, order: PurchaseOrder, how: str, expected_on: date, by: User, at: datetime) -> PurchaseOrder:
    """Note that an order went to the supplier, how, and when the delivery is expected. Its parts are on their way."""
    order = _locked(order)
    if order.status != PurchaseStatus.DRAFT:
        sent = f" It was sent on {day_in_words(local_day(order.sent_at))} by {order.sent_by}." if order.sent_at else ""
        raise Conflict(f"{order} is {order.get_status_display()}, no draft any more.{sent}", code="sent")
    if how not in SentHow.values:
        raise refused("how", f"“{how}” is none of: {', '.join(SentHow.values)}.", "how")
    if not order.supplier.in_use:
        raise refused("order", f"{order.supplier} is not in use any more: nothing is ordered there.", "not_in_use")
    _check_expected(order, expected_on, at)
    order.status, order.sent_how, order.expected_on = PurchaseStatus.SENT, how, expected_on
    order.sent_by, order.sent_at = by, at
    order.full_clean()
    order.save()
    words = f"sent {order.get_sent_how_display()}, delivery expected on {day_in_words(expected_on)}"
    _tell(order, words, by, at)
    return order


def _check_expected(order: PurchaseOrder, expected_on: date, at: datetime) -> None:
    today = local_day(at)
    if expected_on < today:
        words = f"{day_in_words(expected_on)} is past. Give today or a later day."
        raise refused("expected_on", words, "past")
    if (expected_on - today).days > LONGEST_WAIT_DAYS:
        words = f"{day_in_words(expected_on)} is more than two years away. Give a nearer day."
        raise refused("expected_on", words, "far")


@transaction.atomic
def receive_delivery(
    *, order: PurchaseOrder, delivery_note: str, arrived: list[Arrived], by: User, at: datetime
) -> Receipt:
    """Enter what came with one delivery note: it is on hand from now on. Lines with 0 units did not come.

    Of two people who enter the same delivery one is told that the other did (Conflict). More than is still to come is
    kept only with a reason. Refusals stand under units_<line> and price_<line>.
    """
    order, delivery_note = _locked(order), one_line(delivery_note)
    if not delivery_note:
        raise refused("delivery_note", "Give the number on the delivery note, or its day if it has none.", "no_note")
    if twin := order.receipts.filter(delivery_note__iexact=delivery_note).select_related("by").first():
        words = f"Delivery note {twin.delivery_note} of {order} was entered by {twin.by} already: {_told(twin)}."
        raise Conflict(words + " Open the order to see it; what came besides has a note of its own.", code="received")
    if not order.running:
        words = f"{order} is {order.get_status_display()}. Deliveries are entered for orders that were sent."
        raise Conflict(words, code="not_running")
    arrived = [one for one in arrived if one.units]
    if not arrived:
        raise refused("arrived", "Nothing is entered. Say how many came of at least one line.", "empty")
    lines = {line.pk: line for line in _lines(order)}
    _check_arrived(order, lines, arrived)
    lock([lines[one.line.pk].part for one in arrived])
    receipt = Receipt(order=order, delivery_note=delivery_note, by=by, at=at)
    receipt.full_clean(validate_constraints=False)
    receipt.save(force_insert=True)
    told = [_receive_line(receipt, lines[one.line.pk], one) for one in arrived]
    _tell(order, f"delivery note {delivery_note}: {'; '.join(told)}", by, at)
    _settle(order, at)
    return receipt


def _told(receipt: Receipt) -> str:
    return ", ".join(f"{one.units} × {one.line.item}" for one in receipt.lines.select_related("line__item__part"))


def _check_arrived(order: PurchaseOrder, lines: dict[int, PurchaseLine], arrived: list[Arrived]) -> None:
    errors = {}
    if len({one.line.pk for one in arrived}) < len(arrived):
        raise refused("arrived", "One line is named twice. Give each once, with all that came of it.", "twice")
    for one in arrived:
        line, field = lines.get(one.line.pk), f"units_{one.line.pk}"
        if line is None:
            errors[field] = ValidationError(f"{one.line} is no line of {order}.", code="other_order")
        elif not 0 < one.units <= MOST_UNITS:
            words = f"{one.units} cannot have come. Give 0 to {MOST_UNITS}."
            errors[field] = ValidationError(words, code="units")
        elif one.units > line.to_come and not one.why.strip():
            errors[field] = ValidationError(_too_many(line, one.units), code="more_than_ordered")
        elif one.price is not None:
            try:
                _check_price(one.price, f"price_{line.pk}")
            except ValidationError as error:
                errors |= error.error_dict
    if errors:
        raise ValidationError(errors)


def _too_many(line: PurchaseLine, units: int) -> str:
    came = f", {line.received} came before" if line.received else ""
    off = f", {line.called_off} called off" if line.called_off else ""
    return (
        f"{line.units} of {line.item} were ordered{came}{off}: {line.to_come} still to come, not {units}. "
        "Count again. To keep more than was ordered, say why."
    )


def _receive_line(receipt: Receipt, line: PurchaseLine, one: Arrived) -> str:
    """Put on the shelf what came of one line; the sentence for the history."""
    more = one.units > line.to_come
    try:
        movement = receive(
            part=line.part,
            amount=one.units * line.item.size,
            container=line.item.container,
            lot_code=one.lot_code,
            use_by=one.use_by,
            by=receipt.by,
            at=receipt.at,
            reason=f"{receipt.order}, delivery note {receipt.delivery_note}",
        )
    except ValidationError as error:
        units, use_by = f"units_{line.pk}", f"use_by_{line.pk}"
        raise renamed(error, amount=units, container=units, use_by=use_by) from error
    ReceiptLine.objects.create(
        receipt=receipt,
        line=line,
        units=one.units,
        price=one.price,
        why=one_line(one.why) if more else "",
        movement=movement,
        by=receipt.by,
        at=receipt.at,
    )
    words = f"{one.units} × {line.item}"
    if more:
        words += f", {one.units - line.to_come} more than ordered: {one_line(one.why)}"
    if one.lot_code:
        words += f", lot {one.lot_code}"
    if one.price is not None and one.price != line.price:
        agreed = f", agreed {price_in_words(line.price)}" if line.price is not None else ""
        words += f", paid {price_in_words(one.price)} for one{agreed}"
    return words


@transaction.atomic
def correct_receipt(*, received: ReceiptLine, units: int, why: str, by: User, at: datetime) -> ReceiptLine:
    """Put right a line of a delivery on which more was written than came; the difference leaves the shelf again.

    What was written stays; the correction is a row of its own. The order waits for the rest again.
    """
    order = _locked(received.receipt.order)
    received = ReceiptLine.objects.select_related("line__item__container", "line__part", "receipt").get(pk=received.pk)
    item, why = received.line.item, one_line(why)
    if received.corrects_id or ReceiptLine.objects.filter(corrects=received).exists():
        raise Conflict(f"{item} of {received.receipt} was corrected already. Look at the order.", code="corrected")
    if not 0 <= units < received.units:
        words = (
            f"{received.units} were written. Give 0 to {received.units - 1}, or enter what came besides as a delivery."
        )
        raise refused("units", words, "units")
    if not why:
        raise refused("why", "Say why: what was misread, or what went back to the supplier.", "reason")
    fewer = received.units - units
    try:
        movement = put_right(
            movement=received.movement,
            right=units * item.size,
            reason=f"{received.receipt} corrected: {why}"[:200],
            by=by,
            at=at,
        )
    except ValidationError as error:
        raise renamed(error, right="units", reason="why", movement="units") from error
    row = ReceiptLine.objects.create(
        receipt=received.receipt, line=received.line, units=-fewer, price=received.price, why=why[:200],
        corrects=received, movement=movement, by=by, at=at,
    )  # fmt: skip
    _tell(order, f"delivery note {received.receipt.delivery_note} corrected: {units} × {item} came ({why})", by, at)
    _settle(order, at, again=True)
    return row


@transaction.atomic
def call_off_rest(*, order: PurchaseOrder, why: str, by: User, at: datetime) -> PurchaseOrder:
    """Nothing more will come: the order is closed, or called off when nothing came at all. Twice is as good as once."""
    order, why = _locked(order), one_line(why)
    if order.status in (PurchaseStatus.CLOSED, PurchaseStatus.CALLED_OFF):
        return order
    if not why:
        raise refused("why", "Say why: not needed any more, or the supplier cannot deliver.", "reason")
    lines = _lines(order)
    for line in lines:
        if line.to_come:
            line.called_off += line.to_come
            line.save(update_fields=["called_off"])
    came = any(line.received for line in lines)
    order.status = PurchaseStatus.CLOSED if came else PurchaseStatus.CALLED_OFF
    order.ended_at, order.ended_why = at, why
    order.full_clean()
    order.save()
    _tell(order, f"{'rest called off' if came else 'called off'}: {why}", by, at)
    return order


def _settle(order: PurchaseOrder, at: datetime, again: bool = False) -> None:
    """Bring the state of an order that was sent up to what came of it; again: one that was closed may wait anew."""
    if not (order.running or again):
        return
    lines = _lines(order)
    before = order.status, order.ended_at
    if not any(line.to_come for line in lines):
        order.status, order.ended_at = PurchaseStatus.CLOSED, order.ended_at or at
    else:
        came = any(line.received for line in lines)
        order.status, order.ended_at = PurchaseStatus.IN_PART if came else PurchaseStatus.SENT, None
    if (order.status, order.ended_at) != before:
        order.save(update_fields=["status", "ended_at"])


def _tell(order: PurchaseOrder, what: str, by: User, at: datetime) -> None:
    note_down(who=by, kind="purchase", key=order.pk, what=what, at=at)
