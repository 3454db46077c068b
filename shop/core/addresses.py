"""From which address a request comes: one answer for the lock of the log-in, its limits and the log."""

from ipaddress import ip_address

import structlog
from django.conf import settings


def client_address(request) -> str | None:
    """The sender's IP address, None when it cannot be told.

    Behind our proxy it is what that proxy added last to X-Forwarded-For; what stands before it is the sender's own
    claim and counts for nothing. Without a proxy the header counts for nothing at all.
    """
    if settings.BEHIND_PROXY:
        forwarded = _read(request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2])
        if forwarded:
            return forwarded
    return _read(request.META.get("REMOTE_ADDR", ""))


def _read(text: str) -> str | None:
    """An address as it is written in headers: alone, in brackets, or with a port behind it."""
    text = text.strip()
    if text.startswith("["):
        text = text[1:].partition("]")[0]
    elif text.count(":") == 1:
        text = text.partition(":")[0]
    try:
        return str(ip_address(text))
    except ValueError:
        return None


def note_address(request, **kwargs) -> None:
    """Each line that is logged during a request tells where it came from."""
    structlog.contextvars.bind_contextvars(ip=client_address(request))
