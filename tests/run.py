"""`make test`: the whole suite on PostgreSQL and Redis, then the main flows on the embedded default.

A running PostgreSQL and Redis are used when they can be (DAMPERBOOK_TEST_DATABASE_URL, DAMPERBOOK_TEST_REDIS_URL), and
private ones are started otherwise, or always with DAMPERBOOK_TEST_PRIVATE=1. Arguments go to pytest.
"""

import argparse
import contextlib
import os
import secrets
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import urlsplit
from xml.etree import ElementTree

import psycopg
import redis
from psycopg import sql

from shop.bootstrap import ROOT
from tests.servers import ServerFailed, postgres_problem, private_postgres, private_redis, redis_problem

NO_TESTS = 5  # pytest's exit code


def find_server(stack, name, variable, default, problem, private):
    """URL of a server for the tests: the running one, or one that ends with the stack."""
    wanted = os.environ.get(variable) or default
    if os.environ.get("DAMPERBOOK_TEST_PRIVATE") == "1":
        why = "asked for"
    elif why := problem(wanted):
        if os.environ.get(variable):
            raise ServerFailed(f"{variable} names a {name} that the tests cannot use: {why}")
    else:
        print(f"{name}: the running one")
        return wanted
    url = stack.enter_context(private())
    print(f"{name}: a private one ({why})")
    return url


def drop_left_behind(url):
    """Drop the databases of runs that were killed: nobody is connected to them, and their process is gone."""
    if not is_here(url):
        return
    with psycopg.connect(url, autocommit=True) as connection:
        found = connection.execute(
            "SELECT datname FROM pg_database WHERE datname ~ '^test_damperbook_[0-9]+(_gw[0-9]+)?$'"
        )
        for (database,) in found.fetchall():
            if not is_running(int(database.split("_")[2])):
                with contextlib.suppress(psycopg.errors.ObjectInUse):
                    connection.execute(sql.SQL("DROP DATABASE IF EXISTS {}").format(sql.Identifier(database)))


def is_here(url):
    """Whether the server is on this machine, so that process ids in its names mean something."""
    return urlsplit(url).hostname in ("127.0.0.1", "localhost", "::1")


def is_running(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        pass
    return True


@contextlib.contextmanager
def own_database(url):
    """Yield url with a name of this run's own, so that two runs on one server never meet; drop what was made."""
    name = f"damperbook_{os.getpid()}"
    parts = urlsplit(url)
    drop_left_behind(url)
    try:
        yield parts._replace(path=f"/{name}").geturl()
    finally:
        with psycopg.connect(url, autocommit=True) as connection:
            made = connection.execute("SELECT datname FROM pg_database WHERE datname LIKE %s", [f"test\\_{name}%"])
            for (database,) in made.fetchall():
                connection.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(database)))


@contextlib.contextmanager
def own_keys(url):
    """Yield a key prefix of this run's own; delete what was written under it, or by runs that were killed."""
    prefix = f"damperbook-test-{os.getpid()}:"
    try:
        yield prefix
    finally:
        with redis.Redis.from_url(url, decode_responses=True) as client:
            for key in client.scan_iter("damperbook-test-*"):
                left_behind = is_here(url) and not is_running(int(key.partition(":")[0].rpartition("-")[2]))
                if key.startswith(prefix) or left_behind:
                    client.delete(key)


def clean_environment(folder):
    """The surroundings less every setting of a site, so that nobody's own settings change the tests."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("DAMPERBOOK_")}
    return {**kept, "DAMPERBOOK_VAR": str(folder), "DAMPERBOOK_SECRET_KEY": secrets.token_urlsafe(50)}


class Suite:
    """Calls of pytest that belong together, and what came of them."""

    def __init__(self, arguments, reports):
        parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
        parser.add_argument("-m", dest="marks")
        self.given, self.arguments = parser.parse_known_args(arguments)
        self.whole = not arguments
        self.reports = reports
        self.wrong = []
        self.figures = []

    def run(self, title, marks, environment, *options):
        """Run the tests with these marks. In a whole run each call has to find tests; in a part of it, one of them."""
        print(f"\n=== {title}", flush=True)
        if self.given.marks:
            marks = f"({marks}) and ({self.given.marks})"
        report = self.reports / f"{len(self.figures)}.xml"
        command = [sys.executable, "-m", "pytest", "-m", marks, f"--junitxml={report}", *options, *self.arguments]
        code = subprocess.run(command, check=False, cwd=ROOT, env=environment).returncode
        figures = count(report)
        self.figures.append(figures)
        if code == NO_TESTS and not self.whole:
            return
        if code:
            self.wrong.append(f"{title}: pytest ended with {code}")
        elif figures["skipped"]:
            self.wrong.append(f"{title}: {figures['skipped']} skipped, and a test that cannot run is an error")

    def total(self, name):
        return sum(figures[name] for figures in self.figures)


def count(report):
    """Tests by outcome in a JUnit file; all zero when pytest did not get as far as writing it."""
    figures = dict.fromkeys(("passed", "failed", "skipped"), 0)
    if report.exists():
        for suite in ElementTree.parse(report).iter("testsuite"):
            failed = int(suite.get("failures")) + int(suite.get("errors"))
            skipped = sum(1 for skip in suite.iter("skipped") if skip.get("type") != "pytest.xfail")
            figures["failed"] += failed
            figures["skipped"] += skipped
            figures["passed"] += max(0, int(suite.get("tests")) - failed - skipped)
    return figures


def run_all(arguments):
    started = time.monotonic()
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="damperbook-tests-")))
        database = find_server(
            stack,
            "PostgreSQL",
            "DAMPERBOOK_TEST_DATABASE_URL",
            "postgres://postgres@127.0.0.1:5432/postgres",
            postgres_problem,
            private_postgres,
        )
        queue = find_server(
            stack,
            "Redis",
            "DAMPERBOOK_TEST_REDIS_URL",
            "redis://127.0.0.1:6379/15",
            redis_problem,
            private_redis,
        )
        servers = {
            **clean_environment(folder / "servers"),
            "DAMPERBOOK_DATABASE_URL": stack.enter_context(own_database(database)),
            "DAMPERBOOK_REDIS_URL": queue,
            "DAMPERBOOK_REDIS_KEY_PREFIX": stack.enter_context(own_keys(queue)),
        }
        # Empty, not absent: absent means the tests' own default, which is PostgreSQL and Redis.
        embedded = {
            **clean_environment(folder / "embedded"),
            "DAMPERBOOK_DATABASE_URL": "",
            "DAMPERBOOK_REDIS_URL": "",
        }
        suite = Suite(arguments, folder)
        suite.run("On PostgreSQL and Redis", "not serial and not browser", servers, "-n", "2")
        suite.run("In Chromium", "browser and not serial", servers, "-n", "2")
        suite.run("On PostgreSQL and Redis, one at a time", "serial", servers)
        suite.run("The main flows on the embedded default", "flow", embedded)
    if not suite.total("passed") + suite.total("failed"):
        suite.wrong.append("No test was run: nothing matches the arguments")
    print(f"\nAll of it took {time.monotonic() - started:.0f} s.")
    for wrong in suite.wrong:
        print(f"Wrong: {wrong}.")
    print(f"{suite.total('passed')} passed, {suite.total('failed')} failed", flush=True)
    return 1 if suite.wrong else 0


def main(arguments):
    # A terminated run stops its servers like an interrupted one.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        return run_all(arguments)
    except ServerFailed as failure:
        print(f"The tests cannot run. {failure}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nStopped.", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
