"""Files in: received, checked, brought in. The row of a run is the queue; Celery is its clock.

Checking is the very same as bringing in, in a transaction that is taken back. Whoever holds the lock on the run's row
is at work on it: with a worker that dies the lock is gone and nothing is written, and the next one begins anew.
"""

import logging
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice

from celery import current_app
from celery.exceptions import SoftTimeLimitExceeded
from django.db import DatabaseError, transaction

from shop.core.errors import Conflict, refused
from shop.exchange.files import store
from shop.exchange.files.reading import BadFile, kind_of_file, opened
from shop.exchange.files.store import Progress, Upload
from shop.exchange.kinds import KINDS
from shop.exchange.models import BEGUN, RUN_KEPT, STOPPABLE, UNFINISHED, ImportRun, RunState
from shop.exchange.table import Kind, Outcome, Problem
from shop.staff.models import User
from shop.staff.services import note

log = logging.getLogger(__name__)

BATCH = 500
MOST_PROBLEMS_KEPT = 1000
MOST_ATTEMPTS = 3
WORK = "exchange.work"

TOO_LONG = "It took longer than a worker may. Divide the file into several."
BROKE_OFF = f"It broke off {MOST_ATTEMPTS} times. Tell whoever keeps the server: it is in the log."
OUR_FAULT = "Something went wrong on our side. Tell whoever keeps the server: it is in the log."
FILE_GONE = "The file is not on the server any more, or not as it was sent. Send it once more."
NOT_ALLOWED = "{by} may not bring in such a table any more."
NOT_WANTED = "Nobody brought it in within a week."


@transaction.atomic
def receive_file(*, kind: str, file: Upload, by: User, at: datetime) -> ImportRun:
    """Keep a file and have it checked; nothing of it is written before somebody says so."""
    if not file.content:
        raise refused("file", "This file is empty.", "empty")
    if len(file.content) > store.MOST_BYTES:
        most = store.MOST_BYTES // 1_000_000
        raise refused("file", f"This file has more than {most} MB. Divide it into several.", "too_long")
    try:
        kind_of_file(file.content[:8])
    except BadFile as error:
        raise refused("file", error.messages, "no_table") from None
    run = ImportRun(
        kind=kind,
        file_name=_name(file.name),
        stored_as=store.keep(file),
        digest=file.digest,
        uploaded_by=by,
        uploaded_at=at,
    )
    run.full_clean()
    run.save()
    note(who=by, kind="import", key=run.pk, what=f"received: {run}", at=at)
    _wake_a_worker(run)
    return run


@transaction.atomic
def bring_in(*, run: ImportRun, by: User, at: datetime) -> ImportRun:
    """Have a checked file written, all of it or nothing. Twice is as good as once."""
    asked = ImportRun.objects.filter(pk=run.pk, state=RunState.CHECKED).update(
        state=RunState.DUE, imported_by=by, attempts=0
    )
    run = ImportRun.objects.get(pk=run.pk)
    if asked:
        _wake_a_worker(run)
    elif run.state not in (RunState.DUE, RunState.IMPORTING, RunState.DONE):
        raise Conflict(
            f"{run} is {run.get_state_display()}, so it cannot be brought in. Send the file anew.", code="state"
        )
    return run


@transaction.atomic
def put_away(*, run: ImportRun, by: User, at: datetime) -> ImportRun:
    """Forget a file that is not to be brought in after all. Twice is as good as once."""
    stopped = ImportRun.objects.filter(pk=run.pk, state__in=STOPPABLE).update(
        state=RunState.STOPPED, note=f"Put away by {by}."
    )
    run = ImportRun.objects.get(pk=run.pk)
    if stopped:
        _forget_file(run)
        note(who=by, kind="import", key=run.pk, what=f"put away: {run}", at=at)
    elif run.state != RunState.STOPPED:
        raise Conflict(f"{run} is {run.get_state_display()}: there is nothing to put away now.", code="state")
    return run


def note_export(*, kind: type[Kind], file_format: str, by: User, at: datetime) -> None:
    """That a table went out, and with whom: it may hold what customers told the shop."""
    note(who=by, kind="export", key=kind.name, what=f"taken out: {kind.name.label}, as {file_format.upper()}", at=at)


def work(*, pk: int, at: datetime) -> ImportRun | None:
    """Check or bring in what waits under this key; None when there is nothing to do, or somebody is at it already."""
    with transaction.atomic():
        run = _locked(pk, UNFINISHED)
        if run is None:
            return None
        run.state, run.attempts = BEGUN.get(run.state, run.state), run.attempts + 1
        run.save(update_fields=["state", "attempts"])
    with transaction.atomic():
        run = _locked(pk, BEGUN.values())
        if run is None:  # between the two, another worker was quicker
            return None
        if run.attempts > MOST_ATTEMPTS:
            return _settle(run, RunState.FAILED, note=BROKE_OFF)
        return _work(run, at)


