"""What a customer opens from a reminder. To look changes nothing: mail programs open links by themselves."""

from functools import wraps

from django.contrib.auth.decorators import login_not_required
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_safe

from shop.reminders import services
from shop.reminders.links import BadLink, ExpiredLink, reminder_of
from shop.reminders.selectors import customers_page, meters_asked
from shop.web.forms import submit
from shop.web.public.forms import MeterForm


def behind_link(view):
    """A page for whoever has the signed link, and for nobody else.

    The link is all the authority there is: no log-in and no cookie stands behind it that another site could borrow, so
    there is no CSRF token to check either, and the page works where cookies are off.
    """

    @login_not_required
    @csrf_exempt
    @never_cache
    @wraps(view)
    def opened(request, token):
        now = timezone.now()
        try:
            return view(request, token, reminder_of(token, now), now)
        except BadLink:
            return render(request, "public/bad_link.html", status=404)
        except ExpiredLink:
            return render(request, "public/expired.html", {"token": token}, status=410)

    return opened


@require_safe
@behind_link
def reminder(request, token, reminder, now):
    return _page(request, token, reminder, now, MeterForm(meters=meters_asked(reminder.vehicle)))


@require_http_methods(["GET", "HEAD", "POST"])
@behind_link
def meter(request, token, reminder, now):
    """Take the readings; the answer is the page with the forecast as it is then."""
    if request.method != "POST":
        return redirect("public:reminder", token)
    form = MeterForm(request.POST, meters=meters_asked(reminder.vehicle))
    if not submit(form, services.answer_meter, reminder=reminder, at=now):
        too_many = any(form.has_error(field.name, "too_many") for field in form.readings)
        return _page(request, token, reminder, now, form, status=429 if too_many else form.status)
    # Outside the transaction of the reading: a sweep may hold the forecast while it waits for the vehicle.
    services.forecast_of(vehicle=reminder.vehicle, now=now)
    return redirect("public:reminder", token)


@require_http_methods(["GET", "HEAD", "POST"])
@behind_link
def sold(request, token, reminder, now):
    if request.method == "POST":
        services.answer_sold(reminder=reminder, at=now)
        return redirect("public:reminder", token)
    return render(request, "public/sold.html", {"token": token, "page": customers_page(reminder, now)})


@require_http_methods(["GET", "HEAD", "POST"])
@login_not_required
@csrf_exempt
@never_cache
def stop(request, token):
    """The way out, also in one click from the mail program (RFC 8058): a POST with any body, answered by 200 itself.

    It never expires, and it reads nothing of the body, so that no shape of it can make it fail.
    """
    now = timezone.now()
    try:
        reminder = reminder_of(token, now)
    except BadLink:
        return render(request, "public/bad_link.html", status=404)
    except ExpiredLink as expired:
        reminder = expired.reminder
    if request.method == "POST":
        services.stop_reminders(reminder=reminder, at=now)
    return render(request, "public/stop.html", {"token": token, "page": customers_page(reminder, now)})


def _page(request, token, reminder, now, form, status=200):
    context = {"token": token, "page": customers_page(reminder, now), "form": form}
    return render(request, "public/reminder.html", context, status=status)
