"""A file of ten thousand stock items: its rows a second against a bare bulk insert of the same rows, and its memory."""

import csv
import io
import time
import tracemalloc
from statistics import median

from django.db import transaction

from shop.exchange.files.store import Upload
from shop.exchange.models import RunState
from shop.exchange.services import bring_in, receive_file, work
from shop.parts.models import Part
from tests import factories
from tests.bench.measures import Measure, in_turns
from tests.factories import NOON

ROWS = 10_000
FEW = 1_000
ROUNDS = 3
HEADER = ["Part number", "Name", "Measured in", "Bin"]


def measure():
    desk = factories.make_user("desk")
    content = _file(ROWS)
    yield from speed(desk, content)
    yield memory(desk, content)


def speed(desk, content):
    """Each round a file is checked and brought in, then the same rows are inserted bare; all is taken away again."""
    checks, imports = [], []

    def whole():
        run = receive_file(kind="parts", file=Upload("parts.csv", content), by=desk, at=NOON)
        checks.append(_seconds_of(run, RunState.CHECKED))
        imports.append(_seconds_of(bring_in(run=run, by=desk, at=NOON), RunState.DONE))
        _empty()

    bare_times = []

    def bare():
        start = time.perf_counter()
        with transaction.atomic():
            Part.objects.bulk_create(
                [Part(number=f"IMPORT-{n}", name="seal kit 14 mm", bin="B-07") for n in range(ROWS)]
            )
        bare_times.append(time.perf_counter() - start)
        _empty()

    in_turns(ROUNDS, whole, bare, warm_up=1)
    check, bring, insert = (median(times[1:]) for times in (checks, imports, bare_times))
    rates = f"{ROWS / bring:.0f} : {ROWS / insert:.0f} rows/s; checked at {ROWS / check:.0f} rows/s"
    how = f"{rates}; medians of {ROUNDS} in turns after 1 to warm up; the import also checks, and writes the trail"
    yield Measure(f"Import of {ROWS} stock items : bare bulk insert of the same rows", bring / insert, 12, how)


def memory(desk, content):
    """Peak of what Python holds above where it began, for many rows against a tenth of them."""
    peaks = []
    for one in (_file(FEW), content):
        run = receive_file(kind="parts", file=Upload("parts.csv", one), by=desk, at=NOON)
        tracemalloc.start()
        assert work(pk=run.pk, at=NOON).state == RunState.CHECKED
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    few, many = peaks
    how = f"{many / 1e6:.1f} MB : {few / 1e6:.1f} MB above where it began"
    return Measure(f"Peak memory of a check: {ROWS} rows : {FEW} rows", many / few, 1.3, how)


def _seconds_of(run, state):
    start = time.perf_counter()
    run = work(pk=run.pk, at=NOON)
    assert (run.state, run.new) == (state, ROWS), (run.state, run.note, run.problems[:1])
    return time.perf_counter() - start


def _file(rows):
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(HEADER)
    writer.writerows([f"IMPORT-{n}", "seal kit 14 mm", "pieces", "B-07"] for n in range(rows))
    return text.getvalue().encode()


def _empty():
    ours = Part.objects.filter(number__startswith="IMPORT-")  # the database has parts of the other measures too
    ours._raw_delete("default")
    assert not ours.exists()