def forget_old(*, now: datetime) -> None:
    """Put away files that nobody brought in, and forget what is left of old imports."""
    for run in ImportRun.objects.left_over(now):
        with transaction.atomic():
            if ImportRun.objects.left_over(now).filter(pk=run.pk).update(state=RunState.STOPPED, note=NOT_WANTED):
                _forget_file(run)
    ImportRun.objects.exclude(state__in=UNFINISHED).filter(uploaded_at__lt=now - RUN_KEPT).delete()
    store.forget_orphans(set(ImportRun.objects.exclude(stored_as="").values_list("stored_as", flat=True)), now)


# --- at work ----------------------------------------------------------------------------------------------------------


@dataclass
class _Found:
    """What came of going through a file."""

    rows: int = 0
    outcomes: dict[Outcome, int] = field(default_factory=lambda: dict.fromkeys(Outcome, 0))
    problems: list[Problem] = field(default_factory=list)
    problem_count: int = 0

    def add(self, problems: list[Problem]) -> None:
        self.problem_count += len(problems)
        self.problems += problems[: MOST_PROBLEMS_KEPT - len(self.problems)]


def _work(run: ImportRun, at: datetime) -> ImportRun:
    writing = run.state == RunState.IMPORTING
    by = run.imported_by if writing else run.uploaded_by
    kind = KINDS[run.kind]
    if not by.may(kind.ability):
        return _settle(run, RunState.FAILED, note=NOT_ALLOWED.format(by=by))
    path = store.path_of(run.stored_as)
    if not path.is_file() or store.digest_of(path) != run.digest:
        return _settle(run, RunState.FAILED, note=FILE_GONE)
    found = _Found()
    try:
        with transaction.atomic():
            _go_through(run, path, kind(by, at, run.file_name), found)
            if found.problem_count or not writing:
                transaction.set_rollback(True)
    except BadFile as error:
        found.add([Problem(0, "", "", sentence) for sentence in error.messages])
    except SoftTimeLimitExceeded:
        return _settle(run, RunState.FAILED, note=TOO_LONG)
    except DatabaseError:
        raise  # nothing can be written now; the run is taken up again
    except Exception:
        log.exception("Import %s cannot be gone through", run.pk)
        return _settle(run, RunState.FAILED, note=OUR_FAULT)
    result = {"rows": found.rows} | {one.value: number for one, number in found.outcomes.items()}
    if found.problem_count:
        return _settle(
            run, RunState.REFUSED, problems=[one.as_dict() for one in found.problems],
            problem_count=found.problem_count, checked_at=at, **result,
        )  # fmt: skip
    if not writing:
        return _settle(run, RunState.CHECKED, checked_at=at, **result)
    counts = ", ".join(f"{number} {one.value}" for one, number in found.outcomes.items())
    note(who=by, kind="import", key=run.pk, what=f"brought in: {run}: {counts}", at=at)
    return _settle(run, RunState.DONE, imported_at=at, **result)


def _go_through(run: ImportRun, path, kind: Kind, found: _Found) -> None:
    """Every line under the kind's rules, a batch at a time."""
    with opened(path, type(kind)) as lines:
        found.rows = sum(1 for _ in lines)
    if not found.rows:
        raise BadFile("This file has its first line and no other: there is no row to bring in.")
    progress = Progress(run.stored_as, found.rows)
    done = 0
    with opened(path, type(kind)) as lines:
        while batch := list(islice(lines, BATCH)):
            readable, wrong = [], []
            for line in batch:
                given, problems = type(kind).read(line.number, line.row)
                problems = line.problems + problems
                wrong += problems
                if not problems:
                    readable.append(given)
            for outcome, problems in kind.bring_batch(readable):
                wrong += problems
                if outcome:
                    found.outcomes[outcome] += 1
                done += 1
                progress.tell(done)
            found.add(sorted(wrong, key=lambda one: one.line))
            done += len(batch) - len(readable)
            progress.tell(done)


def _locked(pk: int, states) -> ImportRun | None:
    rows = ImportRun.objects.select_for_update(skip_locked=True, of=("self",)).filter(pk=pk, state__in=list(states))
    return rows.select_related("uploaded_by", "imported_by").first()


def _settle(run: ImportRun, state: RunState, **outcome) -> ImportRun:
    """Write how it ended, in the transaction of what it wrote: both stand or neither."""
    run.state = state
    for name, value in outcome.items():
        setattr(run, name, value)
    run.save()
    if state != RunState.CHECKED:
        _forget_file(run)
    return run


def _forget_file(run: ImportRun) -> None:
    stored_as = run.stored_as
    run.stored_as = ""
    ImportRun.objects.filter(pk=run.pk).update(stored_as="")
    if stored_as:
        transaction.on_commit(lambda: store.forget(stored_as), robust=True)


def _wake_a_worker(run: ImportRun) -> None:
    """Ask for it at once. A message that is lost costs a minute: the clock asks again."""
    transaction.on_commit(lambda: current_app.send_task(WORK, args=[run.pk], retry=False), robust=True)


def _name(name: str) -> str:
    """The last part of a file's name, as it may stand in a list and in the audit trail."""
    last = name.replace("\\", "/").rpartition("/")[2]
    plain = "".join(one if one.isprintable() else " " for one in last)
    return " ".join(plain.split())[-120:].strip() or "a file without a name"
