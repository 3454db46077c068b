"""The one box of the desk: what is found, as a sentence each that says what it is, whose, and in which state."""

import re
from dataclasses import dataclass, field, replace
from datetime import datetime

from django.conf import settings
from django.db import models

from shop.calc.intervals import day_in_words
from shop.core.search import asking
from shop.customers.models import Customer, Vehicle
from shop.dampers.models import Damper
from shop.workorders.found import FIRST_NUMBER
from shop.workorders.models import DamperJob, WorkOrder
from shop.workorders.telephone import answers, for_answers

# LG-1042, 1042, and the bag tag 1042-3.
ORDER_NUMBER = re.compile(r"(?:[A-Za-z]+-?)?(\d{4,12})(?:-(\d{1,3}))?", re.ASCII)


class Kind(models.TextChoices):
    CUSTOMER = "customer", "Customer"
    VEHICLE = "vehicle", "Vehicle"
    DAMPER = "damper", "Damper"
    TAG = "tag", "Bag tag"
    ORDER = "order", "Order"


@dataclass(frozen=True)
class Found:
    """One thing found. beside: it is found only by whose it is. told: of an order, the answer for the telephone."""

    kind: Kind
    row: models.Model
    title: str
    sentence: str
    past: bool
    beside: bool = False
    told: str = ""

    @property
    def url(self) -> str:
        return (self.row.order if self.kind == Kind.TAG else self.row).get_absolute_url()

    @property
    def label(self) -> str:
        return self.kind.label


@dataclass(frozen=True)
class Answer:
    found: list[Found] = field(default_factory=list)
    more: bool = False
    unknown: list[str] = field(default_factory=list)
    alike: list[str] = field(default_factory=list)
    named: Found | None = None  # the order or the damper whose number or tag was typed in full

    @property
    def words(self) -> str:
        """When nothing says what was asked: what was looked for instead; else empty."""
        return alike_in_words(self.unknown, self.alike)

    @property
    def only(self) -> Found | None:
        """The one thing that was asked for; what comes with it counts only if it is an order: that is asked about."""
        meant = [one for one in self.found if not one.beside or one.kind == Kind.ORDER]
        return meant[0] if len(meant) == 1 and not self.alike else None


def alike_in_words(unknown: list[str], alike: list[str]) -> str:
    if not alike:
        return ""
    said = " or ".join(f"“{word}”" for word in unknown)
    return f"Nothing says {said}; alike: {', '.join(word.capitalize() for word in alike)}."


def find(text: str, *, now: datetime, kinds: list[str] | None = None, most: int = 20) -> Answer:
    """What every word of the text is found in, the best first, orders with their telephone answers.

    A constant number of queries. An order number or a bag tag in full comes before all else. Kinds: members of Kind,
    all when none is given.
    """
    kinds = set(kinds or Kind.values)
    first = _named(text, kinds)
    known = {(one.kind, one.row.pk) for one in first}
    answer = asking.find(_without_prefix(text), kinds=sorted(kinds - {Kind.TAG}) or ["none"], most=most)
    rows = _rows(answer.hits)
    found = [
        _told(hit.kind, rows[hit.kind][hit.key], hit.past, beside=hit.fit == asking.BESIDES or bool(first))
        for hit in answer.hits
        if hit.key in rows[hit.kind] and (hit.kind, hit.key) not in known
    ]
    return Answer(
        _with_answers([*first, *found][:most], now),
        answer.more or len(first) + len(found) > most,
        answer.unknown,
        answer.alike,
        next(iter(first), None),
    )


def _with_answers(found: list[Found], now: datetime) -> list[Found]:
    keys = [one.row.pk for one in found if one.kind == Kind.ORDER]
    told = answers(for_answers(WorkOrder.objects.filter(pk__in=keys)), now) if keys else {}
    return [replace(one, told=told[one.row.pk].words) if one.kind == Kind.ORDER else one for one in found]


def order_pk(text: str) -> int | None:
    """The primary key that an order number or a bag tag stands for; None for any other text."""
    number = ORDER_NUMBER.fullmatch(text.strip())
    return int(number[1]) - FIRST_NUMBER if number else None


