from datetime import timedelta

from django.conf import settings
from django.http import Http404
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.core.clock import local_day
from shop.reminders import mail
from shop.reminders.selectors import STATES, coming, reminders_in, with_answers
from shop.web.access import allow
from shop.web.pages import page_of, show

ROWS_AT_FIRST = 20


@require_safe
@allow("look")
def reminders(request):
    """Who is written to, when and why, and who is not: all at a glance, or one state page by page (?state=held)."""
    state = request.GET.get("state", "")
    context = {"state": state, "caution": mail.caution(), "lead_days": settings.REMINDER_LEAD_DAYS}
    if state == "coming":
        page = page_of(request, coming(local_day(timezone.now())))
        return show(request, "manage/reminders.html", context | {"page": page, "coming": _with_mail_day(page)})
    if state in STATES:
        page = page_of(request, reminders_in(state))
        groups = [(state, STATES[state][0], with_answers(page), page.paginator.count)]
        return show(request, "manage/reminders.html", context | {"page": page, "groups": groups})
    if state:
        raise Http404
    ahead = coming(local_day(timezone.now()))
    groups = []
    for name, (title, _) in STATES.items():
        rows = reminders_in(name)
        groups.append((name, title, with_answers(rows[:ROWS_AT_FIRST]), rows.count()))
    context |= {"coming": _with_mail_day(ahead[:ROWS_AT_FIRST]), "coming_count": ahead.count(), "groups": groups}
    return show(request, "manage/reminders.html", context)


def _with_mail_day(forecasts):
    """Each forecast with the day its mail goes out; one that is overdue goes with the next sweep."""
    lead, today = timedelta(days=settings.REMINDER_LEAD_DAYS), local_day(timezone.now())
    return [(one, max(one.due_on - lead, today + timedelta(days=1))) for one in forecasts]
