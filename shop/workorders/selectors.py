"""What the bench and the desk read: the steps of a job and their state, what is lacking."""

from collections.abc import Iterable
from dataclasses import dataclass

from shop.calc.units import within
from shop.dampers.measures import FOUND_AND_LEFT, Measure, in_a_sentence
from shop.dampers.models import DamperModel
from shop.specs.models import SpecSheet, Step
from shop.specs.selectors import Place, sheets_for
from shop.workorders.charge import allowed_range
from shop.workorders.frozen import FrozenSheet, FrozenValue
from shop.workorders.kit import freeze
from shop.workorders.models import (
    DamperJob,
    JobStatus,
    Moment,
    OrderStatus,
    Reading,
    SecondCheck,
    StepDone,
    WorkOrder,
)


@dataclass(frozen=True)
class StepState:
    """One step of a job: what it asks, what was done, and in words what it waits for."""

    step: Step
    value: FrozenValue | None
    sheet: FrozenSheet
    reading: Reading | None
    done: StepDone | None
    check: SecondCheck | None
    lacking: str
    doubt: str  # "only for a threaded cap", when nobody knows what cap the damper has

    @property
    def label(self) -> str:
        return in_a_sentence(self.step.reading) if self.step.reading else ""

    @property
    def passed_over(self) -> bool:
        """Whether somebody found that it does not apply to this damper."""
        return bool(self.done and not self.done.applies)

    @property
    def did_it(self) -> set:
        """Who did the step or took the reading that stands: none of them can be its second person."""
        return {one.by for one in (self.done, self.reading) if one}

    @property
    def in_tolerance(self) -> bool:
        """Whether the reading counts: there is a verified figure and it allows the reading."""
        if not (self.reading and self.value and self.verified):
            return False
        return within(self.reading.value_si, *allowed_range(self.value, self.sheet, self.reading.bench_temperature_k))

    @property
    def verified(self) -> bool:
        return self.sheet.verified

    @property
    def settled(self) -> bool:
        """Whether the bench has done all it can; a figure that no verified sheet gives is not the bench's to mend."""
        return bool(self.done and not self.lacking and (self.check or not self.step.critical))

    @property
    def complete(self) -> bool:
        return bool(
            self.done
            and not self.lacking
            and (not self.step.reading or self.in_tolerance)
            and (not self.step.critical or self.check)
        )

    @property
    def bars(self) -> bool:
        """A critical step without a reading, zero pressure proven above all, bars all that comes after it."""
        return self.step.critical and not self.step.reading and not self.complete

    @property
    def words(self) -> str:
        if self.step.reading and self.reading is None:
            return f"waits for the {self.label}"
        if self.lacking:
            return self.lacking[:1].lower() + self.lacking[1:].rstrip(".")
        if self.done is None:
            return f"not done yet, {self.doubt}" if self.doubt else "not done yet"
        if self.passed_over:
            return "does not apply"
        if self.step.reading and not self.value:
            return f"recorded, but no sheet gives the {self.label}"
        if self.step.reading and not self.verified:
            return "recorded, but held against a DRAFT that nobody has verified"
        if self.step.reading and not self.in_tolerance:
            return "out of tolerance"
        if self.step.critical and self.check is None:
            return "waits for a second person's check"
        return "done and checked" if self.check else "done"


@dataclass(frozen=True)
class Setting:
    """A setting as found and as left."""

    measure: str
    label: str
    found: Reading | None
    left: Reading | None


@dataclass(frozen=True)
class Missing:
    """One thing a job lacks before it can be closed, and the step that mends it."""

    text: str
    step: Step | None = None


def on_bench():
    """Jobs with all that their pages show, in a constant number of queries."""
    return DamperJob.objects.select_related(
        "order__customer", "order__vehicle__model", "damper__model", "damper__vehicle__model", "procedure", "closed_by"
    ).prefetch_related(
        "procedure__steps",
        "readings__by",
        "readings__tool",
        "steps_done__by",
        "second_checks__by",
        "reopenings__by",
        "spec_changes",
    )


def bench_jobs():
    """Open jobs in the order in which they are promised."""
    return on_bench().filter(status=JobStatus.OPEN).order_by("order__promised_for", "order", "index")


def job_steps(job: DamperJob) -> list[StepState]:
    """The steps of a job in order, without those that such a damper does not have, unless they were done."""
    if job.procedure is None:
        return []
    sheet, readings, model = job.sheet, job.standing_readings(), job.damper.model
    # Sorted, so that what was done stands over what was passed over before.
    signed = sorted((one for one in job.steps_done.all() if one.round == job.round), key=lambda one: one.applies)
    done = {one.step_id: one for one in signed}
    checks = {(one.step_id, one.reading_id): one for one in job.second_checks.all() if one.round == job.round}
    states = []
    for step in job.procedure.steps.all():
        if step.pk not in done and not step.holds_for(model):
            continue
        reading = readings.get((step.reading, Moment.SET)) if step.reading else None
        states.append(
            StepState(
                step=step,
                value=sheet.values.get(step.reading),
                sheet=sheet,
                reading=reading,
                done=done.get(step.pk),
                check=checks.get((step.pk, reading.pk if reading else None)),
                lacking=_as_left_lacking(job) if step.as_left else "",
                doubt=step.doubt(model),
            )
        )
    return states


