"""The whole road with real workers: the tasks come over the queue, the mails go to a real mail server, each once."""

import signal
import threading
from datetime import timedelta

import pytest
from django.utils import timezone

from shop.core.clock import local_day
from shop.reminders import tasks
from shop.reminders.models import CLAIM_HOLDS, Reminder, ReminderStatus
from tests.reminders.makers import make_due_vehicle, make_willing_customer
from tests.test_celery import wait_until

pytest_plugins = ["tests.servers"]
pytestmark = [pytest.mark.serial, pytest.mark.django_db(transaction=True)]
COUNT = 12


@pytest.fixture
def due():
    """Customers with a vehicle that is due today."""
    for number in range(COUNT):
        make_due_vehicle(local_day(timezone.now()), customer=make_willing_customer(email=f"c{number}@example.com"))


def sent():
    return Reminder.objects.filter(status=ReminderStatus.SENT).count() == COUNT


def recipients(postbox):
    return sorted(recipients[0] for recipients, _ in postbox.letters)


EACH_ONCE = sorted(f"c{number}@example.com" for number in range(COUNT))


@pytest.mark.flow
def test_two_workers_told_three_times_each_send_every_reminder_once(start_worker, postbox, due):
    for _ in range(2):
        start_worker(DAMPERBOOK_SMTP_URL=f"smtp://127.0.0.1:{postbox.port}")
    for _ in range(3):
        tasks.sweep.delay()
    wait_until(lambda: Reminder.objects.count() == COUNT)
    for _ in range(6):
        tasks.send_due.delay()
    wait_until(sent)
    assert recipients(postbox) == EACH_ONCE
    assert Reminder.objects.count() == COUNT


def test_a_worker_killed_in_the_middle_loses_no_reminder_and_repeats_only_under_the_same_message_id(
    start_worker, postbox, due
):
    tasks.sweep()
    reached, go_on = threading.Event(), threading.Event()

    def third_waits(address):
        if len(postbox.letters) == 3:
            reached.set()
            go_on.wait(30)
        return "250 OK"

    postbox.answer_to_recipient = third_waits
    worker = start_worker(DAMPERBOOK_SMTP_URL=f"smtp://127.0.0.1:{postbox.port}")
    tasks.send_due.delay()
    assert reached.wait(60)
    worker.stop(signal.SIGKILL)
    go_on.set()
    postbox.answer_to_recipient = "250 OK"
    assert Reminder.objects.filter(status=ReminderStatus.SENDING).count() == 1
    Reminder.objects.filter(status=ReminderStatus.SENDING).update(
        claimed_at=timezone.now() - CLAIM_HOLDS - timedelta(minutes=1)
    )
    start_worker(DAMPERBOOK_SMTP_URL=f"smtp://127.0.0.1:{postbox.port}")
    tasks.send_due.delay()
    wait_until(sent)
    assert sorted(set(recipients(postbox))) == EACH_ONCE
    # No more mails than reminders but for one that may have been accepted as the worker died: the same mail again.
    assert len(postbox.letters) <= COUNT + 1
    assert len({message["Message-ID"] for message in postbox.messages}) == COUNT
