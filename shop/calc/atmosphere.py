"""Pressure and temperature of the air around the bench, from its altitude.

US Standard Atmosphere 1976, the same as ISO 2533:1975 below 32 km. The weather moves the true pressure by some 3 kPa
either way; a gauge on a charged damper does not see that much.
"""

from shop.calc.errors import require

SEA_LEVEL_PA = 101_325.0
SEA_LEVEL_K = 288.15
LAPSE_K_PER_M = 0.0065
GRAVITY = 9.80665
GAS_CONSTANT_AIR = 8.31432 / 0.0289644  # J/(kg·K), the constants of the 1976 standard
EARTH_RADIUS_M = 6_356_766.0
LOWEST_M, HIGHEST_M = -500.0, 9000.0


def standard_pressure(altitude_m: float, *, geopotential: bool = False) -> float:
    """Ambient pressure in Pa at an altitude in m.

    p = p₀ (T / T₀)^(g₀ / (R L)). altitude_m is what a map shows (geometric) unless geopotential is set.
    Raises OutOfRange outside -500 to 9000 m. Source: US Standard Atmosphere 1976, ISO 2533.
    """
    temperature = standard_temperature(altitude_m, geopotential=geopotential)
    return SEA_LEVEL_PA * (temperature / SEA_LEVEL_K) ** (GRAVITY / (GAS_CONSTANT_AIR * LAPSE_K_PER_M))


def standard_temperature(altitude_m: float, *, geopotential: bool = False) -> float:
    """Temperature in K of the standard atmosphere: T₀ - L h. Altitude, range and source as standard_pressure."""
    altitude_m = require(
        "altitude_m", altitude_m, LOWEST_M, HIGHEST_M, allowed=f"an altitude from {LOWEST_M:g} to {HIGHEST_M:g} m"
    )
    height = altitude_m if geopotential else EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)
    return SEA_LEVEL_K - LAPSE_K_PER_M * height
