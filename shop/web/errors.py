"""Pages for what went wrong, in the shop's look."""

from django.shortcuts import render


def bad_request(request, exception=None):
    return render(request, "400.html", status=400)


def forbidden(request, exception=None):
    return render(request, "403.html", {"why": str(exception or "")}, status=403)


def not_found(request, exception=None):
    return render(request, "404.html", status=404)


def csrf_failure(request, reason=""):
    return render(request, "403_csrf.html", status=403)
