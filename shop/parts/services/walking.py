"""The order of the stock room, as the shop says it."""

from datetime import datetime

from django.db import transaction

from shop.core.errors import Conflict, refused
from shop.parts.models import WalkStop
from shop.parts.walking import present_walk, runs
from shop.staff.models import AuditEntry, User
from shop.staff.services import note

MOST_STOPS = 200
LONGEST_PREFIX = 20


@transaction.atomic
def set_walking_order(*, prefixes: list[str], seen: str | None = None, by: User, at: datetime) -> AuditEntry:
    """Say in which order one walks, by how bins begin. seen is Walk.seen as the person saw it; None: not asked."""
    list(WalkStop.objects.select_for_update())
    before = present_walk()
    if seen is not None and seen != before.seen:
        raise Conflict(
            "Somebody else has changed the walking order since you opened it. What you typed is still here: compare "
            f"it with the present order, {', '.join(before.prefixes) or 'which is empty'}, then save again.",
            code="stale",
        )
    prefixes = [" ".join(one.split()).upper() for one in prefixes]
    _check(prefixes)
    WalkStop.objects.all().delete()
    WalkStop.objects.bulk_create(WalkStop(prefix=one, place=place) for place, one in enumerate(prefixes, 1))
    told = ", ".join(prefixes) or "by letter and number alone"
    return note(who=by, kind="walking order", key="", what=f"walking order: {told}", at=at)


def _check(prefixes: list[str]) -> None:
    if len(prefixes) > MOST_STOPS:
        raise refused("prefixes", f"{len(prefixes)} stops are too many; at most {MOST_STOPS} are kept.", "too_many")
    known = {}
    for one in prefixes:
        if len(one) > LONGEST_PREFIX:
            raise refused("prefixes", f"“{one[:40]}” is longer than a bin's {LONGEST_PREFIX} signs.", "too_long")
        if not runs(one):
            raise refused("prefixes", f"“{one}” begins no bin: give letters or numbers, such as B or B-1.", "no_bin")
        if twin := known.get(runs(one)):
            raise refused("prefixes", f"“{one}” and “{twin}” are the same stretch. Name it once.", "twice")
        known[runs(one)] = one
