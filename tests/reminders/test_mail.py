"""What the mail is made of, read back from the wire by Python's own mail parser.

RFC 5322 (message), RFC 2369 and RFC 8058 (ways out), RFC 3834 (made by a machine), RFC 2047 (names in other scripts);
16 CFR 316 (postal address, a way out). RFC 2606 and RFC 6761: the names for examples.
"""

import email
import email.policy
import re
from datetime import date, timedelta
from email.utils import parsedate_to_datetime

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from shop.customers.models import Customer, Vehicle, VehicleModel
from shop.reminders import mail
from shop.reminders.models import Reminder, ServiceForecast
from shop.reminders.services import forecast_of, send_due_reminders, sweep
from tests import factories as make
from tests.factories import NOON
from tests.reminders.makers import TODAY, at_noon, make_due_vehicle, make_reminder, make_willing_customer

pytestmark = pytest.mark.django_db

# Exactly one of each, RFC 5322 3.6; the others are ours.
ONCE = [
    "Date", "From", "To", "Subject", "Message-ID", "Reply-To", "Auto-Submitted", "List-Unsubscribe",
    "List-Unsubscribe-Post", "MIME-Version", "Content-Type",
]  # fmt: skip


def sent_mail(postbox, **given):
    reminder = make_reminder(**given)
    send_due_reminders(now=NOON)
    reminder.refresh_from_db()
    assert len(postbox.messages) == 1, reminder.error
    return reminder, postbox.messages[0]


def parts(message):
    return [part for part in message.walk() if not part.is_multipart()]


def test_the_headers_are_those_of_a_letter_from_the_shop(postbox):
    reminder, message = sent_mail(postbox)
    assert {name: len(message.get_all(name, [])) for name in ONCE} == dict.fromkeys(ONCE, 1)
    assert message.get_all("Cc") is None
    assert message.get_all("Bcc") is None
    (to,) = message["To"].addresses
    assert (to.display_name, to.addr_spec) == (reminder.customer.name, "ines@example.com")
    (sender,) = message["From"].addresses
    assert (sender.display_name, sender.addr_spec) == ("Larkspur Gulch Powersports", "bench@example.com")
    assert [one.addr_spec for one in message["Reply-To"].addresses] == ["bench@example.com"]
    assert parsedate_to_datetime(message["Date"]) == NOON
    assert message["Auto-Submitted"] == "auto-generated"
    assert message["Subject"] == f"Service due on 25 November 2026: {reminder.vehicle.model}"
    assert [defect for part in message.walk() for defect in part.defects] == []


def test_the_message_id_is_the_rows_own_under_the_shops_domain(postbox):
    reminder, message = sent_mail(postbox)
    assert message["Message-ID"] == reminder.message_id
    assert re.fullmatch(r"<[A-Za-z0-9.-]+@example\.com>", reminder.message_id)  # RFC 5322 3.6.4: dot-atom both sides
    assert reminder.message_id == mail.message_id_for(reminder.vehicle_id, reminder.cycle_key)


