"""What goes out as e-mail: what it says, whether it may go there, and what the mail server answered."""

import ipaddress
import smtplib
import textwrap
from contextlib import suppress
from datetime import date, datetime
from email.utils import format_datetime, formataddr
from urllib.parse import quote

from django.conf import settings
from django.core import mail
from django.core.exceptions import ValidationError
from django.core.mail.backends import smtp
from django.core.validators import validate_email
from django.template.loader import render_to_string
from django.utils.crypto import salted_hmac
from django.utils.encoding import punycode

from shop.core.amounts import money
from shop.core.clock import local_day
from shop.reminders import links
from shop.reminders.models import QuestionMail, Reminder, Rule, ServiceForecast
from shop.reminders.reckoning import day

# Names that reach nobody, by RFC 2606 and RFC 6761: for examples and tests.
RESERVED_DOMAINS = ("example.com", "example.net", "example.org", "test", "example", "invalid", "localhost")
# Backends that hand a mail to nobody outside this machine.
KEPT_HERE = tuple(f"django.core.mail.backends.{name}." for name in ("filebased", "console", "locmem", "dummy"))
LINE = 72
LONGEST_HEADER = 900  # RFC 5322, 2.1.1 allows 998


class MailProblem(Exception):
    """The mail did not leave; str() says why, for the desk."""


class Unreachable(MailProblem):
    """The mail server does not answer us at all, whatever the mail: nothing is wrong with this one."""


class Deferred(MailProblem):
    """Not now, later: the mail server said so, or the line broke before it was given anything."""


class Unknown(MailProblem):
    """The connection broke while the mail went over: the mail server may have it and deliver it, or not."""


class Refused(MailProblem):
    """The mail server said no, or this mail must not go there."""


def message_id_for(vehicle_pk: int, cycle_key: str) -> str:
    """Message-ID (RFC 5322) of the reminder about a vehicle in a cycle: the same whenever it is asked for."""
    return _message_id("reminder", f"{vehicle_pk}.{cycle_key}")


def question_message_id(question_pk: int, number: int) -> str:
    """Message-ID of the so-manieth mail about a question: the same whenever it is asked for."""
    return _message_id("question", f"{question_pk}.{number}")


def _message_id(kind: str, what: str) -> str:
    # The kind stands before the key, so that a question and a reminder never share a mark.
    mark = salted_hmac("shop.reminders.message_id", what if kind == "reminder" else f"{kind}.{what}").hexdigest()[:20]
    domain = punycode(settings.SHOP["email"].rpartition("@")[2])
    return f"<{kind}.{what}.{mark}@{domain}>"


def refusal(address: str) -> str:
    """Why nothing is sent to this address, in words; empty when it may be.

    A demo shop sends to reserved names only, and a name that reaches nobody is not sent out into the world.
    """
    try:
        validate_email(address)
    except ValidationError:
        return f"{address!r} is no e-mail address. Enter the customer's own address."
    domain = address.rpartition("@")[2].lower()
    reserved = any(domain == name or domain.endswith(f".{name}") for name in RESERVED_DOMAINS)
    if settings.DEMO and not reserved:
        return f"{address} could be somebody's: a demo shop writes only to addresses such as ines@example.com."
    if reserved and not _stays_here():
        return f"{address} is a name for examples that reaches nobody. Enter the customer's own address."
    return ""


def caution() -> str:
    """What the desk has to know about the way mails go; empty when they go out."""
    if settings.EMAIL_BACKEND == "django.core.mail.backends.filebased.EmailBackend":
        return "No mail server is set: letters are kept as files on the server and reach nobody."
    return ""


def _stays_here() -> bool:
    if settings.EMAIL_BACKEND.startswith(KEPT_HERE):
        return True
    if not settings.EMAIL_BACKEND.startswith("django.core.mail.backends.smtp."):
        return False
    host = settings.EMAIL_HOST.strip("[]")
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return "." not in host  # localhost, or a catcher of letters on the same private network


