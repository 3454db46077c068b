"""The customer's page behind the link of a reminder: looks change nothing, answers count once, nobody else gets in.

One-click unsubscribe: RFC 8058.
"""

import re
from datetime import timedelta

import pytest
from django.apps import apps
from django.core.signing import Signer
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shop.core.clock import local_day
from shop.customers.models import Consent, MeterReading, ReadingSource, Vehicle
from shop.reminders import links
from shop.reminders.models import Hold, Reminder, ReminderStatus
from shop.reminders.services import forecast_of, send_due_reminders, sweep
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.reminders.makers import make_due_vehicle, make_reminder, make_sent_reminder, make_willing_customer

pytestmark = pytest.mark.django_db
MILE = make.MILE


@pytest.fixture
def now():
    return timezone.now()


@pytest.fixture
def reminder(now):
    """Sent just now, about a vehicle with 10 mi a day on its odometer: 4000 mi at the service, 5300 mi a week ago."""
    today = local_day(now)
    vehicle = make_due_vehicle(
        today + timedelta(days=200),
        customer=make_willing_customer(
            name="Ines Calloway", email="ines@example.com", phone="555-0142", address="3 Mill Lane"
        ),
        vin="VELLOWAY12345678",
        plate="LG 4711",
    )
    start = today - timedelta(days=137)
    for days, miles in [(0, 4000), (60, 4600), (130, 5300)]:
        make.make_meter_reading(vehicle, miles=miles, on=start + timedelta(days=days))
    Vehicle.objects.filter(pk=vehicle.pk).update(created_at=now - timedelta(days=137))
    sweep(now=now)
    send_due_reminders(now=now)
    reminder = Reminder.objects.get()
    assert reminder.status == ReminderStatus.SENT, reminder.why()
    return reminder


@pytest.fixture
def token(reminder, now):
    return links.token_for(reminder, now)


@pytest.fixture
def visitor():
    """A browser that holds no cookie and that CSRF checks are on for."""
    return Client(enforce_csrf_checks=True)


def url(page, token):
    return reverse(f"public:{page}", args=[token])


def send_meter(visitor, token, distance, **more):
    return visitor.post(url("meter", token), {"distance": distance} | more)


def text_of(response):
    return " ".join(re.sub(r"<[^>]+>", " ", response.content.decode()).split())


def readings_of_customer():
    return list(MeterReading.objects.filter(source=ReadingSource.CUSTOMER).order_by("pk"))


def everything():
    return {model._meta.label: list(model._default_manager.order_by("pk").values()) for model in apps.get_models()}


# --- looking ----------------------------------------------------------------------------------------------------------


def test_the_page_shows_the_forecast_and_asks_for_the_meter(visitor, reminder, token):
    response = visitor.get(url("reminder", token))
    assert response.status_code == 200
    text = text_of(response)
    assert str(reminder.vehicle.model) in text
    assert "About 300 mi a month from 3 readings" in text
    assert "Odometer today in mi" in text


@pytest.mark.parametrize("page", ["reminder", "meter", "sold", "stop"])
@pytest.mark.parametrize("method", ["get", "head", "options"])
def test_looking_changes_nothing(visitor, token, page, method):
    """Mail programs and scanners open every link on their own."""
    before = everything()
    response = getattr(visitor, method)(url(page, token))
    assert response.status_code in (200, 302, 405)
    assert everything() == before


@pytest.mark.parametrize("page", ["reminder", "sold", "stop"])
def test_nothing_private_is_shown(visitor, reminder, token, page):
    html = visitor.get(url(page, token)).content.decode()
    for private in ("Calloway", "555-0142", "Mill Lane", "ines@example.com", "VELLOWAY12345678", "LG 4711"):
        assert private not in html


def test_the_pages_run_no_script_and_are_kept_by_nobody(visitor, token):
    for page in ("reminder", "sold", "stop"):
        response = visitor.get(url(page, token))
        html = response.content.decode()
        assert "<script" not in html
        assert "style=" not in html
        assert "no-store" in response["Cache-Control"]
        assert response["Referrer-Policy"] == "same-origin"
        assert 'name="robots" content="noindex"' in html


