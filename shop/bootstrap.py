"""Set-up behind the Makefile: from Python, make and this folder to a working .venv; refuses early, in one sentence.

Runs before anything is installed, so: standard library only, and words that Python 3.8 can still read, to tell its
owner that it is too old.
"""

from __future__ import annotations

import ctypes
import errno
import fcntl
import hashlib
import importlib.util
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from pathlib import Path
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parent.parent
VAR = Path(os.environ.get("DAMPERBOOK_VAR") or ROOT / "var").resolve()
VENV = ROOT / ".venv"
OLDEST_PYTHON = (3, 11)

# What WeasyPrint 70 loads at its start (weasyprint/text/ffi.py), by Linux and by macOS name, and Debian's package.
LIBRARIES = [
    (("libgobject-2.0.so.0", "libgobject-2.0.0.dylib"), "libpango-1.0-0"),
    (("libpango-1.0.so.0", "libpango-1.0.dylib"), "libpango-1.0-0"),
    (("libharfbuzz.so.0", "libharfbuzz.0.dylib"), "libpango-1.0-0"),
    (("libharfbuzz-subset.so.0", "libharfbuzz-subset.0.dylib"), "libharfbuzz-subset0"),
    (("libpangoft2-1.0.so.0", "libpangoft2-1.0.dylib"), "libpangoft2-1.0-0"),
]
FONTCONFIG = ("libfontconfig.so.1", "libfontconfig.1.dylib")

# The demo shop: invented, and nobody's. Only what is not set already; what could reach a real shop is taken away.
DEMO_SHOP = {
    "DAMPERBOOK_SHOP_NAME": "Larkspur Gulch Powersports",
    "DAMPERBOOK_SHOP_ADDRESS": "12 Quarry Road, Larkspur Gulch",
    "DAMPERBOOK_SHOP_PHONE": "555-0100",
    "DAMPERBOOK_SHOP_EMAIL": "bench@example.com",
    "DAMPERBOOK_TIME_ZONE": "America/Denver",
    "DAMPERBOOK_ORDER_PREFIX": "LG",
    "DAMPERBOOK_SHOP_ALTITUDE": "1320 m",
    "DAMPERBOOK_GAUGE_VOLUME": "4 mL",
}
NOT_IN_THE_DEMO = {
    f"DAMPERBOOK_{name}"
    for name in ("MODE", "DATABASE_URL", "REDIS_URL", "SMTP_URL", "SECRET_KEY", "ALLOWED_HOSTS", "BEHIND_PROXY")
}


class Refusal(Exception):
    """Something is missing or in the way; the text says what and how to go on."""


def end_with_parent():
    """For preexec_fn: on Linux the child is told to end when its parent was killed and could not tell it."""
    if sys.platform == "linux":
        set_death_signal = 1  # PR_SET_PDEATHSIG, prctl(2)
        ctypes.CDLL(None).prctl(set_death_signal, signal.SIGTERM)


def say(text):
    print(text, flush=True)


# --- What has to be right before anything is made -------------------------------------------------------------------


def check_python(version=sys.version_info):
    if tuple(version[:2]) >= OLDEST_PYTHON:
        return
    newer = [name for name in ("python3.13", "python3.12", "python3.11") if shutil.which(name)]
    way = f"Run the same command with PYTHON={newer[0]} added." if newer else "Install a newer one and run this again."
    raise Refusal(f"Damperbook needs Python 3.11 or newer, and this is {version[0]}.{version[1]}. {way}")


def check_writable():
    """The virtual environment and the data live in this folder, so it has to take files, and the old ones be ours."""
    for folder in (ROOT, VAR):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                pass
        except OSError as error:
            raise Refusal(
                f"Cannot write in {folder} ({error.strerror.lower()}). Damperbook keeps its set-up and its data in its "
                "own folder: copy it to a place that you may write to, and run this again there."
            ) from None
    for path in [*VAR.iterdir(), *VAR.glob("log/*")]:
        if not os.access(path, os.W_OK):
            raise Refusal(
                f"Cannot write to {path}, which belongs to another user. Run this as that user, or make the folder "
                f"yours: sudo chown -R {os.geteuid()} {VAR}"
            )


