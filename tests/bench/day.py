"""The day sheet with 200 open orders, against a bare view that renders the same rows from the same queries."""

import re
from datetime import timedelta
from functools import cache
from unittest.mock import patch

from django.db import connection
from django.http import HttpResponse
from django.template import engines
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.staff.models import Role
from shop.workorders.day import day as day_sheet
from shop.workorders.day import running_orders
from shop.workorders.models import WorkOrder
from shop.workorders.services import check_in, close_job, close_order
from tests import factories
from tests.bench.measures import Measure, in_turns, milliseconds
from tests.factories import NOON

FEW, MANY = 20, 200
ROUNDS = 30
DAMPERS = 2
MODELS = 6

PLAIN = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Day</title></head><body><table>
{% for order, words in rows %}<tr>
<td><a href="{{ order.get_absolute_url }}">{{ order.number }}</a></td>
<td>{{ order.customer.name }}</td>
<td>{{ order.vehicle|default_if_none:"loose dampers" }}</td>
<td>{{ words }}</td>
<td>{{ order.get_status_display }}</td>
<td>{{ order.arrives_on|date:"j M Y" }}</td>
<td>{{ order.promised_for|date:"j M Y, H:i" }}</td>
</tr>{% endfor %}</table></body></html>"""

# What the bare view is given: the words of each row, and the queries of the sheet beside those of the orders.
WORDS, BESIDES = {}, []


@cache
def plain_template():
    """Parsed once, as the cached loader does for the real page."""
    return engines["django"].from_string(PLAIN)


def bare_day(request):
    """The same queries and the same rows, without anything that is reckoned or around them."""
    orders = list(running_orders())
    with connection.cursor() as cursor:
        for sql in BESIDES:
            cursor.execute(sql)
            cursor.fetchall()
    return HttpResponse(plain_template().render({"rows": [(order, WORDS[order.pk]) for order in orders]}))


def measure():
    client = Client()
    client.force_login(factories.make_user(Role.DESK))
    with patch("django.utils.timezone.now", return_value=NOON):
        make = Maker()
        make.orders(FEW)
        few = _queries(client)
        make.orders(MANY - FEW)
        many = _queries(client)
        how = f"{few} queries for {FEW} open orders, {many} for {MANY}"
        yield Measure(f"Queries of the day sheet: {MANY} orders less {FEW} orders", many - few, 0, how)

        _prepare_bare()
        address = reverse("desk:day")

        def full():
            return _expect_rows(client.get(address))

        def bare():
            return _expect_rows(client.get("/bare/day/"))

        full_time, bare_time = in_turns(ROUNDS, full, bare, warm_up=3)
    how = f"{milliseconds(full_time)} : {milliseconds(bare_time)}; medians of {ROUNDS} in turns after 3 to warm up"
    yield Measure(f"Day sheet, {MANY} open orders : bare view of the same rows", full_time / bare_time, 1.5, how)


def _queries(client):
    client.get(reverse("desk:day"))
    with CaptureQueriesContext(connection) as queries:
        assert client.get(reverse("desk:day")).status_code == 200
    return len(queries)


def _prepare_bare():
    """What the sheet asks beside its orders, and what it says of each."""
    with CaptureQueriesContext(connection) as orders_alone:
        list(running_orders())
    with CaptureQueriesContext(connection) as all_of_it:
        sheet = day_sheet(NOON)
    known = {query["sql"] for query in orders_alone}
    BESIDES[:] = [query["sql"] for query in all_of_it if query["sql"] not in known]
    WORDS.update({row.order.pk: row.answer.words for group in sheet.groups for row in group.rows})


def _expect_rows(response):
    assert response.status_code == 200, response.status_code
    found = set(re.findall(rb'href="/orders/(\d+)/"', response.content))
    assert len(found) == MANY, len(found)


class Maker:
    """Orders of two dampers each in every state that is open, made through the services."""

    def __init__(self):
        self.desk, self.manager = factories.make_user(Role.DESK), factories.make_user(Role.MANAGER)
        for _ in range(3):
            factories.make_bench_hours()
        self.models = []
        for number in range(MODELS):
            model = factories.make_damper_model()
            factories.make_sheet(model)
            factories.make_kit_line(model, f"SK-B{number}")
            factories.make_part(f"SK-B{number}", on_hand=0 if number == MODELS - 1 else DAMPERS * MANY)
            self.models.append(model)
        self.vehicle_model, self.made = factories.make_vehicle_model(), 0

    def orders(self, count):
        for _ in range(count):
            self.made += 1
            self._order(self.made)
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")

    def _order(self, n):
        vehicle = factories.make_vehicle(model=self.vehicle_model)
        dampers = [
            factories.make_damper(vehicle, position, model=self.models[-1 if n % 10 in (3, 7) else n % (MODELS - 1)])
            for position in ("rear_left", "rear_right")
        ]
        order = factories.make_order(
            by=self.desk, dampers=dampers, arrives_on=NOON.date() + timedelta(days=n % 7), promise_anyway=True,
            promised_for=NOON + timedelta(days=30 + n % 9),
        )  # fmt: skip
        if n % 10 < 4:
            return
        check_in(order=order, meters=[], as_found=[], by=self.desk, at=NOON)
        if n % 10 == 9:
            for job in order.jobs.all():
                close_job(job=job, override_reason="measured", by=self.manager, at=NOON)
            close_order(order=WorkOrder.objects.get(pk=order.pk), used=[], by=self.manager, at=NOON)
