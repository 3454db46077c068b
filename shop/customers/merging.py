"""Two entries of one customer become one: everything moves to the one who stays, nothing is lost or rewritten."""

from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from shop.core.errors import Conflict, refused
from shop.customers.models import Consent, Customer
from shop.staff.models import User
from shop.staff.services import note

FIELDS = ["name", "phone", "email", "address", "note"]  # what is kept of one or the other


@dataclass(frozen=True)
class Held:
    """What an entry has in one table: "3 vehicles"."""

    what: str
    count: int


def tables():
    """Every relation that points at a customer, from the registry: a table that comes later is among them."""
    return [
        relation
        for relation in Customer._meta.related_objects
        if not relation.many_to_many and relation.related_model._meta.managed
    ]


def held(customer: Customer) -> list[Held]:
    """What hangs on an entry, table by table, for who compares two of them."""
    return [
        Held(str(relation.related_model._meta.verbose_name_plural), count)
        for relation in tables()
        if relation.related_model is not Customer and (count := _rows(relation, customer).count())
    ]


def _rows(relation, customer):
    return relation.related_model._base_manager.filter(**{relation.field.name: customer})


@transaction.atomic
def merge_customers(
    *,
    gone: Customer,
    stays: Customer,
    keep_from_gone: list[str] = (),
    versions: tuple[int, int],
    by: User,
    at: datetime,
) -> Customer:
    """Move all that hangs on gone to stays, and let gone lead there. keep_from_gone: the FIELDS taken from gone.

    versions are those of gone and stays that the person compared, else Conflict. Whoever said no to reminders in one of
    the two has said no. Trail and history keep speaking of both.
    """
    if gone.pk == stays.pk:
        raise refused("stays", "This is one and the same entry. Choose the other one of the two.", "same")
    if strange := sorted(set(keep_from_gone) - set(FIELDS)):
        raise refused("keep_from_gone", f"“{strange[0]}” is none of: {', '.join(FIELDS)}.", "unknown_field")
    _lock_what_moves(gone)
    rows = {
        row.pk: row for row in Customer.objects.select_for_update().filter(pk__in=[gone.pk, stays.pk]).order_by("pk")
    }
    gone, stays = rows[gone.pk], rows[stays.pk]
    for row, seen in zip((gone, stays), versions, strict=True):
        check_present(row)
        if row.version != seen:
            words = f"Somebody else has changed {row} since you compared the two. Compare them as they are now."
            raise Conflict(words, code="stale")
    moved = _move(gone, stays)
    for name in keep_from_gone:
        setattr(stays, name, getattr(gone, name))
    stays.reminder_consent, stays.reminder_consent_at = _strict(gone, stays)
    stays.version += 1
    stays.full_clean()
    stays.save()
    gone.merged_into, gone.version = stays, gone.version + 1
    gone.save(update_fields=["merged_into", "version"])
    kept = f"; taken from it: {', '.join(keep_from_gone)}" if keep_from_gone else ""
    note(
        who=by,
        kind="customer",
        key=stays.pk,
        what=f"number {gone.pk}, {gone}, merged into this one: {moved}{kept}",
        at=at,
    )
    note(who=by, kind="customer", key=gone.pk, what=f"merged into number {stays.pk}, {stays}: {moved}", at=at)
    return stays


def _lock_what_moves(gone: Customer) -> None:
    """In the order in which all others lock: orders, dampers, vehicles, the rest; the two customers come last."""
    places = {"workorder": 0, "damper": 1, "vehicle": 2}
    for relation in sorted(tables(), key=lambda one: (places.get(one.related_model._meta.model_name, 3), one.name)):
        if relation.related_model is not Customer:
            list(_rows(relation, gone).select_for_update().order_by("pk").values_list("pk", flat=True))


def _move(gone: Customer, stays: Customer) -> str:
    """Let every row of every table point at the one who stays; answers what was moved, in words."""
    moved = []
    for relation in tables():
        try:
            with transaction.atomic():
                count = _rows(relation, gone).update(**{relation.field.name: stays})
        except IntegrityError as error:
            what = relation.related_model._meta.verbose_name_plural
            words = f"The {what} of the two cannot stand side by side: {error}. Nothing was merged; settle them first."
            raise ValidationError(words, code="cannot_move") from error
        if count and relation.related_model is not Customer:
            meta = relation.related_model._meta
            moved.append(f"{count} {meta.verbose_name if count == 1 else meta.verbose_name_plural}")
        if count and any(one.name == "forecast_stale" for one in relation.related_model._meta.fields):
            _rows(relation, stays).update(forecast_stale=True)
    return ", ".join(moved) or "nothing hung on it"


def _strict(gone: Customer, stays: Customer):
    """A no outweighs all; a yes outweighs what was never asked. The later of two alike."""
    weight = {Consent.NO: 2, Consent.YES: 1, Consent.NOT_ASKED: 0}
    chosen = max(
        (stays, gone),
        key=lambda row: (
            weight[row.reminder_consent],
            row.reminder_consent_at.timestamp() if row.reminder_consent_at else 0,
        ),
    )
    return chosen.reminder_consent, chosen.reminder_consent_at


def stays_of(customer: Customer) -> Customer:
    """The one who stays for this entry; itself when it was never merged. A chain is as long as one: rows move on."""
    return customer.merged_into or customer


def check_present(customer: Customer) -> None:
    """Raise Conflict "merged" for one who was merged into another."""
    if customer.merged_into_id:
        stays = f"{customer.merged_into} (number {customer.merged_into_id})"
        words = f"{customer} was merged into {stays} meanwhile. Go on with that entry."
        raise Conflict(words, code="merged")


def lock_present(customer: Customer) -> Customer:
    """The customer as it is now, locked against being merged until the transaction ends; Conflict when it was."""
    row = (
        Customer.objects.select_for_update(of=("self",), no_key=True).select_related("merged_into").get(pk=customer.pk)
    )
    check_present(row)
    return row