def _without_prefix(text: str) -> str:
    """An entry holds the figures of an order's number alone, because the prefix is a setting."""
    begins = re.compile(rf"{re.escape(settings.ORDER_PREFIX)}-?(\d+(?:-\d*)?)", re.ASCII | re.IGNORECASE)
    return " ".join((match[1].split("-")[0] if (match := begins.fullmatch(word)) else word) for word in text.split())


def _named(text: str, kinds: set[str]) -> list[Found]:
    number = ORDER_NUMBER.fullmatch(text.strip())
    if not number:
        return []
    pk, index = int(number[1]) - FIRST_NUMBER, number[2]
    if index and Kind.TAG in kinds:
        jobs = DamperJob.objects.filter(order=pk, index=int(index))
        if job := jobs.select_related("damper__model", "order__customer", "order__vehicle__model").first():
            return [_told(Kind.TAG, job)]
    if Kind.ORDER in kinds and (order := WorkOrder.objects.with_names().filter(pk=pk).first()):
        return [_told(Kind.ORDER, order)]
    return []


def _rows(hits) -> dict[str, dict[int, models.Model]]:
    tables = {
        Kind.CUSTOMER: Customer.objects.select_related("merged_into"),
        Kind.VEHICLE: Vehicle.objects.select_related("customer", "model"),
        Kind.DAMPER: Damper.objects.select_related("customer", "model", "vehicle__model"),
        Kind.ORDER: WorkOrder.objects.with_names(),
    }
    return {
        kind: table.in_bulk([hit.key for hit in hits if hit.kind == kind])
        if any(hit.kind == kind for hit in hits)
        else {}
        for kind, table in tables.items()
    }


def _told(kind, row, past=False, beside=False) -> Found:
    title, sentence = TOLD[kind](row)
    return Found(Kind(kind), row, title, sentence, past, beside)


def _customer(row):
    if row.merged_into:
        return str(row), f"Merged into {row.merged_into}."
    reach = ", ".join(filter(None, [row.phone, row.email])) or "neither phone nor e-mail is noted"
    return str(row), f"Customer, {reach}."


def _vehicle(row):
    marks = ", ".join(filter(None, [row.plate and f"plate {row.plate}", row.vin and f"number {row.vin}"]))
    sold = f" Sold on {day_in_words(row.sold_on)}." if row.sold_on else ""
    return str(row), f"Vehicle of {row.customer}{f', {marks}' if marks else ''}.{sold}"


def _damper(row):
    sits = f"{row.where()} on the {row.vehicle}" if row.vehicle else "loose"
    sold = " The vehicle was sold." if row.vehicle and row.vehicle.sold_on else ""
    return f"{row.serial}", f"Damper {row}, of {row.customer}, {sits}.{sold}"


def _tag(row):
    order = row.order
    states = f"{order} is {order.get_status_display()}; this damper is {row.get_status_display()}."
    return row.tag, f"Bag of {order.customer}: {row.damper}, {row.damper.where()}. {states}"


def _order(row):
    return str(row), f"Order of {row.customer}, {row.vehicle or 'loose dampers'}: {row.get_status_display()}."


TOLD = {Kind.CUSTOMER: _customer, Kind.VEHICLE: _vehicle, Kind.DAMPER: _damper, Kind.TAG: _tag, Kind.ORDER: _order}


def orders(text: str, rows=None):
    """(orders, alike): those with this number or bag tag, or that say every word, by whose they are too."""
    rows = WorkOrder.objects.all() if rows is None else rows
    pk = order_pk(text)
    if pk and rows.filter(pk=pk).exists():
        return rows.filter(pk=pk), []
    found, alike = asking.entries(_without_prefix(text), Kind.ORDER)
    return rows.filter(pk__in=found.values("key")), alike


def customers(text: str, rows=None):
    """(customers, alike): those who, or a vehicle or damper of whom, say every word."""
    rows = Customer.objects.present() if rows is None else rows
    if not text.strip():
        return rows, []
    found, alike = asking.entries(text, Kind.CUSTOMER, Kind.VEHICLE, Kind.DAMPER)
    return rows.filter(pk__in=found.values("customer")), alike


def vehicles(text: str, rows=None):
    """(vehicles, alike): those that, or whose owner, say every word."""
    found, alike = asking.entries(text, Kind.VEHICLE)
    return (Vehicle.objects.all() if rows is None else rows).filter(pk__in=found.values("key")), alike
