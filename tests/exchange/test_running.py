"""How a file runs: once, all or nothing, whoever dies, whoever is at it besides, whatever changes meanwhile."""

import os
import signal
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from shop.core.errors import Conflict
from shop.customers.services import create_customer
from shop.exchange import services, tasks
from shop.exchange.files import store
from shop.exchange.models import FILE_KEPT, RUN_KEPT, ImportRun, RunState
from shop.exchange.selectors import progress_in_words
from shop.parts.models import Part
from shop.staff.models import AuditEntry, Role
from tests import factories as make
from tests.exchange.files import brought_in, checked, csv_file, told
from tests.factories import NOON
from tests.racing import at_once
from tests.servers import wait_until

HEADER = ["Part number", "Name", "Measured in"]


def parts(count, start=0, **given):
    return csv_file(HEADER, *([f"SK-{n}", "seal kit", "pieces"] for n in range(start, start + count)), **given)


def received(file, by, kind="parts"):
    return services.receive_file(kind=kind, file=file, by=by, at=NOON)


def stored(run):
    return store.path_of(run.stored_as)


# --- one worker


@pytest.mark.django_db
def test_the_file_is_kept_while_it_may_be_needed_and_then_forgotten(desk, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        run = received(parts(2), desk)
        path = stored(run)
        assert path.stat().st_mode & 0o777 == 0o600
        run = services.work(pk=run.pk, at=NOON)
    assert (run.state, path.exists()) == (RunState.CHECKED, True)
    with django_capture_on_commit_callbacks(execute=True):
        services.bring_in(run=run, by=desk, at=NOON)
        run = services.work(pk=run.pk, at=NOON)
    assert (run.state, run.stored_as, path.exists()) == (RunState.DONE, "", False)
    assert [entry.what for entry in AuditEntry.objects.filter(kind="import").order_by("pk")] == [
        "received: Stock items from table.csv",
        "brought in: Stock items from table.csv: 2 new, 0 changed, 0 unchanged",
    ]


@pytest.mark.django_db
def test_what_was_checked_is_written_only_when_somebody_says_so_and_then_once(desk):
    run = checked("parts", parts(2), desk)
    assert not Part.objects.exists()
    assert services.work(pk=run.pk, at=NOON) is None
    for _ in range(2):
        services.bring_in(run=run, by=desk, at=NOON)
    assert services.work(pk=run.pk, at=NOON).new == 2
    assert services.work(pk=run.pk, at=NOON) is None
    assert services.bring_in(run=run, by=desk, at=NOON).state == RunState.DONE
    assert Part.objects.count() == 2


@pytest.mark.django_db
def test_when_the_book_changed_since_the_check_the_import_tells_it_and_writes_nothing(desk):
    run = checked("parts", parts(3), desk)
    make.make_part("SK-1", name="something else")
    services.bring_in(run=run, by=desk, at=NOON)
    run = services.work(pk=run.pk, at=NOON)
    assert (run.state, [line for line, _, _ in told(run)]) == (RunState.REFUSED, [3])
    assert Part.objects.count() == 1
    with pytest.raises(Conflict):
        services.bring_in(run=run, by=desk, at=NOON)


@pytest.mark.django_db
def test_a_file_can_be_put_away_until_it_is_brought_in(desk):
    run = checked("parts", parts(1), desk)
    for _ in range(2):
        assert services.put_away(run=run, by=desk, at=NOON).state == RunState.STOPPED
    with pytest.raises(Conflict):
        services.bring_in(run=run, by=desk, at=NOON)
    with pytest.raises(Conflict):
        services.put_away(run=brought_in("parts", parts(1), desk), by=desk, at=NOON)


@pytest.mark.django_db
def test_somebody_who_may_no_more_brings_nothing_in(manager):
    run = checked("parts", parts(1), manager)
    services.bring_in(run=run, by=manager, at=NOON)
    type(manager).objects.filter(pk=manager.pk).update(role=Role.TECHNICIAN)
    run = services.work(pk=run.pk, at=NOON)
    assert (run.state, Part.objects.count()) == (RunState.FAILED, 0)
    assert "may not bring in" in run.note


@pytest.mark.django_db
def test_a_file_that_was_lost_or_altered_on_the_server_is_not_brought_in(desk):
    for spoil in (Path.unlink, lambda path: path.write_bytes(parts(5).content)):
        run = checked("parts", parts(1), desk)
        services.bring_in(run=run, by=desk, at=NOON)
        spoil(stored(run))
        run = services.work(pk=run.pk, at=NOON)
        assert (run.state, run.note) == (RunState.FAILED, services.FILE_GONE)
    assert not Part.objects.exists()


@pytest.mark.django_db
def test_only_the_first_thousand_problems_are_kept_and_all_are_counted(desk):
    run = checked("parts", csv_file(HEADER, *(["", "x", "pieces"] for _ in range(1500))), desk)
    assert (len(run.problems), run.problem_count) == (1000, 1500)


@pytest.mark.django_db
def test_files_that_nobody_brings_in_are_put_away_and_old_imports_forgotten(desk, django_capture_on_commit_callbacks):
    waits, done = (
        checked("parts", parts(1), desk),
        make.make_import_run(uploaded_at=NOON - RUN_KEPT - timedelta(days=1)),
    )
    path, orphan = stored(waits), store.path_of("imports/nobodys")
    orphan.write_text("x")
    os.utime(orphan, (0, 0))
    with django_capture_on_commit_callbacks(execute=True):
        services.forget_old(now=NOON + FILE_KEPT - timedelta(hours=1))
    assert (path.exists(), orphan.exists()) == (True, False)
    with django_capture_on_commit_callbacks(execute=True):
        services.forget_old(now=NOON + FILE_KEPT + timedelta(hours=1))
    waits.refresh_from_db()
    assert (waits.state, waits.note, path.exists()) == (RunState.STOPPED, services.NOT_WANTED, False)
    assert not ImportRun.objects.filter(pk=done.pk).exists()


@pytest.mark.django_db
def test_a_name_from_another_machine_is_shown_without_its_folders(desk):
    for name, shown in [
        ("C:\\papers\\parts.csv", "parts.csv"),
        ("../../etc/x.csv", "x.csv"),
        ("\n", "a file without a name"),
    ]:
        assert received(parts(1, name=name), desk).file_name == shown


@pytest.mark.django_db
def test_a_kind_that_is_none_is_refused(desk):
    with pytest.raises(ValidationError):
        received(parts(1), desk, kind="tools")


# --- several at once


@pytest.mark.django_db(transaction=True)
def test_of_two_workers_told_at_once_one_does_the_work(desk):
    run = received(parts(300), desk)
    outcomes = at_once(*[lambda: services.work(pk=run.pk, at=NOON)] * 2)
    # On SQLite the second waits for the first, or is sent away by the busy database.
    assert [one.state for one in outcomes if isinstance(one, ImportRun)] == [RunState.CHECKED]
    run.refresh_from_db()
    # Both may have counted their try before one of them got hold of the run.
    assert (run.state, run.attempts in (1, 2)) == (RunState.CHECKED, True)


@pytest.mark.django_db(transaction=True)
def test_of_two_files_with_the_same_rows_brought_in_at_once_the_second_finds_them(desk):
    runs = [checked("parts", parts(50), desk) for _ in range(2)]
    for run in runs:
        services.bring_in(run=run, by=desk, at=NOON)
    at_once(*[lambda pk=run.pk: services.work(pk=pk, at=NOON) for run in runs])
    for run in ImportRun.objects.unfinished():  # one whose turn was put off
        services.work(pk=run.pk, at=NOON)
    assert Part.objects.count() == 50
    # The second either saw the rows, or lost the race for them and wrote nothing.
    states = sorted(ImportRun.objects.values_list("state", "new", "unchanged"))
    assert states in [[("done", 0, 50), ("done", 50, 0)], [("done", 50, 0), ("refused", 0, 0)]]


# --- real workers


@pytest.mark.flow
@pytest.mark.serial
def test_a_file_crosses_the_queue_and_both_times_a_worker_takes_it_up(desk, start_worker):
    start_worker()
    run = received(parts(40), desk)
    wait_until(lambda: ImportRun.objects.filter(pk=run.pk, state=RunState.CHECKED).exists())
    assert not Part.objects.exists()
    services.bring_in(run=run, by=desk, at=NOON)
    wait_until(lambda: ImportRun.objects.filter(pk=run.pk, state=RunState.DONE).exists())
    assert Part.objects.count() == 40


@pytest.mark.flow
@pytest.mark.serial
def test_a_message_that_was_lost_is_made_good_by_the_clock(desk, start_worker):
    with transaction.atomic():
        run = received(parts(2), desk)
        transaction.get_connection().run_on_commit.clear()  # the message never leaves
    start_worker()
    tasks.take_up.delay()
    wait_until(lambda: ImportRun.objects.filter(pk=run.pk, state=RunState.CHECKED).exists())


@pytest.mark.flow
@pytest.mark.serial
def test_a_worker_killed_in_the_middle_leaves_nothing_half_and_the_next_one_does_it_all(desk, start_worker):
    run = checked("parts", parts(20_000), desk)
    stored_as = run.stored_as
    worker = start_worker()
    services.bring_in(run=run, by=desk, at=NOON)

    def some_are_done():
        told = store.progress_of(stored_as)
        return told and 0 < told[0] < told[1]

    wait_until(some_are_done)
    worker.stop(signal.SIGKILL)
    run.refresh_from_db()
    assert (run.state, run.attempts) == (RunState.IMPORTING, 1)
    assert not Part.objects.exists()
    start_worker()
    tasks.take_up.delay()
    wait_until(lambda: ImportRun.objects.filter(pk=run.pk, state=RunState.DONE).exists(), within=180)
    assert Part.objects.count() == 20_000


@pytest.mark.flow
@pytest.mark.serial
def test_the_desk_writes_meanwhile_or_waits_and_is_not_sent_away(desk, start_worker):
    run = checked("parts", parts(6000), desk)
    stored_as = run.stored_as
    start_worker()
    services.bring_in(run=run, by=desk, at=NOON)
    wait_until(lambda: (store.progress_of(stored_as) or (0, 0))[0] > 0)
    create_customer(name="Ines Calloway", by=desk, at=NOON)
    wait_until(lambda: ImportRun.objects.filter(pk=run.pk, state=RunState.DONE).exists())


@pytest.mark.django_db(transaction=True)
def test_what_broke_off_three_times_is_given_up(desk):
    run = checked("parts", parts(1), desk)
    services.bring_in(run=run, by=desk, at=NOON)
    ImportRun.objects.filter(pk=run.pk).update(state=RunState.IMPORTING, attempts=services.MOST_ATTEMPTS)
    run = services.work(pk=run.pk, at=NOON)
    assert (run.state, run.note) == (RunState.FAILED, services.BROKE_OFF)
    assert progress_in_words(run) == ""