class Letter(mail.EmailMultiAlternatives):
    """A mail whose long headers stay on one line: a signature covers them as they are, and a link is not torn apart."""

    def message(self):
        message = super().message()
        message.policy = message.policy.clone(max_line_length=LONGEST_HEADER)
        return message


def build(reminder: Reminder, forecast: ServiceForecast, now: datetime) -> Letter:
    """The whole mail. reminder comes with its names; its address, customer and due date are those of this moment."""
    token = links.token_for(reminder, now)
    shop, vehicle, today = settings.SHOP, reminder.vehicle, local_day(now)
    stop = links.url_of("stop", token)
    context = {
        "shop": shop,
        "customer": reminder.customer,
        "vehicle": vehicle,
        "forecast": forecast,
        "due": due_in_words(forecast, today),
        "overdue": forecast.due_on < today,
        "page": links.url_of("reminder", token),
        "sold": links.url_of("sold", token),
        "stop": stop,
    }
    subject = f"Service due {context['due']}: {vehicle.model}"
    return _letter("reminder", subject, context, reminder.to_address, reminder.message_id, now, _ways_out(stop))


def build_question(row: QuestionMail, now: datetime) -> Letter:
    """The whole mail that asks about the price. row comes with its names. No way out: it is about this one order."""
    question = row.question
    context = {
        "shop": settings.SHOP,
        "customer": question.order.customer,
        "order": question.order,
        "question": question,
        "where": question.job.damper.where() if question.job else "",
        "more": money(question.by_how_much),
        "total": money(question.new_total),
        "page": links.question_url(question),
    }
    subject = f"{question.order.number}: may we go on? {question.what}"
    return _letter("question", subject, context, row.to_address, row.message_id, now, {})


def _letter(name: str, subject: str, context: dict, address: str, message_id: str, now: datetime, more: dict) -> Letter:
    """A mail to one person, the same words as text and as HTML, from the templates of this name."""
    own = _mailbox(settings.SHOP["name"], settings.SHOP["email"])
    message = Letter(
        subject=_one_line(subject),
        body=_wrapped(render_to_string(f"reminders/{name}.txt", context)),
        from_email=own,
        to=[_mailbox(context["customer"].name, address)],
        reply_to=[own],
        headers={
            "Date": format_datetime(now),
            "Message-ID": message_id,
            "Auto-Submitted": "auto-generated",
        }
        | more,
    )
    message.attach_alternative(render_to_string(f"reminders/{name}.html", context), "text/html")
    return message


def due_in_words(forecast: ServiceForecast, today: date) -> str:
    """When, as a subject line says it: "about 14 May 2027", "on 3 September 2027", "since 2 March 2027"."""
    if forecast.due_on < today:
        return f"since {day(forecast.due_on)}"
    return f"{'on' if forecast.decided_by == Rule.DATE else 'about'} {day(forecast.due_on)}"


def _ways_out(stop: str) -> dict[str, str]:
    """Unsubscribe headers of RFC 2369 and RFC 8058. One click needs an https address; without one none is promised."""
    write = f"<mailto:{quote(settings.SHOP['email'], safe='@')}?subject=Stop%20reminders>"
    if not stop.startswith("https://"):
        return {"List-Unsubscribe": f"{write}, <{stop}>"}
    return {"List-Unsubscribe": f"<{stop}>, {write}", "List-Unsubscribe-Post": "List-Unsubscribe=One-Click"}


def _mailbox(name: str, address: str) -> str:
    local, _, domain = address.rpartition("@")
    return formataddr((_one_line(name), f"{local}@{punycode(domain)}"))


def _one_line(text: str) -> str:
    """Header text: a line break in a name must not begin a header of its own."""
    return " ".join("".join(one if one.isprintable() else " " for one in text).split())


def _wrapped(text: str) -> str:
    """Plain text in lines a mail program need not break; a link stays whole."""
    lines = []
    for line in text.strip().splitlines():
        lines += textwrap.wrap(line, LINE, break_long_words=False, break_on_hyphens=False) or [""]
    return "\n".join(lines) + "\n"


