"""Mails that ask about the price: rows that are their own queue, like reminders."""

from datetime import timedelta

import pytest
from django.core import mail
from django.db import IntegrityError, transaction

from shop.reminders.models import CLAIM_HOLDS, QuestionMail
from shop.reminders.services import mail_question, send_question_mails
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db


def make_mail(desk):
    return mail_question(question=make.make_question(make.make_order(by=desk), by=desk), by=desk, at=NOON)


@pytest.fixture
def row(desk):
    return make_mail(desk)


@pytest.mark.flow
@pytest.mark.django_db(transaction=True)
def test_of_two_workers_one_sends(desk):
    row = make_mail(desk)
    at_once(*[lambda: send_question_mails(now=NOON)] * 2)
    row.refresh_from_db()
    assert (len(mail.outbox), row.status, row.attempts) == (1, "sent", 1)


def test_one_whose_worker_died_goes_once_more_and_then_people_are_asked(row):
    died = {"status": "sending", "claimed_at": NOON, "attempts": 1}
    QuestionMail.objects.filter(pk=row.pk).update(**died)
    send_question_mails(now=NOON + CLAIM_HOLDS - timedelta(minutes=1))
    assert mail.outbox == []
    send_question_mails(now=NOON + CLAIM_HOLDS + timedelta(minutes=1))
    row.refresh_from_db()
    assert (row.status, row.claims_lost) == ("sent", 1)
    assert mail.outbox[0].extra_headers["Message-ID"] == row.message_id
    QuestionMail.objects.filter(pk=row.pk).update(**died)
    send_question_mails(now=NOON + CLAIM_HOLDS + timedelta(minutes=1))
    row.refresh_from_db()
    assert row.status == "failed"
    assert "ask the customer" in row.error


def test_the_message_id_is_the_same_whenever_it_is_asked_for_and_differs_from_a_reminders(row):
    from shop.reminders.mail import message_id_for, question_message_id

    assert row.message_id == question_message_id(row.question_id, 1)
    assert row.message_id != question_message_id(row.question_id, 2)
    assert row.message_id.partition(".")[0] != message_id_for(row.question_id, "1").partition(".")[0]


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("questionmail_status_known", {"status": "lost"}),
        ("questionmail_outcome_told", {"status": "failed"}),
        ("questionmail_outcome_told", {"status": "sent"}),
        ("questionmail_outcome_told", {"status": "sending"}),
        ("questionmail_outcome_told", {"status": "suppressed"}),
    ],
)
def test_the_database_refuses_a_mail_without_its_outcome(row, name, change):
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        QuestionMail.objects.filter(pk=row.pk).update(**change)


@pytest.mark.parametrize("change", [{"number": 2}, {"status": "failed", "error": "no"}])
def test_the_database_refuses_a_second_mail_on_its_way_or_of_a_number(row, change):
    for name, value in ({"pk": None, "message_id": "<b@example.org>"} | change).items():
        setattr(row, name, value)
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save(force_insert=True)
