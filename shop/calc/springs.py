"""Coil springs on a damper: rate, stacks, cross-over, preload. Rates in N/m, lengths in m, forces in N.

A compressed spring is a stored-energy hazard: stored_energy() is for the caution on the card.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from shop.calc.errors import OutOfRange, require

STEEL_SHEAR_PA = 79.3e9  # common practice for spring steel wire; data sheets give 77 to 82 GPa


@dataclass(frozen=True, slots=True)
class Spring:
    """A spring by its rate and its free length."""

    rate_n_per_m: float
    free_m: float

    def __post_init__(self):
        _rate("rate_n_per_m", self.rate_n_per_m)
        require("free_m", self.free_m, 0, 1, above=True, allowed="a free length above 0 and up to 1 m")


@dataclass(frozen=True, slots=True)
class Stack:
    """Two springs one on the other; spring 1 is the one whose shortening the cross-over stop limits to stop_m."""

    rate1_n_per_m: float
    rate2_n_per_m: float
    stop_m: float

    def __post_init__(self):
        _rate("rate1_n_per_m", self.rate1_n_per_m)
        _rate("rate2_n_per_m", self.rate2_n_per_m)
        require("stop_m", self.stop_m, 0, 1, above=True, allowed="a way to the stop above 0 and up to 1 m")

    @property
    def crossover_n(self) -> float:
        """Force at which spring 1 reaches its stop: k₁ s."""
        return self.rate1_n_per_m * self.stop_m

    @property
    def crossover_m(self) -> float:
        """Shortening of both springs together at the cross-over: s (k₁ + k₂) / k₂."""
        return self.stop_m * (self.rate1_n_per_m + self.rate2_n_per_m) / self.rate2_n_per_m

    def rate_at(self, compression_m: float) -> float:
        """Rate of the stack: series below the cross-over, spring 2 alone from there on."""
        if _length("compression_m", compression_m) < self.crossover_m:
            return series_rate([self.rate1_n_per_m, self.rate2_n_per_m])
        return self.rate2_n_per_m

    def force(self, preload_m: float, travel_m: float = 0.0) -> float:
        """Force in N at a damper travel, the stack shortened by preload_m at full extension."""
        compression = _length("preload_m", preload_m) + _length("travel_m", travel_m)
        if compression <= self.crossover_m:
            return series_rate([self.rate1_n_per_m, self.rate2_n_per_m]) * compression
        return self.crossover_n + self.rate2_n_per_m * (compression - self.crossover_m)


def coil_rate(wire_m: float, mean_coil_m: float, active_coils: float, shear_pa: float = STEEL_SHEAR_PA) -> float:
    """G d⁴ / (8 D³ n) in N/m. D is the MEAN coil diameter: outside diameter less one wire.

    Raises OutOfRange unless wire < mean coil diameter / 2, 1 to 50 coils, 10 to 120 GPa. Source: EN 13906-1.
    """
    mean = require("mean_coil_m", mean_coil_m, 0, 0.5, above=True, allowed="a diameter above 0 and up to 0.5 m")
    wire = require("wire_m", wire_m, 0, mean / 2, above=True, below=True, allowed="less than half the coil diameter")
    coils = require("active_coils", active_coils, 1, 50, allowed="1 to 50 active coils")
    shear = require("shear_pa", shear_pa, 10e9, 120e9, allowed="a shear modulus from 10 to 120 GPa")
    return shear * wire**4 / (8 * mean**3 * coils)


def series_rate(rates_n_per_m: Sequence[float]) -> float:
    """Rate of springs one on the other: 1 / Σ(1/k)."""
    return 1 / sum(1 / rate for rate in _rates(rates_n_per_m))


def parallel_rate(rates_n_per_m: Sequence[float]) -> float:
    """Rate of springs side by side or one inside the other: Σk."""
    return sum(_rates(rates_n_per_m))


def preload_force(rate_n_per_m: float, preload_m: float) -> float:
    """Force in N of a spring shortened by preload_m: k x."""
    return _rate("rate_n_per_m", rate_n_per_m) * _length("preload_m", preload_m)


def preload_length(rate_n_per_m: float, force_n: float) -> float:
    """Shortening in m that gives a preload force: F / k."""
    require("force_n", force_n, 0, 1e5, allowed="a force from 0 to 100000 N")
    return force_n / _rate("rate_n_per_m", rate_n_per_m)


def restored_ring_position(
    ring_m: float, preload_m: float, found: Spring, fitted: Spring, collar_change_m: float = 0.0
) -> float:
    """Where the ring must stand so that another spring or collar gives the preload force that was found.

    ring_m is the recorded length from the fixed datum to the ring, growing as the ring is turned toward the spring, and
    preload_m how far the found spring was shortened there. collar_change_m is new collar height less old.
    ring + (free₁ - x₁) - (free₂ - x₂) - collar change, with x₂ = k₁ x₁ / k₂ (Hooke's law). Raises OutOfRange when that
    place would lie before the datum or the fitted spring would have to be shortened to nothing.
    """
    ring_m = require("ring_m", ring_m, 0, 1, allowed="a length from 0 to 1 m")
    require("preload_m", preload_m, 0, found.free_m, below=True, allowed="less than the free length of the spring")
    require("collar_change_m", collar_change_m, -0.2, 0.2, allowed="a change from -0.2 to 0.2 m")
    shortened = preload_length(fitted.rate_n_per_m, preload_force(found.rate_n_per_m, preload_m))
    if shortened >= fitted.free_m:
        raise OutOfRange("preload_m", preload_m, "a preload that the fitted spring can give")
    ring = ring_m + (found.free_m - preload_m) - (fitted.free_m - shortened) - collar_change_m
    if ring < 0:
        raise OutOfRange("ring_m", ring_m, "a spring and collar that fit behind the datum")
    return ring


def stored_energy(rate_n_per_m: float, to_m: float, from_m: float = 0.0) -> float:
    """Energy in J that a spring takes up between two shortenings: k (x₁² - x₀²) / 2."""
    end = _length("to_m", to_m)
    start = require("from_m", from_m, 0, end, allowed="zero up to the larger shortening")
    return _rate("rate_n_per_m", rate_n_per_m) * (end**2 - start**2) / 2


def _rate(field: str, value: float) -> float:
    return require(field, value, 0, 1e7, above=True, allowed="a rate above 0 and up to 10000000 N/m")


def _rates(values: Sequence[float]) -> list[float]:
    if not values:
        raise OutOfRange("rates_n_per_m", "none", "at least one spring rate")
    return [_rate("rates_n_per_m", value) for value in values]


def _length(field: str, value: float) -> float:
    return require(field, value, 0, 1, allowed="a length from 0 to 1 m")