def check_port(text):
    """The port as a number, when a server may listen on it on this machine."""
    if not (text.isascii() and text.isdigit() and 0 < int(text) < 65536):
        raise Refusal(f"PORT is {text!r}; allowed is a whole number from 1 to 65535, such as: make demo PORT=8001")
    port = int(text)
    problem = _cannot_listen(port)
    if problem is None:
        return port
    other = next((one for one in range(max(port, 1024) + 1, 65536) if _cannot_listen(one) is None), 8000)
    what = "is in use by another program" if problem == errno.EADDRINUSE else "may not be used by this user"
    raise Refusal(f"Port {port} {what}. Choose another one: make demo PORT={other}")


def _cannot_listen(port):
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            return error.errno
    return None


def hold_demo_lock(address):
    """One demo per folder. The lock is the open file, kept through exec; it is let go when the demo ends."""
    lock = os.open(VAR / "demo.lock", os.O_RDWR | os.O_CREAT, 0o644)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        running = os.read(lock, 200).decode() or "starting"
        os.close(lock)
        raise Refusal(
            f"The demo of this folder is running already ({running}). Use that one, or stop it first."
        ) from None
    os.ftruncate(lock, 0)
    os.write(lock, f"{address}, process {os.getpid()}".encode())
    os.set_inheritable(lock, True)
    return lock


# --- System packages ------------------------------------------------------------------------------------------------


def _load(names):
    for name in names:
        try:
            return ctypes.CDLL(name)
        except OSError:
            continue
    return None


def _has_outline_font():
    """Whether fontconfig finds a scalable font for running text."""
    fontconfig = _load(FONTCONFIG)
    if fontconfig is None:
        return False
    fontconfig.FcNameParse.restype = fontconfig.FcFontMatch.restype = ctypes.c_void_p
    fontconfig.FcInitReinitialize()
    pattern = ctypes.c_void_p(fontconfig.FcNameParse(b"sans-serif:scalable=true"))
    fontconfig.FcConfigSubstitute(None, pattern, 0)
    fontconfig.FcDefaultSubstitute(pattern)
    result, scalable = ctypes.c_int(), ctypes.c_int()
    found = ctypes.c_void_p(fontconfig.FcFontMatch(None, pattern, ctypes.byref(result)))
    return (
        bool(found)
        and fontconfig.FcPatternGetBool(found, b"scalable", 0, ctypes.byref(scalable)) == 0
        and scalable.value == 1
    )


def find_postgres(program):
    """Path of one of PostgreSQL's server programs; Debian keeps them beside each version, outside the search path."""
    versions = sorted(
        Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: path.parent.name.zfill(4), reverse=True
    )
    for folder in versions:
        if (folder / program).exists():
            return str(folder / program)
    return shutil.which(program)


def packages_for_running():
    """Debian packages that the site needs and this machine lacks."""
    missing = []
    if not VENV.exists() and importlib.util.find_spec("ensurepip") is None:
        missing.append("python{}.{}-venv".format(*sys.version_info))
    missing += [package for names, package in LIBRARIES if _load(names) is None]
    if not _has_outline_font():
        missing.append("fonts-dejavu-core")
    return list(dict.fromkeys(missing))


def packages_for_testing():
    """Debian packages that the tests need besides."""
    programs = {"chromium": "chromium", "pdftotext": "poppler-utils", "pdftoppm": "poppler-utils"}
    missing = [package for program, package in programs.items() if not shutil.which(program)]
    private = os.environ.get("DAMPERBOOK_TEST_PRIVATE") == "1"
    if (private or not _listens("DAMPERBOOK_TEST_DATABASE_URL", 5432)) and not find_postgres("initdb"):
        missing.append("postgresql")
    if (private or not _listens("DAMPERBOOK_TEST_REDIS_URL", 6379)) and not shutil.which("redis-server"):
        missing.append("redis-server")
    return list(dict.fromkeys(missing))


def _listens(variable, port):
    address = urlsplit(os.environ.get(variable, ""))
    try:
        socket.create_connection((address.hostname or "127.0.0.1", address.port or port), timeout=3).close()
    except (OSError, ValueError):
        return False
    return True


