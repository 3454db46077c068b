"""Suppliers, what they sell, and what it costs from which day on."""

from datetime import date, datetime
from decimal import Decimal

from django.conf import settings
from django.db import transaction

from shop.calc.bench_time import WEEKDAYS
from shop.calc.intervals import day_in_words
from shop.core.amounts import price_in_words
from shop.core.clock import local_day
from shop.core.errors import refused
from shop.core.rows import one_line, save_new, unchanged
from shop.parts.models import MOST_UNITS, Container, Part, Supplier, SupplierItem, SupplierPrice
from shop.parts.models.suppliers import LONGEST_LEAD_DAYS
from shop.staff.models import User
from shop.staff.services import note

DEAREST = Decimal(1_000_000)


@transaction.atomic
def create_supplier(
    *,
    name: str,
    lead_days: int,
    lead_deviation_days: int = 0,
    order_days: str = "",
    email: str = "",
    phone: str = "",
    address: str = "",
    account_number: str = "",
    note: str = "",
    by: User,
    at: datetime,
) -> Supplier:
    """Enter a supplier. Lead times in working days; order_days as digits, 0 is Monday, empty for any working day."""
    supplier = Supplier()
    _fill(
        supplier,
        name=name,
        lead_days=lead_days,
        lead_deviation_days=lead_deviation_days,
        order_days=order_days,
        email=email,
        phone=phone,
        address=address,
        account_number=account_number,
        note=note,
    )
    save_new(supplier)
    _tell(supplier, f"entered: {supplier}, {_lead_in_words(supplier)}", by, at)
    return supplier


@transaction.atomic
def change_supplier(
    *,
    supplier: Supplier,
    version: int,
    name: str,
    lead_days: int,
    lead_deviation_days: int = 0,
    order_days: str = "",
    email: str = "",
    phone: str = "",
    address: str = "",
    account_number: str = "",
    note: str = "",
    in_use: bool = True,
    by: User,
    at: datetime,
) -> Supplier:
    """Change a supplier; from one that is not in use nothing is suggested or ordered any more."""
    supplier = unchanged(Supplier, supplier.pk, version)
    before = _told(supplier)
    _fill(
        supplier,
        name=name,
        lead_days=lead_days,
        lead_deviation_days=lead_deviation_days,
        order_days=order_days,
        email=email,
        phone=phone,
        address=address,
        account_number=account_number,
        note=note,
    )
    supplier.in_use = in_use
    _tell_changes(supplier, before, _told(supplier), by, at)
    return supplier


def _fill(supplier: Supplier, *, order_days: str, **given) -> None:
    for field, value in given.items():
        lines = field in ("address", "note")
        setattr(supplier, field, value.strip() if lines else one_line(value) if isinstance(value, str) else value)
    if strange := set(order_days) - set("0123456"):
        raise refused("order_days", f"“{''.join(sorted(strange))}” is no weekday. 0 is Monday, 6 is Sunday.", "weekday")
    supplier.order_days = "".join(sorted(set(order_days)))
    for field in ("lead_days", "lead_deviation_days"):
        if not 0 <= getattr(supplier, field) <= LONGEST_LEAD_DAYS:
            words = f"{getattr(supplier, field)} working days cannot be. Give 0 to {LONGEST_LEAD_DAYS}."
            raise refused(field, words, "lead")
    twin = Supplier.objects.exclude(pk=supplier.pk).filter(name__iexact=supplier.name).first()
    if twin:
        raise refused("name", f"{twin} is in the book already. Open that one.", "known")
    supplier.full_clean(validate_constraints=False)


def _told(supplier: Supplier) -> dict[str, str]:
    return {
        "name": supplier.name,
        "lead time": _lead_in_words(supplier),
        "order days": order_days_in_words(supplier),
        "e-mail": supplier.email,
        "telephone": supplier.phone,
        "address": one_line(supplier.address),
        "account number": supplier.account_number,
        "note": one_line(supplier.note),
        "in use": "yes" if supplier.in_use else "no",
    }


def _lead_in_words(supplier: Supplier) -> str:
    spread = f" ± {supplier.lead_deviation_days}" if supplier.lead_deviation_days else ""
    return f"{supplier.lead_days} working day{'' if supplier.lead_days == 1 else 's'}{spread}"


def order_days_in_words(supplier: Supplier) -> str:
    """On which weekdays they take orders."""
    return ", ".join(WEEKDAYS[one] for one in supplier.takes_orders_on) or "any working day"


