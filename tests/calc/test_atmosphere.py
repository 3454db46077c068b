"""Ambient pressure from altitude: US Standard Atmosphere 1976, ISO 2533."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.calc.atmosphere import standard_pressure, standard_temperature
from shop.calc.errors import OutOfRange

from .reference import rows


@pytest.mark.parametrize("row", rows("standard_atmosphere"))
def test_pressure_and_temperature_at_altitude(row):
    """Source: US Standard Atmosphere 1976 / ISO 2533:1975; 0.5 Pa and 0.001 K."""
    altitude, geopotential = float(row["altitude_m"]), row["altitude_kind"] == "geopotential"
    pressure = standard_pressure(altitude, geopotential=geopotential)
    assert pressure == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))
    temperature = standard_temperature(altitude, geopotential=geopotential)
    assert temperature == pytest.approx(float(row["expected_temperature_k"]), abs=float(row["tolerance_temperature_k"]))


@given(st.floats(-500, 8999))
def test_higher_is_thinner_and_colder(altitude):
    assert standard_pressure(altitude) > standard_pressure(altitude + 1)
    assert standard_temperature(altitude) > standard_temperature(altitude + 1)


def test_a_map_shows_geometric_altitude():
    """The two kinds differ by 16 Pa at 3500 m."""
    assert standard_pressure(3500) - standard_pressure(3500, geopotential=True) == pytest.approx(16, abs=1)
    # 3500 m on the map are 3498.1 m of geopotential: 0.0125 K of the lapse.
    warmer = standard_temperature(3500) - standard_temperature(3500, geopotential=True)
    assert warmer == pytest.approx(0.0125, abs=1e-4)


@pytest.mark.parametrize("altitude", [-500.1, 9000.1, math.nan, math.inf, "1500", None, True])
def test_an_altitude_no_bench_stands_at_is_refused(altitude):
    with pytest.raises(OutOfRange, match="Altitude cannot be"):
        standard_pressure(altitude)


@pytest.mark.parametrize("altitude", [-500, 9000])
def test_the_ends_of_the_range_are_good(altitude):
    assert 30_000 < standard_pressure(altitude) < 108_000
