"""Procedures: drafted, changed step by step, made current, and then kept as they are."""

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from shop.core.errors import Conflict, refused
from shop.core.rows import one_line, save_new
from shop.specs.models import Procedure, Step
from shop.specs.procedures import in_words, what_is_wrong
from shop.staff.models import User
from shop.staff.services import note as audit

COPIED = (
    "number", "stage", "title", "text", "caution", "tool", "reading", "as_left", "critical", "pressure",
    "constructions", "cap_styles", "origin",
)  # fmt: skip
MOST_STEPS = 99


@transaction.atomic
def start_procedure(*, name: str, copy_of: Procedure | None = None, by: User, at: datetime) -> Procedure:
    """Begin the draft of a procedure of another name, with the steps of one there is or with none."""
    name = one_line(name)
    if known := Procedure.objects.filter(name__iexact=name).first():
        raise refused("name", f"There is a procedure {known.name} already. Draft its next version instead.", "known")
    if copy_of:
        _check_kept(copy_of, "copy_of")
    return _draft(Procedure(name=name, version=1, copied_from=copy_of), by, at)


@transaction.atomic
def change_procedure(*, procedure: Procedure, by: User, at: datetime) -> Procedure:
    """Begin the draft of a procedure's next version as a copy of this one; the one there is stays as it is."""
    _check_kept(procedure, "procedure")
    same_name = Procedure.objects.filter(name=procedure.name).order_by("pk")
    list(same_name.select_for_update(no_key=True))
    same_name = list(same_name)  # read anew: a draft that somebody made during the wait was not among those locked
    if draft := next((one for one in same_name if one.draft), None):
        raise Conflict(f"There is a draft already: {draft}. Change that one.", code="drafted")
    version = max(one.version for one in same_name) + 1
    return _draft(Procedure(name=procedure.name, version=version, copied_from=procedure), by, at)


def _check_kept(procedure: Procedure, field: str) -> None:
    if procedure.draft:
        raise refused(field, f"{procedure} is a draft itself. Copy one that is or was current.", "draft")


def _draft(procedure: Procedure, by: User, at: datetime) -> Procedure:
    procedure.drafted_by, procedure.drafted_at = by, at
    procedure.full_clean()
    save_new(procedure)
    for step in procedure.copied_from.steps.all() if procedure.copied_from else []:
        Step.objects.create(procedure=procedure, **{name: getattr(step, name) for name in COPIED})
    copied = f", a copy of {procedure.copied_from}" if procedure.copied_from else ""
    _note(procedure, f"drafted: {procedure}{copied}", by, at)
    return procedure


@transaction.atomic
def add_step(*, procedure: Procedure, number: int | None = None, by: User, at: datetime, **given) -> Step:
    """Put a step into a draft at a place, by default as the last; those behind it move on."""
    procedure = _draft_of(procedure)
    steps = list(procedure.steps.all())
    if len(steps) >= MOST_STEPS:
        raise ValidationError(f"A procedure has at most {MOST_STEPS} steps. Put some together.", code="too_many")
    place = _place(number, len(steps) + 1)
    origin = (Step.objects.aggregate(highest=Max("origin"))["highest"] or 0) + 1
    step = Step(procedure=procedure, number=len(steps) + 1, origin=origin)
    _write(step, given, procedure)
    steps.insert(place - 1, step)
    _count_anew(procedure, steps)
    _note(procedure, f"step added: {step}", by, at)
    return step


@transaction.atomic
def change_step(*, step: Step, edition: int, by: User, at: datetime, **given) -> Step:
    """Say another thing in a step of a draft; edition is the one the form was opened with, else Conflict."""
    procedure, step = _step_of_draft(step)
    if step.edition != edition:
        raise Conflict(
            f"Somebody else has changed step {step} meanwhile. Look at what it says now, then send yours again.",
            code="changed",
        )
    before = in_words(step)
    _write(step, given, procedure)
    changed = [label.lower() for label, text in in_words(step).items() if text != before[label]]
    _note(procedure, f"step {step}: {', '.join(changed) or 'nothing'} changed", by, at)
    return step


def _write(step: Step, given: dict, procedure: Procedure) -> None:
    """Fill in a step, check it and save it as the draft's next edition."""
    for name, value in given.items():
        setattr(step, name, value.strip() if isinstance(value, str) else value)
    step.stage, step.title, step.tool = one_line(step.stage), one_line(step.title), one_line(step.tool)
    step.edition = _next_edition(procedure)
    step.full_clean()
    step.save()


@transaction.atomic
def move_step(*, step: Step, number: int, by: User, at: datetime) -> Step:
    """Give a step of a draft another place; the others close up. Twice is as good as once."""
    procedure, step = _step_of_draft(step)
    steps = list(procedure.steps.all())
    place = _place(number, len(steps))
    if step.number == place:
        return step
    was = step.number
    steps.remove(step)
    steps.insert(place - 1, step)
    _next_edition(procedure)
    _count_anew(procedure, steps)
    step.number = place
    _note(procedure, f"step moved from {was} to {place}: {step.title}", by, at)
    return step


