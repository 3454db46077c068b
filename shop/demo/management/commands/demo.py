"""The demo shop as one program: web server, worker and scheduler as children that end with it."""

import ctypes
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
                preexec_fn=end_with_parent,  # noqa: PLW1509, no threads here
            )

    def check(self):
        code = self.process.poll()
        if code is not None:
            how = f"exit code {code}" if code >= 0 else f"signal {-code}"
            raise Failed(f"The {self.name} stopped by itself ({how}). The end of {self.log}:\n{self.last_lines()}")

    def last_lines(self, count=20):
        lines = self.log.read_text(errors="replace").splitlines()
        return "\n".join(f"  {line}" for line in lines[-count:]) or "  (it is empty)"

    def kill(self):
        try:
            os.killpg(self.process.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass


def end_with_parent():
    """Linux: have the child told to end when the demo itself is killed and cannot tell it."""
    if sys.platform == "linux":
        set_death_signal = 1  # PR_SET_PDEATHSIG, prctl(2)
        ctypes.CDLL(None).prctl(set_death_signal, signal.SIGTERM)


def make_children(port):
    gunicorn = [sys.executable, "-m", "gunicorn", "shop.wsgi:application", "--bind", f"127.0.0.1:{port}"]
    gunicorn += ["--worker-class", "gthread", "--workers", "2", "--threads", "4"]
    gunicorn += ["--timeout", "60", "--graceful-timeout", "5", "--no-control-socket"]
    # One worker with the scheduler inside. What workers tell each other would only pile up in the queue's folder.
    celery = [sys.executable, "-m", "celery", "--app", "shop", "worker", "--beat", "--concurrency", "1"]
    celery += ["--without-gossip", "--without-mingle", "--without-heartbeat"]
    return [Child("web server", "web.log", gunicorn), Child("worker with the scheduler", "worker.log", celery)]


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


def collect_static_files():
    """Collect and compress, which takes seconds, only when a file has changed."""
    files = [
        f"{path} {stat.st_size} {stat.st_mtime_ns}"
        for finder in get_finders()
        for path, storage in finder.list([])
        for stat in [os.stat(storage.path(path))]
    ]
    digest = hashlib.sha256("\n".join(files).encode()).hexdigest()
    stamp = settings.VAR / "static.collected"
    if not (settings.STATIC_ROOT.is_dir() and stamp.exists() and stamp.read_text() == digest):
        call_command("collectstatic", interactive=False, clear=True, verbosity=0)
        stamp.write_text(digest)


class Command(BaseCommand):
    help = "Run the demo shop: web server, worker and scheduler together. Started by: make demo"

    def handle(self, **options):
        if not settings.DEMO:
            raise CommandError("The demo shop is started with: make demo")
        for name in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(name, signal.default_int_handler)
        children = []
        try:
            self.prepare()
            children = make_children(urlsplit(settings.SITE_URL).port)
            self.serve(children)
        except KeyboardInterrupt:
            self.say("\nStopping.")
        except Failed as failure:
            raise CommandError(str(failure)) from None
        finally:
            stop(children)
        self.say(f"Stopped. The data is kept in {shown(settings.VAR)}; make demo goes on with it.")

    def prepare(self):
        self.say("Preparing the database")
        call_command("migrate", interactive=False, verbosity=0)
        call_command("load_demo")
        self.say("Preparing the pages")
        collect_static_files()

    def serve(self, children):
        self.say("Starting web server, worker and scheduler")
        for child in children:
            child.start()
        port = urlsplit(settings.SITE_URL).port
        deadline = time.monotonic() + READY_WITHIN
        answer = None
        while answer is None or answer[0] != 200:
            if time.monotonic() > deadline:
                raise Failed(
                    f"The site was not ready within {READY_WITHIN} seconds. Asked for /readyz it last said: "
                    f"{answer[1] if answer else 'nothing'}\nThe logs are in {shown(settings.VAR / 'log')}."
                )
            for child in children:
                child.check()
            time.sleep(0.1)
            answer = readiness(port)
        self.welcome()
        while True:
            for child in children:
                child.check()
            time.sleep(0.5)

    def welcome(self):
        self.say(f"\nDamperbook is running:  {settings.SITE_URL}/\n")
        self.say(f"Data is kept in {shown(settings.VAR)}, logs in {shown(settings.VAR / 'log')}. Stop with Ctrl-C.")

    def say(self, text):
        self.stdout.write(text)
        self.stdout.flush()


def shown(path):
    """A folder the way a reader standing in the project's folder would write it."""
    return f"{os.path.relpath(path, settings.BASE_DIR)}/" if path.is_relative_to(settings.BASE_DIR) else f"{path}/"
