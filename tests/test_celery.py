"""The queue, with real workers: what is sent arrives once, what was lost comes again, what is scheduled exists."""

import os
import signal
import threading
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import pytest
from celery.schedules import crontab
from django.conf import settings
from django.db import transaction
from kombu import Connection

from shop.celery import FileTransport, app
from shop.core.models import Heartbeat
from shop.core.tasks import heartbeat
from tests.racing import waiting_for_a_lock
from tests.servers import wait_until

LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)


def fresh_heartbeat():
    return Heartbeat.objects.filter(name="scheduler", at__gt=LONG_AGO).exists()


@pytest.mark.flow
@pytest.mark.smoke
@pytest.mark.serial
def test_a_task_crosses_the_queue_to_a_worker(start_worker):
    start_worker()
    heartbeat.delay()
    wait_until(fresh_heartbeat)


@pytest.mark.flow
@pytest.mark.serial
def test_the_scheduler_shows_at_once_that_it_is_alive(start_worker, tmp_path):
    start_worker("--beat", "--schedule", str(tmp_path / "schedule"))
    wait_until(fresh_heartbeat)


@pytest.mark.serial
def test_a_task_whose_process_was_killed_is_done_by_the_next(start_worker):
    Heartbeat.objects.create(name="scheduler", at=LONG_AGO)
    worker = start_worker()
    with transaction.atomic():
        Heartbeat.objects.select_for_update().get(name="scheduler")
        heartbeat.delay()
        wait_until(lambda: waiting_for_a_lock() == 1)
        os.kill(at_work(worker.process.pid), signal.SIGKILL)
        wait_until(lambda: waiting_for_a_lock() == 2)  # the second process, and what PostgreSQL keeps of the first
    wait_until(fresh_heartbeat)


def at_work(worker):
    """The one child of the worker, in which tasks run."""
    (child,) = Path(f"/proc/{worker}/task/{worker}/children").read_text().split()
    return int(child)


def test_redis_waits_longer_than_a_task_may_take():
    assert app.conf.task_soft_time_limit < app.conf.task_time_limit
    assert app.conf.broker_transport_options["visibility_timeout"] > app.conf.task_time_limit


def test_only_json_is_taken_from_the_queue():
    assert app.conf.accept_content == ["json"]
    assert app.conf.task_serializer == "json"


def test_what_is_scheduled_exists():
    app.loader.import_default_modules()
    assert {entry["task"] for entry in app.conf.beat_schedule.values()} <= set(app.tasks)


def test_the_sweep_runs_by_the_shops_clock():
    assert app.conf.timezone == settings.TIME_ZONE == "America/Denver"
    assert isinstance(app.conf.beat_schedule["sweep-for-due-reminders"]["schedule"], crontab)


def test_a_message_in_a_file_is_taken_by_one_of_two_readers(tmp_path):
    (tmp_path / "moving").mkdir()
    options = {
        "data_folder_in": str(tmp_path),
        "data_folder_out": str(tmp_path),
        "control_folder": str(tmp_path),
        "processed_folder": str(tmp_path / "moving"),
        "polling_interval": 0.001,
    }
    count, got, wrong = 300, [], []
    # A message sent while somebody else still declares the queue may find none: rows are the queue, so none is needed.
    declared = threading.Barrier(3)

    def reader():
        with Connection(transport=FileTransport, transport_options=options) as link:
            queue = link.SimpleQueue("bench")
            declared.wait(30)
            try:
                while len(got) < count:
                    message = queue.get(timeout=2)
                    message.ack()
                    got.append(message.payload["number"])
            except queue.Empty:
                pass
            except Exception as error:  # told by the assertion below
                wrong.append(error)

    readers = [threading.Thread(target=reader) for _ in range(2)]
    for thread in readers:
        thread.start()
    with Connection(transport=FileTransport, transport_options=options) as link:
        queue = link.SimpleQueue("bench")
        declared.wait(30)
        for number in range(count):
            queue.put({"number": number, "text": "x" * 2000})
    for thread in readers:
        thread.join(30)
    assert wrong == []
    assert Counter(got) == Counter(range(count))
    assert list(tmp_path.glob("**/*.msg")) == []