@transaction.atomic
def remove_step(*, step: Step, by: User, at: datetime) -> Procedure:
    """Take a step out of a draft; those behind it close up. Twice is as good as once."""
    procedure = _draft_of(step.procedure)
    steps = list(procedure.steps.all())
    if step in steps:
        here = steps[steps.index(step)]
        steps.remove(here)
        here.delete()
        _next_edition(procedure)
        _count_anew(procedure, steps)
        _note(procedure, f"step removed: {step}", by, at)
    return procedure


def _place(number: int | None, last: int) -> int:
    if number is None:
        return last
    if not 1 <= number <= last:
        raise refused("number", f"Place {number} is none of this procedure's: give one from 1 to {last}.", "no_place")
    return number


def _count_anew(procedure: Procedure, steps: list[Step]) -> None:
    """Number the steps as they stand in the list: first out of the way, since no two may have one number even for long
    enough to change places."""
    moving = [(number, step) for number, step in enumerate(steps, 1) if step.number != number]
    for number, step in moving:
        Step.objects.filter(pk=step.pk).update(number=MOST_STEPS + 1 + number)
    for number, step in moving:
        Step.objects.filter(pk=step.pk).update(number=number)
        step.number = number


@transaction.atomic
def make_current(
    *, procedure: Procedure, edition: int, instead_of: Procedure | None, why: str, by: User, at: datetime
) -> Procedure:
    """Let every job that is checked in from now on follow this version. Twice is as good as once.

    edition is the one that by has read, instead_of the version that was current then (None: none was); when either is
    another by now, Conflict. Refused, a sentence for each thing, while the steps do not hold together.
    """
    rows = list(Procedure.objects.select_for_update(no_key=True).order_by("pk"))  # one at a time
    procedure = next((one for one in rows if one.pk == procedure.pk), None)
    if procedure is None:
        raise Conflict("This draft has been thrown away meanwhile.", code="gone")
    if procedure.current:
        return procedure
    now = next((one for one in rows if one.current), None)
    if now != instead_of:
        made = f"{now} was made current by {now.made_current_by} meanwhile" if now else "No procedure is current now"
        raise Conflict(f"{made}. Compare this version with that one, then decide again.", code="another_current")
    if procedure.edition != edition:
        raise Conflict(f"{procedure} was changed meanwhile. Read it again, then decide.", code="changed")
    if not why.strip():
        raise refused("why", "Say why the shop works by this version from now on.", "why_missing")
    if wrong := what_is_wrong(list(procedure.steps.all())):
        raise ValidationError([ValidationError(sentence, code="unfit") for sentence in wrong])
    if now:
        now.current = False
        now.save(update_fields=["current"])
    procedure.current, procedure.why = True, why.strip()
    procedure.made_current_by, procedure.made_current_at = by, at
    procedure.full_clean()
    procedure.save(update_fields=["current", "why", "made_current_by", "made_current_at"])
    _note(procedure, f"made current{f' instead of {now}' if now else ''}: {procedure}: {procedure.why}", by, at)
    return procedure


@transaction.atomic
def discard_draft(*, procedure: Procedure, by: User, at: datetime) -> None:
    """Throw a draft away with its steps. Twice is as good as once."""
    row = Procedure.objects.select_for_update().filter(pk=procedure.pk).first()
    if row is None:
        return
    _check_draft(row)
    row.steps.all().delete()
    row.delete()
    _note(procedure, f"draft thrown away: {procedure}", by, at)


def _draft_of(procedure: Procedure) -> Procedure:
    """The draft as it is now, under a lock."""
    row = Procedure.objects.select_for_update().filter(pk=procedure.pk).first()
    if row is None:
        raise Conflict("This draft has been thrown away meanwhile.", code="gone")
    _check_draft(row)
    return row


def _check_draft(procedure: Procedure) -> None:
    if not procedure.draft:
        raise Conflict(
            f"{procedure} is or was current, so it stays as it is. Draft its next version and change that.",
            code="frozen",
        )


def _step_of_draft(step: Step) -> tuple[Procedure, Step]:
    procedure = _draft_of(step.procedure)
    row = procedure.steps.filter(pk=step.pk).first()
    if row is None:
        raise Conflict(f"“{step.title}” has been taken out meanwhile.", code="gone")
    return procedure, row


def _next_edition(procedure: Procedure) -> int:
    procedure.edition += 1
    procedure.save(update_fields=["edition"])
    return procedure.edition


def _note(procedure: Procedure, what: str, by: User, at: datetime) -> None:
    audit(who=by, kind="procedure", key=procedure.pk, what=what, at=at)
