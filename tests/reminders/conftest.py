"""A real mail server that says what a test wants it to say."""

import email
import email.policy
import threading

import pytest
from aiosmtpd.controller import Controller

from tests.servers import free_port


class Postbox:
    """Mail as it came over the wire: letters holds (recipients, bytes); answers may be set to refuse."""

    def __init__(self, port):
        self.port, self.letters, self._controller = port, [], None
        self.answer_to_recipient = "250 OK"
        self.answer_to_data = "250 OK"
        self.breaks_off_at = ""  # RCPT, or DATA: it has the whole letter, keeps it, and is gone before its answer
        self._lock = threading.Lock()

    def start(self):
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self._controller.start()

    def stop(self):
        if self._controller:
            self._controller.stop()
            self._controller = None

    async def handle_RCPT(self, server, session, envelope, address, options):
        answer = self.answer_to_recipient
        if callable(answer):
            answer = answer(address)
        if self.breaks_off_at == "RCPT":
            server.transport.abort()
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server, session, envelope):
        if self.answer_to_data.startswith("250"):
            with self._lock:
                self.letters.append((list(envelope.rcpt_tos), envelope.original_content))
        if self.breaks_off_at == "DATA":
            server.transport.abort()
        return self.answer_to_data

    @property
    def messages(self):
        """Read back by Python's own parser for mail, strictly."""
        return [email.message_from_bytes(letter, policy=email.policy.SMTP) for _, letter in self.letters]


@pytest.fixture
def postbox(settings):
    """The site's mail server for this test, which may stop and start it."""
    box = Postbox(free_port())
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", box.port
    settings.SITE_URL = "https://book.example.com"
    box.start()
    yield box
    box.stop()
