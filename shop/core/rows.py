"""What several packages need to enter rows of the catalogue."""

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


def one_line(text: str) -> str:
    """Text without spaces around it, and with single ones inside: so that one name has one spelling."""
    return " ".join(text.split())
