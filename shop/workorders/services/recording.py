from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from shop.calc.units import Entered, show, show_range, within
from shop.core.amounts import shop_unit
from shop.core.clock import local_day
from shop.core.errors import Conflict, refused, renamed
from shop.dampers.clicks import check_clicks
from shop.dampers.measures import FOUND_AND_LEFT, MOST_SI, QUANTITY, SPECIFIED, Measure, in_a_sentence
from shop.specs.models import COLDEST_BENCH_K, WARMEST_BENCH_K, Pressure, Step
from shop.staff.models import User
from shop.staff.services import note
from shop.workorders.agreed import refuse_while_asked
from shop.workorders.charge import allowed_range, bench_allowed, bench_conditions, conditions
from shop.workorders.models import (
    TOOL_FOR,
    DamperJob,
    JobStatus,
    Moment,
    Reading,
    Reopening,
    SecondCheck,
    StepDone,
    Tool,
    ToolKind,
)
from shop.workorders.selectors import barred_by, job_steps, on_bench


@transaction.atomic
def record_reading(
    *,
    job: DamperJob,
    measure: str,
    moment: str,
    entered: Entered,
    step: Step | None = None,
    tool: Tool | None = None,
    bench_temperature: Entered | None = None,
    corrects: Reading | None = None,
    why: str = "",
    by: User,
    at: datetime,
) -> Reading:
    """Note a figure read on a damper. Outside the frozen sheet's range, or with an unfit tool, it is refused.

    The range of a charge is the one for this bench: the sheet's, moved to bench_temperature and the shop's altitude.

    A second reading of a figure has to name the one it corrects and say why; otherwise Conflict tells what stands.
    """
    job = _open_job(job)
    refuse_while_asked(job)
    measure, moment = Measure(measure), Moment(moment)
    _check_kind(measure, moment, entered)
    if measure == Measure.CHARGE and moment == Moment.SET and bench_temperature is None:
        raise ValidationError({"bench_temperature": "Give the bench temperature: the charge depends on it."})
    step = _step_of(job, measure, moment, step)
    if step:
        _check_order(job, step, by)
    check_bench_temperature(bench_temperature)
    _check_tolerance(job, measure, moment, entered, bench_temperature)
    check_figure(measure, entered)
    check_clicks(job.damper.model, measure, entered)
    _check_tool(measure, moment, entered, tool, at)
    _check_correction(job, measure, moment, corrects)
    reading = Reading(
        job=job,
        measure=measure,
        moment=moment,
        round=job.round,
        step=step,
        value_si=entered.si,
        figures=entered.figures,
        unit=entered.unit,
        tool=tool,
        bench_temperature_k=bench_temperature.si if bench_temperature else None,
        by=by,
        at=at,
        corrects=corrects,
        why=why.strip(),
    )
    reading.full_clean()
    reading.save()
    if step and moment == Moment.SET:
        StepDone.objects.get_or_create(job=job, step=step, round=job.round, defaults={"by": by, "at": at})
    return reading


@transaction.atomic
def finish_step(*, job: DamperJob, step: Step, by: User, at: datetime) -> StepDone:
    """Sign that a step is done. Twice is as good as once."""
    job = _open_job(job)
    state = _state_of(job, step)
    if state.done and not state.passed_over:
        return state.done
    if step.pressure != Pressure.PROVEN:  # a damper that stands still had better stand without its gas, and say so
        refuse_while_asked(job)
    _check_order(job, step, by)
    if step.reading and state.reading is None:
        raise ValidationError(f"{step.title}: record the {state.label} first.", code="reading_missing")
    if state.lacking:
        raise ValidationError(state.lacking, code="as_left_missing")
    return StepDone.objects.create(job=job, step=step, round=job.round, by=by, at=at)


@transaction.atomic
def pass_over_step(*, job: DamperJob, step: Step, by: User, at: datetime) -> StepDone:
    """Sign that a step does not apply to this damper. Twice is as good as once.

    Only a step for some caps, on a damper whose cap style nobody knows: such a step records nothing and is not
    critical. Whoever passed over it by mistake can still do it.
    """
    job = _open_job(job)
    state = _state_of(job, step)
    if state.passed_over:
        return state.done
    if state.done:
        raise Conflict(f"{step.title} is done already, by {state.done.by}.", code="done")
    if not state.doubt:
        raise ValidationError(
            f"{step.title} belongs to every {job.damper.model}. Do it; only a step for some caps may be passed over, "
            "where nobody knows the cap style.",
            code="applies",
        )
    refuse_while_asked(job)
    _check_order(job, step, by)
    return StepDone.objects.create(job=job, step=step, round=job.round, applies=False, by=by, at=at)


