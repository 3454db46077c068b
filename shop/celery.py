"""The shop's Celery app: the clock and the hands. Rows in the database are the queue of record, so losing every message
loses nothing; a task run too often does nothing twice.
"""

import os
import time
import uuid
from datetime import timedelta
from pathlib import Path
from queue import Empty

from celery import Celery, signals
from celery.schedules import crontab
from django.conf import settings
from kombu.transport import filesystem
from kombu.utils.json import dumps, loads

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

LONGEST_TASK_SECONDS = 300


class FileChannel(filesystem.Channel):
    """The embedded queue: a message is a file, which appears whole and is taken by one worker.

    Kombu's own channel creates the file first and fills it afterwards, so a reader can meet half a message; and it
    takes a message by moving it to the system's temporary folder, which on another disk is a copy, then a deletion.
    """

    @property
    def moving(self):
        return Path(self.transport_options["processed_folder"])

    def _put(self, queue, payload, **kwargs):
        name = f"{time.time_ns()}_{uuid.uuid4()}.{queue}.msg"
        draft = self.moving / name
        draft.write_text(dumps(payload))
        draft.rename(Path(self.data_folder_out) / name)

    def _get(self, queue):
        for path in sorted(Path(self.data_folder_in).glob("*.msg")):
            if path.name.partition(".")[2] != f"{queue}.msg":
                continue
            try:
                taken = path.rename(self.moving / path.name)
            except FileNotFoundError:  # another worker was first
                continue
            payload = loads(taken.read_text())
            taken.unlink()
            return payload
        raise Empty


class FileTransport(filesystem.Transport):
    Channel = FileChannel


app = Celery("shop")
app.conf.update(
    # JSON in, JSON out: a message can carry ids and text, never code.
    accept_content=["json"],
    task_serializer="json",
    result_serializer="json",
    task_ignore_result=True,
    # A message leaves the queue when its task is done, so one whose worker died is delivered again.
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    worker_prefetch_multiplier=1,
    task_time_limit=LONGEST_TASK_SECONDS,
    task_soft_time_limit=LONGEST_TASK_SECONDS - 30,
    # A lost connection to the queue does not stop a task at work: its row is written, and the repeat finds it done.
    worker_cancel_long_running_tasks_on_connection_loss=False,
    broker_connection_retry_on_startup=True,
    broker_connection_max_retries=None,
    worker_hijack_root_logger=False,
    worker_redirect_stdouts=False,
    timezone=settings.TIME_ZONE,
    enable_utc=True,
)

if settings.REDIS_URL:
    app.conf.update(
        broker_url=settings.REDIS_URL,
        broker_transport_options={
            "global_keyprefix": settings.REDIS_KEY_PREFIX,
            # Longer than the longest task, or Redis would hand the same message to a second worker meanwhile.
            "visibility_timeout": 2 * LONGEST_TASK_SECONDS,
            "socket_connect_timeout": 5,
            "socket_keepalive": True,
            "health_check_interval": 30,
        },
    )
else:
    folder = settings.VAR / "queue"
    for name in ("control", "moving"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    app.conf.update(
        broker_url="filesystem://",
        broker_transport="shop.celery:FileTransport",
        broker_transport_options={
            "data_folder_in": str(folder),
            "data_folder_out": str(folder),
            "control_folder": str(folder / "control"),
            "processed_folder": str(folder / "moving"),
            # Seconds; with the default of 1 the worker would do one task a second.
            "polling_interval": 0.05,
        },
        # Each worker would leave a mailbox behind that fills with files nobody reads.
        worker_enable_remote_control=False,
    )

app.conf.beat_schedule = {
    # What is older than its interval when a worker gets to it is dropped: the next one is on its way.
    "heartbeat": {"task": "core.heartbeat", "schedule": timedelta(seconds=30), "options": {"expires": 30}},
    "send-due-reminders": {"task": "reminders.send_due", "schedule": timedelta(minutes=1), "options": {"expires": 60}},
    "ask-customers": {"task": "reminders.send_questions", "schedule": timedelta(minutes=1), "options": {"expires": 60}},
    # What was not taken up at once: its message was lost, or its worker died.
    "take-up-imports": {"task": "exchange.take_up", "schedule": timedelta(minutes=1), "options": {"expires": 60}},
    # At night by the shop's clock, at an hour that every change of clocks leaves alone.
    "sweep-for-due-reminders": {"task": "reminders.sweep", "schedule": crontab(hour=4, minute=10)},
    "forget-old-keys": {"task": "core.forget_old_keys", "schedule": crontab(hour=4, minute=40)},
    "mend-search": {"task": "core.mend_search", "schedule": crontab(hour=4, minute=30)},
    "forget-old-imports": {"task": "exchange.forget_old", "schedule": crontab(hour=4, minute=50)},
}
app.conf.beat_schedule_filename = str(settings.VAR / "beat-schedule")
# Written at every task sent: it survives a kill, and a fresh file tells a health check that the scheduler is at work.
app.conf.beat_sync_every = 1

app.autodiscover_tasks()


@signals.setup_logging.connect
def leave_logging_to_django(**kwargs):
    """A receiver on this signal is how Celery is told that logging is set up already."""


@signals.beat_init.connect
def catch_up(**kwargs):
    """Show at once that the scheduler is alive, and sweep for what fell due while nothing ran."""
    app.send_task("core.heartbeat", expires=30)
    app.send_task("reminders.sweep")
