"""The desk's page about reminders: who is written to and when, who is not and why."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from shop.calc.intervals import day_in_words
from shop.calc.units import parse
from shop.core.clock import local_day
from shop.customers.models import Consent
from shop.reminders.models import Reminder, ReminderStatus
from shop.reminders.services import (
    answer_meter,
    answer_sold,
    refresh_stale,
    send_due_reminders,
    stop_reminders,
    sweep,
)
from shop.staff.models import Role
from tests import factories as make
from tests.reminders.makers import LEAD, make_due_vehicle, make_willing_customer

pytestmark = pytest.mark.django_db
URL = "/manage/reminders/"


@pytest.fixture
def now():
    return timezone.now()


@pytest.fixture
def desk_browser(client, desk):
    client.force_login(desk)
    return client


def due_in(days, now, **given):
    return make_due_vehicle(local_day(now) + timedelta(days=days), customer=make_willing_customer(**given))


def page(browser, **query):
    response = browser.get(URL, query)
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


@pytest.mark.parametrize("role", Role.values)
def test_everybody_in_the_shop_may_look(client, role):
    assert reverse("manage:reminders") == URL
    client.force_login(make.make_user(role))
    page(client)


def test_nobody_else_may(client):
    assert client.get(URL).status_code == 302


def test_looking_is_all_it_does(desk_browser):
    assert desk_browser.post(URL).status_code == 405


def test_an_empty_book_says_so(desk_browser):
    assert "Nobody is due within these weeks." in page(desk_browser)


def test_each_reminder_stands_under_its_state_with_the_reason(desk_browser, now, settings):
    due_in(LEAD.days + 7, now, name="Coming Calloway")
    due_in(LEAD.days + 8, now, name="Unasked Calloway", reminder_consent=Consent.NOT_ASKED)
    due_in(LEAD.days + 60, now, name="Later Calloway")
    due_in(1, now, name="Sent Calloway")
    refresh_stale(now=now)
    sweep(now=now)
    send_due_reminders(now=now)
    due_in(1, now, name="Held Calloway", email="")
    due_in(1, now, name="Failed Calloway", email="gone@example.com")
    due_in(1, now, name="Waiting Calloway")
    sweep(now=now)
    Reminder.objects.filter(customer__name__startswith="Failed").update(
        status=ReminderStatus.FAILED, error="The mail server answered 550 No such user"
    )
    text = page(desk_browser)
    sections = {part.split("<small>")[0].strip(): part for part in text.split("<h2>")[1:]}
    coming = sections["Next four weeks"]
    assert "Coming Calloway" in coming
    assert f"mail {local_day(now) + timedelta(days=7):%-d %b %Y}" in coming
    assert "12 months after it came into our book" in coming
    assert "No mail will go out: the customer has not been asked about reminders yet" in coming
    assert "Later Calloway" not in text
    assert "550 No such user" in sections["Could not be sent"]
    assert "Failed Calloway" in sections["Could not be sent"]
    assert "Waiting Calloway" in sections["Waiting to be sent"]
    assert "The customer has no e-mail address" in sections["Held back"]
    assert "Held Calloway" in sections["Held back"]
    assert "Sent Calloway" in sections["Sent"]


def test_it_says_when_mails_reach_nobody(desk_browser, settings):
    assert "reach nobody" not in page(desk_browser)
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    assert "letters are kept as files on the server and reach nobody" in page(desk_browser)


def test_one_state_is_shown_in_pages(desk_browser, now):
    for _ in range(55):
        due_in(1, now)
    sweep(now=now)
    first, second = page(desk_browser, state="waiting"), page(desk_browser, state="waiting", page="2")
    assert "51 to 55 of 55" in second
    assert (first.count("<small>due</small>"), second.count("<small>due</small>")) == (50, 5)
    assert "All 55" in page(desk_browser)


@pytest.mark.parametrize("state", ["lost", "held'--", "…"])
def test_an_unknown_state_is_no_page(desk_browser, state):
    assert desk_browser.get(URL, {"state": state}).status_code == 404


def test_the_page_takes_the_same_number_of_queries_for_more_rows(desk_browser, now):
    def queries_for(count):
        for n in range(count):
            due_in(1, now)
            due_in(LEAD.days + 2 + n, now)
        sweep(now=now)
        with CaptureQueriesContext(connection) as queries:
            page(desk_browser)
        return len(queries)

    page(desk_browser)
    assert queries_for(1) == queries_for(8)


def test_what_a_customer_answered_is_told(desk_browser, now):
    due_in(1, now, name="Sold Calloway")
    sweep(now=now)
    send_due_reminders(now=now)
    reminder = Reminder.objects.get(status=ReminderStatus.SENT)
    later = now + timedelta(hours=1)
    answer_meter(reminder=reminder, distance=parse("900", "distance", "mi"), at=later)
    answer_sold(reminder=reminder, at=later)
    stop_reminders(reminder=reminder, at=later)
    text = page(desk_browser)
    assert f"the meter shows 900 mi on {day_in_words(local_day(later))}; the vehicle is sold;" in text
    assert "wants no more reminders" in text
    assert "None" not in text
