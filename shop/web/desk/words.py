"""How the desk says when."""

from datetime import date, datetime

from django.utils import timezone

from shop.web.words import count


def day(on: date, today: date) -> str:
    """A day as one says it: today, tomorrow, Fri 27 November; with the year when it is another one."""
    away = (on - today).days
    if away in (-1, 0, 1):
        return ["today", "tomorrow", "yesterday"][away]
    return f"{on:%a} {on.day} {on:%B}" + (f" {on.year}" if on.year != today.year else "")


def moment(at: datetime, now: datetime) -> str:
    local = timezone.localtime(at)
    return f"{day(local.date(), timezone.localdate(now))} {local:%H:%M}"


def late(promised_for: datetime, now: datetime) -> str:
    """How long a promise is past: "late by 1 day", counted as the calendar does."""
    days = (timezone.localdate(now) - timezone.localdate(promised_for)).days
    if days:
        return f"late by {count(days, 'day')}"
    minutes = int((now - promised_for).total_seconds() // 60)
    return f"late by {minutes // 60} h" if minutes >= 60 else f"late by {minutes} min"


def first_letter(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]
