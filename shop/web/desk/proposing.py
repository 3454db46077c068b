"""The proposal of bench days as the booking pages show it."""

from datetime import date

from django.core.exceptions import ValidationError
from django.utils import timezone

from shop.calc.bench_time import hours, named
from shop.web.desk.bench_forms import BookOnDaysForm
from shop.web.fields import DayField
from shop.workorders.bench_time import propose


def with_kit(dampers):
    """Dampers with all that a proposal asks of them."""
    return dampers.select_related("model", "vehicle__model").prefetch_related("model__kit_lines")


def told_proposal(dampers, arrives_on, order=None, minutes=None):
    """A proposal as templates/desk/_proposal.html shows it; None without a damper or a day."""
    now = timezone.now()
    dampers = list(dampers)
    if not dampers or arrives_on is None:
        return None
    found = propose(dampers=dampers, arrives_on=arrives_on, minutes=minutes, order=order, now=now)
    local = found.promised_for and timezone.localtime(found.promised_for)
    return {
        "found": found,
        "time": hours(found.minutes),
        "promise": local and f"{named(local.date(), found.today)} by {local:%H:%M}",
        "day": f"{local:%Y-%m-%d}" if local else "",
        "clock": f"{local:%H:%M}" if local else "",
        "proposed": found.first_day.isoformat() if found.first_day else "",
    }


def day_typed(text: str) -> date | None:
    """A day of arrival as it stands in its field; None while it is none."""
    try:
        return DayField(required=False).clean(text)
    except ValidationError:
        return None


def initial_promise(proposal):
    """What the booking form begins with: the proposed promise, and the first day that was proposed."""
    if not proposal or not proposal["found"].plan:
        return {}
    return {"promised_for": proposal["found"].promised_for, "proposed": proposal["found"].first_day}


def proposal_anew(request, form, dampers):
    """The button "Propose a day" without JavaScript: the form again as it was typed, with a fresh proposal in it."""
    typed = {name: request.POST.get(name, "") for name in ("complaint", "arrives_on", "bench_from", "anyway_why")}
    form.is_valid()
    proposal = told_proposal(form.cleaned_data.get("dampers") or [], form.cleaned_data.get("arrives_on"))
    fresh = BookOnDaysForm(initial=typed | initial_promise(proposal), dampers=dampers)
    fresh.fields["request_key"].initial = request.POST.get("request_key", "")[:64]
    return fresh, proposal


def chosen(form):
    """The keys of the dampers that are ticked on a form that was sent; nonsense is left to the form to refuse."""
    return [int(key) for key in form.data.getlist("dampers") if key.isascii() and key.isdigit() and len(key) < 19]
