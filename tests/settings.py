"""Settings of the test run: the site's own, on the servers that tests/run.py names, with cheap password hashes."""

import atexit
import os
import shutil
import tempfile

if "DAMPERBOOK_VAR" not in os.environ:
    os.environ["DAMPERBOOK_VAR"] = tempfile.mkdtemp(prefix="damperbook-test-")
    atexit.register(shutil.rmtree, os.environ["DAMPERBOOK_VAR"], ignore_errors=True)
# Names of this run's own: two runs on one server do not meet. Workers of the same run inherit them.
os.environ.setdefault("DAMPERBOOK_REDIS_KEY_PREFIX", f"damperbook-test-{os.getpid()}:")
os.environ.setdefault("DAMPERBOOK_DATABASE_URL", f"postgres://postgres@127.0.0.1:5432/damperbook_{os.getpid()}")
os.environ.setdefault("DAMPERBOOK_REDIS_URL", "redis://127.0.0.1:6379/15")
os.environ.update(
    DAMPERBOOK_SHOP_NAME="Larkspur Gulch Powersports",
    DAMPERBOOK_SHOP_ADDRESS="12 Quarry Road, Larkspur Gulch",
    DAMPERBOOK_SHOP_PHONE="555-0100",
    DAMPERBOOK_SHOP_EMAIL="bench@example.com",
    DAMPERBOOK_ORDER_PREFIX="LG",
    DAMPERBOOK_TIME_ZONE="America/Denver",
    DAMPERBOOK_SITE_URL="http://127.0.0.1:8000",
    DAMPERBOOK_LOG_LEVEL="WARNING",
)

from shop.settings import *  # noqa: F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}  # noqa: F405
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = True
# Each test run counts tries to log in for itself; tests/conftest.py begins anew with every test.
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
ALLOWED_HOSTS = ["127.0.0.1", "localhost", "testserver"]
# Threads and children of a test would keep theirs open; on SQLite they need a file to meet in.
DATABASES["default"]["CONN_MAX_AGE"] = 0  # noqa: F405
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):  # noqa: F405
    DATABASES["default"]["TEST"] = {"NAME": VAR / "test.sqlite3"}  # noqa: F405
