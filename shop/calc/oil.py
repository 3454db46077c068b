"""Damper oil: viscosity at temperature, index, grade, whether one bottle may stand in for another, volume and fill.

Viscosities are kinematic in mm²/s (the names say so), temperatures in K, volumes in m³. "5 weight" on a bottle is a
label, not a standard: compare viscosities.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from shop.calc.errors import OutOfRange, require
from shop.calc.gas import circle

AT_40_C, AT_100_C = 313.15, 373.15
BASE_K = 288.15  # 15 °C
EXPANSION_CONSTANT = 0.6278  # kg/(m³·K), lubricating oils; API MPMS 11.1 / ASTM D1250, from memory

# ISO 3448: grade and mid-point at 40 °C; limits are 10 % either side.
ISO_VG = {2: 2.2, 3: 3.2, 5: 4.6, 7: 6.8} | {
    grade: float(grade) for grade in (10, 15, 22, 32, 46, 68, 100, 150, 220, 320, 460, 680, 1000, 1500, 2200, 3200)
}

# ASTM D2270, appendix: L = a Y² + b Y + c and H = d Y² + e Y + f by ranges of Y, the viscosity at 100 °C. From memory;
# checked against the published examples and an independent table.
_D2270_FROM = (2.0, 3.8, 4.4, 5.0, 6.4, 7.0, 7.7, 9.0, 12.0, 15.0, 18.0, 22.0, 28.0, 40.0, 55.0, 70.0)
_D2270 = (
    (1.14673, 1.7576, -0.109, 0.84155, 1.5521, -0.077),
    (3.38095, -15.4952, 33.196, 0.78571, 1.7929, -0.183),
    (2.5000, -7.2143, 13.812, 0.82143, 1.5679, 0.119),
    (0.10100, 16.6350, -45.469, 0.04985, 9.1613, -18.557),
    (3.35714, -23.5643, 78.466, 0.22619, 7.7369, -16.656),
    (0.01191, 21.4750, -72.870, 0.79762, -0.7321, 14.610),
    (0.41858, 16.1558, -56.040, 0.05794, 10.5156, -28.240),
    (0.88779, 7.5527, -16.600, 0.26665, 6.7015, -10.810),
    (0.76720, 10.7972, -38.180, 0.20073, 8.4658, -22.490),
    (0.97305, 5.3135, -2.200, 0.28889, 5.9741, -4.930),
    (0.97256, 5.2500, -0.980, 0.24504, 7.4160, -16.730),
    (0.91413, 7.4759, -21.820, 0.20323, 9.1267, -34.230),
    (0.87031, 9.7157, -50.770, 0.18411, 10.1015, -46.750),
    (0.84703, 12.6752, -133.310, 0.17029, 11.4866, -80.620),
    (0.85921, 11.1009, -83.190, 0.17130, 11.3680, -76.940),
    (0.83531, 14.6731, -216.246, 0.16841, 11.8493, -96.947),
)


@dataclass(frozen=True, slots=True)
class Oil:
    """An oil by two points of its data sheet."""

    nu40_mm2_per_s: float
    nu100_mm2_per_s: float

    def at(self, temperature_k: float) -> float:
        """Viscosity in mm²/s at a temperature."""
        return viscosity_at(self.nu40_mm2_per_s, AT_40_C, self.nu100_mm2_per_s, AT_100_C, temperature_k)


@dataclass(frozen=True, slots=True)
class Replacement:
    """Whether a bottle may stand in for the oil asked for; reasons hold one sentence per temperature."""

    allowed: bool
    reasons: tuple[str, ...]


def viscosity_at(nu1_mm2_per_s: float, t1_k: float, nu2_mm2_per_s: float, t2_k: float, t_k: float) -> float:
    """Viscosity in mm²/s at t_k from two measured points.

    log log Z = A - B log T with Z = ν + 0.7 + exp(-1.47 - 1.84 ν - 0.51 ν²): the Walther equation in the form of ASTM
    D341 that also holds below 2 mm²/s (down to 0.21). Between the two points it is good; beyond them it is arithmetic,
    and near the pour point it predicts nothing. Raises OutOfRange outside 0.21 to 20000 mm²/s and 203 to 473 K, for
    equal temperatures, or when the oil would thicken with warmth.
    """
    nu1, nu2 = _viscosity("nu1_mm2_per_s", nu1_mm2_per_s), _viscosity("nu2_mm2_per_s", nu2_mm2_per_s)
    t1, t2, t = (_temperature(*pair) for pair in (("t1_k", t1_k), ("t2_k", t2_k), ("t_k", t_k)))
    if t1 == t2:
        raise OutOfRange("t2_k", t2_k, "a second temperature that differs from the first")
    if (nu1 - nu2) * (t2 - t1) <= 0:
        raise OutOfRange("nu2_mm2_per_s", nu2_mm2_per_s, "the lower viscosity at the higher temperature")
    y1, y2 = (math.log(math.log(_z(nu))) for nu in (nu1, nu2))
    y = y1 + (y2 - y1) * math.log(t / t1) / math.log(t2 / t1)
    if y > math.log(math.log(_z(1e7))):
        raise OutOfRange("t_k", t_k, "a temperature at which the oil still flows")
    z = math.exp(math.exp(y))
    if z < _z(0.21):
        raise OutOfRange("t_k", t_k, "a temperature at which the viscosity is still above 0.21 mm²/s")
    nu = max(z - 0.7, 0.21)
    for _ in range(50):
        bend = math.exp(-1.47 - 1.84 * nu - 0.51 * nu * nu)
        step = (nu + 0.7 + bend - z) / (1 - (1.84 + 1.02 * nu) * bend)
        nu -= step
        if abs(step) < 1e-13 * nu:
            break
    return nu


def viscosity_index(nu40_mm2_per_s: float, nu100_mm2_per_s: float) -> float:
    """Viscosity index, not rounded (a data sheet gives the whole number).

    Procedure A up to 100: (L - U) / (L - H) × 100; B above: (10^N - 1) / 0.00715 + 100, N = (log H - log U) / log Y.
    Raises OutOfRange below 2 mm²/s at 100 °C, where the index is not defined, and unless nu40 is above nu100.
    Source: ASTM D2270 / ISO 2909.
    """
    y = require(
        "nu100_mm2_per_s", nu100_mm2_per_s, 2, 500, allowed="2 to 500 mm²/s at 100 °C: below 2 there is no index"
    )
    u = require(
        "nu40_mm2_per_s",
        nu40_mm2_per_s,
        y,
        20_000,
        above=True,
        allowed=f"more than the {y:g} mm²/s at 100 °C, up to 20000",
    )
    a, b, c, d, e, f = _D2270[bisect_right(_D2270_FROM, y) - 1]
    low, high = a * y * y + b * y + c, d * y * y + e * y + f
    if u >= high:
        return (low - u) / (low - high) * 100
    return (10 ** ((math.log10(high) - math.log10(u)) / math.log10(y)) - 1) / 0.00715 + 100


def nu100_for_index(nu40_mm2_per_s: float, index: float) -> float:
    """Viscosity in mm²/s at 100 °C of an oil of which only nu40 and the index are known: ASTM D2270 inverted.

    Raises OutOfRange when no viscosity from 2 mm²/s up has that index.
    """
    nu40 = _viscosity("nu40_mm2_per_s", nu40_mm2_per_s)
    index = require("index", index, -200, 500, allowed="a viscosity index from -200 to 500")
    low, high = 2.0, min(nu40 * 0.999, 500.0)
    if not (low < high and viscosity_index(nu40, low) <= index <= viscosity_index(nu40, high)):
        raise OutOfRange("index", index, f"an index that an oil of {nu40:g} mm²/s at 40 °C can have")
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if viscosity_index(nu40, middle) < index else (low, middle)
    return (low + high) / 2


def iso_vg_limits(grade: int) -> tuple[float, float, float]:
    """Lowest, middle and highest viscosity in mm²/s at 40 °C of an ISO VG grade. Source: ISO 3448."""
    if isinstance(grade, bool) or grade not in ISO_VG:
        raise OutOfRange("grade", grade, f"an ISO VG grade: {', '.join(map(str, ISO_VG))}")
    middle = ISO_VG[grade]
    return middle * 0.9, middle, middle * 1.1


def iso_vg(nu40_mm2_per_s: float) -> int | None:
    """The ISO VG grade of a viscosity at 40 °C, None between two grades (they do not touch). Source: ISO 3448."""
    nu = _viscosity("nu40_mm2_per_s", nu40_mm2_per_s)
    return next((grade for grade, middle in ISO_VG.items() if abs(nu - middle) <= middle * 0.1 * (1 + 1e-12)), None)


def may_replace(
    wanted: Oil, bottle: Oil, *, band_percent: float = 10.0, temperatures_k: Sequence[float] = (293.15, AT_40_C, 353.15)
) -> Replacement:
    """Whether bottle stays within band_percent of wanted at every one of the temperatures, with the figures.

    The band is the shop's choice; viscosity says nothing about additives and seals: the maker's manual prevails.
    """
    require("band_percent", band_percent, 0, 100, allowed="a band from 0 to 100 %")
    if not temperatures_k:
        raise OutOfRange("temperatures_k", "none", "at least one temperature to compare at")
    reasons, allowed = [], True
    for kelvin in temperatures_k:
        asked, has = wanted.at(kelvin), bottle.at(kelvin)
        off = (has / asked - 1) * 100
        inside = abs(off) <= band_percent * (1 + 1e-12)
        allowed = allowed and inside
        # Enough decimals that the figure does not round onto the limit it misses.
        text = next(
            text for text in (f"{off:+.{d}f}" for d in range(13)) if (abs(float(text)) <= band_percent) == inside
        )
        place = "within" if inside else "outside"
        reasons.append(
            f"At {kelvin - 273.15:.0f} °C it has {has:.1f} mm²/s instead of {asked:.1f}: {text} %, "
            f"{place} ±{band_percent:g} %."
        )
    return Replacement(allowed, tuple(reasons))


def expansion_coefficient(rho15_kg_per_m3: float) -> float:
    """Thermal expansion per K at 15 °C from the density at 15 °C: α = K₁ / ρ, lubricating oils (API MPMS 11.1)."""
    rho = require("rho15_kg_per_m3", rho15_kg_per_m3, 750, 1160, allowed="a density from 750 to 1160 kg/m³ at 15 °C")
    return EXPANSION_CONSTANT / rho


def volume_correction(rho15_kg_per_m3: float, temperature_k: float) -> float:
    """Volume at 15 °C over volume at the temperature: exp(-α ΔT (1 + 0.8 α ΔT)). Source: ASTM D1250 / API MPMS 11.1."""
    step = expansion_coefficient(rho15_kg_per_m3) * (_temperature("temperature_k", temperature_k) - BASE_K)
    return math.exp(-step * (1 + 0.8 * step))


def volume_at(volume_m3: float, from_k: float, to_k: float, *, rho15_kg_per_m3: float = 870.0) -> float:
    """Volume in m³ at to_k of oil measured at from_k, by the ratio of the two corrections of ASTM D1250."""
    volume = _volume(volume_m3)
    return volume * volume_correction(rho15_kg_per_m3, from_k) / volume_correction(rho15_kg_per_m3, to_k)


def volume_at_linear(volume_m3: float, from_k: float, to_k: float, expansion_per_k: float = 0.0007) -> float:
    """The same by V (1 + α ΔT): about 1 mL in 260 below volume_at from 20 to 80 °C."""
    alpha = require("expansion_per_k", expansion_per_k, 0, 0.002, allowed="a coefficient from 0 to 0.002 per K")
    return _volume(volume_m3) * (1 + alpha * (_temperature("to_k", to_k) - _temperature("from_k", from_k)))


def fill_volume(
    *,
    body_bore_m: float,
    body_length_m: float,
    shaft_m: float,
    shaft_inside_m: float,
    reservoir_bore_m: float,
    reservoir_length_m: float,
    ifp_depth_m: float,
    ifp_height_m: float,
    solids_m3: float = 0.0,
    passages_m3: float = 0.0,
) -> float:
    """Oil in m³ that a damper with a reservoir holds, shaft fully extended.

    Body bore over body_length_m (floor to seal head), less the shaft as far as it stands inside and the solids (piston,
    shims, nut); reservoir bore below the IFP; passages_m3 is hose and adjuster. Bleed and spill come on top: see
    with_allowance. Raises OutOfRange for a shaft wider than the body, an IFP outside the reservoir, or no room left.
    """
    lengths = (
        ("body_bore_m", body_bore_m, 0.2),
        ("body_length_m", body_length_m, 2),
        ("reservoir_bore_m", reservoir_bore_m, 0.2),
        ("reservoir_length_m", reservoir_length_m, 1),
        ("ifp_height_m", ifp_height_m, 0.2),
    )
    for field, value, most in lengths:
        require(field, value, 0, most, above=True, allowed=f"a length above 0 and up to {most:g} m")
    require(
        "shaft_m", shaft_m, 0, body_bore_m, above=True, below=True, allowed="a diameter below that of the body bore"
    )
    require("shaft_inside_m", shaft_inside_m, 0, body_length_m, allowed="zero up to the length of the body")
    room = reservoir_length_m - ifp_height_m
    require("ifp_depth_m", ifp_depth_m, 0, room, allowed="a depth that leaves the IFP inside the reservoir")
    for field, value in (("solids_m3", solids_m3), ("passages_m3", passages_m3)):
        require(field, value, 0, 0.01, allowed="a volume from 0 to 0.01 m³")
    body = circle(body_bore_m) * body_length_m - circle(shaft_m) * shaft_inside_m - solids_m3
    if body <= 0:
        raise OutOfRange("solids_m3", solids_m3, "solids that leave room for oil in the body")
    return body + circle(reservoir_bore_m) * (room - ifp_depth_m) + passages_m3


def with_allowance(volume_m3: float, percent: float) -> float:
    """Volume with the shop's allowance for bleeding and spilling on top: V (1 + percent / 100)."""
    require("percent", percent, 0, 100, allowed="an allowance from 0 to 100 %")
    return _volume(volume_m3) * (1 + percent / 100)


def _z(nu: float) -> float:
    return nu + 0.7 + math.exp(-1.47 - 1.84 * nu - 0.51 * nu * nu)


def _viscosity(field: str, value: float) -> float:
    return require(field, value, 0.21, 20_000, allowed="a viscosity from 0.21 to 20000 mm²/s")


def _temperature(field: str, value: float) -> float:
    return require(field, value, 203.15, 473.15, allowed="a temperature from 203.15 to 473.15 K (−70 to 200 °C)")


def _volume(value: float) -> float:
    return require("volume_m3", value, 0, 1, above=True, allowed="a volume above 0 and up to 1 m³")
