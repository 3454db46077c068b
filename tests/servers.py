"""Servers that tests start for themselves, each ready when it is handed over and gone afterwards.

PostgreSQL and Redis for tests/run.py; the real Celery worker and the SMTP server as fixtures.
"""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from urllib.parse import quote

import psycopg
import pytest
import redis
from aiosmtpd.controller import Controller

from shop.bootstrap import ROOT, end_with_parent, find_postgres

READY_WITHIN = 120  # seconds, on a busy machine


class ServerFailed(Exception):
    """A server that the tests need did not start; the text has the end of its log."""


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_until(condition, within=60):
    """Ask condition() until its answer is true, and give that answer; fail after `within` seconds."""
    deadline = time.monotonic() + within
    while not (found := condition()):
        assert time.monotonic() < deadline, f"not within {within} s"
        time.sleep(0.05)
    return found


def end(text, lines=15):
    return "\n".join(text.splitlines()[-lines:])


class Server:
    """A child process with its log in a file."""

    def __init__(self, name, command, log, **kwargs):
        self.name, self.log = name, Path(log)
        with self.log.open("wb") as output:
            self.process = subprocess.Popen(
                [str(part) for part in command],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                preexec_fn=end_with_parent,
                **kwargs,
            )

    def said(self):
        return self.log.read_text(errors="replace")

    def wait_until(self, ready):
        """Ask ready() until it is true; the end of the process or of the patience is an error that shows the log."""
        deadline = time.monotonic() + READY_WITHIN
        while not ready():
            if self.process.poll() is not None:
                raise ServerFailed(f"{self.name} ended with {self.process.returncode}:\n{end(self.said())}")
            if time.monotonic() > deadline:
                raise ServerFailed(f"{self.name} was not ready within {READY_WITHIN} s:\n{end(self.said())}")
            time.sleep(0.05)

    def stop(self, how=signal.SIGTERM):
        """End it politely, and after a while for certain, with all that it started."""
        if self.process.poll() is None:
            self.process.send_signal(how)
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(20)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


# --- PostgreSQL and Redis, private and thrown away ------------------------------------------------------------------


def postgres_user():
    """Who runs PostgreSQL: it refuses root, so its own user or nobody takes over; None means the present user."""
    if os.geteuid() != 0:
        return None
    import pwd

    with contextlib.suppress(KeyError):
        return pwd.getpwnam("postgres")
    return pwd.getpwnam("nobody")


