"""The clock of a process, moved by DAMPERBOOK_TEST_CLOCK_DAYS: `celery worker --include tests.moved_clock`."""

import os
from datetime import timedelta

from django.utils import timezone

_now = timezone.now
_moved = timedelta(days=int(os.environ["DAMPERBOOK_TEST_CLOCK_DAYS"]))

timezone.now = lambda: _now() + _moved
