from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from shop.core.clock import local_day
from shop.core.errors import Conflict
from shop.dampers.measures import in_a_sentence
from shop.documents.selectors.words import as_entered
from shop.staff.services import confirm_bench_pin
from shop.web.access import allow
from shop.web.forms import submit
from shop.web.pages import sent, show
from shop.web.tablet import words
from shop.web.tablet.forms import AsLeftForm, BenchForm, CheckForm, CorrectionForm, DoneForm, ReadingForm
from shop.web.tablet.frame import find, form_page, of_job, of_step
from shop.workorders import services
from shop.workorders.models import Moment


@allow("work")
@form_page
def step(request, pk, number):
    """One step: what to do, the number to aim at, and the one entry that the step asks for."""
    job = find(pk)
    page = of_step(job, number)
    here = page["here"]
    asked = ask_aim(request)
    form = entry_form(here.state, None if asked else sent(request), page["settings"], initial=asked)
    if here.state.step.as_left:
        form.tell_clicks(job.damper.model)
    if request.method == "POST" and not asked:
        if enter(form, job, here.step, request.user, passed_over="does_not_apply" in request.POST):
            return redirect(after_entry(find(pk), number))
        if form.status == 409:  # the page is about what the books hold now
            page = of_step(find(pk), number)
            page["clashes"] = clashes(page, form)
    elif not asked and not may_enter(page):
        form = None  # all is in the books, and another figure is a correction; or something else comes first
    return show(request, "tablet/step.html", page | {"form": form} | aim_of(form, job, asked))


def may_enter(page):
    state = page["here"].state
    settled = state.done and not state.lacking and not state.passed_over
    return page["open"] and not page["barred_by"] and not settled


def ask_aim(request):
    """What was typed, when the button that only asks for today's target sent it; nothing is written then."""
    return request.POST.dict() if request.method == "POST" and "show_aim" in request.POST else None


def aim_of(form, job, asked=None):
    """Today's charge for the bench temperature in the form, or why there is none."""
    if not isinstance(form, ReadingForm) or "bench_temperature" not in form.fields:
        return {}
    return {"asks_bench": job.sheet.reference_k is not None} | todays(job, form.bench_k(), asked)


def todays(job, bench_k, typed):
    if bench_k is not None:
        return {"today": words.today(job.sheet, bench_k)}
    if not (typed or {}).get("bench_temperature", "").strip():
        return {}
    return {"today_refused": BenchForm(typed).errors["bench_temperature"]}


@allow("work")
@require_safe
def aim(request, pk):
    """The charge to aim at for ?bench_temperature=, as the part of a page."""
    job, bench = find(pk), BenchForm(request.GET)
    bench_k = bench.cleaned_data["bench_temperature"].si if bench.is_valid() else None
    return render(request, "tablet/_today.html", {"sheet": job.sheet} | todays(job, bench_k, request.GET))


def entry_form(state, data, settings, initial=None):
    if state.step.reading:
        value = state.value if state.verified else None
        return ReadingForm(
            data, initial=initial, measure=state.step.reading, value=value, sheet=state.sheet, unfit=unfit_today
        )
    if state.step.as_left:
        typed = data or {}
        asked = [one for one in settings if one.left is None or typed.get(one.measure)]
        return AsLeftForm(data, settings=asked)
    return DoneForm(data)


def unfit_today(tool):
    """Why a tool cannot be used today, as a sentence; empty when it can."""
    return tool.why_not(local_day(timezone.now()))


def enter(form, job, step, by, *, passed_over):
    given = {"job": job, "step": step, "by": by, "at": timezone.now()}
    if passed_over:
        return submit(form, services.pass_over_step, **given)
    if step.reading:
        return submit(form, services.record_reading, measure=step.reading, moment=Moment.SET, **given)
    return submit(form, services.record_as_left if step.as_left else services.finish_step, **given)


def after_entry(job, number):
    """Where the hands go next: to the second person, to the next step, or to closing."""
    page = of_step(job, number)
    state = page["here"].state
    if state.step.critical and state.done and not state.check:
        return reverse("tablet:check", args=[job.pk, number])
    return page["next"]


