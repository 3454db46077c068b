"""The day sheet, the list of orders, one order, and the search over everything."""

from django.db.models import Prefetch
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone

from shop.documents.selectors import why
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.desk import find, words
from shop.web.desk.forms import OrdersForm
from shop.web.forms import FindForm
from shop.web.links import why_this_sheet
from shop.web.pages import PAGE_SIZE, show
from shop.workorders import finding, selectors
from shop.workorders.day import day as the_day
from shop.workorders.day import state_in_words
from shop.workorders.finding import Answer
from shop.workorders.models import JobStatus, OrderStatus, WorkOrder

OPTIONS_SHOWN = 10
FOUND_SHOWN = 20


@allow("look")
def day(request):
    now = timezone.now()
    found = the_day(now)
    groups = [
        ("arriving", "Arriving", found.arriving, "Nobody else is expected today."),
        ("coming", "Coming days", found.coming, "Nothing is booked for the coming days."),
        ("on_bench", "On the benches", found.on_bench, "The benches are free."),
        ("ready", "Ready", found.ready, "Nothing waits to be handed back."),
    ]
    context = {
        "today": found.on,
        "groups": [(*group[:2], _in_words(group[2]), _rows(group[2], now), group[3]) for group in groups],
        "empty": not any(group[2] for group in groups),
        "may_book": request.user.may("book"),
    }
    return show(request, "desk/day.html", context)


def _in_words(rows):
    if not rows:
        return "none"
    return f"{words.count(len(rows), 'job')}, {words.count(sum(len(row.jobs) for row in rows), 'damper')}"


def _rows(rows, now):
    """Each row of the day with what stands on its right: when it is promised or expected, and whether that is past."""
    today = timezone.localdate(now)
    for row in rows:
        order = row.order
        if order.status == OrderStatus.BOOKED and order.arrives_on != today:
            when = f"expected {words.day(order.arrives_on, today)}"
        else:
            when = f"promised {words.moment(order.promised_for, now)}"
        yield {
            "order": order,
            "words": row.words,
            "what": str(order.vehicle or f"loose dampers, {len(row.jobs)}"),
            "late": words.late(order.promised_for, now) if row.late else "",
            "overdue": order.status == OrderStatus.BOOKED and order.arrives_on < today,
            "when": when,
            "not_serviced": row.not_serviced,
            "sheet_changed": row.sheet_changed,
        }


@allow("look")
def orders(request):
    """Newest first. Pages go by order number: the hundredth is as quick as the first, and nothing has to be counted."""
    form = OrdersForm(request.GET, label="Number, tag, name or plate")
    rows, alike = WorkOrder.objects.none(), ""
    if form.is_valid():
        asked = form.cleaned_data
        rows = WorkOrder.objects.with_names()
        if asked["state"]:
            rows = rows.running() if asked["state"] == "running" else rows.filter(status=asked["state"])
        if asked["q"]:
            rows, alike = find.orders(asked["q"], rows)
        if asked["before"]:
            rows = rows.filter(pk__lt=asked["before"])
    rows = list(rows[: PAGE_SIZE + 1])
    context = {
        "find": form,
        "alike": alike,
        "rows": rows[:PAGE_SIZE],
        "older": rows[PAGE_SIZE - 1].pk if len(rows) > PAGE_SIZE else None,
        "filtered": any(request.GET.get(name) for name in ("q", "state")),
        "paged": bool(request.GET.get("before")),
        "may_book": request.user.may("book"),
    }
    return show(request, "desk/orders.html", context)


@allow("look")
def order(request, pk):
    row = get_object_or_404(orders_in_full(), pk=pk)
    now = timezone.now()
    jobs = list(row.jobs.all())
    kept = [job for job in jobs if job.status != JobStatus.CALLED_OFF]
    changed = selectors.figures_changed_of(jobs)
    late = row.promised_for < now and row.status in (OrderStatus.BOOKED, OrderStatus.ON_BENCH)
    context = {
        "order": row,
        "words": state_in_words(row),
        "late": words.late(row.promised_for, now) if late else "",
        "promised": words.moment(row.promised_for, now),
        "arrives": words.day(row.arrives_on, timezone.localdate(now)),
        "sheets": _sheets(jobs),
        "jobs": [_progress(job, changed[job]) for job in jobs],
        "history": AuditEntry.objects.filter(kind="order", key=str(row.pk)),
        "all_closed": all(job.status == JobStatus.CLOSED for job in kept),
        "may_drop": row.status == OrderStatus.BOOKED and len(kept) > 1 and request.user.may("book"),
        "may_book": request.user.may("book"),
        "may_work": request.user.may("work"),
    }
    return show(request, "desk/order.html", context)


def _sheets(jobs):
    """The sheets that the jobs keep, each once with its jobs and where it is told what holds today."""
    found = {}
    for job in jobs:
        if job.spec is not None:
            told = (job.sheet.rule, why(job.sheet) if job.sheet else None)
            found.setdefault(told, []).append((job.tag, why_this_sheet(job.damper)))
    return [{"rule": rule, "why": because, "tags": tags} for (rule, because), tags in found.items()]


def orders_in_full():
    """Orders with all that their page says, in a constant number of queries."""
    jobs = selectors.on_bench().order_by("index")
    return WorkOrder.objects.with_names().prefetch_related(
        Prefetch("jobs", jobs), "pick_list__lines__reservation", "pick_list__lines__part"
    )


def _progress(job, changed):
    """A job, how many of its steps are complete, and what it waits for."""
    states = selectors.job_steps(job)
    waits = next((state for state in states if not state.complete), None)
    if job.status == JobStatus.CLOSED:
        said = "closed" + (" with a manager's reason" if job.override_reason else "")
    elif job.status != JobStatus.OPEN:
        said = job.get_status_display()
    else:
        said = f"{waits.step.title}: {waits.words}" if waits else "every step is complete, waits to be closed"
    return {
        "job": job,
        "done": sum(state.complete for state in states),
        "steps": len(states),
        "words": words.first_letter(said),
        "changed": changed,
    }


@allow("look")
def search(request):
    """Whatever the desk types while the customer is on the telephone: any part of a name or number."""
    form = FindForm(request.GET)
    text = form.text
    answer, models = Answer(), []
    if text:
        answer = finding.find(text, most=FOUND_SHOWN)
        models = list(find.damper_models(text)[:FOUND_SHOWN])
        find.note_not_serviced([one.row for one in answer.found if one.kind == finding.Kind.CUSTOMER])
        if answer.named or (answer.only and not models):
            return redirect((answer.named or answer.only).url)
    context = {"find": form, "text": text, "answer": answer, "damper_models": models}
    return show(request, "desk/search.html", context)


@allow("look")
def search_as_typed(request):
    """The first few of the same, as the options below the box; the box asks after a pause in the typing."""
    form = FindForm(request.GET)
    answer = finding.find(form.text, most=OPTIONS_SHOWN) if form.text else Answer()
    return show(request, "desk/_found_as_typed.html", {"find": form, "text": form.text, "answer": answer})
