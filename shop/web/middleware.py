from django.conf import settings
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import JsonResponse
from django.shortcuts import render, resolve_url


class RefusalMiddleware:
    """Refuse a body that is longer than any form of ours before something reads it."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        length = request.META.get("CONTENT_LENGTH") or "0"
        longest = _longest(request.path)
        if not length.isdigit() or int(length) <= longest:
            return self.get_response(request)
        if request.path.startswith("/api/"):
            message = f"The request has {length} bytes; allowed are {longest}."
            return JsonResponse({"message": message, "code": "too_long", "fields": {}}, status=413)
        return render(request, "413.html", status=413)


def _longest(path: str) -> int:
    more = (limit for start, limit in settings.LONGER_BODIES.items() if path.startswith(start))
    return next(more, settings.DATA_UPLOAD_MAX_MEMORY_SIZE)


class LogInFirstMiddleware(LoginRequiredMiddleware):
    """Leads a stranger to the log-in; what was sent would be lost on that way, so there a page says how to save it."""

    def handle_no_permission(self, request, view_func):
        if request.method in ("GET", "HEAD"):
            return super().handle_no_permission(request, view_func)
        return render(request, "logged_out.html", {"log_in": resolve_url(settings.LOGIN_URL)}, status=403)