@transaction.atomic
def add_item(
    *,
    supplier: Supplier,
    part: Part,
    container: Container | None = None,
    their_number: str = "",
    pack: int = 1,
    minimum: int = 1,
    price: Decimal | None = None,
    by: User,
    at: datetime,
) -> SupplierItem:
    """Enter what a supplier sells: a part by the piece, or in containers of one size; a price holds from today on."""
    supplier = Supplier.objects.select_for_update(no_key=True).get(pk=supplier.pk)
    if container and container.part_id != part.pk:
        raise refused("container", f"{container} is not a container of {part}.", "other_part")
    if not container and part.measure != "count":
        words = f"{part} is no piece. Say in which container they sell it; its sizes are entered with the stock item."
        raise refused("container", words, "no_container")
    if supplier.items.filter(part=part, container=container).exists():
        how = f"in the size {container}" if container else "by the piece"
        raise refused("part", f"{supplier} sells {part} {how} already. Open that entry.", "known")
    item = SupplierItem(supplier=supplier, part=part, container=container)
    _fill_item(item, their_number, pack, minimum)
    save_new(item)
    _tell(supplier, f"sells: {item}{f', their number {item.their_number}' if item.their_number else ''}", by, at)
    if price is not None:
        note_price(item=item, price=price, from_day=local_day(at), by=by, at=at)
    return item


@transaction.atomic
def change_item(
    *,
    item: SupplierItem,
    version: int,
    their_number: str = "",
    pack: int = 1,
    minimum: int = 1,
    in_use: bool = True,
    by: User,
    at: datetime,
) -> SupplierItem:
    """Change how a supplier sells a thing; one that is not in use is not suggested any more."""
    item = unchanged(SupplierItem.objects.select_related("supplier", "part", "container"), item.pk, version)
    before = _told_item(item)
    _fill_item(item, their_number, pack, minimum)
    item.in_use = in_use
    _tell_changes(item.supplier, before, _told_item(item), by, at, row=item, about=f"{item}: ")
    return item


def _fill_item(item: SupplierItem, their_number: str, pack: int, minimum: int) -> None:
    for field, value in (("pack", pack), ("minimum", minimum)):
        if not 1 <= value <= MOST_UNITS:
            raise refused(field, f"{value} cannot be. Give a whole number from 1 to {MOST_UNITS}.", field)
    item.their_number, item.pack, item.minimum = one_line(their_number), pack, minimum
    item.full_clean(validate_constraints=False, validate_unique=False)


def _told_item(item: SupplierItem) -> dict[str, str]:
    return {
        "their number": item.their_number,
        "pack": str(item.pack),
        "minimum": str(item.minimum),
        "in use": "yes" if item.in_use else "no",
    }


@transaction.atomic
def note_price(*, item: SupplierItem, price: Decimal, from_day: date, by: User, at: datetime) -> SupplierPrice:
    """Note what one piece or container costs from a day on; what held before stays to be read."""
    if not price.is_finite() or not 0 <= price < DEAREST:
        raise refused("price", f"{price} cannot be a price. Give zero or more, and less than {DEAREST}.", "price")
    if price != round(price, 4):
        raise refused("price", f"{price} has more than four figures behind the point. Shorten it.", "price")
    if abs((from_day - local_day(at)).days) > 3660:
        raise refused("from_day", f"{day_in_words(from_day)} cannot be right. Give a day of these years.", "day")
    row = SupplierPrice(item=item, price=price, currency=settings.CURRENCY, from_day=from_day, noted_by=by, noted_at=at)
    row.save(force_insert=True)
    _tell(
        item.supplier, f"price of {item}: {price_in_words(price)} {row.currency} from {day_in_words(from_day)}", by, at
    )
    return row


def _tell(supplier: Supplier, what: str, by: User, at: datetime) -> None:
    note(who=by, kind="supplier", key=supplier.pk, what=what, at=at)


def _tell_changes(supplier, before, after, by, at, row=None, about="") -> None:
    """Save under the next version and tell what changed; nothing changed, nothing told."""
    changed = [f"{name}: {new or 'nothing'}" for name, new in after.items() if before[name] != new]
    if not changed:
        return
    row = row or supplier
    row.version += 1
    row.save()
    _tell(supplier, about + ", ".join(changed), by, at)