@transaction.atomic
def second_check(*, job: DamperJob, step: Step, reading: Reading | None = None, by: User, at: datetime) -> SecondCheck:
    """Confirm a critical step as somebody who did not do it; by has proven who they are. Twice is as good as once.

    reading is the one that by has seen: when another stands by now, Conflict.
    """
    job = _open_job(job)
    state = _state_of(job, step)
    if not step.critical:
        raise ValidationError(f"{step.title} needs no second check.", code="not_critical")
    if not by.may("work"):
        raise ValidationError(f"{by} does not work on the benches. Ask a technician or a manager.", code="not_bench")
    if state.done is None:
        raise ValidationError(f"{step.title} is not done yet. Do it, then have it checked.", code="not_done")
    if reading and state.reading != reading:
        raise Conflict(
            f"{step.title}: the reading was corrected meanwhile. Look at it again, then check.", code="corrected"
        )
    if state.check:
        return state.check
    if by in state.did_it:
        words = "A second person has to check this: somebody who did not do it."
        raise ValidationError(words, code="second_person")
    check = SecondCheck(
        job=job,
        step=step,
        round=job.round,
        reading=state.reading,
        first_by=(state.reading or state.done).by,
        by=by,
        at=at,
    )
    check.full_clean()
    check.save()
    return check


@transaction.atomic
def reopen_damper(*, job: DamperJob, why: str, by: User, at: datetime) -> Reopening:
    """It did not prove itself, or something has to be done once more: vent it and begin the steps anew.

    What was done before stays in the record and counts no more; what was found stands.
    """
    job = _open_job(job)
    if not any(state.done for state in job_steps(job)):
        raise ValidationError(f"Nothing is done on damper {job.tag} yet: there is nothing to begin anew.", code="fresh")
    if not why.strip():
        raise refused("why", "Say why the damper is opened again.", "why_missing")
    job.round += 1
    reopening = Reopening(job=job, round=job.round, why=why.strip(), by=by, at=at)
    reopening.full_clean()
    reopening.save()
    job.save(update_fields=["round"])
    note(who=by, kind="order", key=job.order_id, what=f"damper {job.tag} opened again: {why.strip()}", at=at)
    return reopening


def _open_job(job: DamperJob) -> DamperJob:
    """The job under a lock, with all that its steps rest on."""
    job = on_bench().select_for_update(of=("self",)).get(pk=job.pk)
    if job.status != JobStatus.OPEN:
        raise Conflict(
            f"Damper {job.tag} is {job.get_status_display()}: nothing can be recorded on it.", code="not_open"
        )
    return job


def _state_of(job: DamperJob, step: Step):
    for state in job_steps(job):
        if state.step.pk == step.pk:
            return state
    raise ValidationError(f"Step {step.number} is not part of damper {job.tag}'s procedure.", code="unknown_step")


def _check_kind(measure: Measure, moment: Moment, entered: Entered) -> None:
    allowed = SPECIFIED if moment == Moment.SET else FOUND_AND_LEFT
    if measure not in allowed:
        names = ", ".join(Measure(one).label for one in allowed)
        raise ValidationError({"measure": f"{measure.label} is not recorded {moment.label}. Recorded then: {names}."})


def check_figure(measure: str, entered: Entered, field: str = "entered") -> None:
    """Refuse a figure that no damper has, whatever its sheet says: half a click, a kilometre of preload."""
    quantity = QUANTITY[Measure(measure)]
    if entered.si > MOST_SI[quantity]:
        most = show(MOST_SI[quantity], shop_unit(quantity))
        raise refused(field, f"{Measure(measure).label}: {entered} is beyond any damper; at most {most}.", "too_much")
    if quantity == "count" and entered.value != int(entered.value):
        raise refused(field, f"{Measure(measure).label}: {entered} cannot be; clicks are whole numbers.", "not_whole")


def _step_of(job: DamperJob, measure: Measure, moment: Moment, step: Step | None) -> Step | None:
    """The step at which this is recorded; the caller's own has to be that one."""
    if moment == Moment.FOUND:
        return None
    fitting = [
        s.step for s in job_steps(job) if (s.step.as_left if moment == Moment.LEFT else s.step.reading == measure)
    ]
    if step and step not in fitting:
        raise ValidationError(f"{measure.label} is not recorded at the step “{step.title}”.", code="wrong_step")
    if not fitting:
        raise ValidationError(f"Damper {job.tag} has no {in_a_sentence(measure)} to record.", code="no_step")
    return step or fitting[0]


