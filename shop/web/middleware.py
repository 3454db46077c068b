from django.conf import settings
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import JsonResponse
from django.shortcuts import render, resolve_url
from django.urls import Resolver404, resolve


class RefusalMiddleware:
    """Refuse a body that is longer than any form of ours before something reads it."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not length.isdigit() or int(length) <= settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
            return self.get_response(request)
        most = most_bytes(request)
        if int(length) <= most:
            return self.get_response(request)
        if request.path.startswith("/api/"):
            message = f"The request has {length} bytes; allowed are {most}."
            return JsonResponse({"message": message, "code": "too_long", "fields": {}}, status=413)
        return render(request, "413.html", {"limit": f"{most / 1_000_000:g} MB"}, status=413)


def most_bytes(request) -> int:
    """How long the body may be: pages that say @takes_files allow more than others."""
    try:
        view = resolve(request.path_info).func
    except Resolver404:
        view = None
    view = getattr(view, "view_class", view)
    return getattr(view, "takes_bytes", settings.DATA_UPLOAD_MAX_MEMORY_SIZE)


class LogInFirstMiddleware(LoginRequiredMiddleware):
    """Leads a stranger to the log-in; what was sent would be lost on that way, so there a page says how to save it."""

    def handle_no_permission(self, request, view_func):
        if request.method in ("GET", "HEAD"):
            return super().handle_no_permission(request, view_func)
        return render(request, "logged_out.html", {"log_in": resolve_url(settings.LOGIN_URL)}, status=403)
