from celery import shared_task
from django.utils import timezone

from shop.core import services


@shared_task(name="core.heartbeat", ignore_result=True, soft_time_limit=20)
def heartbeat() -> None:
    """Sent by the scheduler, run by a worker: a fresh row proves that both are alive, and the queue between them."""
    services.beat(name="scheduler", at=timezone.now())


@shared_task(name="core.forget_old_keys", ignore_result=True)
def forget_old_keys() -> None:
    """At night; a run too many finds nothing more to delete."""
    services.forget_old_keys(now=timezone.now())
