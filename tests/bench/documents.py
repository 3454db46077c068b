"""Papers: the job card against bare WeasyPrint, from the store, and the queries of the pick list."""

from contextlib import contextmanager
from pathlib import Path
from statistics import median

import weasyprint
from django.contrib.staticfiles import finders
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.documents import render
from tests import factories
from tests.bench.measures import Measure, milliseconds, seconds
from tests.documents.orders import make_booked, make_checked_in, make_family

ROUNDS = 7
WARM_UP = 2
AGAIN = 5


def measure():
    client = Client()
    client.force_login(factories.make_user("technician"))
    model = make_family()
    yield from job_card(client, model)
    yield pick_list(client, model)


@contextmanager
def what_is_rendered():
    """The HTML of every paper rendered inside, in a list."""
    written = []
    write_pdf = render.write_pdf

    def listen(html):
        written.append(html)
        return write_pdf(html)

    render.write_pdf = listen
    try:
        yield written
    finally:
        render.write_pdf = write_pdf


def job_card(client, model):
    """A card of four dampers, each round another order: first through the app, then again from the store."""
    with what_is_rendered() as written:
        rounds = [_one_card(client, make_checked_in(model=model), written) for _ in range(WARM_UP + ROUNDS)][WARM_UP:]
    bare, first, again = (median(column) for column in zip(*rounds, strict=True))
    how = f"{milliseconds(first)} : {milliseconds(bare)}; medians of {ROUNDS} in turns after {WARM_UP} to warm up"
    yield Measure("Job card of 4 dampers, first time : bare WeasyPrint of the same HTML", first / bare, 1.25, how)
    how = f"{milliseconds(again)} : {milliseconds(bare)}; each median of {AGAIN} requests"
    yield Measure("The same card again : bare WeasyPrint", again / bare, 0.05, how)


def _one_card(client, order, written):
    address = reverse("desk:job_card", args=[order.pk])
    rendered = len(written)
    first = seconds(lambda: _expect_pdf(client.get(address)))
    assert len(written) == rendered + 1, "the first request has to render"
    style = Path(finders.find("css/print.css")).as_uri()
    html = written[-1].replace("static:css/print.css", style)
    bare = seconds(lambda: weasyprint.HTML(string=html).write_pdf())
    again = median(seconds(lambda: _expect_pdf(client.get(address))) for _ in range(AGAIN))
    assert len(written) == rendered + 1, "an unchanged card has to come from the store"
    return bare, first, again


def _expect_pdf(response):
    assert response.status_code == 200, response.status_code
    assert response.content.startswith(b"%PDF"), response.content[:80]


def pick_list(client, model):
    counts = []
    for dampers in (1, 8):
        order = make_booked(model=model, loose=dampers)
        address = reverse("desk:pick_list", args=[order.pk])
        client.get(address)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200
        counts.append(len(queries))
    how = f"{counts[0]} queries for 1 damper, {counts[1]} for 8"
    return Measure("Queries of a pick list page: 8 dampers less 1 damper", counts[1] - counts[0], 0, how)