def _as_left_lacking(job: DamperJob) -> str:
    settings = settings_of(job)
    names = [one.label for one in settings if one.found and not one.left]
    if names:
        return f"As left is missing: {'; '.join(names)}."
    return "" if any(one.left for one in settings) else "As left is missing: note at least one setting."


def settings_of(job: DamperJob) -> list[Setting]:
    """Every setting that is noted as found and as left, in the order of the card."""
    readings = job.standing_readings()
    return [
        Setting(one.value, one.label, readings.get((one, Moment.FOUND)), readings.get((one, Moment.LEFT)))
        for one in FOUND_AND_LEFT
    ]


def barred_by(states: list[StepState], step: Step) -> StepState | None:
    """The first step that has to be complete before this one; the charge waits for all that comes before it."""
    before = [state for state in states if state.step.number < step.number]
    waits_for_all = step.reading == Measure.CHARGE
    return next((state for state in before if state.bars or (waits_for_all and not state.settled)), None)


def next_step(job: DamperJob) -> StepState | None:
    """The first step that is not complete."""
    return next((state for state in job_steps(job) if not state.complete), None)


def missing(job: DamperJob) -> list[Missing]:
    """What a job lacks before it can be closed, one sentence each."""
    sheet, lacking = job.sheet, []
    if not sheet:
        lacking.append(
            Missing(
                "No spec sheet covered this damper when it was checked in: its figures cannot be held against anything."
            )
        )
    elif not sheet.verified:
        lacking.append(
            Missing(f"The figures come from {sheet.code} version {sheet.version}, a DRAFT that nobody had verified.")
        )
    for state in job_steps(job):
        if not state.complete:
            lacking.append(Missing(f"{state.step.title}: {state.words}.", state.step))
    return lacking


def sheets_of(jobs: Iterable[DamperJob]) -> dict[DamperJob, FrozenSheet]:
    """The sheet that each job keeps; before its check-in the one that it would be given at this moment."""
    jobs = list(jobs)
    waiting = [job for job in jobs if job.spec is None]
    found = sheets_for([Place.of(job.damper) for job in waiting])
    chosen = {job: freeze(one) for job, one in zip(waiting, found, strict=True)}
    return {job: chosen.get(job, job.sheet) for job in jobs}


def figures_changed(job: DamperJob) -> str:
    """A sentence when another sheet would be chosen today than the one this open job keeps; else empty."""
    return figures_changed_of([job])[job]


def figures_changed_of(jobs: list[DamperJob]) -> dict[DamperJob, str]:
    """The same for each of these jobs, in a constant number of queries."""
    changed = dict.fromkeys(jobs, "")
    open_jobs = [job for job in jobs if job.status == JobStatus.OPEN]
    places = {job: Place.of(job.damper) for job in open_jobs}
    apart = list(dict.fromkeys(places.values()))  # many dampers of a day are alike: each is looked up once
    found = dict(zip(apart, sheets_for(apart), strict=True))
    return changed | {job: _changed(job.sheet, found[place].sheet) for job, place in places.items()}


def _changed(sheet: FrozenSheet, now: SpecSheet | None) -> str:
    if is_kept(now, sheet) if now else not sheet:
        return ""
    kept = f"{sheet.code} version {sheet.version}" if sheet else "no sheet"
    today = f"{now} ({now.get_status_display()})" if now else "no sheet"
    if now and (now.code, now.version, sheet.verified) == (sheet.code, sheet.version, bool(now.verified_by_id)):
        kept, today = f"{kept} as edition {sheet.edition} says it", f"edition {now.edition} of {today}"
    return (
        f"The spec table has changed since check-in: this job keeps {kept}; today {today} would hold. Ask the manager."
    )


def is_kept(now: SpecSheet, sheet: FrozenSheet) -> bool:
    """Whether a sheet says what a job keeps of it: a draft may have been changed since, edition by edition."""
    edition = sheet.edition or now.edition  # frozen before editions were kept
    told = now.code, now.version, bool(now.verified_by_id), now.edition
    return told == (sheet.code, sheet.version, sheet.verified, edition)


def booked_in_vain(model: DamperModel):
    """Booked orders with a damper of a model that is not serviced here any more: their customers have to be told."""
    if model.serviceable:
        return WorkOrder.objects.none()
    waiting = {"jobs__damper__model": model, "jobs__status": JobStatus.BOOKED}
    rows = WorkOrder.objects.with_names().filter(status=OrderStatus.BOOKED, **waiting)
    return rows.distinct().order_by("arrives_on", "pk")
