"""Sending: every due mail is accepted by a real mail server once, and every outcome stands on its row."""

import threading
from datetime import timedelta

import pytest
from django.core import mail as outbox
from django.db import OperationalError, connection
from django.utils import timezone

from shop.calc.units import parse
from shop.customers.models import Meter, ReadingSource
from shop.customers.services import mark_sold, record_consent, record_meter
from shop.reminders import tasks
from shop.reminders.models import CLAIM_HOLDS, Hold, Reminder, ReminderStatus
from shop.reminders.services import send_due_reminders, sweep
from shop.reminders.services.sending import MOST_DEFERRALS
from shop.workorders.models import OrderStatus
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once
from tests.reminders.makers import (
    TODAY,
    at_noon,
    make_due_vehicle,
    make_order_row,
    make_reminder,
    make_service,
    make_willing_customer,
)

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


def send(now=NOON):
    return send_due_reminders(now=now)


def state_of(reminder):
    reminder.refresh_from_db()
    return reminder.status


def test_a_due_reminder_is_sent_once_however_often_the_task_runs(postbox):
    reminder = make_reminder()
    for minute in range(3):
        send(NOON + minute * MINUTE)
    assert [recipients for recipients, _ in postbox.letters] == [["ines@example.com"]]
    assert state_of(reminder) == ReminderStatus.SENT
    assert (reminder.sent_at, reminder.error) == (NOON, "")


def test_the_task_sends_what_waits(postbox):
    make_reminder(now=timezone.now(), due_on=timezone.localdate())
    tasks.send_due()
    assert len(postbox.letters) == 1


@pytest.mark.django_db(transaction=True)
def test_workers_at_the_same_moment_send_each_reminder_once(postbox):
    for number in range(20):
        make_due_vehicle(customer=make_willing_customer(email=f"c{number}@example.com"))
    sweep(now=NOON)
    outcomes = at_once(*[send] * 3)
    assert sum(one[ReminderStatus.SENT] for one in outcomes) == 20, outcomes
    recipients = [recipients[0] for recipients, _ in postbox.letters]
    assert sorted(recipients) == sorted(f"c{number}@example.com" for number in range(20))


def test_a_mail_goes_to_one_person_only(postbox):
    make_due_vehicle(customer=make_willing_customer(email="a@example.com"))
    make_due_vehicle(customer=make_willing_customer(email="b@example.org"))
    sweep(now=NOON)
    send()
    assert sorted(recipients for recipients, _ in postbox.letters) == [["a@example.com"], ["b@example.org"]]


# --- asked again at the moment of sending ---------------------------------------------------------------------------


def opts_out(vehicle):
    record_consent(customer=vehicle.customer, wants=False, by=None, at=NOON, how="at the desk")


def is_sold(vehicle):
    mark_sold(vehicle=vehicle, on=TODAY, by=None, at=NOON)


def is_booked(vehicle):
    make_order_row(vehicle, OrderStatus.BOOKED)


def loses_the_address(vehicle):
    type(vehicle.customer).objects.filter(pk=vehicle.customer_id).update(email="")


def is_serviced(vehicle):
    make_service(vehicle, TODAY)
    type(vehicle).objects.filter(pk=vehicle.pk).update(forecast_stale=True)


@pytest.mark.parametrize(
    ("happens", "hold"),
    [
        (opts_out, Hold.OPTED_OUT),
        (is_sold, Hold.SOLD),
        (is_booked, Hold.BOOKED),
        (loses_the_address, Hold.NO_ADDRESS),
        (is_serviced, Hold.SERVICED),
    ],
)
def test_what_happened_since_the_sweep_holds_the_mail_back(postbox, happens, hold):
    reminder = make_reminder()
    happens(reminder.vehicle)
    send()
    assert postbox.letters == []
    assert state_of(reminder) == ReminderStatus.SUPPRESSED
    assert reminder.held_by == hold


def note(vehicle, miles, on):
    record_meter(
        vehicle=vehicle, meter=Meter.DISTANCE, entered=parse(f"{miles} mi", "distance"), read_on=on,
        source=ReadingSource.DESK, by=None, at=NOON,
    )  # fmt: skip


def test_a_reading_that_moves_the_due_date_holds_the_mail_back_until_then(postbox):
    vehicle = make.make_vehicle(customer=make_willing_customer(), created_at=at_noon(TODAY - timedelta(days=200)))
    note(vehicle, 5000, on=TODAY - timedelta(days=200))
    note(vehicle, 6400, on=TODAY - timedelta(days=10))  # 1500 mi within a fortnight
    sweep(now=NOON)
    note(vehicle, 6405, on=TODAY)
    note(vehicle, 6405, on=TODAY - timedelta(days=5))
    send()
    reminder = Reminder.objects.get()
    assert (reminder.status, reminder.held_by, postbox.letters) == (ReminderStatus.SUPPRESSED, Hold.NOT_DUE, [])
    # By date it is due 165 days from now: then the same reminder goes out.
    later = NOON + timedelta(days=160)
    assert sweep(now=later).released == 1
    send(later)
    assert len(postbox.letters) == 1


