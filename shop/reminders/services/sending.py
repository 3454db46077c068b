"""Sending what is due: the row is the queue, and every outcome is written on it."""

import logging
import time
from collections import Counter
from collections.abc import Callable
from datetime import datetime, timedelta

from django.db import DatabaseError
from django.db.models import F, Model

from shop.reminders import mail
from shop.reminders.models import CLAIM_HOLDS, Hold, QuestionMail, Reminder, ReminderStatus
from shop.reminders.services.forecasting import forecast_of
from shop.reminders.services.sweeping import last_day

log = logging.getLogger(__name__)

# A run takes so many, for so long; the next one comes within the minute.
MOST_A_RUN = 500
SECONDS_A_RUN = 40
# "Later" is answered after 5 min, 20 min, 80 min, 5 h 20 min and then every 12 hours: eight tries in some two days.
MOST_DEFERRALS = 8
FIRST_WAIT, LONGEST_WAIT = timedelta(minutes=5), timedelta(hours=12)
# A mail server that cannot be reached says nothing about a mail: it is tried again for as long as it takes.
SERVER_WAIT = timedelta(minutes=5)
# What broke off with no answer may have left: it is sent once more, and then people look at it.
BROKE_OFF_ONCE = "Sending broke off once and is tried again."
BROKE_OFF_TWICE = "Sending broke off twice. Nobody can know whether the mail left: ask the customer."


def send_due_reminders(*, now: datetime) -> Counter:
    """Send what waits and is not put off; answers how many ended in which status. Runs beside itself without harm.

    Where the worker died between the mail server's yes and our note of it, or the connection broke before that yes,
    nobody can know whether the mail left: it is sent once more under the same Message-ID, and if that happens again it
    is left to the desk.
    """
    return work_off(Reminder, _send, now)


def work_off(
    model: type[Reminder | QuestionMail], send: Callable[[Model, mail.Post, datetime], ReminderStatus], now: datetime
) -> Counter:
    """Claim the waiting rows of a table one by one and send each; a row whose mail cannot be made stops no other."""
    _take_back_abandoned(model, now)
    outcomes = Counter()
    stop_at = time.monotonic() + SECONDS_A_RUN
    waiting = list(model.objects.due_to_send(now).values_list("pk", flat=True)[:MOST_A_RUN])
    with mail.Post() as post:
        for pk in waiting:
            if time.monotonic() > stop_at:
                break
            if not model.objects.claim(pk, now):
                continue  # another worker has it
            row = model.objects.to_send().get(pk=pk)
            try:
                outcomes[send(row, post, now)] += 1
            except mail.Unreachable as problem:
                log.warning("%s", problem)
                break
            except DatabaseError:
                raise  # nothing can be written now; the claim is taken back when it is old
            except Exception as error:  # a mail that cannot be made must not stop all behind it in the queue
                log.exception("%s %s cannot be made", model.__name__, pk)
                outcomes[settle(row, ReminderStatus.FAILED, error=f"This mail cannot be made: {error}")] += 1
    return outcomes


def _send(reminder: Reminder, post: mail.Post, now: datetime) -> ReminderStatus:
    """Send a claimed reminder if it should still go, and store the outcome."""
    forecast = forecast_of(vehicle=reminder.vehicle, now=now)
    if hold := _hold(reminder, forecast, now):
        return settle(reminder, ReminderStatus.SUPPRESSED, held_by=hold, error="")
    # The book may have changed since the sweep: whom, where to and for which day are those of now.
    reminder.customer = reminder.vehicle.customer
    reminder.to_address, reminder.due_on = reminder.customer.email, forecast.due_on
    present = {"customer": reminder.customer, "to_address": reminder.to_address, "due_on": reminder.due_on}
    return hand_over(reminder, post, lambda: mail.build(reminder, forecast, now), now, present)


def hand_over(row, post: mail.Post, make: Callable[[], mail.Letter], now: datetime, present: dict) -> ReminderStatus:
    """Give the mail of a claimed row to the mail server and store the outcome; present is stored with it."""
    try:
        if why_not := mail.refusal(row.to_address):
            raise mail.Refused(why_not)
        post.send(make())
    except mail.Unreachable as problem:
        settle(row, ReminderStatus.QUEUED, error=str(problem), send_after=now + SERVER_WAIT, **present)
        raise
    except mail.Deferred as problem:
        return _put_off(row, str(problem), now, present)
    except mail.Unknown as problem:
        return _repeat_once(row, str(problem), now, present)
    except mail.Refused as problem:
        return settle(row, ReminderStatus.FAILED, error=str(problem), **present)
    return settle(row, ReminderStatus.SENT, error="", sent_at=now, **present)


def _hold(reminder, forecast, now) -> str:
    """What speaks against it at this moment; the sweep may have been days ago."""
    if forecast.cycle_key != reminder.cycle_key:
        return Hold.SERVICED
    if reminder.hold:
        return reminder.hold
    if forecast.due_on is None or forecast.due_on > last_day(now):
        return Hold.NOT_DUE
    return ""


def _put_off(row, problem, now, present) -> ReminderStatus:
    deferrals = row.deferrals + 1
    if deferrals >= MOST_DEFERRALS:
        problem = f"Given up after {deferrals} tries. {problem}"
        return settle(row, ReminderStatus.FAILED, error=problem, deferrals=deferrals, **present)
    wait = min(FIRST_WAIT * 4 ** (deferrals - 1), LONGEST_WAIT)
    return settle(row, ReminderStatus.QUEUED, error=problem, deferrals=deferrals, send_after=now + wait, **present)


def _repeat_once(row, problem, now, present) -> ReminderStatus:
    """As with a claim whose worker died: after the same wait, the same mail, and not a third time."""
    lost = {"claims_lost": row.claims_lost + 1, **present}
    if row.claims_lost:
        return settle(row, ReminderStatus.FAILED, error=f"{BROKE_OFF_TWICE} {problem}", **lost)
    error = f"{BROKE_OFF_ONCE} {problem}"
    return settle(row, ReminderStatus.QUEUED, error=error, send_after=now + CLAIM_HOLDS, **lost)


def settle(row, status, **outcome) -> ReminderStatus:
    """Write the outcome, if the claim still is ours. That a mail left is written even if the claim was taken back."""
    ours = type(row).objects.filter(pk=row.pk, attempts=row.attempts)
    if status != ReminderStatus.SENT:
        ours = ours.filter(status=ReminderStatus.SENDING)
    if "error" in outcome:
        outcome["error"] = outcome["error"][:500]
    ours.update(status=status, **outcome)
    return status


def _take_back_abandoned(model, now: datetime) -> None:
    abandoned = model.objects.abandoned(now)
    abandoned.filter(claims_lost__gte=1).update(
        status=ReminderStatus.FAILED,
        claims_lost=F("claims_lost") + 1,
        error=BROKE_OFF_TWICE,
    )
    abandoned.filter(claims_lost=0).update(
        status=ReminderStatus.QUEUED,
        claims_lost=1,
        send_after=now,
        error=BROKE_OFF_ONCE,
    )
