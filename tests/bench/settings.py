"""Settings of the measurements: those of the tests, and the bare views that the real ones are held against."""

from tests.settings import *  # noqa: F403

ROOT_URLCONF = "tests.bench.urls"
