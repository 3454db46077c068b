"""The shop's day at a moment, by its own time zone."""

from datetime import datetime

import pytest

from shop.core.clock import local_day
from tests.calc.reference import rows


@pytest.mark.parametrize("row", rows("calendar", "utc_to_local"))
def test_a_moment_falls_on_the_day_that_the_wall_clock_shows(row, settings):
    """Source: IANA time zone database, PEP 495; exact."""
    settings.TIME_ZONE = row["zone"]
    assert local_day(datetime.fromisoformat(row["input"])).isoformat() == row["expected"][:10]


@pytest.mark.parametrize("row", rows("calendar", "local_to_utc"))
def test_the_days_of_a_wall_clock_come_back_from_utc(row, settings):
    """Source: IANA time zone database, PEP 495; exact, the hours that come twice or never included."""
    settings.TIME_ZONE = row["zone"]
    assert local_day(datetime.fromisoformat(row["expected"])).isoformat() == row["input"][:10]