def install_packages(find_missing):
    """Install what find_missing() names: as root at once, otherwise by telling the line to run."""
    missing = find_missing()
    if not missing:
        return
    line = f"apt-get install --no-install-recommends {' '.join(missing)}"
    if not shutil.which("apt-get"):
        raise Refusal(
            "Damperbook needs more of this system. On Debian the packages are called "
            f"{', '.join(missing)}: install what is the same here, then run this again."
        )
    if os.geteuid() != 0:
        raise Refusal(f"Damperbook needs more of this system. Install it, then run this again:\n  sudo {line}")
    say(f"Installing system packages: {' '.join(missing)}")
    # RUNLEVEL keeps a freshly installed database server from being started for good: the tests start one of their own.
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive", "RUNLEVEL": "1"}
    run(["apt-get", "update"], "Asking for the list of system packages", env=environment)
    run([*line.split(), "--yes"], "Installing system packages", env=environment)
    if still := find_missing():
        raise Refusal(
            f"These system packages are installed and still do not work: {', '.join(still)}. See {log_path()}."
        )


# --- The virtual environment ----------------------------------------------------------------------------------------


def log_path():
    return VAR / "log" / "setup.log"


def run(command, doing, **kwargs):
    """Run quietly, all output to the set-up log; a failure shows the log's last lines."""
    log_path().parent.mkdir(parents=True, exist_ok=True)
    with log_path().open("a+b") as log:
        start = log.tell()
        log.write(f"$ {' '.join(map(str, command))}\n".encode())
        log.flush()
        done = subprocess.run(
            command, check=False, stdin=subprocess.DEVNULL, stdout=log, stderr=log, cwd=ROOT, **kwargs
        )
        log.seek(start)
        said = log.read().decode(errors="replace").splitlines()
    if done.returncode:
        last = "\n".join(f"  {line}" for line in said[-12:])
        raise Refusal(f"{doing} did not work. It ended with:\n{last}\nAll of it is in {log_path()}.")


def venv_python():
    return VENV / "bin" / "python"


def _venv_works():
    try:
        asked = [str(venv_python()), "-c", "import pip, sys; sys.exit(sys.version_info < (3, 11))"]
        return subprocess.run(asked, check=False, stderr=subprocess.DEVNULL).returncode == 0
    except OSError:
        return False


def make_venv():
    if not _venv_works():
        say("Making the virtual environment in .venv")
        run([sys.executable, "-m", "venv", "--clear", VENV], "Making the virtual environment")


def install_requirements(name):
    """Install a lock file, unless exactly this one is installed already."""
    requirements = ROOT / name
    digest = hashlib.sha256(requirements.read_bytes()).hexdigest()
    stamp = VENV / f".installed-{requirements.stem}"
    if stamp.exists() and stamp.read_text() == digest:
        return
    say(f"Installing the packages of {name}; the first time this takes a minute or two")
    options = ["--quiet", "--no-input", "--disable-pip-version-check", "--require-hashes", "--no-deps"]
    command = [venv_python(), "-m", "pip", "install", *options, "-r", requirements]
    run(command, f"Installing the packages of {name}")
    stamp.write_text(digest)


# --- Commands -------------------------------------------------------------------------------------------------------


def demo_environment(environ, port):
    """Environment of the demo: on this machine, on SQLite, mail into files, whatever the surroundings say."""
    kept = {name: value for name, value in environ.items() if name not in NOT_IN_THE_DEMO}
    here = {"DAMPERBOOK_DEMO": "1", "DAMPERBOOK_SITE_URL": f"http://127.0.0.1:{port}", "DAMPERBOOK_VAR": str(VAR)}
    return {**DEMO_SHOP, **kept, **here}


def demo():
    wanted = os.environ.get("PORT") or "8000"
    hold_demo_lock(f"http://127.0.0.1:{wanted}/")
    port = check_port(wanted)
    install_packages(packages_for_running)
    make_venv()
    install_requirements("requirements.txt")
    go_on_as([venv_python(), "manage.py", "demo"], demo_environment(os.environ, port))


def tools():
    """What the linters, the measurements and the lock need."""
    install_packages(packages_for_running)
    make_venv()
    install_requirements("requirements-dev.txt")


def test(*arguments):
    install_packages(lambda: packages_for_running() + packages_for_testing())
    make_venv()
    install_requirements("requirements-dev.txt")
    go_on_as([venv_python(), "-m", "tests.run", *arguments], os.environ)


def go_on_as(command, environ):
    """Become the command: signals and the exit code are then its own."""
    os.chdir(ROOT)
    os.execve(command[0], [str(part) for part in command], dict(environ))


def main(arguments):
    commands = {"demo": demo, "tools": tools, "test": test}
    try:
        check_python()
        check_writable()
        commands[arguments[0]](*arguments[1:])
    except Refusal as refusal:
        print(refusal, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nStopped during set-up. Run the same command again to go on.", file=sys.stderr)
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
