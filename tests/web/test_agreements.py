"""Prices at the desk and the bench: what is agreed, what is asked, the customer's link, and what becomes of it."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from shop.reminders.links import question_token, question_url, token_for
from shop.reminders.models import QuestionMail
from shop.reminders.services import mail_question, send_question_mails
from shop.workorders import services
from shop.workorders.models import Question, WorkOrder
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once
from tests.reminders.makers import make_reminder
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]


@pytest.fixture
def job(desk):
    job = make.make_open_job(by=desk, damper=make.make_damper(make.make_vehicle()))
    make.make_agreement(job.order, by=desk)
    return job


@pytest.fixture
def question(job, desk):
    return make.make_question(job.order, job, by=desk)


@pytest.fixture
def customer():
    return Client(enforce_csrf_checks=True)


def link(question):
    return reverse("public:question", args=[question_token(question)])


# --- the desk ------------------------------------------------------------------------------------------------------


@pytest.mark.flow
def test_the_bench_proposes_the_desk_asks_and_notes_the_answer(at_bench, at_desk, job):
    asked = send(at_bench, reverse("tablet:ask", args=[job.pk]), what="new shaft", why="chrome worn through")
    assert asked.url == job.get_absolute_url()
    page = words(at_bench.get(job.get_absolute_url()))
    assert f"Damper {job.tag} waits for the front desk to ask the customer: new shaft." in page
    assert "Agreed up to 420.00 USD." in page
    question = Question.objects.get()
    url = question.get_absolute_url()
    assert f'<a href="{url}">Ask the customer</a>' in at_desk.get(reverse("desk:day")).text
    assert "Proposed: new shaft" in words(at_desk.get(job.order.get_absolute_url()))
    at_desk.post(url, form(at_desk.get(url)) | {"do": "price", "price-by_how_much": "85,00"})
    page = words(at_desk.get(url))
    assert "85.00 USD more, 505.00 USD in all" in page
    assert "Asked: new shaft" in words(at_desk.get(job.order.get_absolute_url()))
    assert f'<a href="{url}">Note the answer</a>' in at_desk.get(reverse("desk:day")).text
    day = words(at_desk.get(reverse("desk:day")))
    waits = "Waits for the customer's answer about rear right: new shaft, 85.00 USD more, 505.00 USD in all."
    assert waits in day
    sent = form(at_desk.get(url)) | {"do": "answer", "answer-agreed": "yes", "answer-how": "telephone"}
    assert at_desk.post(url, sent).status_code == 302
    page = words(at_desk.get(job.order.get_absolute_url()))
    assert "Agreed up to 505.00 USD." in page
    assert "by telephone, noted by Dora Achterberg" in page
    assert "Stands still" not in words(at_bench.get(job.get_absolute_url()))


def test_a_step_of_a_damper_that_waits_is_refused_on_its_page(at_bench, job, question):
    url = reverse("tablet:step", args=[job.pk, 1])
    answer = send(at_bench, url)
    assert answer.status_code == 422
    assert "waits for the customer's answer: new shaft, 85.00 USD more" in words(answer)


def test_the_bench_list_tells_who_waits(at_bench, question):
    assert "waits for the customer's answer" in words(at_bench.get(reverse("tablet:bench")))


def test_an_amount_that_may_mean_two_is_asked_about_and_stays_typed(at_desk, job):
    url = reverse("desk:ask", args=[job.order_id])
    answer = send(at_desk, url, what="shaft", why="bent", by_how_much="1.234")
    assert answer.status_code == 422
    assert "“1.234” cannot be read. Give it without a sign between the thousands: 1234 if" in words(answer)
    assert form(answer)["by_how_much"] == "1.234"
    assert not Question.objects.exists()


def test_a_new_limit_is_noted_without_a_question(at_desk, job):
    url = reverse("desk:agreement", args=[job.order_id])
    assert send(at_desk, url, what="also new mounts", up_to="600", how="telephone").status_code == 302
    assert "Agreed up to 600.00 USD." in words(at_desk.get(job.order.get_absolute_url()))
    assert send(at_desk, url, what="whatever it takes", up_to="", how="desk").status_code == 302
    assert "No limit was agreed" in words(at_desk.get(job.order.get_absolute_url()))


def test_declined_the_desk_says_what_happens_and_the_record_tells_it(at_desk, at_bench, job, question, manager):
    url = question.get_absolute_url()
    sent = form(at_desk.get(url)) | {"do": "answer", "answer-agreed": "no", "answer-how": "desk"}
    at_desk.post(url, sent)
    assert "did not agree" in words(at_desk.get(url))
    sent = form(at_desk.get(url)) | {"do": "after", "after-after": "unfinished"}
    assert at_desk.post(url, sent).status_code == 302
    assert "goes back unfinished" in words(at_desk.get(job.order.get_absolute_url()))
    told = "Not agreed: new shaft. It goes back unfinished: a manager closes it with the reason."
    assert told in words(at_bench.get(job.get_absolute_url()))
    services.close_job(job=job, override_reason="the customer wants no new shaft", by=manager, at=NOON)
    services.close_order(order=job.order, used=[], by=manager, at=NOON)
    page = words(at_desk.get(reverse("desk:hand_back", args=[job.order_id])))
    assert "Found, and not done: new shaft: the chrome is worn through." in page


def test_of_two_at_the_desk_the_second_sees_how_it_stands(at_desk, question, desk):
    url = question.get_absolute_url()
    sent = form(at_desk.get(url)) | {"do": "answer", "answer-agreed": "yes", "answer-how": "desk"}
    services.answer_question(question=question, agreed=False, name="Ines", how="telephone", by=desk, at=NOON)
    answer = at_desk.post(url, sent)
    assert answer.status_code == 409
    assert "not agreed: Ines, by telephone" in words(answer)


def test_the_next_try_is_held_against_the_total_of_now(at_desk, job, question, desk):
    url = question.get_absolute_url()
    sent = form(at_desk.get(url)) | {"do": "answer", "answer-agreed": "yes", "answer-how": "desk"}
    make.make_agreement(job.order, up_to="600", by=desk)
    answer = at_desk.post(url, sent)
    assert answer.status_code == 409
    assert "685.00 USD by now, not 505.00 USD" in words(answer)
    again = form(answer) | {"do": "answer"}
    assert at_desk.post(url, again).status_code == 302
    assert WorkOrder.objects.get().agreements.last().up_to == Decimal("685.00")


def test_taking_up_a_part_asks_about_the_price_and_takes_yes(at_bench, at_desk, desk):
    model = make.make_damper_model()
    make.make_kit_line(model, "SH-1", name="shaft", optional=True)
    job = make.make_open_job(by=desk, damper=make.make_damper(make.make_vehicle(), model=model))
    make.make_agreement(job.order, by=desk)
    url = reverse("tablet:parts", args=[job.pk])
    answer = at_bench.post(url, form(at_bench.get(url)) | {"part": "SH-1"})
    assert answer.status_code == 422
    assert "Does it stay within that with this part?" in words(answer)
    assert at_bench.post(url, form(answer) | {"part": "SH-1", "within_price": "on"}).status_code == 302
    assert "Agreed up to 420.00 USD." in words(at_desk.get(reverse("desk:pick_list", args=[job.order_id])))


def test_the_order_page_takes_as_many_queries_for_many_questions_as_for_one(
    at_desk, job, question, desk, django_assert_max_num_queries
):
    url = job.order.get_absolute_url()
    at_desk.get(url)
    with CaptureQueriesContext(
        connection,
    ) as one:
        at_desk.get(url)
    for _ in range(5):
        make.make_question(job.order, job, by=desk)
        make.make_photo(job, by=desk)
    with django_assert_max_num_queries(len(one)):
        at_desk.get(url)


# --- the customer's link -------------------------------------------------------------------------------------------


@pytest.mark.flow
def test_the_customer_agrees_through_the_link(customer, at_desk, question):
    page = customer.get(link(question))
    told = words(page)
    assert "new shaft" in told
    assert "505.00 USD" in told
    for private in ("Ines", "ines@", question.order.vehicle.vin or "VIN"):
        assert private not in told
    answer = customer.post(link(question), form(page) | {"answer": "agree"})
    assert answer.status_code == 302
    assert "You agreed to 505.00 USD in all." in words(customer.get(answer.url))
    agreement = question.order.agreements.last()
    assert (agreement.how, agreement.by, agreement.up_to) == ("link", None, Decimal("505.00"))
    assert "through the link" in words(at_desk.get(question.get_absolute_url()))


def test_looking_changes_nothing(customer, question):
    for _ in range(3):
        assert customer.get(link(question)).status_code == 200
        assert customer.head(link(question)).status_code == 200
    question.refresh_from_db()
    assert (question.state, question.call_wanted_at) == ("open", None)


def test_call_me_keeps_the_question_open_and_tells_the_desk(customer, at_desk, question):
    customer.post(link(question), {"answer": "call"})
    customer.post(link(question), {"answer": "call"})
    question.refresh_from_db()
    assert (question.state, question.call_wanted_at) == ("open", NOON)
    assert "The customer asks to be called" in words(at_desk.get(question.get_absolute_url()))
    assert "(the customer asks to be called)" in words(at_desk.get(reverse("desk:day")))
    assert "We call you." in words(customer.get(link(question)))


def test_what_is_not_an_answer_changes_nothing(customer, question):
    for body in ({}, {"answer": "maybe"}, {"answer": "agree"}, {"answer": "agree", "total": "x" * 400}):
        assert customer.post(link(question), body).status_code == 422
    assert customer.post(link(question), {"answer": "agree", "total": "1.00"}).status_code == 409
    question.refresh_from_db()
    assert question.state == "open"


def test_a_link_that_is_guessed_cut_off_or_of_another_kind_leads_nowhere(customer, question, settings):
    token = question_token(question)
    other = token.replace(f"{question.pk}.", f"{question.pk + 1}.", 1)
    reminder = token_for(make_reminder(), NOON)
    for wrong in (other, token[:-1], token + "x", "1.2.3", "x", reminder):
        assert customer.get(reverse("public:question", args=[wrong])).status_code == 404
        assert customer.post(reverse("public:question", args=[wrong]), {"answer": "decline"}).status_code == 404
    assert customer.get(reverse("public:reminder", args=[token])).status_code == 404
    question.refresh_from_db()
    assert question.state == "open"


def test_an_expired_link_answers_nothing(customer, question, monkeypatch):
    monkeypatch.setattr("django.utils.timezone.now", lambda: question.link_until + timedelta(seconds=1))
    page = customer.get(link(question))
    assert page.status_code == 410
    assert "new shaft" not in words(page)
    assert customer.post(link(question), {"answer": "decline"}).status_code == 410
    question.refresh_from_db()
    assert question.state == "open"


@pytest.mark.parametrize("how", ["answered", "withdrawn"])
def test_a_link_dies_when_the_question_is_settled_otherwise(customer, question, desk, how):
    if how == "answered":
        services.answer_question(question=question, agreed=True, name="Ines", how="telephone", by=desk, at=NOON)
    else:
        services.withdraw_question(question=question, why="polished out", by=desk, at=NOON)
    page = customer.get(link(question))
    assert page.status_code == 410
    for private in ("new shaft", "505", "polished"):
        assert private not in words(page)
    answer = customer.post(link(question), {"answer": "decline"})
    assert answer.status_code == 409
    assert "was not noted" in words(answer)


def test_an_answer_cannot_be_changed_by_sending_the_page_again(customer, question):
    customer.post(link(question), {"answer": "decline"})
    assert customer.post(link(question), {"answer": "decline"}).status_code == 302
    answer = customer.post(link(question), {"answer": "agree", "total": "505.00"})
    assert answer.status_code == 409
    assert "Your first answer stands" in words(answer)
    question.refresh_from_db()
    assert question.state == "declined"


@pytest.mark.flow
@pytest.mark.django_db(transaction=True)
def test_the_desk_by_telephone_and_the_customer_by_link_at_once(desk, at_desk):
    question = make.make_question(make.make_order(by=desk), by=desk)
    url = question.get_absolute_url()
    sent = form(at_desk.get(url)) | {"do": "answer", "answer-agreed": "no", "answer-how": "telephone"}
    answers = at_once(
        lambda: at_desk.post(url, sent).status_code,
        lambda: Client().post(link(question), {"answer": "agree", "total": "505.00"}).status_code,
    )
    assert sorted(answers) == [302, 409]
    question.refresh_from_db()
    assert question.state == ("declined" if answers[0] == 302 else "agreed")


# --- by e-mail -----------------------------------------------------------------------------------------------------


def test_the_desk_sends_the_link_by_e_mail(at_desk, question):
    url = question.get_absolute_url()
    assert (
        question_url(question) in form(at_desk.get(url), "nowhere")
        or question_url(question) in at_desk.get(url).content.decode()
    )
    for _ in range(2):
        at_desk.post(url, {"do": "mail"})
    assert QuestionMail.objects.count() == 1
    send_question_mails(now=NOON)
    send_question_mails(now=NOON)
    (sent,) = mail.outbox
    row = QuestionMail.objects.get()
    assert sent.to == [f"{question.order.customer.name} <ines@example.com>"]
    assert sent.extra_headers["Auto-Submitted"] == "auto-generated"
    assert sent.extra_headers["Message-ID"] == row.message_id
    assert "List-Unsubscribe" not in sent.extra_headers
    html = sent.alternatives[0].content
    for text in (sent.body, html):
        assert question_url(question) in text
        assert "85.00 USD" in text
        assert "505.00 USD" in text
    assert row.status == "sent"
    assert "Sent 25 Nov" in words(at_desk.get(url))
    at_desk.post(url, {"do": "mail"})
    assert "It was sent to ines@example.com already." in words(at_desk.get(url))


def test_a_mail_whose_question_was_answered_meanwhile_stays_here(question, desk):
    row = mail_question(question=question, by=desk, at=NOON)
    services.withdraw_question(question=question, why="polished out", by=desk, at=NOON)
    send_question_mails(now=NOON)
    row.refresh_from_db()
    assert (row.status, row.error) == ("suppressed", "Not sent: the question is withdrawn.")
    assert mail.outbox == []


def test_without_an_address_the_desk_is_told_to_copy_the_link(at_desk, question):
    question.order.customer.email = ""
    question.order.customer.save()
    at_desk.post(question.get_absolute_url(), {"do": "mail"})
    assert "Note it on the customer's page, or copy the link." in words(at_desk.get(question.get_absolute_url()))


def test_a_mail_that_failed_tells_why_and_may_go_again(at_desk, question, settings):
    settings.DEMO = True
    question.order.customer.email = "somebody@realm.test.invalid.io"
    question.order.customer.save()
    at_desk.post(question.get_absolute_url(), {"do": "mail"})
    send_question_mails(now=NOON)
    row = QuestionMail.objects.get()
    assert row.status == "failed"
    assert "a demo shop writes only to addresses such as" in words(at_desk.get(question.get_absolute_url()))
    at_desk.post(question.get_absolute_url(), {"do": "mail"})
    assert [one.number for one in QuestionMail.objects.all()] == [1, 2]
    assert len({one.message_id for one in QuestionMail.objects.all()}) == 2
