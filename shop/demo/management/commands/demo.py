"""The demo shop as one program: web server, worker and scheduler as children that end with it."""

import contextlib
import hashlib
import http.client
import os
import signal
import subprocess
import sys
import time
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import BaseCommand, CommandError, call_command

from shop.bootstrap import end_with_parent
from shop.staff.demo_log_ins import LOG_INS
from shop.staff.models import User

READY_WITHIN = 90  # seconds, on a slow machine
STOP_WITHIN = 15


class Failed(Exception):
    """The demo cannot go on; the text says why and where to look."""


class Child:
    """A process that the demo needs, with a log of its own and no life of its own."""

    def __init__(self, name, log, command):
        self.name, self.command = name, command
        self.log = settings.VAR / "log" / log
        self.process = None

    def start(self):
        self.log.parent.mkdir(parents=True, exist_ok=True)
        if self.log.exists():
            self.log.replace(self.log.with_suffix(".log.1"))
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                self.command,
                cwd=settings.BASE_DIR,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,  # Ctrl-C reaches the demo alone, which then ends its children in order
                preexec_fn=end_with_parent,
            )

    def check(self):
        code = self.process.poll()
        if code is not None:
            how = f"exit code {code}" if code >= 0 else f"signal {-code}"
            raise Failed(f"The {self.name} stopped by itself ({how}). The end of {self.log}:\n{self.last_lines()}")

    def finish(self):
        if self.process.wait():
            self.check()

    def last_lines(self, count=20):
        lines = self.log.read_text(errors="replace").splitlines()
        return "\n".join(f"  {line}" for line in lines[-count:]) or "  (it is empty)"

    def kill(self):
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)


def web_server(port):
    command = [sys.executable, "-m", "gunicorn", "--config", "python:shop.gunicorn", "shop.wsgi:application"]
    command += ["--bind", f"127.0.0.1:{port}", "--threads", "4", "--graceful-timeout", "5"]
    return Child("web server", "web.log", command)


def worker():
    """One worker with the scheduler inside. What workers tell each other would only pile up in the queue's folder."""
    command = [sys.executable, "-m", "celery", "--quiet", "--app", "shop", "worker", "--beat", "--concurrency", "1"]
    command += ["--without-gossip", "--without-mingle", "--without-heartbeat"]
    return Child("worker with the scheduler", "worker.log", command)


def collector():
    command = [sys.executable, "manage.py", "collectstatic", "--noinput", "--clear", "--verbosity", "0"]
    return Child("collection of static files", "static.log", command)


def static_files_digest():
    """Changes when a static file does: its path, size or time of change."""
    files = [
        f"{path} {stat.st_size} {stat.st_mtime_ns}"
        for finder in get_finders()
        for path, storage in finder.list([])
        for stat in [os.stat(storage.path(path))]
    ]
    return hashlib.sha256("\n".join(files).encode()).hexdigest()


def stop(children):
    """End what runs, politely and then for certain; a second Ctrl-C skips the politeness."""
    running = [child for child in children if child.process]
    try:
        for child in running:
            child.process.terminate()
        deadline = time.monotonic() + STOP_WITHIN
        for child in running:
            child.process.wait(max(0, deadline - time.monotonic()))
    except (subprocess.TimeoutExpired, KeyboardInterrupt):
        pass
    finally:
        for child in running:
            child.kill()  # the whole group, so that no grandchild stays behind
            child.process.wait()


def readiness(port):
    """What /readyz says now: status and text, or None while nobody answers."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", "/readyz")
        answer = connection.getresponse()
        return answer.status, answer.read(2000).decode(errors="replace")
    except (OSError, http.client.HTTPException):
        return None
    finally:
        connection.close()


class Command(BaseCommand):
    help = "Run the demo shop: web server, worker and scheduler together. Started by: make demo"

    def handle(self, **options):
        if not settings.DEMO:
            raise CommandError("The demo shop is started with: make demo")
        for name in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(name, signal.default_int_handler)
        self.children = []
        try:
            self.prepare()
            self.serve()
        except KeyboardInterrupt:
            self.say("\nStopping.")
        except Failed as failure:
            raise CommandError(str(failure)) from None
        finally:
            stop(self.children)
        self.say(f"Stopped. The data is kept in {shown(settings.VAR)}; make demo goes on with it.")

    def prepare(self):
        """Tables, demo shop and static files. Compressing the files takes longest, so it goes on beside the rest."""
        digest, stamp, pages = static_files_digest(), settings.VAR / "static.collected", None
        if not (settings.STATIC_ROOT.is_dir() and stamp.exists() and stamp.read_text() == digest):
            stamp.unlink(missing_ok=True)
            pages = self.start(collector())
        self.say("Preparing the database")
        call_command("migrate", interactive=False, verbosity=0)
        if User.objects.exists() and not User.objects.filter(username=LOG_INS[0].username).exists():
            raise Failed(
                f"{shown(settings.VAR)} holds the book of a real shop, and the demo would let known passwords into it. "
                "Give the demo a folder of its own: make demo DAMPERBOOK_VAR=var-demo"
            )
        call_command("load_demo")
        if pages:
            self.say("Preparing the pages")
            pages.finish()
            stamp.write_text(digest)
            self.children.remove(pages)

    def start(self, child):
        self.children.append(child)
        child.start()
        return child

    def serve(self):
        """Run until stopped from outside or failed inside."""
        self.say("Starting web server, worker and scheduler")
        port = urlsplit(settings.SITE_URL).port
        self.start(web_server(port))
        self.start(worker())
        deadline = time.monotonic() + READY_WITHIN
        status, said = None, "nothing"
        while status != 200:
            if time.monotonic() > deadline:
                raise Failed(
                    f"The site was not ready within {READY_WITHIN} seconds. Asked for /readyz it last said: {said}\n"
                    f"The logs are in {shown(settings.VAR / 'log')}."
                )
            self.check_and_wait(0.1)
            status, said = readiness(port) or (status, said)
        self.welcome()
        while True:
            self.check_and_wait(0.5)

    def check_and_wait(self, seconds):
        for child in self.children:
            child.check()
        time.sleep(seconds)

    def welcome(self):
        self.say(f"\nDamperbook is running:  {settings.SITE_URL}/\n")
        self.say("  Log in as   Password             Bench PIN   Role")
        for one in LOG_INS:
            self.say(f"  {one.username:<12}{one.password:<21}{one.pin or '-':<12}{one.role.label}")
        self.say(f"\nData is kept in {shown(settings.VAR)}, logs in {shown(settings.VAR / 'log')}. Stop with Ctrl-C.")

    def say(self, text):
        self.stdout.write(text)
        self.stdout.flush()


def shown(path):
    """A folder the way a reader standing in the project's folder would write it."""
    return f"{os.path.relpath(path, settings.BASE_DIR)}/" if path.is_relative_to(settings.BASE_DIR) else f"{path}/"
