"""What several packages need to enter, change and name rows of the catalogue."""

from collections.abc import Callable, Iterable

from django.db import IntegrityError, models, transaction
from django.db.models import Q

from shop.core.errors import Conflict, is_duplicate


def sharing_years(year_from: int | None, year_to: int | None) -> Q:
    """Rows whose model years (year_from, year_to; None is an open end) have a year in common with these."""
    shared = Q()
    if year_to is not None:
        shared &= Q(year_from=None) | Q(year_from__lte=year_to)
    if year_from is not None:
        shared &= Q(year_to=None) | Q(year_to__gte=year_from)
    return shared


def save_new(*rows: models.Model) -> None:
    """Save new rows of one table that were checked; Conflict when somebody else entered the same one since."""
    try:
        with transaction.atomic():
            type(rows[0])._base_manager.bulk_create(rows)
    except IntegrityError as error:
        if not is_duplicate(error):
            raise
        what = rows[0] if len(rows) == 1 else f"one of the {len(rows)} from {rows[0]} to {rows[-1]}"
        raise Conflict(
            f"Somebody else has entered {what} just now. Look at the list before you enter it again.",
            code="entered_just_now",
        ) from error


def unchanged(rows: type[models.Model] | models.QuerySet, pk: int, version: int) -> models.Model:
    """The row, locked, if it is still the version the person saw; else Conflict."""
    rows = rows if isinstance(rows, models.QuerySet) else rows.objects
    row = rows.select_for_update(of=("self",), no_key=True).get(pk=pk)
    if row.version != version:
        raise Conflict(
            "Somebody else has changed this since you opened it. What you typed is still here: compare it with "
            "the page as it is now, then save again.",
            code="stale",
        )
    return row


NAMES_SHOWN = 3


def names(rows: Iterable, say: Callable = str) -> str:
    """The first few, as say names one, and how many more there are."""
    rows = list(rows)
    shown = [say(row) for row in rows[:NAMES_SHOWN]]
    more = len(rows) - len(shown)
    if more:
        return f"{', '.join(shown)} and {more} more"
    return " and ".join(filter(None, [", ".join(shown[:-1]), *shown[-1:]]))


def one_line(text: str) -> str:
    """Text without spaces around it, and with single ones inside: so that one name has one spelling."""
    return " ".join(text.split())
