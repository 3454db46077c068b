import hashlib
import json
from collections.abc import Callable
from datetime import datetime, timedelta

from django.apps import apps
from django.db import IntegrityError, models, transaction

from shop.core.errors import Conflict
from shop.core.models import Heartbeat, RequestKey


def fingerprint(content) -> str:
    """SHA-256 of anything JSON can tell, keys sorted; a row counts by its table and key, other things by their text."""

    def plain(thing):
        if isinstance(thing, models.Model):
            return f"{thing._meta.label_lower} {thing.pk}"
        if isinstance(thing, models.QuerySet):
            return sorted(plain(row) for row in thing)
        return str(thing)

    return hashlib.sha256(json.dumps(content, sort_keys=True, default=plain).encode()).hexdigest()


def once(*, scope: str, key: str, content, at: datetime, make: Callable[[], models.Model]) -> models.Model:
    """Run make() unless this key already did; answer the row it made, then or now.

    The key's row and what make() writes are one transaction: both stand or neither, so a refused request may come again
    under its key. Two at the same time: the database lets one insert the key, the other waits and finds it. A key used
    again for other content raises Conflict. An empty key means the sender wants no protection.
    """
    if not key:
        return make()
    asked = fingerprint(content)
    try:
        with transaction.atomic():
            row = RequestKey.objects.create(scope=scope, key=key, fingerprint=asked, made_at=at)
            made = make()
            row.result = f"{made._meta.label_lower} {made.pk}"
            row.save(update_fields=["result"])
            return made
    except IntegrityError:
        row = RequestKey.objects.filter(scope=scope, key=key).first()
        if row is None:
            raise
    if row.fingerprint != asked:
        raise Conflict(
            "This entry's key was already used for another entry. Open the page again and enter it anew.",
            code="key_reused",
        )
    label, pk = row.result.split(" ")
    made = apps.get_model(label)._base_manager.filter(pk=pk).first()
    if made is None:
        raise Conflict("This was entered once and taken away since. Open the page again to enter it anew.", code="gone")
    return made


def beat(*, name: str, at: datetime) -> None:
    """Note that a part that runs by itself is alive."""
    Heartbeat.objects.update_or_create(name=name, defaults={"at": at})


# Nobody sends a form or a request again after so long; the rows would only pile up.
KEYS_KEPT = timedelta(days=30)


def forget_old_keys(*, now: datetime) -> int:
    """Delete the keys of requests made longer ago than KEYS_KEPT; answers how many. What they made stays."""
    return RequestKey.objects.filter(made_at__lt=now - KEYS_KEPT).delete()[0]
