"""What a load balancer asks: /healthz answers as long as the process does, /readyz only while everything works."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from shop.core.services import beat
from tests.servers import free_port

pytestmark = pytest.mark.django_db
ALL_WELL = {"database", "queue", "scheduler", "status"}


def ask():
    """Status of /readyz and what it says by name."""
    answer = Client().get("/readyz")
    said = answer.json()
    assert set(said) == ALL_WELL
    assert said["status"] == ("ready" if answer.status_code == 200 else "not ready")
    return answer.status_code, said


@pytest.fixture
def alive(transactional_db):
    beat(name="scheduler", at=timezone.now())


def test_with_everything_at_work_it_is_ready(alive):
    status, said = ask()
    assert (status, said["database"], said["queue"]) == (200, "ok", "ok")
    assert said["scheduler"].startswith("ok, ")


def test_a_database_that_is_gone_is_told(alive, monkeypatch):
    connection.close()
    with monkeypatch.context() as patch:
        patch.setitem(connection.settings_dict, "HOST", "127.0.0.1")
        patch.setitem(connection.settings_dict, "PORT", free_port())
        status, said = ask()
        assert Client().get("/healthz").status_code == 200
    connection.close()
    assert (status, said["database"], said["queue"]) == (503, "The database does not answer.", "ok")
    assert said["scheduler"] == "Unknown, the database does not answer."
    assert ask()[0] == 200


def test_a_queue_that_is_gone_is_told(alive, monkeypatch):
    monkeypatch.setenv("CELERY_BROKER_WRITE_URL", f"redis://127.0.0.1:{free_port()}/0")
    status, said = ask()
    assert (status, said["queue"]) == (503, "The queue does not answer: no reminder goes out.")
    assert said["database"] == "ok"


def test_a_scheduler_that_was_never_seen_is_told():
    status, said = ask()
    assert (status, said["scheduler"]) == (503, "No sign of life yet: start the worker and the scheduler.")


def test_a_scheduler_not_seen_for_long_is_told():
    beat(name="scheduler", at=timezone.now() - timedelta(minutes=10, seconds=5))
    status, said = ask()
    assert status == 503
    assert said["scheduler"] == "Last sign of life 10 min ago: look after the worker and the scheduler."