def test_the_ways_out_are_one_https_address_for_one_click_and_one_to_write_to(postbox):
    _, message = sent_mail(postbox)
    first, second = re.fullmatch(r"<([^<>]+)>, <([^<>]+)>", message["List-Unsubscribe"]).groups()
    assert re.fullmatch(r"https://book\.example\.com/r/[A-Za-z0-9._-]+/stop/", first)
    assert second == "mailto:bench@example.com?subject=Stop%20reminders"
    assert message["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    # A signature covers the two as they are, so each stays on its line.
    assert re.search(
        rb"\r\nList-Unsubscribe: <https[^\r\n]+\r\nList-Unsubscribe-Post: [^\r\n]+\r\n", postbox.letters[0][1]
    )


def test_without_https_one_click_is_not_promised(postbox, settings):
    """RFC 8058 3.1 wants an https address; RFC 2369 takes any."""
    settings.SITE_URL = "http://127.0.0.1:8000"
    _, message = sent_mail(postbox)
    assert message["List-Unsubscribe-Post"] is None
    assert re.match(
        r"<mailto:bench@example\.com.*>, <http://127\.0\.0\.1:8000/r/.+/stop/>$", message["List-Unsubscribe"]
    )


def test_text_comes_first_and_html_is_its_equal(postbox):
    reminder, message = sent_mail(postbox)
    assert message.get_content_type() == "multipart/alternative"
    text, html = parts(message)
    assert (text.get_content_type(), html.get_content_type()) == ("text/plain", "text/html")
    assert {part.get_content_charset() for part in (text, html)} == {"utf-8"}
    for content in (text.get_content(), html.get_content()):
        assert reminder.customer.name in content
        assert str(reminder.vehicle.model) in content
        assert "25 November 2026" in content
        assert "12 months after it came into our book" in " ".join(content.split())
        for page in ("", "sold/", "stop/"):
            assert len(re.findall(rf"https://book\.example\.com/r/[A-Za-z0-9._-]+/{page}[\s\"]", content)) == 1
        for line in ("Larkspur Gulch Powersports", "12 Quarry Road, Larkspur Gulch", "555-0100"):
            assert line in content
        assert "you told us on 25 November 2026 that you want service reminders" in " ".join(content.split())


def test_the_html_fetches_nothing_and_runs_nothing(postbox):
    _, message = sent_mail(postbox)
    html = parts(message)[1].get_content()
    assert not re.search(r"<(img|script|link|iframe|object|form)\b|url\(|@import|\son\w+=", html)
    assert {link.split("/r/")[0] for link in re.findall(r'(?:href|src)="([^"]+)"', html)} == {
        "https://book.example.com"
    }


def test_lines_end_in_crlf_and_are_short(postbox):
    """RFC 5322 2.1.1: at most 998 characters, better 78; a link is not broken."""
    sent_mail(postbox)
    raw = postbox.letters[0][1]
    assert b"\n" not in raw.replace(b"\r\n", b"")
    assert max(len(line) for line in raw.split(b"\r\n")) < 998
    text = parts(postbox.messages[0])[0].get_content()
    assert [line for line in text.splitlines() if len(line) > 78 and "https://" not in line] == []


def test_names_in_other_scripts_arrive_as_they_are(postbox, settings):
    settings.SHOP = settings.SHOP | {"name": "Rüttelhof, Dämpfer & Söhne"}
    model = make.make_vehicle_model(maker="Brackmoor", name="Grød 1000")
    customer = make_willing_customer(name='Zoë Ångström-李 "Zo"', email="zoe@bücher.example.org")
    _, message = sent_mail(postbox, customer=customer, model=model)
    (to,) = message["To"].addresses
    assert (to.display_name, to.addr_spec) == ('Zoë Ångström-李 "Zo"', "zoe@xn--bcher-kva.example.org")
    assert message["From"].addresses[0].display_name == "Rüttelhof, Dämpfer & Söhne"
    assert message["Subject"] == "Service due on 25 November 2026: Brackmoor Grød 1000"
    raw = postbox.letters[0][1].split(b"\r\n\r\n")[0]
    assert raw.isascii()
    assert "Zoë Ångström-李" in parts(message)[0].get_content()


@pytest.mark.parametrize("where", ["customer", "vehicle", "shop"])
def test_a_line_break_in_a_name_begins_no_header(postbox, settings, where):
    evil = "Ines\r\nBcc: everybody@example.org\r\n\r\nHello"
    customer, model = make_willing_customer(), make.make_vehicle_model()
    if where == "customer":
        customer = make_willing_customer(name=evil)
    elif where == "vehicle":
        model = make.make_vehicle_model(name=evil)
    else:
        settings.SHOP = settings.SHOP | {"name": evil}
    _, message = sent_mail(postbox, customer=customer, model=model)
    assert message["Bcc"] is None
    assert postbox.letters[0][0] == ["ines@example.com"]
    assert len(message["To"].addresses) == len(message["From"].addresses) == 1


def test_names_are_text_in_the_html(postbox):
    _, message = sent_mail(postbox, customer=make_willing_customer(name="Ines <b>Calloway</b> & Sons"))
    text, html = (part.get_content() for part in parts(message))
    assert "Ines <b>Calloway</b> & Sons" in text
    assert "Ines &lt;b&gt;Calloway&lt;/b&gt; &amp; Sons" in html


@hypothesis_settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.text(min_size=1, max_size=120).filter(str.strip))
def test_whatever_a_customer_is_called_the_mail_has_one_recipient(settings, name):
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    customer = Customer(pk=1, name=name, email="ines@example.com")
    model = VehicleModel(maker="Ostrander", name="Ridge")
    vehicle = Vehicle(pk=1, customer=customer, model=model, model_year=2015)
    reminder = Reminder(pk=1, vehicle=vehicle, customer=customer, to_address=customer.email)
    reminder.message_id = "<one@example.com>"
    forecast = ServiceForecast(vehicle=vehicle, cycle=TODAY, due_on=TODAY, decided_by="date", reason="Due.")
    raw = mail.build(reminder, forecast, NOON).message().as_bytes(linesep="\r\n")
    message = email.message_from_bytes(raw, policy=email.policy.SMTP)
    assert [one.addr_spec for one in message["To"].addresses] == ["ines@example.com"]
    assert message["Message-ID"] == "<one@example.com>"
    assert message.get_content_type() == "multipart/alternative"
    assert max(len(line) for line in raw.split(b"\r\n")) <= 998


