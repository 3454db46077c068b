import logging

from celery import shared_task
from django.db import OperationalError
from django.utils import timezone

from shop.exchange import services
from shop.exchange.models import ImportRun

log = logging.getLogger(__name__)


@shared_task(name=services.WORK, ignore_result=True)
def work(pk: int) -> None:
    """Sent when there is something to do, and again by the clock; one that is done or at work is left alone."""
    try:
        services.work(pk=pk, at=timezone.now())
    except OperationalError as error:
        # On SQLite another transaction writes for long; on PostgreSQL a deadlock, or the server went away.
        log.warning("Import %s is put off to the next minute: %s", pk, error)


@shared_task(name="exchange.take_up", ignore_result=True, soft_time_limit=50)
def take_up() -> None:
    """Every minute; a run too many finds that somebody is at work."""
    for pk in ImportRun.objects.unfinished().values_list("pk", flat=True):
        work.delay(pk)


@shared_task(name="exchange.forget_old", ignore_result=True)
def forget_old() -> None:
    """At night; a run too many finds nothing more to forget."""
    services.forget_old(now=timezone.now())
