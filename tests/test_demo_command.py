"""`make demo` as people meet it: web server, worker and scheduler up together, down together, and the data kept."""

import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path

import pytest

from shop.bootstrap import ROOT, demo_environment, end_with_parent
from tests.servers import free_port

pytestmark = pytest.mark.serial
PATIENCE = 120  # seconds


def surroundings():
    """The environment of this process less everything that sets up a site."""
    return {name: value for name, value in os.environ.items() if not name.startswith(("DAMPERBOOK_", "DJANGO_"))}


class Demo:
    """A running `manage.py demo`, with what it has said so far."""

    def __init__(self, folder, port):
        self.port = port
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "demo"],
            cwd=ROOT,
            env={**demo_environment(surroundings(), port), "DAMPERBOOK_VAR": str(folder)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
            preexec_fn=end_with_parent,
        )
        self.said = ""
        self.changed = threading.Condition()
        self.reader = threading.Thread(target=self.read, daemon=True)
        self.reader.start()

    def read(self):
        for line in self.process.stdout:
            with self.changed:
                self.said += line
                self.changed.notify_all()
        with self.changed:
            self.changed.notify_all()

    def wait_until_it_says(self, text):
        with self.changed:
            heard = self.changed.wait_for(lambda: text in self.said or not self.reader.is_alive(), PATIENCE)
        assert heard, f"{text!r} did not come within {PATIENCE} s:\n{self.said}"
        assert text in self.said, self.said

    def get(self, path):
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=10) as answer:
            return answer.status, answer.read().decode()

    def end(self, how=signal.SIGINT):
        """Send the signal and give the exit code."""
        self.process.send_signal(how)
        code = self.process.wait(PATIENCE)
        self.reader.join(PATIENCE)
        return code


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("demo")


@pytest.fixture
def start(folder):
    """Start demos of one folder; whatever a test leaves running is ended."""
    started = []

    def start_demo():
        started.append(Demo(folder, free_port()))
        started[-1].wait_until_it_says("Damperbook is running:")
        return started[-1]

    yield start_demo
    for demo in started:
        if demo.process.poll() is None:
            demo.end(signal.SIGTERM)


def family(pid):
    """Process ids of all descendants, from /proc; empty on other systems."""
    parents = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            name_ends = path.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        parents[int(path.parent.name)] = int(name_ends[1])
    found, ask = [], [pid]
    while ask:
        parent = ask.pop()
        children = [one for one, its_parent in parents.items() if its_parent == parent]
        found += children
        ask += children
    return found


def command_line(pid):
    try:
        return Path(f"/proc/{pid}/cmdline").read_text().replace("\0", " ")
    except OSError:
        return ""


def wait_until_gone(pids):
    deadline = time.monotonic() + PATIENCE
    while left := [pid for pid in pids if command_line(pid)]:
        assert time.monotonic() < deadline, [command_line(pid) for pid in left]
        time.sleep(0.05)


def customers(folder):
    with sqlite3.connect(folder / "book.sqlite3") as book:
        return book.execute("SELECT * FROM customers_customer ORDER BY id").fetchall()


def test_it_runs_stops_cleanly_and_goes_on_with_its_data(start, folder):
    demo = start()
    assert f"Damperbook is running:  http://127.0.0.1:{demo.port}/" in demo.said
    assert demo.get("/readyz")[0] == 200
    assert "Log in" in demo.get("/")[1]
    processes = family(demo.process.pid)
    assert any("gunicorn" in command_line(pid) for pid in processes)
    assert any("celery" in command_line(pid) for pid in processes)
    loaded = customers(folder)
    assert loaded
    for log in ("web.log", "worker.log"):
        said = (folder / "log" / log).read_text().splitlines()
        if log == "worker.log" and os.geteuid() == 0:
            said = [line for line in said if line.startswith("{")]  # Celery warns root in words of its own
        assert {"event", "level", "timestamp"} <= set.intersection(*[set(json.loads(line)) for line in said])

    assert demo.end(signal.SIGINT) == 0
    assert re.search(r"The data is kept in \S+; make demo goes on with it\.", demo.said)
    assert "Traceback" not in demo.said
    wait_until_gone(processes)

    again = start()
    assert customers(folder) == loaded
    assert again.get("/readyz")[0] == 200
    assert again.end(signal.SIGTERM) == 0


def test_when_a_part_dies_it_is_named_with_its_log_and_all_ends(start, folder):
    demo = start()
    processes = family(demo.process.pid)
    worker = next(pid for pid in processes if "celery" in command_line(pid))
    os.kill(worker, signal.SIGKILL)
    assert demo.process.wait(PATIENCE) == 1
    demo.reader.join(PATIENCE)
    assert "The worker with the scheduler stopped by itself (signal 9)." in demo.said
    assert str(folder / "log" / "worker.log") in demo.said
    wait_until_gone(processes)


def test_nothing_goes_on_when_the_demo_itself_is_killed(start):
    demo = start()
    processes = family(demo.process.pid)
    assert demo.end(signal.SIGKILL) == -signal.SIGKILL
    wait_until_gone(processes)


def test_the_book_of_a_real_shop_is_left_alone(tmp_path):
    environment = surroundings() | {"DAMPERBOOK_VAR": str(tmp_path)}
    for arguments in (["migrate"], ["add_person", "--username=owner", "--name=Mika Sorensdal"]):
        subprocess.run(
            [sys.executable, "manage.py", *arguments],
            check=True,
            cwd=ROOT,
            env=environment,
            input="known-to-the-owner-alone\n",
            text=True,
            capture_output=True,
            start_new_session=True,  # without a terminal the password is read from the input
        )
    demo = Demo(tmp_path, free_port())
    assert demo.process.wait(PATIENCE) == 1
    demo.reader.join(PATIENCE)
    assert "holds the book of a real shop" in demo.said
    assert customers(tmp_path) == []


def test_it_is_refused_outside_the_demo(tmp_path):
    done = subprocess.run(
        [sys.executable, "manage.py", "demo"],
        check=False,
        cwd=ROOT,
        env={**surroundings(), "DAMPERBOOK_VAR": str(tmp_path)},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 1
    assert "make demo" in done.stderr
    assert not (tmp_path / "book.sqlite3").exists()
