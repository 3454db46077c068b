"""The working calendar: everybody sees it, a manager keeps it."""

from datetime import timedelta

from django.contrib import messages
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone

from shop.calc.bench_time import WEEKDAYS, hours
from shop.specs.labour import labour_time_for
from shop.staff import services
from shop.staff.bench_calendar import BenchCalendar
from shop.staff.models import Absence, AuditEntry, ClosedDay, User
from shop.web.access import allow
from shop.web.forms import KeyedForm, submit
from shop.web.manage.hours_forms import (
    AbsenceForm,
    BenchHoursForm,
    ClosedDaysForm,
    ClosedYearlyForm,
    WorkingHoursForm,
)
from shop.web.pages import sent, show, show_form

TRAIL = [("Bench hours", reverse_lazy("manage:hours"))]
WEEKS_SHOWN = 2


@allow("look")
def calendar(request):
    """The week as it is now, the next days, and all that takes something away from them."""
    today = timezone.localdate()
    days = [today + timedelta(days=n) for n in range(7 * WEEKS_SHOWN)]
    found = BenchCalendar(today)
    shifts = [found.shift(on) for on in days]
    labour, rule = labour_time_for(None)
    people = User.objects.filter(is_active=True).order_by("first_name", "last_name", "username")
    context = {
        "set_up": found.set_up,
        "week": [(name, _span(found.usual(n, today))) for n, name in enumerate(WEEKDAYS)],
        "people": [_person(found, one, today) for one in people.prefetch_related("bench_hours")],
        "shifts": [
            {"on": one.on, "words": hours(one.minutes) if one.minutes else one.why_none, "less": _less(one)}
            for one in shifts
        ],
        "absences": Absence.objects.filter(last_day__gte=today).select_related("person"),
        "closed": ClosedDay.objects.filter(Q(last_day=None) | Q(last_day__gte=today)),
        "labour": hours(labour.minutes),
        "labour_order": hours(labour.order_minutes),
        "labour_rule": rule,
        "history": AuditEntry.objects.filter(kind="calendar")[:20],
        "may_keep": request.user.may("keep_hours"),
    }
    return show(request, "manage/hours.html", context)


def _span(row):
    return f"{row.opens:%H:%M} to {row.closes:%H:%M}" if row and row.opens else "not a working day"


def _person(found, person, today):
    week = [found.usual_minutes(person.pk, n, today) for n in range(7)]
    return {"person": person, "week": [hours(one) if one else "–" for one in week], "ever": any(week)}


def _less(shift):
    return "; ".join(f"{one.name}: {one.words}" for one in shift.people if one.words)


@allow("keep_hours")
def working_hours(request):
    today = timezone.localdate()
    found = BenchCalendar(today)
    rows = [found.usual(n, today) for n in range(7)]
    week = [(row.opens, row.closes) if row and row.opens else None for row in rows]
    form = WorkingHoursForm(sent(request), week=week)
    if request.method == "POST" and _write(request, form, services.set_working_hours):
        messages.success(request, "The working hours are set.")
        return redirect("manage:hours")
    context = {"form": form, "title": "Working hours", "trail": TRAIL, "days": form.days()}
    return show(request, "manage/working_hours.html", context)


@allow("keep_hours")
def bench_hours(request, pk):
    person = get_object_or_404(User, pk=pk)
    today = timezone.localdate()
    found = BenchCalendar(today)
    week = [found.usual_minutes(person.pk, n, today) for n in range(7)]
    form = BenchHoursForm(sent(request), week=week)
    if request.method == "POST" and _write(request, form, services.set_bench_hours, person=person):
        messages.success(request, f"The bench hours of {person} are set.")
        return redirect("manage:hours")
    context = {"form": form, "title": f"Bench hours of {person}", "trail": TRAIL, "minutes": form.days()}
    return show(request, "manage/working_hours.html", context)


@allow("keep_hours")
def absence_new(request):
    form = AbsenceForm(sent(request), initial={"person": request.GET.get("person")})
    if request.method == "POST" and (made := _write(request, form, services.add_absence)):
        messages.success(
            request, f"{made.person} is away: {made.span()}. Orders planned then stay: look at the day sheet."
        )
        return redirect("manage:hours")
    return _show(request, form, "Somebody is away", "Save")


@allow("keep_hours")
def absence_end(request, pk):
    row = get_object_or_404(Absence.objects.select_related("person"), pk=pk)
    return _end(
        request, services.end_absence, {"absence": row}, f"{row.person} is here after all?",
        f"{row.why}, {row.span()}. From today on it counts no more.",
    )  # fmt: skip


@allow("keep_hours")
def closed_new(request):
    form = ClosedDaysForm(sent(request))
    if request.method == "POST" and (made := _write(request, form, services.add_closed_day)):
        messages.success(request, f"Closed, {made}. Orders planned on these days stay: look at the day sheet.")
        return redirect("manage:hours")
    return _show(request, form, "The shop is closed", "Save")


@allow("keep_hours")
def closed_yearly_new(request):
    form = ClosedYearlyForm(sent(request))
    if request.method == "POST" and (made := _write(request, form, services.add_closed_day)):
        messages.success(request, f"Closed, {made}.")
        return redirect("manage:hours")
    return _show(request, form, "The shop is closed every year", "Save")


@allow("keep_hours")
def closed_end(request, pk):
    row = get_object_or_404(ClosedDay, pk=pk)
    return _end(
        request, services.end_closed_day, {"closed_day": row}, f"Open on {row.name} after all?",
        f"Closed {row.rule()}. From today on it counts no more; what is past stays.",
    )  # fmt: skip


def _end(request, service, row, title, intro):
    if request.method == "POST":
        service(**row, by=request.user, at=timezone.now())
        messages.success(request, "Taken out of the calendar from today on.")
        return redirect("manage:hours")
    return show_form(
        request, KeyedForm(), title=title, action="Take it out", trail=TRAIL, back=reverse("manage:hours"), intro=intro
    )


def _write(request, form, service, **given):
    return submit(form, service, **given, by=request.user, at=timezone.now())


def _show(request, form, title, action):
    return show_form(request, form, title=title, action=action, trail=TRAIL, back=reverse("manage:hours"))
