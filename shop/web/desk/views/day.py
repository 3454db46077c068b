"""The day sheet, the list of orders, one order, and the search over everything."""

from datetime import timedelta

from django.db.models import Prefetch
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone

from shop.calc.bench_time import hours
from shop.documents.selectors import record, why
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.desk import find, words
from shop.web.desk.bench_forms import EARLIEST_DAY, LATEST_DAY, DayForm
from shop.web.desk.forms import OrdersForm
from shop.web.forms import FindForm
from shop.web.links import why_this_sheet
from shop.web.pages import PAGE_SIZE, show
from shop.workorders import finding, selectors
from shop.workorders.agreed import AGREED, ASKED, agreed_in_words, outcome_in_words, waiting_of
from shop.workorders.bench_time import plan_in_words
from shop.workorders.day import day as the_day
from shop.workorders.finding import Answer
from shop.workorders.models import Condition, JobStatus, OrderStatus, Photo, WorkOrder
from shop.workorders.purchases import lacks
from shop.workorders.services.agreements import ASKED_WHILE
from shop.workorders.telephone import answer as telephone_answer

OPTIONS_SHOWN = 10
FOUND_SHOWN = 20
JUST_IN = timedelta(minutes=30)  # for so long the order's page begins with what is printed now
KEEPS_PHOTOS = (OrderStatus.BOOKED, OrderStatus.ON_BENCH, OrderStatus.READY)


# Heading, and what is said when nothing stands under it; empty: then the heading is left out.
HEADINGS = {
    "late": ("Late", ""),
    "arriving": ("Arriving", "Nobody else is expected today."),
    "on_bench": ("On the benches", "Nothing else is on the benches."),
    "waiting": ("Waiting", ""),
    "ready": ("Ready", "Nothing waits to be handed back."),
    "coming": ("Coming days", "Nothing is booked for the coming days."),
}
HEADINGS_OF_A_DAY = {
    "arriving": ("Arriving", "Nobody is expected."),
    "planned": ("On the benches", "Nothing is planned on the benches."),
    "promised": ("Promised", "Nothing is promised for this day."),
}


@allow("look")
def day(request):
    """Today, or the day that ?day= names; a day that is none leads to today."""
    now = timezone.now()
    form = DayForm(request.GET)
    sheet = the_day(now, form.cleaned_data["day"] if form.is_valid() else None)
    headings = HEADINGS if sheet.is_today else HEADINGS_OF_A_DAY
    groups = [
        {
            "key": group.key,
            "heading": headings[group.key][0],
            "count": _in_words(group.rows),
            "rows": list(_rows(group, now, sheet.on)),
            "none": headings[group.key][1],
        }
        for group in sheet.groups
        if group.rows or headings[group.key][1]
    ]
    context = {
        "sheet": sheet,
        "today": sheet.on,
        "hours": sheet.hours and bar(sheet.hours),
        "ahead": [bar(one) for one in sheet.ahead],
        "before": sheet.on - timedelta(days=1) if sheet.on > EARLIEST_DAY else None,
        "after": sheet.on + timedelta(days=1) if sheet.on < LATEST_DAY else None,
        "groups": groups,
        "empty": sheet.is_today and not any(group["rows"] for group in groups),
        "may_book": request.user.may("book"),
    }
    return show(request, "desk/day.html", context, status=200 if form.is_valid() else 422)


def bar(told):
    """Bench hours as a thin bar of 100: what is booked, and what is booked beyond them."""
    minutes, booked = told.day.minutes, told.day.booked
    full = max(minutes, booked) or 1
    return {
        "day": told.day,
        "words": told.words,
        "free": hours(told.day.free),
        "beyond": told.beyond,
        "there": round(100 * minutes / full, 1),
        "booked": round(100 * min(booked, minutes) / full, 1),
        "over": round(100 * told.day.over / full, 1),
        "over_from": round(100 * min(booked, minutes) / full, 1),
    }


def _in_words(rows):
    if not rows:
        return "none"
    return f"{words.count(len(rows), 'job')}, {words.count(sum(len(row.jobs) for row in rows), 'damper')}"


