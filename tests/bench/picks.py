"""The day's pick list over 60 orders of four dampers, against a bare view of the same rows, bags and buttons."""

import re
from datetime import timedelta
from functools import cache

from django.db import connection
from django.http import HttpResponse
from django.template import engines
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from shop.dampers.models import Position
from shop.parts.selectors import stock_of
from shop.picklists.models import PickLine
from shop.specs.models import KitMeasure
from shop.workorders.models import WorkOrder
from tests import factories
from tests.bench.measures import Measure, in_turns, milliseconds

ORDERS = 60
PARTS = 6
ROUNDS = 30

PLAIN = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Pick list</title></head><body><table>
{% for part, lines, needed, held, stock in rows %}<tbody><tr>
<td>{{ part.bin }}</td>
<td>{{ part.name }} {{ part.number }}</td>
<td>{{ needed|amount:part.measure }}</td>
<td>{{ held|amount:part.measure }}</td>
<td>{{ stock.on_hand|amount:part.measure }}</td>
<td><button name="take" value="row-{{ part.pk }}">Pick</button></td></tr>
<tr><td colspan="6"><ul>{% for line, order, where in lines %}<li>
<a href="{{ order.get_absolute_url }}">{{ order.number }}</a> {{ order.customer.name }} {{ line.tag }} {{ where }}
<b>{{ line.amount|amount:line.measure }}</b>{% if line.picked_at %} picked{% elif line.short %} short{% endif %}
<button name="take" value="line-{{ line.pk }}">Pick</button></li>{% endfor %}</ul></td></tr></tbody>
{% endfor %}</table></body></html>"""


@cache
def plain_template():
    return engines["django"].from_string(PLAIN)


def bare_picks(request):
    """The same parts, bags and buttons: no plan, no orders' sums, nothing around them."""
    orders = {one.pick_list_id: one for one in WorkOrder.objects.running().select_related("customer", "pick_list")}
    where = {
        job.tag: job.damper.where()
        for order in WorkOrder.objects.filter(pk__in=[one.pk for one in orders.values()]).prefetch_related(
            "jobs__damper"
        )
        for job in order.jobs.all()
    }
    lines = PickLine.objects.filter(pick_list__in=orders).select_related("part", "reservation")
    grouped = {}
    for line in lines:
        grouped.setdefault(line.part, []).append((line, orders[line.pick_list_id], where[line.tag]))
    stock = stock_of(grouped)
    rows = [
        (part, found, sum(one.amount for one, *_ in found), sum(one.held for one, *_ in found), stock[part.pk])
        for part, found in sorted(grouped.items(), key=lambda pair: pair[0].bin)
    ]
    return HttpResponse(plain_template().render({"rows": rows}))


def measure():
    fill()
    client = Client()
    client.force_login(factories.make_user("desk"))
    address = reverse("desk:picks")
    bags = ORDERS * 4 * PARTS

    def full():
        return _expect_bags(client.get(address), bags)

    def bare():
        return _expect_bags(client.get("/bare/picks/"), bags)

    full_time, bare_time = in_turns(ROUNDS, full, bare, warm_up=5)
    how = f"{milliseconds(full_time)} : {milliseconds(bare_time)}; medians of {ROUNDS} in turns after 5 to warm up"
    name = f"Pick list of a day, {ORDERS} orders, {bags} bags : bare view of the same rows"
    yield Measure(name, full_time / bare_time, 1.5, how)

    one = WorkOrder.objects.order_by("promised_for").first()
    others = WorkOrder.objects.exclude(pk=one.pk).values_list("pk", flat=True)
    counts = []
    for query, expected in (("?" + "&".join(f"without={pk}" for pk in others), 4 * PARTS), ("", bags)):
        with CaptureQueriesContext(connection) as queries:
            _expect_bags(client.get(address + query), expected)
        counts.append(len(queries))
    how = f"{counts[0]} queries for 1 order, {counts[1]} for {ORDERS}"
    yield Measure(f"Queries of the day's pick list: {ORDERS} orders less 1 order", counts[1] - counts[0], 0, how)


def _expect_bags(response, bags):
    assert response.status_code == 200, response.status_code
    found = len(re.findall(rb'value="line-\d+"', response.content))
    assert found == bags, found
    return response


def fill():
    """Orders of today, four dampers each, of one model with a seal kit, two fluids, a grease and two small parts."""
    model = factories.make_damper_model()
    factories.make_sheet(model)
    for number, name, measure, amount in [
        ("SK-1", "seal kit", KitMeasure.COUNT, 1),
        ("TARN-5", "damper oil Tarn No. 5", KitMeasure.VOLUME, None),
        ("TL-M", "thread-locker, medium", KitMeasure.VOLUME, 500),
        ("SG-1", "seal grease", KitMeasure.MASS, 4000),
        ("OR-2", "valve O-ring", KitMeasure.COUNT, 2),
        ("BW-1", "bleed washer", KitMeasure.COUNT, 1),
    ]:
        part = factories.make_part(number, name=name, measure=measure, bin=f"B-{len(name)}")
        if measure == KitMeasure.COUNT:
            factories.make_movement(part, 2000)
        else:
            factories.make_container(part, 1_000_000, full=90)
            factories.make_container(part, 5_000_000, price="89.00", full=10)
        factories.make_kit_line(model, number, amount=amount, measure=measure, name=name)
    now = timezone.now()
    desk = factories.make_user("desk")
    for n in range(ORDERS):
        vehicle = factories.make_vehicle()
        dampers = [factories.make_damper(vehicle, position, model=model) for position in Position.values]
        factories.make_order(
            by=desk,
            vehicle=vehicle,
            dampers=dampers,
            at=now,
            arrives_on=timezone.localdate(now),
            promised_for=now + timedelta(days=1, minutes=n),
        )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
