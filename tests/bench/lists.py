"""The list of orders, 50 rows out of 100 000, against a bare view of the same rows and columns."""

import re
from datetime import timedelta
from functools import cache

from django.db import connection
from django.http import HttpResponse
from django.template import engines
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.customers.models import Customer, Vehicle
from shop.picklists.models import PickList
from shop.workorders.models import OrderStatus, WorkOrder
from tests import factories
from tests.bench.measures import Measure, in_turns, milliseconds
from tests.factories import NOON

ORDERS = 100_000
CUSTOMERS = 5_000
ROWS = 50
ROUNDS = 60
BATCH = 5_000

PLAIN = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Orders</title></head><body><table>
{% for order in rows %}<tr>
<td><a href="{{ order.get_absolute_url }}">{{ order.number }}</a></td>
<td>{{ order.customer.name }}</td>
<td>{{ order.vehicle|default_if_none:"loose dampers" }}</td>
<td>{{ order.get_status_display }}</td>
<td>{{ order.arrives_on|date:"j M Y" }}</td>
<td>{{ order.promised_for|date:"j M Y, H:i" }}</td>
</tr>{% endfor %}</table></body></html>"""


@cache
def plain_template():
    """Parsed once, as the cached loader does for the real page."""
    return engines["django"].from_string(PLAIN)


def bare_orders(request):
    """The same rows and columns without anything around them."""
    rows = WorkOrder.objects.select_related("customer", "vehicle__model")[:ROWS]
    return HttpResponse(plain_template().render({"rows": rows}))


def measure():
    fill()
    client = Client()
    client.force_login(factories.make_user("desk"))
    address = reverse("desk:orders")

    def full():
        return _expect_rows(client.get(address), ROWS)

    def bare():
        return _expect_rows(client.get("/bare/orders/"), ROWS)

    full_time, bare_time = in_turns(ROUNDS, full, bare, warm_up=10)
    how = f"{milliseconds(full_time)} : {milliseconds(bare_time)}; medians of {ROUNDS} in turns after 10 to warm up"
    name = f"Order list, {ROWS} rows of {ORDERS} : bare view of the same rows"
    yield Measure(name, full_time / bare_time, 1.5, how)

    few = WorkOrder.objects.order_by("pk")[5].pk
    counts = []
    for query, rows in ((f"?before={few}", 5), ("", ROWS)):
        with CaptureQueriesContext(connection) as queries:
            _expect_rows(client.get(address + query), rows)
        counts.append(len(queries))
    how = f"{counts[0]} queries for 5 rows, {counts[1]} for {ROWS}"
    yield Measure(f"Queries of the order list: {ROWS} rows less 5 rows", counts[1] - counts[0], 0, how)


def _expect_rows(response, rows):
    assert response.status_code == 200, response.status_code
    found = re.findall(rb'href="/orders/\d+/"', response.content)
    assert len(found) == rows, len(found)


def fill():
    """Orders of some years, the newest still booked; then what PostgreSQL's planner knows is brought up to date."""
    desk = factories.make_user("desk")
    model = factories.make_vehicle_model()
    customers = Customer.objects.bulk_create(
        [Customer(name=f"Ines Calloway {n}", created_at=NOON) for n in range(CUSTOMERS)]
    )
    vehicles = Vehicle.objects.bulk_create(
        [Vehicle(customer=one, model=model, model_year=2015, created_at=NOON) for one in customers]
    )
    for start in range(0, ORDERS, BATCH):
        numbers = range(start, start + BATCH)
        lists = PickList.objects.bulk_create([PickList(title=f"LG-{n}", made_at=NOON) for n in numbers])
        WorkOrder.objects.bulk_create(
            [_order(n, vehicles[n % CUSTOMERS], pick_list, desk) for n, pick_list in zip(numbers, lists, strict=True)]
        )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _order(n, vehicle, pick_list, desk):
    booked = NOON - timedelta(hours=ORDERS - n)
    state = {}
    if n < ORDERS - 200:
        state = {"status": OrderStatus.HANDED_BACK}
        state |= dict.fromkeys(("checked_in_at", "closed_at", "handed_back_at"), booked)
    return WorkOrder(
        customer_id=vehicle.customer_id,
        vehicle=vehicle,
        complaint="leaks at the shaft",
        arrives_on=booked.date(),
        promised_for=booked + timedelta(days=2),
        pick_list=pick_list,
        booked_by=desk,
        booked_at=booked,
        **state,
    )
