"""Procedures: read as the bench reads them, drafted, compared and made current."""

from itertools import groupby

from django.contrib import messages
from django.db.models import Count
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse, reverse_lazy
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shop.specs import services
from shop.specs.models import Procedure, Step
from shop.specs.procedures import differences, what_is_wrong
from shop.specs.selectors import current_procedure
from shop.staff.models import AuditEntry
from shop.web.access import allow
from shop.web.forms import Form, KeyedForm, SureForm, submit
from shop.web.manage.catalogue.overview import CATALOGUE
from shop.web.manage.procedure_forms import MakeCurrentForm, MoveForm, ProcedureForm, StepChangeForm, StepNewForm
from shop.web.pages import number, sent, show, show_form
from shop.workorders.models import TOOL_FOR

PROCEDURES = ("Procedures", reverse_lazy("manage:procedures"))
TRAIL = [CATALOGUE, PROCEDURES]
form_page = require_http_methods(["GET", "HEAD", "POST"])


@allow("look")
@require_safe
def procedures(request):
    rows = Procedure.objects.with_people().annotate(count=Count("steps")).order_by("name", "-version")
    context = {
        "names": [(name, list(versions)) for name, versions in groupby(rows, lambda one: one.name)],
        "may_keep": request.user.may("keep_specs"),
        "trail": TRAIL[:1],
    }
    return show(request, "manage/procedures.html", context)


@allow("keep_specs")
@form_page
def procedure_new(request):
    form = ProcedureForm(sent(request), initial={"copy_of": current_procedure()})
    if request.method == "POST" and (made := submit(form, services.start_procedure, **_signed(request))):
        messages.success(request, f"{made} is a draft: nobody works by it until it is made current.")
        return redirect("manage:procedure_edit", made.pk)
    return show_form(
        request,
        form,
        title="New procedure",
        action="Begin the draft",
        trail=TRAIL,
        back=reverse("manage:procedures"),
        intro="For another version of a procedure that there is, open that one and draft its next version. "
        "One procedure is current at a time: every job that is checked in follows it.",
    )


@allow("look")
@require_safe
def procedure(request, pk):
    return _page(request, _find(pk))


def _page(request, row, *, change=None, make_current=None):
    steps, may_keep = list(row.steps.all()), request.user.may("keep_specs")
    wrong = what_is_wrong(steps) if row.draft else []
    may_make_current = may_keep and not row.current and not wrong
    draft = Procedure.objects.filter(name=row.name, made_current_at=None).first()
    others = list(Procedure.objects.exclude(pk=row.pk))
    context = {
        "procedure": row,
        "stages": [(stage, list(group)) for stage, group in groupby(map(_told, steps), lambda one: one["step"].stage)],
        "others": others,
        "compared": row.copied_from or next((one for one in others if one.current), None),
        "draft": draft,
        "wrong": wrong,
        "form": change or make_current,
        "change": (change or KeyedForm()) if may_keep and not row.draft and not draft else None,
        "make_current": (make_current or MakeCurrentForm(initial=_seen(row))) if may_make_current else None,
        "may_keep": may_keep,
        "history": AuditEntry.objects.filter(kind="procedure", key=str(row.pk)).order_by("-pk"),
        "trail": TRAIL,
    }
    return show(request, "manage/procedure.html", context)


def _seen(row):
    """What a manager has before the eyes who makes this version current."""
    return {"edition": row.edition, "instead_of": current_procedure()}


def _told(step):
    """A step as people read it, with the tool under calibration that its figure is read with."""
    kind = TOOL_FOR.get(step.reading)
    danger, dot, rest = step.caution.partition(". ")
    return {
        "step": step,
        "caution": (danger + dot.strip(), rest),
        "tools": ", ".join(filter(None, [step.tool, f"{kind.label} in calibration" if kind else ""])),
    }


@allow("keep_specs")
@require_POST
def procedure_change(request, pk):
    """Draft the next version as a copy of this one."""
    row, form = _find(pk), KeyedForm(request.POST)
    if made := submit(form, services.change_procedure, procedure=row, **_signed(request)):
        messages.success(request, f"{made} is a draft, a copy of {row}. Jobs go on by what is current.")
        return redirect("manage:procedure_edit", made.pk)
    return _page(request, row, change=form)


@allow("keep_specs")
@require_POST
def procedure_make_current(request, pk):
    row, form = _find(pk), MakeCurrentForm(request.POST)
    if made := submit(form, services.make_current, procedure=row, **_signed(request)):
        messages.success(request, f"{made} is current: jobs follow it from the next check-in on.")
        return redirect(made)
    row = _find(pk)
    if form.status == 409:
        form.read_again(row, current_procedure())
    return _page(request, row, make_current=form)


@allow("keep_specs")
@require_POST
def procedure_discard(request, pk):
    row = _find(pk)
    if "sure" not in request.POST:
        return show_form(
            request,
            SureForm(row="procedure", key=row.pk),
            title=f"Throw the draft {row} away?",
            action="Throw it away",
            trail=[*TRAIL, (row, row.get_absolute_url())],
            back=reverse("manage:procedure_edit", args=[pk]),
            intro="Its steps are gone then. What is current stays as it is.",
        )
    form = Form(request.POST)
    submit(form, services.discard_draft, procedure=row, **_signed(request))
    if form.errors:
        return _page(request, row, make_current=form)
    messages.success(request, f"The draft {row} is thrown away.")
    return redirect("manage:procedures")


