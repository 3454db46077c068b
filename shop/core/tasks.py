import structlog
from celery import shared_task
from django.utils import timezone

from shop.core import services
from shop.core.search import index

log = structlog.get_logger(__name__)


@shared_task(name="core.heartbeat", ignore_result=True, soft_time_limit=20)
def heartbeat() -> None:
    """Sent by the scheduler, run by a worker: a fresh row proves that both are alive, and the queue between them."""
    services.beat(name="scheduler", at=timezone.now())


@shared_task(name="core.forget_old_keys", ignore_result=True)
def forget_old_keys() -> None:
    """At night; a run too many finds nothing more to delete."""
    services.forget_old_keys(now=timezone.now())


@shared_task(name="core.mend_search", ignore_result=True)
def mend_search() -> None:
    """At night; triggers keep the search entries in step, but for two writes that do not see each other."""
    if mended := index.mend():
        log.warning("search_mended", entries=mended)