@pytest.mark.parametrize("method", ["put", "patch", "delete"])
@pytest.mark.parametrize("page", ["reminder", "meter", "sold", "stop"])
def test_other_methods_are_refused(visitor, token, page, method):
    assert getattr(visitor, method)(url(page, token)).status_code == 405


# --- links that are none, or none any more ----------------------------------------------------------------------------


def forgeries(token, other_pk=999_999):
    pk, expires, signature = token.split(".")
    return [
        token[:-1], token + "x", token.upper(), f"{other_pk}.{expires}.{signature}",
        f"{pk}.{int(expires) + 1}.{signature}", f"{pk}.{expires}.", f"{pk}.{expires}", signature, "x",
        "…", "%00", "1.2.3.4",
    ]  # fmt: skip


@pytest.mark.parametrize("page", ["reminder", "meter", "sold", "stop"])
def test_a_forged_or_cut_link_opens_nothing(visitor, token, page):
    before = everything()
    for forged in forgeries(token):
        for response in (visitor.get(url(page, forged)), visitor.post(url(page, forged), {"distance": "5400"})):
            assert response.status_code in ((404, 405) if page == "reminder" else (404,)), forged
            if response.status_code == 404:
                assert "This link does not work" in text_of(response)
    assert everything() == before


def test_a_link_signed_for_another_purpose_is_none(visitor, reminder):
    forged = Signer(sep=".", salt="something else").sign(f"{reminder.pk}.9999999999")
    assert visitor.get(url("reminder", forged)).status_code == 404


def test_a_link_runs_out_and_says_so(visitor, reminder, now, settings):
    settings.REMINDER_LINK_DAYS = 120
    good = links.token_for(reminder, now - timedelta(days=119))
    old = links.token_for(reminder, now - timedelta(days=121))
    assert visitor.get(url("reminder", good)).status_code == 200
    for response in (
        visitor.get(url("reminder", old)),
        send_meter(visitor, old, "5400"),
        visitor.get(url("sold", old)),
        visitor.post(url("sold", old)),
    ):
        assert response.status_code == 410
        assert "This link has run out" in text_of(response)
    assert readings_of_customer() == []
    reminder.vehicle.refresh_from_db()
    assert reminder.vehicle.sold_on is None


def test_saying_stop_never_runs_out(visitor, reminder, now):
    old = links.token_for(reminder, now - timedelta(days=2000))
    assert visitor.post(url("stop", old)).status_code == 200
    reminder.customer.refresh_from_db()
    assert reminder.customer.reminder_consent == Consent.NO


def test_the_link_ends_when_the_vehicle_changes_hands(visitor, reminder, token):
    Vehicle.objects.update(customer=make_willing_customer())
    assert visitor.get(url("reminder", token)).status_code == 410
    assert send_meter(visitor, token, "5400").status_code == 410


# --- the meter --------------------------------------------------------------------------------------------------------


def test_a_reading_moves_the_forecast_and_the_page_shows_it(visitor, reminder, token, now):
    before = forecast_of(vehicle=reminder.vehicle, now=now)
    response = send_meter(visitor, token, "5310")
    assert (response.status_code, response["Location"]) == (302, url("reminder", token))
    (reading,) = readings_of_customer()
    assert (reading.figures, reading.unit, reading.by, reading.read_on) == ("5310", "mi", None, local_day(now))
    after = forecast_of(vehicle=reminder.vehicle, now=now)
    assert after.due_on > before.due_on
    text = text_of(visitor.get(response["Location"]))
    assert "Thank you, Ines. Noted today: 5310 mi." in text
    assert after.reason in text
    reminder.refresh_from_db()
    assert reminder.answered_at is not None