@pytest.mark.parametrize(
    ("due_on", "decided_by", "words"),
    [
        (date(2026, 12, 9), "distance", "about 9 December 2026"),
        (date(2026, 12, 9), "date", "on 9 December 2026"),
        (TODAY, "hours", "about 25 November 2026"),
        (date(2026, 11, 24), "date", "since 24 November 2026"),
    ],
)
def test_the_subject_says_when(due_on, decided_by, words):
    assert mail.due_in_words(ServiceForecast(due_on=due_on, decided_by=decided_by), TODAY) == words


def test_the_reason_tells_how_much_it_is_driven(postbox):
    vehicle = make_due_vehicle(TODAY + timedelta(days=100))
    start = TODAY - timedelta(days=265)
    for n in range(5):
        make.make_meter_reading(vehicle, miles=2000 + 330 * n, on=start + timedelta(days=60 * n))
    sweep(now=at_noon(TODAY))
    forecast = forecast_of(vehicle=vehicle, now=NOON)
    assert forecast.decided_by == "distance"
    send_due_reminders(now=NOON)
    text = " ".join(parts(postbox.messages[0])[0].get_content().split())
    assert "About 170 mi a month from 5 readings: due about" in text
    assert f"or at the latest {forecast.by_date_on:%-d %B %Y} by date" in text


# Own list of names kept for examples and tests: RFC 2606 2 and 3, RFC 6761 6.
@pytest.mark.parametrize(
    "address",
    [
        "a@example.com",
        "a@example.net",
        "a@mail.example.org",
        "a@shop.test",
        "a@x.example",
        "a@x.invalid",
        "a@x.localhost",
    ],
)
def test_names_for_examples_go_nowhere_but_this_machine(settings, address):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    for host, goes in [
        ("127.0.0.1", True),
        ("localhost", True),
        ("::1", True),
        ("192.0.2.7", False),
        ("mail.shop.net", False),
    ]:
        settings.EMAIL_HOST = host
        assert (mail.refusal(address) == "") is goes, host
    for backend in ("filebased", "console", "locmem"):
        settings.EMAIL_BACKEND = f"django.core.mail.backends.{backend}.EmailBackend"
        assert mail.refusal(address) == ""


@pytest.mark.parametrize("address", ["a@notexample.com", "a@example.com.net", "a@test.net", "a@exampletest.org"])
def test_names_that_only_look_like_examples_are_real(settings, address):
    settings.EMAIL_BACKEND, settings.EMAIL_HOST = "django.core.mail.backends.smtp.EmailBackend", "mail.shop.net"
    assert mail.refusal(address) == ""
    settings.DEMO = True
    assert "demo shop" in mail.refusal(address)