@contextlib.contextmanager
def private_postgres():
    """Yield the URL of a fresh PostgreSQL cluster that forgets everything afterwards."""
    initdb, postgres = find_postgres("initdb"), find_postgres("postgres")
    if not initdb or not postgres:
        raise ServerFailed("PostgreSQL's programs are missing. Install them: apt-get install postgresql")
    user = postgres_user()
    as_user = {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []} if user else {}
    with tempfile.TemporaryDirectory(prefix="damperbook-postgres-", ignore_cleanup_errors=True) as folder:
        if user:
            os.chown(folder, user.pw_uid, user.pw_gid)
        data, port = Path(folder) / "data", free_port()
        command = [
            initdb,
            "--pgdata",
            data,
            "--username",
            "postgres",
            "--auth",
            "trust",
            "--no-sync",
            "--encoding",
            "UTF8",
        ]
        command += ["--locale", "C.UTF-8" if sys.platform == "linux" else "C"]
        made = subprocess.run(command, check=False, capture_output=True, text=True, cwd=folder, **as_user)
        if made.returncode:
            raise ServerFailed(f"initdb ended with {made.returncode}:\n{end(made.stdout + made.stderr)}")
        settings = {
            "listen_addresses": "127.0.0.1",
            "port": port,
            "unix_socket_directories": "",
            "max_connections": 200,
            "fsync": "off",
            "full_page_writes": "off",
            "synchronous_commit": "off",
        }
        options = [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
        log = Path(folder) / "log"
        server = Server("PostgreSQL", [postgres, "-D", data, *options], log, cwd=folder, **as_user)
        url = f"postgres://postgres@127.0.0.1:{port}/postgres"
        try:
            server.wait_until(lambda: postgres_problem(url) is None)
            yield url
        finally:
            server.stop(signal.SIGINT)  # "fast": ends sessions instead of waiting for them


@contextlib.contextmanager
def private_redis():
    """Yield the URL of an empty Redis that keeps nothing on disk."""
    program = shutil.which("redis-server")
    if not program:
        raise ServerFailed("redis-server is missing. Install it: apt-get install redis-server")
    with tempfile.TemporaryDirectory(prefix="damperbook-redis-") as folder:
        port = free_port()
        options = ["--port", port, "--bind", "127.0.0.1", "--save", "", "--appendonly", "no", "--dir", folder]
        server = Server("Redis", [program, *options], Path(folder) / "log")
        url = f"redis://127.0.0.1:{port}/0"
        try:
            server.wait_until(lambda: redis_problem(url) is None)
            yield url
        finally:
            server.stop()


def postgres_problem(url):
    """Why the tests cannot use the server at url; None when they can."""
    try:
        with psycopg.connect(url, connect_timeout=3) as connection:
            may = connection.execute(
                "SELECT rolcreatedb OR rolsuper FROM pg_roles WHERE rolname = current_user"
            ).fetchone()[0]
    except psycopg.Error as error:
        return str(error).strip().splitlines()[0]
    return None if may else "its user may not create databases"


def redis_problem(url):
    try:
        with redis.Redis.from_url(url, socket_connect_timeout=3, socket_timeout=3) as client:
            client.ping()
    except (redis.RedisError, ValueError) as error:
        return str(error)
    return None


# --- A real worker --------------------------------------------------------------------------------------------------


def database_of_this_test():
    """URL of the database that the running test uses, for a process that has to see the same rows."""
    from django.db import connection

    database = connection.settings_dict
    if connection.vendor == "sqlite":
        if connection.is_in_memory_db():
            raise ServerFailed("The test database is in memory, where no other process can see it; give it a file.")
        return f"sqlite:///{database['NAME']}"
    login = quote(database["USER"], safe="")
    if database["PASSWORD"]:
        login += f":{quote(database['PASSWORD'], safe='')}"
    place = f"{database['HOST'] or '127.0.0.1'}:{database['PORT'] or 5432}"
    return f"postgres://{login}@{place}/{quote(str(database['NAME']), safe='')}"


def make_worker(folder, number=1, *options, **environment):
    """A ready `celery worker` on the running test's database and queue; environment adds DAMPERBOOK_* variables."""
    name = f"worker{number}"
    command = [sys.executable, "-m", "celery", "--app", "shop", "worker", "--concurrency", "1"]
    command += [
        "--hostname",
        f"{name}@localhost",
        "--without-gossip",
        "--without-mingle",
        "--without-heartbeat",
        *options,
    ]
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "shop.settings",
        "DAMPERBOOK_DATABASE_URL": database_of_this_test(),
        "DAMPERBOOK_LOG_LEVEL": "INFO",  # the worker says in its log when it is ready
        **environment,
    }
    worker = Server(name, command, Path(folder) / f"{name}.log", cwd=ROOT, env=environment)
    try:
        worker.wait_until(lambda: f"{name}@localhost ready." in worker.said())
    except BaseException:
        worker.stop()
        raise
    return worker


@pytest.fixture
def start_worker(transactional_db, tmp_path):
    """Start real workers: start_worker(DAMPERBOOK_SMTP_URL=smtp_server.url). All are stopped after the test.

    Needs real commits, hence transactional_db; a test that uses it is marked serial.
    """
    with contextlib.ExitStack() as stack:

        def start(*options, **environment):
            start.count += 1
            worker = make_worker(tmp_path, start.count, *options, **environment)
            stack.callback(worker.stop, signal.SIGKILL)  # nothing of its work is wanted any more
            return worker

        start.count = 0
        yield start


# --- A real mail server ---------------------------------------------------------------------------------------------


class SmtpServer:
    """Accepts every letter and keeps it: `messages` holds email.message.Message objects in the order they came."""

    def __init__(self):
        from aiosmtpd.handlers import Message

        outer = self

        class Keep(Message):
            def handle_message(self, message):
                with outer._changed:
                    outer.messages.append(message)
                    outer._changed.notify_all()

        self.messages = []
        self._changed = threading.Condition()
        self._controller = Controller(Keep(), hostname="127.0.0.1", port=free_port())

    @property
    def url(self):
        return f"smtp://127.0.0.1:{self._controller.port}"

    def wait_for(self, count, within=READY_WITHIN):
        """The messages, as soon as there are at least count of them."""
        with self._changed:
            if not self._changed.wait_for(lambda: len(self.messages) >= count, within):
                raise AssertionError(f"{len(self.messages)} of {count} letters came within {within} s")
            return list(self.messages)

    def __enter__(self):
        self._controller.start()
        return self

    def __exit__(self, *exc):
        self._controller.stop()


@pytest.fixture
def smtp_server():
    """A real SMTP server on this machine; X-RcptTo of each message holds the envelope's recipients."""
    with SmtpServer() as server:
        yield server