@allow("look")
@require_safe
def procedure_compare(request, pk):
    """What differs from the version in ?with=: what somebody has to learn who worked by that one."""
    row = _find(pk)
    before = get_object_or_404(Procedure, pk=number(request.GET.get("with")))
    context = {
        "before": before,
        "after": row,
        "differences": differences(before, row),
        "trail": [*TRAIL, (row, row.get_absolute_url())],
    }
    return show(request, "manage/procedure_compare.html", context)


@allow("keep_specs")
@require_safe
def procedure_edit(request, pk):
    row = _find(pk)
    return _edit_page(request, row) if row.draft else _kept(request, row)


def _kept(request, row):
    """To the page of a version that has none to change it, also when it was made current a moment ago."""
    messages.info(request, f"{row} is or was current, so it stays as it is. Draft its next version to change it.")
    return redirect(row)


def _edit_page(request, row, form=None):
    steps = list(row.steps.all())
    context = {
        "procedure": row,
        "steps": steps,
        "wrong": what_is_wrong(steps),
        "form": form,
        "trail": [*TRAIL, (row, row.get_absolute_url())],
    }
    return show(request, "manage/procedure_edit.html", context)


@allow("keep_specs")
@form_page
def step_new(request, pk):
    row = _find(pk)
    if request.method != "POST" and not row.draft:
        return _kept(request, row)
    form = StepNewForm(sent(request), last=row.steps.count() + 1)
    if request.method == "POST" and (made := submit(form, services.add_step, procedure=row, **_signed(request))):
        messages.success(request, f"Step {made} is added.")
        return redirect(_row(made))
    return _step_page(request, row, form, title=f"New step of {row}", action="Add the step")


@allow("keep_specs")
@form_page
def step_change(request, pk, step_pk):
    row = _find(pk)
    step = row.steps.filter(pk=step_pk).first()
    if request.method == "POST" and step is None:
        form = StepChangeForm(request.POST)
        form.refuse("This step has been taken out meanwhile. What you typed is still here; a new step can take it.")
        return _step_page(request, row, form, title="A step that is gone", action="Save")
    if step is None:
        raise Http404
    if request.method != "POST" and not row.draft:
        return _kept(request, row)
    form = StepChangeForm(sent(request), initial=StepChangeForm.filled_from(step))
    if request.method == "POST":
        if made := submit(form, services.change_step, step=step, **_signed(request)):
            messages.success(request, f"Step {made} is saved.")
            return redirect(_row(made))
        if form.status == 409 and (now := row.steps.filter(pk=step_pk).first()):
            form.catch_up(now)
    return _step_page(request, row, form, title=f"Step {step}", action="Save")


def _step_page(request, row, form, **words):
    context = {
        "form": form,
        "stages": dict.fromkeys(row.steps.values_list("stage", flat=True)),
        "trail": [*TRAIL, (row, row.get_absolute_url())],
        "back": reverse("manage:procedure_edit", args=[row.pk]),
    }
    return show(request, "manage/procedure_step.html", context | words)


@allow("keep_specs")
@require_POST
def step_move(request, pk, step_pk):
    row = _find(pk)
    if not row.draft:
        return _kept(request, row)
    step = row.steps.filter(pk=step_pk).first()
    form = MoveForm(request.POST)
    if step and (made := submit(form, services.move_step, step=step, **_signed(request))):
        messages.success(request, f"“{made.title}” is step {made.number} now.")
        return redirect(_row(made))
    if step is None:
        messages.info(request, "That step has been taken out meanwhile.")
        return redirect("manage:procedure_edit", pk)
    return _edit_page(request, row, form)


@allow("keep_specs")
@require_POST
def step_remove(request, pk, step_pk):
    row = _find(pk)
    if not row.draft:
        return _kept(request, row)
    step = row.steps.filter(pk=step_pk).first()
    if step and "sure" not in request.POST:
        return show_form(
            request,
            SureForm(row="step", key=step.pk),
            title=f"Take step {step} out?",
            action="Take it out",
            trail=[*TRAIL, (row, row.get_absolute_url())],
            back=reverse("manage:procedure_edit", args=[pk]),
            intro="Those behind it close up. The version that it was copied from keeps it.",
        )
    form = Form(request.POST)
    if step and not submit(form, services.remove_step, step=step, **_signed(request)):
        return _edit_page(request, row, form)
    if step:
        messages.success(request, f"“{step.title}” is taken out.")
    else:
        messages.info(request, "That step was out already.")
    return redirect("manage:procedure_edit", pk)


def _find(pk):
    return get_object_or_404(Procedure.objects.with_people(), pk=pk)


def _row(step: Step) -> str:
    """Its line on the page of the draft, so that the keyboard goes on from there."""
    return f"{reverse('manage:procedure_edit', args=[step.procedure_id])}#step-{step.pk}"


def _signed(request):
    return {"by": request.user, "at": timezone.now()}
