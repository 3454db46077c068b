"""What a load balancer and the person on call ask: is it up, and can it work?"""

from datetime import timedelta

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import JsonResponse
from django.utils import timezone
from kombu.exceptions import KombuError

from shop.celery import app
from shop.core.models import Heartbeat

HEARTBEAT_MAY_BE_OLD = timedelta(minutes=3)


@login_not_required
def healthz(request):
    """The process answers; nothing else is asked."""
    return JsonResponse({"status": "up"})


@login_not_required
def readyz(request):
    """Database, queue and the scheduler's heartbeat, each with a sentence; 503 when one of them fails."""
    found = {"database": _database(), "queue": _queue(), "scheduler": _scheduler()}
    ready = all(sentence.startswith("ok") for sentence in found.values())
    return JsonResponse({"status": "ready" if ready else "not ready", **found}, status=200 if ready else 503)


def _database() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return "The database does not answer."
    return "ok"


def _queue() -> str:
    try:
        with app.connection_for_write(connect_timeout=2) as broker:
            broker.ensure_connection(max_retries=1, timeout=2)
    except (OSError, KombuError, *app.connection_for_write().recoverable_connection_errors):
        return "The queue does not answer: no reminder goes out."
    return "ok"


def _scheduler() -> str:
    try:
        beat = Heartbeat.objects.filter(name="scheduler").first()
    except DatabaseError:
        return "Unknown, the database does not answer."
    if beat is None:
        return "No sign of life yet: start the worker and the scheduler."
    age = timezone.now() - beat.at
    if age > HEARTBEAT_MAY_BE_OLD:
        return f"Last sign of life {int(age.total_seconds() // 60)} min ago: look after the worker and the scheduler."
    return f"ok, {int(age.total_seconds())} s ago"
