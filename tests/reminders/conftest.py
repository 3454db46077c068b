"""A real mail server that says what a test wants it to say."""

import email
import email.policy
import threading

import pytest
from aiosmtpd.controller import Controller

from tests.servers import free_port


class Postbox:
    """Mail as it came over the wire: letters holds (recipients, bytes); answers may be set to refuse."""

    def __init__(self):
        self.letters = []
        self.answer_to_recipient = "250 OK"
        self.answer_to_data = "250 OK"
        self.before_answer = lambda: None
        self._lock = threading.Lock()

    async def handle_RCPT(self, server, session, envelope, address, options):
        answer = self.answer_to_recipient
        if callable(answer):
            answer = answer(address)
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server, session, envelope):
        if self.answer_to_data.startswith("250"):
            with self._lock:
                self.letters.append((list(envelope.rcpt_tos), envelope.original_content))
            self.before_answer()
        return self.answer_to_data

    @property
    def messages(self):
        """Read back by Python's own parser for mail, strictly."""
        return [email.message_from_bytes(letter, policy=email.policy.SMTP) for _, letter in self.letters]


@pytest.fixture
def unused_port():
    return free_port()


@pytest.fixture
def postbox(settings, unused_port):
    """The site's mail server for this test; its start and stop are in the test's hand as postbox.controller."""
    box = Postbox()
    box.controller = Controller(box, hostname="127.0.0.1", port=unused_port)
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", unused_port
    settings.SITE_URL = "https://book.example.com"
    box.controller.start()
    yield box
    if box.controller.server is not None:
        box.controller.stop()