def _check_order(job: DamperJob, step: Step, by: User) -> None:
    """What may not be done before or after what: here a hand or a shaft is lost.

    A critical step without a reading, zero pressure proven above all, bars everything after it. Nothing is charged
    before all that comes before it is done and checked; and on a charged damper nothing that comes before is done any
    more, until it is opened again. Its record can still be mended by a manager.
    """
    states = job_steps(job)
    if first := barred_by(states, step):
        words = first.words[:1].upper() + first.words[1:]
        raise ValidationError(
            f"First: “{first.step.title}”. {words}. Nothing after it can be recorded before.", code="gate"
        )
    charged = next((state for state in states if state.step.reading == Measure.CHARGE and state.reading), None)
    if charged and step.number < charged.step.number and not by.may("override"):
        raise ValidationError(
            f"Damper {job.tag} is charged: {charged.reading.figures} {charged.reading.unit}. “{step.title}” comes "
            "before. Vent it and open it again on its page, which begins with zero pressure proven anew.",
            code="charged",
        )


def check_bench_temperature(bench_temperature: Entered | None) -> None:
    """Refuse a temperature at which nobody works on a bench: another unit, or a slip of the finger."""
    if bench_temperature and not bench_allowed(bench_temperature.si):
        allowed = show_range(COLDEST_BENCH_K, WARMEST_BENCH_K, shop_unit("temperature"))
        words = f"Bench temperature cannot be {bench_temperature}. Allowed is {allowed}; read the thermometer again."
        raise refused("bench_temperature", words, "bench_temperature")


def _check_tolerance(
    job: DamperJob, measure: Measure, moment: Moment, entered: Entered, bench_temperature: Entered | None
) -> None:
    sheet = job.sheet
    value = sheet.values.get(measure)
    # An unverified figure holds nothing against anybody; such a job cannot be closed without a manager anyway.
    if moment != Moment.SET or value is None or not sheet.verified:
        return
    bench_k = bench_temperature.si if bench_temperature else None
    low, high = allowed_range(value, sheet, bench_k)
    if within(entered.si, low, high):
        return
    unit = shop_unit(QUANTITY[measure])
    allowed = show_range(low, high, unit)
    read = show(entered.si, unit, low_si=low, high_si=high)
    read = read if unit == entered.unit else f"{entered} ({read})"
    if (low, high) != (value.low_si, value.high_si):
        own = show_range(value.low_si, value.high_si, unit)
        allowed = (
            f"{allowed} on this bench ({bench_conditions(sheet, bench_k)}); "
            f"the sheet's {own} holds at {conditions(sheet)}"
        )
    mend = "Set it and read again."
    if measure == Measure.SHAFT_NUT_TORQUE and entered.si > high:
        mend = "Loosen it, inspect thread and shaft by the maker's manual, then tighten anew."
    words = f"{measure.label} {read} is out of tolerance. Allowed is {allowed}. {mend}"
    raise refused("entered", words, "out_of_tolerance")


def _check_tool(measure: Measure, moment: Moment, entered: Entered, tool: Tool | None, at: datetime) -> None:
    kind = TOOL_FOR.get(measure) if moment == Moment.SET else None
    if kind is None:
        if tool:
            raise ValidationError({"tool": f"{measure.label} is recorded without a tool."})
        return
    if tool is None:
        raise ValidationError({"tool": f"Say which {kind.label} was used."})
    if tool.kind != kind:
        raise ValidationError({"tool": f"{tool} is a {ToolKind(tool.kind).label}; a {kind.label} is needed here."})
    if refusal := tool.why_not(local_day(at)):
        raise ValidationError({"tool": refusal})
    if not within(entered.si, tool.low_si, tool.high_si):
        unit = shop_unit(QUANTITY[measure])
        raise ValidationError(
            {"tool": f"{entered} lies outside the range of {tool} ({show_range(tool.low_si, tool.high_si, unit)})."}
        )


def _check_correction(job: DamperJob, measure: Measure, moment: Moment, corrects: Reading | None) -> None:
    standing = job.standing_readings().get((measure, moment))
    if corrects is None and standing is None:
        return
    if corrects is None:
        when = f"{timezone.localtime(standing.at):%H:%M}"
        raise Conflict(
            f"{measure.label} is recorded already: {standing.figures} {standing.unit} by {standing.by} at {when}. "
            "To change it, record a correction and say why.",
            code="recorded",
        )
    if standing is None or standing.pk != corrects.pk:
        now = f"{standing.figures} {standing.unit} by {standing.by}" if standing else "nothing"
        raise Conflict(f"Somebody has corrected that reading already; it says now: {now}.", code="corrected")


@transaction.atomic
def record_as_left(*, job: DamperJob, step: Step, by: User, at: datetime, **entered: Entered | None) -> StepDone:
    """Note every setting that is given, by the name of its measure, and sign the step: all of it or nothing."""
    for measure, figure in entered.items():
        if figure is None:
            continue
        try:
            record_reading(job=job, measure=measure, moment=Moment.LEFT, entered=figure, step=step, by=by, at=at)
        except ValidationError as error:
            raise renamed(error, entered=measure) from error
    return finish_step(job=job, step=step, by=by, at=at)
