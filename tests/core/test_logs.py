"""Log lines as they leave the process: JSON, with the id of the request and the trace of an error, without links."""

import io
import json
import logging

import pytest
import structlog
from django.test import Client

from shop.core.logs import hide_tokens


class Lines:
    """What a logger and those below it write, through the formatter that the site's settings name."""

    def __init__(self, logger):
        (formatter,) = (
            one.formatter
            for one in logging.getLogger().handlers
            if isinstance(one.formatter, structlog.stdlib.ProcessorFormatter)
        )
        self.logger, self.stream = logging.getLogger(logger), io.StringIO()
        self.handler = logging.StreamHandler(self.stream)
        self.handler.setFormatter(formatter)
        self.logger.addHandler(self.handler)

    def read(self):
        return [json.loads(line) for line in self.stream.getvalue().splitlines()]


@pytest.fixture
def lines_of():
    opened = []

    def open_lines(logger):
        opened.append(Lines(logger))
        return opened[-1]

    yield open_lines
    for one in opened:
        one.logger.removeHandler(one.handler)


def test_a_customers_link_does_not_stand_in_the_log():
    event = {"request": "GET /r/eyJpZCI6MX0:abc-DEF_1/stop/", "event": 'Not Found: /r/abc/ "x"', "code": 200}
    hidden = hide_tokens(None, "info", event)
    assert hidden == {"request": "GET /r/…/stop/", "event": 'Not Found: /r/…/ "x"', "code": 200}


def test_the_trace_of_an_error_in_a_worker_is_in_its_line_and_a_customers_link_is_not(lines_of):
    """Celery logs a task that failed through Python's own logging."""
    lines = lines_of("celery.app.trace")
    try:
        raise ZeroDivisionError("at /r/eyJpZCI6MX0.abc-DEF/stop/")
    except ZeroDivisionError:
        lines.logger.exception("Task %s raised", "reminders.sweep")
    (line,) = lines.read()
    assert (line["event"], line["level"], line["logger"]) == (
        "Task reminders.sweep raised", "error", "celery.app.trace",
    )  # fmt: skip
    assert line["exception"].startswith("Traceback (most recent call last):")
    assert line["exception"].endswith("ZeroDivisionError: at /r/…/stop/")


def test_every_line_of_a_request_carries_its_id(lines_of, caplog, db):
    caplog.set_level(logging.INFO, logger="django_structlog")
    lines = lines_of("django_structlog")
    for _ in range(2):
        Client().get("/r/eyJpZCI6MX0.abc-DEF/")
    said = [(line["event"], line["request"]) for line in lines.read()]
    assert said == [("request_started", "GET /r/…/"), ("request_finished", "GET /r/…/")] * 2
    first, answered, *_, last = lines.read()
    assert answered["code"] == 404
    assert len(first["request_id"]) == 36
    assert first["request_id"] == answered["request_id"] != last["request_id"]
