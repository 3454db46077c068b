"""What the desk's searches look for."""

import re

from django.db.models import Prefetch, Q

from shop.customers.models import Customer, Vehicle
from shop.dampers.models import Damper, DamperModel
from shop.web.pages import having_words
from shop.workorders.models import WorkOrder

# LG-1042, 1042, and the bag tag 1042-3.
ORDER_NUMBER = re.compile(r"(?:[A-Za-z]+-)?(\d{4,12})(?:-\d{1,3})?", re.ASCII)


def customers(text: str):
    """Customers of whom every word is found in name, phone, e-mail, or a vehicle's plate, frame number or model."""
    found = Customer.objects.all()
    for word in text.split():
        found = found.filter(
            Q(name__icontains=word)
            | Q(phone__icontains=word)
            | Q(email__icontains=word)
            | Q(pk__in=_vehicles(word).values("customer"))
        )
    return found.prefetch_related(
        Prefetch("vehicles", Vehicle.objects.filter(sold_on=None).select_related("model"), to_attr="vehicles_kept")
    )


def with_not_serviced(customers):
    """Customers with the dampers of theirs that this shop does not service."""
    theirs = not_serviced().exclude(vehicle__sold_on__isnull=False)
    return customers.prefetch_related(Prefetch("dampers", theirs, to_attr="not_serviced"))


def not_serviced():
    """Dampers that this shop does not service, one model after the other."""
    return Damper.objects.filter(model__serviceable=False).select_related("model").order_by("model", "pk")


def damper_models(text: str):
    """Damper models of whose maker or name every word is a part: for who asks whether this shop services one."""
    return having_words(DamperModel.objects.all(), text, "maker", "name")


def orders(text: str, rows=None):
    """Orders with this number or bag tag, or of customers and vehicles that match every word."""
    rows = WorkOrder.objects.all() if rows is None else rows
    asked = Q()
    for word in text.split():
        asked &= Q(customer__name__icontains=word) | Q(customer__phone__icontains=word) | Q(vehicle__in=_vehicles(word))
    if pk := order_pk(text):
        asked |= Q(pk=pk)
    return rows.filter(asked)


def order_pk(text: str) -> int | None:
    """The primary key that an order number or a bag tag stands for; None for any other text."""
    number = ORDER_NUMBER.fullmatch(text.strip())
    return int(number[1]) - 1000 if number else None


def _vehicles(word: str):
    return Vehicle.objects.filter(
        Q(plate__icontains=word)
        | Q(vin__icontains=word)
        | Q(model__maker__icontains=word)
        | Q(model__name__icontains=word)
    )
