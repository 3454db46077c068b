"""Where files wait, and how far one has come: both below the media folder, which pages and workers share.

A transaction that is at work shows nothing of itself, and on SQLite it bars every other that writes. So how far it has
come stands in a file beside the one it reads.
"""

import hashlib
import time
import uuid
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path

from django.core.files.storage import default_storage

FOLDER = "imports"
MOST_BYTES = 10_000_000
TOLD_EVERY = 0.2  # seconds
ORPHAN_AFTER = timedelta(days=1)


@dataclass(frozen=True)
class Upload:
    """A file as it came: str() is its digest, by which the same one sent twice is known."""

    name: str
    content: bytes

    @cached_property
    def digest(self) -> str:
        return hashlib.sha256(self.content).hexdigest()

    def __str__(self):
        return self.digest


def keep(upload: Upload) -> str:
    """Write the file; answers its name below the media folder."""
    stored_as = f"{FOLDER}/{uuid.uuid4().hex}"
    path = path_of(stored_as)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        path.chmod(0o600)
        file.write(upload.content)
    return stored_as


def path_of(stored_as: str) -> Path:
    return Path(default_storage.path(stored_as))


def digest_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def forget(stored_as: str) -> None:
    for path in (path_of(stored_as), _told_in(stored_as)):
        path.unlink(missing_ok=True)


def forget_orphans(known: set[str], now: datetime) -> None:
    """Delete files that no import names: their transaction never came to its end."""
    folder = path_of(FOLDER)
    names = {Path(one).name for one in known}
    for path in folder.iterdir() if folder.is_dir() else ():
        with suppress(FileNotFoundError):
            if path.stem not in names and path.stat().st_mtime < (now - ORPHAN_AFTER).timestamp():
                path.unlink()


def _told_in(stored_as: str) -> Path:
    return path_of(f"{stored_as}.rows")


class Progress:
    """How many of all rows are done, told a few times a second."""

    def __init__(self, stored_as: str, total: int):
        self._path, self._total, self._told_at = _told_in(stored_as), total, 0.0
        self.tell(0)

    def tell(self, done: int) -> None:
        if done < self._total and time.monotonic() - self._told_at < TOLD_EVERY:
            return
        self._told_at = time.monotonic()
        draft = self._path.with_suffix(".new")
        draft.write_text(f"{done} {self._total}")
        draft.replace(self._path)


def progress_of(stored_as: str) -> tuple[int, int] | None:
    """(done, all) of an import at work; None while nothing is known."""
    try:
        done, total = _told_in(stored_as).read_text().split()
        return int(done), int(total)
    except (OSError, ValueError):
        return None