@pytest.mark.parametrize(
    ("typed", "si"),
    [("5,400.5", 5400.5 * MILE), ("8600 km", 8600e3), ("5400 miles", 5400 * MILE), (" 5 400 ", 5400 * MILE)],
)
def test_a_reading_is_taken_as_people_type_it(visitor, token, typed, si):
    assert send_meter(visitor, token, typed).status_code == 302
    assert readings_of_customer()[0].value_si == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Type what the meter shows today."),
        ("lots", "“lots” cannot be read"),
        ("-3", "zero or more"),
        ("5400 h", "the number in mi or km"),
        ("nan", "cannot be read"),
        ("1e300", "than any such meter shows"),
        ("9" * 5000, "cannot be read"),
        ("5400\x00", "cannot be read"),
    ],
)
def test_what_cannot_be_a_reading_is_explained_and_stays_typed(visitor, token, typed, said):
    response = send_meter(visitor, token, typed)
    assert response.status_code == 422
    assert said in text_of(response).replace("\x00", "")
    if typed.isprintable():
        assert f'value="{typed}"' in response.content.decode() or not typed
    assert readings_of_customer() == []


def test_a_reading_below_the_last_asks_to_confirm_and_then_stands(visitor, reminder, token):
    response = send_meter(visitor, token, "530")
    assert response.status_code == 422
    html, text = response.content.decode(), text_of(response)
    assert "530 mi is less than the 5300 mi on" in text
    assert "confirm the figure below" in text
    assert 'name="confirmed"' in html
    assert 'value="530"' in html
    assert readings_of_customer() == []
    assert send_meter(visitor, token, "530", confirmed="on").status_code == 302
    assert [one.figures for one in readings_of_customer()] == ["530"]


def test_a_digit_too_many_asks_to_confirm(visitor, token):
    response = send_meter(visitor, token, "53700")
    assert response.status_code == 422
    assert "is there a digit too many" in text_of(response)
    assert readings_of_customer() == []
    assert send_meter(visitor, token, "53700", confirmed="on").status_code == 302


def test_a_long_weekend_is_believed(visitor, token):
    assert send_meter(visitor, token, "5650").status_code == 302


def test_the_page_asks_nothing_to_be_confirmed_at_first(visitor, token):
    assert 'name="confirmed"' not in visitor.get(url("reminder", token)).content.decode()


def test_sending_the_form_twice_notes_it_once(visitor, token):
    html = visitor.get(url("reminder", token)).content.decode()
    key = re.search(r'name="request_key" value="([0-9a-f]+)"', html)[1]
    for _ in range(2):
        assert send_meter(visitor, token, "5400", request_key=key).status_code == 302
    assert len(readings_of_customer()) == 1


def test_the_same_figure_on_the_same_day_is_noted_once(visitor, token):
    for _ in range(2):
        assert send_meter(visitor, token, "5400").status_code == 302
    assert len(readings_of_customer()) == 1


def test_a_key_used_for_another_figure_is_refused(visitor, token):
    send_meter(visitor, token, "5400", request_key="a" * 32)
    response = send_meter(visitor, token, "5410", request_key="a" * 32)
    assert response.status_code == 409
    assert 'value="5410"' in response.content.decode()
    assert len(readings_of_customer()) == 1


def test_a_link_that_is_played_with_stops_after_five_readings_a_day(visitor, token):
    for miles in range(5401, 5406):
        assert send_meter(visitor, token, str(miles)).status_code == 302
    response = send_meter(visitor, token, "5406")
    assert response.status_code == 429
    assert "We had 5 readings from you today. Call us instead." in text_of(response)
    assert len(readings_of_customer()) == 5