def test_the_mail_goes_to_the_address_of_now(postbox):
    reminder = make_reminder()
    type(reminder.customer).objects.update(email="new@example.org")
    send()
    assert [recipients for recipients, _ in postbox.letters] == [["new@example.org"]]
    reminder.refresh_from_db()
    assert reminder.to_address == "new@example.org"


# --- a server in trouble --------------------------------------------------------------------------------------------


def test_a_server_that_is_down_delays_and_loses_nothing(postbox):
    reminders = [make_reminder(customer=make_willing_customer(email=f"c{n}@example.com")) for n in range(3)]
    postbox.stop()
    for minute in range(60):
        send(NOON + minute * MINUTE)
    assert {state_of(one) for one in reminders} == {ReminderStatus.QUEUED}
    assert "cannot be used" in reminders[0].error
    postbox.start()
    send(NOON + 70 * MINUTE)
    assert len(postbox.letters) == 3
    assert {state_of(one) for one in reminders} == {ReminderStatus.SENT}


def test_a_server_that_says_later_is_asked_later(postbox):
    reminder = make_reminder()
    postbox.answer_to_recipient = "451 4.7.1 Greylisted, try again"
    send()
    assert state_of(reminder) == ReminderStatus.QUEUED
    assert "451 4.7.1 Greylisted, try again" in reminder.error
    postbox.answer_to_recipient = "250 OK"
    send(NOON + 4 * MINUTE)
    assert postbox.letters == []
    send(NOON + 5 * MINUTE)
    assert len(postbox.letters) == 1
    assert state_of(reminder) == ReminderStatus.SENT
    assert reminder.error == ""


def test_after_eight_times_later_it_is_given_up_and_shown(postbox):
    reminder = make_reminder()
    postbox.answer_to_data = "452 4.3.1 No space"
    now = NOON
    while state_of(reminder) == ReminderStatus.QUEUED:
        now = reminder.send_after
        send(now)
    assert (reminder.status, reminder.attempts) == (ReminderStatus.FAILED, MOST_DEFERRALS)
    assert reminder.error.startswith("Given up after 8 tries. The mail server answered 452 4.3.1 No space")
    assert timedelta(hours=36) < now - NOON < timedelta(hours=48)
    send(now + timedelta(days=30))
    assert reminder.attempts == MOST_DEFERRALS


def test_a_refused_address_fails_alone(postbox):
    bad = make_reminder(customer=make_willing_customer(email="gone@example.com"))
    good = make_reminder(customer=make_willing_customer(email="here@example.com"))
    postbox.answer_to_recipient = lambda address: "550 5.1.1 No such user" if "gone" in address else "250 OK"
    send()
    assert (state_of(bad), state_of(good)) == (ReminderStatus.FAILED, ReminderStatus.SENT)
    assert "550 5.1.1 No such user" in bad.error


def test_a_mail_that_cannot_be_made_does_not_stop_those_behind_it(postbox):
    bad, good = make_reminder(), make_reminder()
    type(bad.customer).objects.filter(pk=bad.customer_id).update(email="not an address")
    send()
    assert (state_of(bad), state_of(good)) == (ReminderStatus.FAILED, ReminderStatus.SENT)
    assert bad.error == "'not an address' is no e-mail address. Enter the customer's own address."


# --- a connection that breaks ---------------------------------------------------------------------------------------


def test_a_server_that_is_gone_before_its_yes_gets_the_same_mail_once_more_and_no_third_time(postbox):
    reminder = make_reminder()
    postbox.breaks_off_at = "DATA"
    send()
    assert (state_of(reminder), reminder.claims_lost, reminder.deferrals) == (ReminderStatus.QUEUED, 1, 0)
    assert reminder.error.startswith("Sending broke off once and is tried again.")
    send(NOON + CLAIM_HOLDS - MINUTE)
    assert len(postbox.letters) == 1
    for day in range(3):
        send(NOON + CLAIM_HOLDS + timedelta(days=day))
    assert [message["Message-ID"] for message in postbox.messages] == [reminder.message_id] * 2
    assert state_of(reminder) == ReminderStatus.FAILED
    assert reminder.error.startswith(
        "Sending broke off twice. Nobody can know whether the mail left: ask the customer."
    )


def test_a_repeat_after_a_broken_connection_that_is_taken_is_sent(postbox):
    reminder = make_reminder()
    postbox.breaks_off_at = "DATA"
    send()
    postbox.breaks_off_at = ""
    send(NOON + CLAIM_HOLDS)
    assert (state_of(reminder), reminder.error, len(postbox.letters)) == (ReminderStatus.SENT, "", 2)