def clashes(page, form):
    """What somebody else recorded while this page was open, beside what was typed here, and the way to correct it."""
    if not page["open"]:
        return []
    found = []
    if page["here"].state.reading:
        found.append((page["here"].state.reading, "entered", ["entered", "tool", "bench_temperature"]))
    for setting in page["settings"]:
        if setting.left and form.data.get(setting.measure):
            found.append((setting.left, setting.measure, [setting.measure]))
            del form.fields[setting.measure]
    return [
        {
            "label": reading.get_measure_display(),
            "figure": as_entered(reading),
            "signed": words.signed(reading),
            "typed": form.cleaned_data[field],
            "url": f"{correct_url(reading)}?{urlencode(typed_in(form, field, names))}",
        }
        for reading, field, names in found
    ]


def typed_in(form, field, names):
    """What was typed, under the names that the form of a correction has."""
    return {"entered" if name == field else name: form.data[name] for name in names if form.data.get(name)}


def correct_url(reading):
    return reverse("tablet:correct", args=[reading.job_id, reading.pk])


@allow("work")
@form_page
def correct(request, pk, reading_pk):
    """Put another figure in the place of one in the books; the old one stays to be read."""
    job = find(pk)
    reading = next((one for one in job.readings.all() if one.pk == reading_pk), None)
    if reading is None:
        raise Http404
    if request.method != "POST" and (stands := standing(job, reading)) != reading:
        return redirect(f"{correct_url(stands)}?{request.GET.urlencode()}")
    value = job.sheet.values.get(reading.measure) if reading.moment == Moment.SET else None
    asked = ask_aim(request)
    form = CorrectionForm(
        None if asked else sent(request),
        initial=asked or request.GET.dict(),
        measure=reading.measure,
        value=value if job.sheet.verified else None,
        sheet=job.sheet,
        unfit=unfit_today,
    )
    given = {"job": job, "measure": reading.measure, "moment": reading.moment, "step": reading.step}
    if request.method == "POST" and not asked:
        if submit(form, services.record_reading, corrects=reading, by=request.user, at=timezone.now(), **given):
            return redirect(after_correction(find(pk), reading))
        if form.status == 409:
            job = find(pk)
            reading = standing(job, reading)
    page = of_job(
        job,
        form=form,
        reading=reading,
        name=in_a_sentence(reading.measure),
        aim=words.aim(job.sheet, value) if value else None,
        gauge=words.before_the_gauge(job.sheet, reading),
        told=[(words.recorded(one), one.why) for one in job.readings.all() if same_figure(one, reading)],
        back=reverse("tablet:step", args=[pk, reading.step.number]) if reading.step else job.get_absolute_url(),
        **aim_of(form, job, asked),
    )
    return show(request, "tablet/correct.html", page)


def same_figure(one, other):
    return (one.measure, one.moment) == (other.measure, other.moment)


def standing(job, reading):
    return job.standing_readings()[reading.measure, reading.moment]


def after_correction(job, reading):
    if reading.step is None:
        return job.get_absolute_url()
    state = of_step(job, reading.step.number)["here"].state
    name = "tablet:check" if state.step.critical and not state.check else "tablet:step"
    return reverse(name, args=[job.pk, state.step.number])


@allow("work")
@form_page
def check(request, pk, number):
    """Somebody who did not do a critical step confirms it with their own PIN, on the first one's tablet."""
    job = find(pk)
    page = of_step(job, number)
    state = page["here"].state
    if not state.step.critical:
        raise Http404
    if request.method != "POST" and (state.check or not state.done or not page["open"]):
        return redirect("tablet:step", pk, number)
    first = (state.reading or state.done).by if state.done else None
    form = CheckForm(sent(request), first=first, reading=state.reading)
    if request.method == "POST" and confirmed(form):
        checked = submit(
            form, services.second_check, job=job, step=state.step, reading=state.reading, at=timezone.now()
        )
        if checked:
            return redirect(after_entry(find(pk), number))
    return show(request, "tablet/check.html", page | {"form": form, "first": first})


def confirmed(form):
    """Whether the page showed the reading that stands and the PIN is the second person's. A wrong PIN is counted."""
    form.status = 422
    if not form.is_valid():
        return False
    try:
        form.check_reading()
        confirm_bench_pin(user=form.cleaned_data["by"], pin=form.cleaned_data.pop("pin"), at=timezone.now())
    except ValidationError as refusal:
        form.status = 409 if isinstance(refusal, Conflict) else 422
        form.add_error(None, refusal)
        return False
    return True
