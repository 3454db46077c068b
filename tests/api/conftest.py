import json

import pytest
from django.test import Client
from rest_framework.authtoken.models import Token

from tests.factories import NOON


@pytest.fixture(autouse=True)
def noon(monkeypatch):
    """Every request comes at noon of the shop's day."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOON)


class Caller:
    """A program that talks to the API with somebody's token, or with none."""

    def __init__(self, user=None):
        self.user = user
        token = {"Authorization": f"Token {Token.objects.get_or_create(user=user)[0].key}"} if user else {}
        self.client = Client(headers=token)

    def send(self, method, path, body=None, *, key=None, **headers):
        if key:
            headers["Idempotency-Key"] = key
        content = {} if body is None else {"data": json.dumps(body), "content_type": "application/json"}
        return self.client.generic(method, f"/api/v1/{path}", headers=headers, **content)

    def get(self, path, **query):
        return self.client.get(f"/api/v1/{path}", query)

    def post(self, path, body=None, **more):
        return self.send("POST", path, {} if body is None else body, **more)

    def patch(self, path, body, **more):
        return self.send("PATCH", path, body, **more)

    def made(self, path, body=None, **more):
        """POST that has to succeed; the answer's content."""
        answer = self.post(path, body, **more)
        assert answer.status_code in (200, 201), answer.content.decode()
        return answer.json()


def refused(answer, status, *, field=None, code=None):
    """The message of a refusal, after checking its status and its one shape."""
    assert answer.status_code == status, answer.content.decode()
    assert answer["Content-Type"] == "application/json"
    told = answer.json()
    assert set(told) == {"message", "code", "fields"}
    assert isinstance(told["message"], str)
    assert told["message"]
    assert all(isinstance(sentence, str) for sentences in told["fields"].values() for sentence in sentences)
    if field:
        assert set(told["fields"]) == {field}
    if code:
        assert told["code"] == code
    return told["message"]


@pytest.fixture
def nobody(db):
    return Caller()


@pytest.fixture
def at_desk(desk):
    return Caller(desk)


@pytest.fixture
def at_bench(technician):
    return Caller(technician)


@pytest.fixture
def as_manager(manager):
    return Caller(manager)