def test_both_meters_are_asked_for_where_both_count(visitor, reminder, token):
    make.make_meter_reading(reminder.vehicle, hours=200, on=reminder.cycle)
    html = visitor.get(url("reminder", token)).content.decode()
    assert 'name="distance"' in html
    assert 'name="hours"' in html
    empty = visitor.post(url("meter", token), {"distance": "", "hours": ""})
    assert empty.status_code == 422
    assert "Type what the meter shows today." in text_of(empty)
    half = visitor.post(url("meter", token), {"distance": "5400", "hours": "20"})  # below the 200 h
    assert half.status_code == 422
    assert readings_of_customer() == []
    assert visitor.post(url("meter", token), {"distance": "", "hours": "231.5"}).status_code == 302
    assert [(one.meter, one.figures) for one in readings_of_customer()] == [("hours", "231.5")]


def test_ten_megabytes_are_refused_before_they_are_read(visitor, token):
    assert send_meter(visitor, token, "1" * 10_000_000).status_code == 413


# --- sold -------------------------------------------------------------------------------------------------------------


def test_sold_is_asked_first_and_then_ends_the_reminders_about_it(visitor, reminder, token, now):
    assert "Did you sell your" in text_of(visitor.get(url("sold", token)))
    response = visitor.post(url("sold", token))
    assert (response.status_code, response["Location"]) == (302, url("reminder", token))
    assert "is sold" in text_of(visitor.get(response["Location"]))
    reminder.vehicle.refresh_from_db()
    assert reminder.vehicle.sold_on == local_day(now)
    assert AuditEntry.objects.filter(kind="vehicle", what__contains="through the link of a reminder").count() == 1
    assert 'name="distance"' not in visitor.get(url("reminder", token)).content.decode()


def test_sold_twice_is_sold_once(visitor, reminder, token):
    for _ in range(2):
        assert visitor.post(url("sold", token)).status_code == 302
    assert AuditEntry.objects.filter(kind="vehicle").count() == 1


def test_a_sold_vehicle_is_never_reminded_of_again(visitor, reminder, token, now):
    visitor.post(url("sold", token))
    sweep(now=now + timedelta(days=400))
    send_due_reminders(now=now + timedelta(days=400))
    assert Reminder.objects.filter(status=ReminderStatus.SENT).count() == 1


# --- stop -------------------------------------------------------------------------------------------------------------

BOUNDARY = '--x\r\nContent-Disposition: form-data; name="List-Unsubscribe"\r\n\r\nOne-Click\r\n--x--\r\n'


@pytest.mark.parametrize(
    ("body", "content_type"),
    [
        ("List-Unsubscribe=One-Click", "application/x-www-form-urlencoded"),
        (BOUNDARY, "multipart/form-data; boundary=x"),
        ("", "application/x-www-form-urlencoded"),
        ("broken", "multipart/form-data"),
    ],
)
def test_one_click_works_without_cookies_whatever_the_body(visitor, reminder, token, body, content_type):
    for _ in range(2):
        response = visitor.post(url("stop", token), body, content_type=content_type)
        assert response.status_code == 200
        assert "You get no more service reminders from us" in text_of(response)
    assert not visitor.cookies
    reminder.customer.refresh_from_db()
    assert reminder.customer.reminder_consent == Consent.NO
    assert AuditEntry.objects.filter(kind="customer").count() == 1


def test_a_person_is_asked_first(visitor, token):
    html = visitor.get(url("stop", token)).content.decode()
    assert "Stop all reminders" in html
    assert f'action="{url("stop", token)}"' in html


def test_after_stop_nothing_goes_out_even_of_what_was_queued(visitor, token, reminder, now):
    other = make_reminder(now=now, customer=reminder.customer, due_on=local_day(now))
    visitor.post(url("stop", token))
    send_due_reminders(now=now)
    other.refresh_from_db()
    assert (other.status, other.held_by) == (ReminderStatus.SUPPRESSED, Hold.OPTED_OUT)
    assert "You get no more reminders from us" in text_of(visitor.get(url("reminder", token)))


def test_a_reminder_of_another_customer_is_not_touched(visitor, token, now):
    other = make_sent_reminder(now=now, due_on=local_day(now))
    visitor.post(url("stop", token))
    other.customer.refresh_from_db()
    assert other.customer.reminder_consent == Consent.YES
