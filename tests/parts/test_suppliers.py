"""Suppliers, what they sell, and the price that held on a day."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.parts.models import SupplierItem
from shop.parts.services import add_item, change_item, change_supplier, create_supplier, note_price
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

TODAY = date(2026, 11, 25)


def told(supplier):
    return [one.what for one in AuditEntry.objects.filter(kind="supplier", key=str(supplier.pk)).order_by("pk")]


def test_the_price_of_a_day_is_the_last_one_that_began_before_it(manager):
    item = make.make_item(price=None)
    for price, day in [("8.00", date(2026, 1, 1)), ("9.00", date(2026, 12, 1)), ("8.40", date(2026, 7, 1))]:
        note_price(item=item, price=Decimal(price), from_day=day, by=manager, at=NOON)
    prices = {day: item.price_on(day) for day in (date(2025, 12, 31), date(2026, 6, 30), TODAY, date(2026, 12, 1))}
    assert list(prices.values()) == [None, Decimal("8.00"), Decimal("8.40"), Decimal("9.00")]
    for day, price in prices.items():
        assert SupplierItem.objects.priced(day).get(pk=item.pk).price == price


def test_of_two_prices_of_one_day_the_later_noted_holds_and_both_stay(manager):
    item = make.make_item(price="8.00")
    note_price(item=item, price=Decimal("0.0850"), from_day=TODAY, by=manager, at=NOON)
    assert item.price_on(TODAY) == Decimal("0.085")
    assert item.prices.count() == 2
    assert told(item.supplier)[-1] == f"price of {item}: 0.085 USD from 25 November 2026"


@pytest.mark.parametrize("price", ["-0.01", "NaN", "Infinity", "1000000", "1.00001"])
def test_what_is_no_price_is_refused(manager, price):
    item = make.make_item(price=None)
    with pytest.raises(ValidationError) as refused:
        note_price(item=item, price=Decimal(price), from_day=TODAY, by=manager, at=NOON)
    assert set(refused.value.message_dict) == {"price"}


def test_a_day_of_another_century_is_refused(manager):
    with pytest.raises(ValidationError, match="cannot be right"):
        note_price(item=make.make_item(), price=Decimal(1), from_day=date(2226, 1, 1), by=manager, at=NOON)


def test_two_suppliers_of_one_name_are_refused(manager):
    make.make_supplier(name="Ferrisgate Supply")
    with pytest.raises(ValidationError, match="in the book already"):
        create_supplier(name=" ferrisgate  supply ", lead_days=3, by=manager, at=NOON)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"name": " "}, "name"),
        ({"lead_days": -1}, "lead_days"),
        ({"lead_days": 251}, "lead_days"),
        ({"lead_deviation_days": 251}, "lead_deviation_days"),
        ({"order_days": "17"}, "order_days"),
        ({"email": "nowhere"}, "email"),
    ],
)
def test_a_supplier_that_says_nonsense_is_refused(manager, given, field):
    with pytest.raises(ValidationError) as refused:
        create_supplier(**{"name": "Ferrisgate Supply", "lead_days": 5} | given, by=manager, at=NOON)
    assert set(refused.value.message_dict) == {field}


def test_a_change_tells_what_changed_and_the_second_who_saves_is_told(manager):
    supplier = make.make_supplier(name="Ferrisgate Supply", order_days="1")
    given = {"supplier": supplier, "version": 1, "name": "Ferrisgate Supply", "email": supplier.email, "by": manager}
    change_supplier(**given, lead_days=7, lead_deviation_days=2, order_days="30", at=NOON)
    assert told(supplier)[-1] == "lead time: 7 working days ± 2, order days: Monday, Thursday"
    with pytest.raises(Conflict):
        change_supplier(**given, lead_days=8, at=NOON)


def test_a_fluid_is_sold_in_a_container_of_its_own_and_a_thing_is_entered_once(manager):
    oil = make.make_part(measure="volume")
    bottle, other = make.make_container(oil, 1_000_000), make.make_container(make.make_part(measure="volume"), 1000)
    supplier = make.make_supplier()
    given = {"supplier": supplier, "part": oil, "by": manager, "at": NOON}
    with pytest.raises(ValidationError, match="Say in which container"):
        add_item(**given)
    with pytest.raises(ValidationError, match="is not a container of"):
        add_item(**given, container=other)
    item = add_item(**given, container=bottle)
    assert (item.size, item.unit_name) == (1_000_000, bottle.name)
    with pytest.raises(ValidationError, match="already"):
        add_item(**given, container=bottle)


@pytest.mark.parametrize("field", ["pack", "minimum"])
@pytest.mark.parametrize("value", [0, -1, 100_001])
def test_packs_of_nothing_are_refused(manager, field, value):
    item = make.make_item()
    with pytest.raises(ValidationError) as refused:
        change_item(item=item, version=1, **{field: value}, by=manager, at=NOON)
    assert set(refused.value.message_dict) == {field}


def test_what_is_not_sold_any_more_is_not_offered(manager):
    item = make.make_item()
    change_item(item=item, version=1, in_use=False, by=manager, at=NOON)
    assert not SupplierItem.objects.offered().exists()
    assert told(item.supplier)[-1] == f"{item}: in use: no"


@pytest.mark.django_db(transaction=True)
def test_two_managers_entering_one_supplier_at_once_make_one():
    by = make.make_user()
    outcomes = at_once(*[lambda: create_supplier(name="Ferrisgate Supply", lead_days=5, by=by, at=NOON)] * 2)
    assert sum(isinstance(one, ValidationError) for one in outcomes) == 1, outcomes


@pytest.mark.django_db(transaction=True)
def test_prices_noted_at_once_both_stand():
    item, by = make.make_item(price=None), make.make_user()

    def priced(days):
        day = TODAY - timedelta(days=days)
        return lambda: note_price(item=item, price=Decimal(days), from_day=day, by=by, at=NOON)

    outcomes = at_once(priced(1), priced(2))
    assert not [one for one in outcomes if isinstance(one, Exception)]
    assert item.price_on(TODAY) == 1
