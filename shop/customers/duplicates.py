"""Who may be in the book already: asked before a customer is entered twice, and when two are merged."""

from dataclasses import dataclass

from shop.core.search import asking, words
from shop.customers.models import Customer, Vehicle

MOST = 6


@dataclass(frozen=True)
class Twin:
    """A customer who may be the same, and why one should think so."""

    customer: Customer
    why: str
    vehicle: Vehicle | None = None


def likely_same(
    *, name: str = "", phone: str = "", email: str = "", vin: str = "", but: Customer | None = None
) -> list[Twin]:
    """Customers with the same figures of the telephone number, e-mail, frame number, or an alike name; surest first."""
    found: dict[int, Twin] = {}

    def add(rows, why, vehicle=None):
        for row in rows:
            if not (but and row.pk == but.pk) and not row.merged_into_id:
                found.setdefault(row.pk, Twin(row, why, vehicle))

    if number := vin.strip().upper():
        for vehicle in Vehicle.objects.filter(vin=number).select_related("customer", "model"):
            add([vehicle.customer], f"has the vehicle with this number, {vehicle}", vehicle)
    digits = "".join(one for one in phone if one in "0123456789")
    if len(digits) >= 5:
        add(_saying([(digits,)]), "has this telephone number")
    if email:
        add(Customer.objects.filter(pk__in=_by_mail(email), email__iexact=email), "has this e-mail address")
    if asked := words.spaced(name).split():
        add(_saying([_meant_by(word) for word in asked], fewer=len(asked)), "has a name like this")
    return list(found.values())[:MOST]


def _by_mail(email):
    return asking.entries(email, "customer")[0].values("key")


def _meant_by(word):
    """The word and those that a slip or two would make of it."""
    return (word, *asking.near(word)) if len(word) >= 4 else (word,)


def _saying(wanted, fewer=0):
    rows = asking.saying(wanted, "customer", fit=asking.WHOLE)
    if rows is None:
        return []
    found = Customer.objects.filter(pk__in=rows.values("key")).order_by("pk")
    if fewer:  # one with further names is somebody else
        return [row for row in found[:50] if abs(len(words.spaced(row.name).split()) - fewer) <= 1][:MOST]
    return found[:MOST]
