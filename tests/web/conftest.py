import pytest
from django.test import Client

from tests.factories import NOON


@pytest.fixture
def at_noon(monkeypatch):
    """The shop's clock stands at noon of 25 November 2026."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOON)


def logged_in(user):
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def at_desk(desk):
    return logged_in(desk)


@pytest.fixture
def at_bench(technician):
    return logged_in(technician)


@pytest.fixture
def as_manager(manager):
    return logged_in(manager)
