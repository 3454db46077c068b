"""What the desk's searches look for."""

import re

from django.db.models import Prefetch, Q

from shop.customers.models import Customer, Vehicle
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