class _Handover:
    """Put in front of smtplib's client, this remembers whether the text of the mail has begun to go over."""

    begun = False

    def mail(self, *args, **kwargs):
        self.begun = False
        return super().mail(*args, **kwargs)

    def data(self, *args, **kwargs):
        self.begun = True
        return super().data(*args, **kwargs)


class _Plain(_Handover, smtplib.SMTP):
    pass


class _Encrypted(_Handover, smtplib.SMTP_SSL):
    pass


class Server(smtp.EmailBackend):
    """Django's way to a mail server, which can tell whether a mail of which we heard no more may have arrived."""

    @property
    def connection_class(self):
        return _Encrypted if self.use_ssl else _Plain

    @property
    def begun(self) -> bool:
        return self.connection is not None and self.connection.begun


class Post:
    """The way out, for one run: one connection for all its mails, opened with the first and renewed after trouble."""

    def __init__(self):
        self.connection = None

    def __enter__(self):
        return self

    def __exit__(self, *exc):
        self._hang_up()

    def send(self, message: Letter) -> None:
        """Hand one mail over. Raises Unreachable, Deferred, Unknown or Refused; returning means it was accepted."""
        self._call()
        try:
            accepted = self.connection.send_messages([message])
        except Exception as error:
            begun = isinstance(self.connection, Server) and self.connection.begun
            self._hang_up()
            raise _problem(error, begun) from error
        if accepted != 1:
            raise Refused("The mail backend took no notice of it.")
        if not isinstance(self.connection, Server):
            self._hang_up()  # the backend that writes files puts all mails of one connection into one file

    def _call(self) -> None:
        if self.connection is not None:
            return
        if settings.EMAIL_BACKEND == "django.core.mail.backends.smtp.EmailBackend":
            self.connection = Server()
            try:
                self.connection.open()
            except OSError as error:  # smtplib's errors are some, a wrong password among them
                self._hang_up()
                raise Unreachable(f"The mail server cannot be used: {_said(error)}") from error
        else:
            self.connection = mail.get_connection()

    def _hang_up(self) -> None:
        if self.connection is not None:
            with suppress(Exception):  # an ill-mannered goodbye changes nothing about what was accepted
                self.connection.close()
            self.connection = None


def _problem(error: Exception, begun: bool) -> MailProblem:
    """What an error while handing over means: ours, theirs for now or for good, or nobody can know.

    begun: the text of the mail was on its way. From then on only a clear no of the mail server is one.
    """
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, said = next(iter(error.recipients.values()))
        return _answer(code, said)
    if isinstance(error, smtplib.SMTPSenderRefused):
        return Unreachable(f"The mail server takes no mail from {settings.SHOP['email']}: {_said(error)}")
    if isinstance(error, smtplib.SMTPResponseException) and (not begun or 400 <= error.smtp_code < 600):
        return _answer(error.smtp_code, error.smtp_error)
    if begun:
        return Unknown(f"The connection broke off while the mail went over: {_said(error)}")
    if isinstance(error, smtplib.SMTPNotSupportedError):
        return Refused(f"The mail server cannot write to this address: {_said(error)}")
    if isinstance(error, OSError):
        return Deferred(f"The connection broke off: {_said(error)}")
    return Refused(f"This mail cannot be made: {_said(error)}")


def _answer(code: int, said: bytes | str) -> MailProblem:
    text = said.decode(errors="replace") if isinstance(said, bytes) else str(said)
    text = f"The mail server answered {code} {_one_line(text)}"[:500]
    # RFC 5321, 4.2.1: 4yz is a no for now, 5yz one for good.
    return Deferred(text) if 400 <= code < 500 else Refused(text)


def _said(error: Exception) -> str:
    if isinstance(error, smtplib.SMTPResponseException):
        said = error.smtp_error
        return f"{error.smtp_code} {_one_line(said.decode(errors='replace') if isinstance(said, bytes) else str(said))}"
    return f"{_one_line(str(error)) or type(error).__name__}"
