from datetime import date, datetime

from django.utils import timezone


def local_day(at: datetime) -> date:
    """The shop's calendar day at a moment."""
    return timezone.localtime(at, timezone.get_default_timezone()).date()