def _rows(group, now, on):
    """Each row of a group with what stands on its right: when it is promised or expected, and whether that is past.

    That it is expected on the day of the sheet need not be said.
    """
    today = timezone.localdate(now)
    for row in group.rows:
        order = row.order
        expected = order.status == OrderStatus.BOOKED and order.arrives_on != on
        if group.key in ("arriving", "coming") and expected:
            when = f"expected {words.day(order.arrives_on, today)}"
        else:
            when = f"promised {words.moment(order.promised_for, now)}"
        yield {
            "order": order,
            "answer": row.answer,
            "what": str(order.vehicle or f"loose dampers, {len(row.jobs)}"),
            "late": words.late(order.promised_for, now) if row.late else "",
            "overdue": order.status == OrderStatus.BOOKED and order.arrives_on < today,
            "when": when,
            "minutes": hours(row.minutes) if row.minutes else "",
            "ready_late": row.answer.late and not row.late,
            "not_serviced": row.not_serviced,
            "sheet_changed": row.sheet_changed,
            "question": next(iter(waiting_of(order)), None),
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
    plan = list(row.bench_plan.all())
    context = {
        "order": row,
        "answer": telephone_answer(row, now),
        "bench": plan and plan_in_words(plan, timezone.localdate(now)),
        "bench_minutes": row.bench_minutes and hours(row.bench_minutes),
        "may_change": row.status in (OrderStatus.BOOKED, OrderStatus.ON_BENCH) and request.user.may("book"),
        "late": words.late(row.promised_for, now) if late else "",
        "promised": words.moment(row.promised_for, now),
        "arrives": words.day(row.arrives_on, timezone.localdate(now)),
        "sheets": _sheets(jobs),
        "lacks": lacks(row, timezone.localdate(now)),
        "may_keep": request.user.may("keep_stock"),
        "jobs": [_progress(job, changed[job], _question_about(row, job)) for job in jobs],
        "history": AuditEntry.objects.filter(kind="order", key=str(row.pk)),
        "all_closed": all(job.status == JobStatus.CLOSED for job in kept),
        **_agreed(row),
        "record": record(row) if row.closed_at else None,
        "photos": [one for one in row.photos.all() if not hasattr(one, "strike")],
        "struck": [one for one in row.photos.all() if hasattr(one, "strike")],
        "conditions": _conditions(row),
        "just_in": row.status == OrderStatus.ON_BENCH and now - row.checked_in_at < JUST_IN,
        "may_photograph": request.user.may("photograph") and row.status in KEEPS_PHOTOS,
        "may_drop": row.status == OrderStatus.BOOKED and len(kept) > 1 and request.user.may("book"),
        "may_book": request.user.may("book"),
        "may_work": request.user.may("work"),
    }
    return show(request, "desk/order.html", context)


def _agreed(row):
    """What was agreed and asked, the newest last, and whether more may be asked."""
    return {
        "agreed": agreed_in_words(row),
        "agreements": row.agreements.all(),
        "questions": [(one, outcome_in_words(one)) for one in row.questions.all()],
        "may_ask": row.status in ASKED_WHILE,
        "may_agree": row.status not in (OrderStatus.HANDED_BACK, OrderStatus.CALLED_OFF),
    }


def _conditions(row):
    """In what state it came in, the last word about each damper and about the whole."""
    last = {one.job_id: one for one in row.conditions.all()}
    return list(last.values())


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
        Prefetch("jobs", jobs),
        "pick_list__lines__reservation",
        "pick_list__lines__part",
        "bench_plan",
        ASKED,
        AGREED,
        Prefetch("photos", Photo.objects.with_names()),
        Prefetch("conditions", Condition.objects.select_related("job__damper")),
    )


def _question_about(order, job):
    return next((one for one in order.questions.all() if one.waits and one.job_id in (None, job.pk)), None)


def _progress(job, changed, question):
    """A job, how many of its steps are complete, and what it waits for."""
    states = selectors.job_steps(job)
    waits = next((state for state in states if not state.complete), None)
    if job.status == JobStatus.CLOSED:
        said = "closed" + (" with a manager's reason" if job.override_reason else "")
    elif job.status != JobStatus.OPEN:
        said = job.get_status_display()
    elif question:
        said = f"{question.waits_for()}: {question.what}"
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
        answer = finding.find(text, now=timezone.now(), most=FOUND_SHOWN)
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
    answer = finding.find(form.text, now=timezone.now(), most=OPTIONS_SHOWN) if form.text else Answer()
    return show(request, "desk/_found_as_typed.html", {"find": form, "text": form.text, "answer": answer})