def test_a_dead_worker_and_a_broken_connection_count_together(postbox):
    reminder = make_reminder()
    abandon(reminder, NOON)
    postbox.breaks_off_at = "DATA"
    send(NOON + CLAIM_HOLDS + MINUTE)
    assert (state_of(reminder), len(postbox.letters)) == (ReminderStatus.FAILED, 1)


def test_a_connection_that_breaks_before_the_mail_went_over_repeats_nothing(postbox):
    reminder = make_reminder()
    postbox.breaks_off_at = "RCPT"
    send()
    assert (state_of(reminder), reminder.claims_lost) == (ReminderStatus.QUEUED, 0)
    postbox.breaks_off_at = ""
    send(NOON + 5 * MINUTE)
    assert (state_of(reminder), len(postbox.letters)) == (ReminderStatus.SENT, 1)


# --- a worker that dies ---------------------------------------------------------------------------------------------


def abandon(reminder, at):
    assert Reminder.objects.claim(reminder.pk, at)


def test_a_claim_of_a_dead_worker_is_taken_back_once_and_sent_under_the_same_message_id(postbox):
    reminder = make_reminder()
    abandon(reminder, NOON)
    send(NOON + CLAIM_HOLDS - MINUTE)
    assert postbox.letters == []
    send(NOON + CLAIM_HOLDS + MINUTE)
    assert [message["Message-ID"] for message in postbox.messages] == [reminder.message_id]
    assert state_of(reminder) == ReminderStatus.SENT


def test_a_second_lost_claim_is_left_to_the_desk(postbox):
    reminder = make_reminder()
    abandon(reminder, NOON)
    Reminder.objects.update(claims_lost=1)
    send(NOON + CLAIM_HOLDS + MINUTE)
    assert (postbox.letters, state_of(reminder)) == ([], ReminderStatus.FAILED)
    assert "ask the customer" in reminder.error


@pytest.mark.django_db(transaction=True)
def test_a_worker_cut_off_after_the_yes_repeats_the_same_mail(postbox):
    """What no protocol can avoid: accepted by the server, but our note of it is lost with the database connection."""
    reminder = make_reminder()

    def lose_connection(execute, *args):
        if postbox.letters:
            raise OperationalError("server closed the connection unexpectedly")
        return execute(*args)

    with connection.execute_wrapper(lose_connection), pytest.raises(OperationalError):
        send()
    assert state_of(reminder) == ReminderStatus.SENDING
    send(NOON + CLAIM_HOLDS + MINUTE)
    first, second = postbox.messages
    assert first["Message-ID"] == second["Message-ID"] == reminder.message_id
    assert state_of(reminder) == ReminderStatus.SENT


@pytest.mark.django_db(transaction=True)
def test_a_slow_worker_may_still_tell_that_its_mail_left(postbox):
    """Its claim was taken back while the server kept it waiting; the row then says sent, and nothing goes out twice."""
    reminder = make_reminder()
    asked, go_on = threading.Event(), threading.Event()

    def slow(address):
        asked.set()
        go_on.wait(30)
        return "250 OK"

    postbox.answer_to_recipient = slow

    def other_worker():
        asked.wait(30)
        Reminder.objects.update(status=ReminderStatus.QUEUED, claims_lost=1)
        go_on.set()

    at_once(send, other_worker)
    assert state_of(reminder) == ReminderStatus.SENT
    send(NOON + MINUTE)
    assert len(postbox.letters) == 1


# --- where nothing may go -------------------------------------------------------------------------------------------


def test_a_name_for_examples_is_refused_by_a_real_mail_server(postbox, settings):
    reminder = make_reminder()
    settings.EMAIL_HOST = "mail.larkspur-gulch.test"
    send()
    assert (postbox.letters, state_of(reminder)) == ([], ReminderStatus.FAILED)
    assert "reaches nobody" in reminder.error


def test_a_demo_shop_writes_to_names_for_examples_only(postbox, settings):
    settings.DEMO = True
    somebody = make_reminder(customer=make_willing_customer(email="ines@calloway-family.net"))
    nobody = make_reminder(customer=make_willing_customer(email="ines@mail.example.org"))
    send()
    assert (state_of(somebody), state_of(nobody)) == (ReminderStatus.FAILED, ReminderStatus.SENT)
    assert "demo shop" in somebody.error
    assert [recipients for recipients, _ in postbox.letters] == [["ines@mail.example.org"]]


def test_without_a_mail_server_each_mail_is_a_file(settings, tmp_path):
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    settings.EMAIL_FILE_PATH = tmp_path
    make_due_vehicle()
    make_due_vehicle()
    sweep(now=NOON)
    send()
    assert len(list(tmp_path.iterdir())) == 2
    assert outbox.outbox == []
