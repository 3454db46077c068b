"""Our nitrogen against real nitrogen, live: CoolProp's equation of state of Span et al., J. Phys. Chem. Ref. Data 29
(2000) 1361, asked over the whole range that gas.py allows.

For scale: a test gauge of 0.25 % with a 300 psi scale is good for ±0.75 psi (5.2 kPa), a dial gauge of 1 % for ±3 psi
(21 kPa); grades of ASME B40.100, from memory.
"""

from pathlib import Path

import CoolProp.CoolProp as coolprop
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.calc import gas
from shop.calc.atmosphere import HIGHEST_M, LOWEST_M, SEA_LEVEL_PA, standard_pressure
from shop.calc.gas import COLDEST_K, DENSEST_MOL_PER_M3, HIGHEST_CHARGE_PA, WARMEST_K, Chamber
from shop.calc.units import to_si

TOLD = " ".join(gas.__doc__.split())
NITROGEN = coolprop.AbstractState("HEOS", "Nitrogen")
DAMPER_CHARGES = (345e3, 1034e3, 1379e3, 2070e3)  # 50, 150, 200 and 300 psi
CHARGES = (0.0, 100e3, *DAMPER_CHARGES, 2.8e6, HIGHEST_CHARGE_PA)
ALLOWED_K = (COLDEST_K, 253.15, 273.15, 293.15, 313.15, 333.15, 363.15, 393.15, WARMEST_K)
BENCH_K = [round(273.15 + celsius, 2) for celsius in range(-40, 61, 5)]


def real_density(absolute_pa, kelvin):
    NITROGEN.update(coolprop.PT_INPUTS, absolute_pa, kelvin)
    return NITROGEN.rhomolar()


def real_pressure(mol_per_m3, kelvin):
    NITROGEN.update(coolprop.DmolarT_INPUTS, mol_per_m3, kelvin)
    return NITROGEN.p()


def real_fast(mol_per_m3, kelvin, squeezed):
    """Pressure and temperature at the end of an isentrope."""
    NITROGEN.update(coolprop.DmolarT_INPUTS, mol_per_m3, kelvin)
    NITROGEN.update(coolprop.DmolarSmolar_INPUTS, squeezed, NITROGEN.smolar())
    return NITROGEN.p(), NITROGEN.T()


charges = st.floats(0, HIGHEST_CHARGE_PA)
temperatures = st.floats(COLDEST_K, WARMEST_K)
altitudes = st.floats(LOWEST_M, HIGHEST_M)


@given(charges, altitudes, temperatures)
def test_the_amount_of_gas_is_right_to_one_part_in_ten_thousand(charge, altitude, kelvin):
    """One part in 10 000 of 200 psi is 0.02 psi: no gauge shows it."""
    absolute = charge + standard_pressure(altitude)
    assert gas.density(absolute, kelvin) == pytest.approx(real_density(absolute, kelvin), rel=1e-4)


@given(charges, temperatures, altitudes, st.sampled_from(BENCH_K) | temperatures, altitudes)
def test_the_reading_to_aim_at_is_right_to_a_tenth_of_what_a_test_gauge_shows(charge, spec_k, there, bench_k, here):
    """0.5 kPa (0.07 psi) on any bench from −40 to 60 °C and beyond; a good test gauge shows 5 kPa."""
    spec_ambient, bench_ambient = standard_pressure(there), standard_pressure(here)
    real = real_pressure(real_density(charge + spec_ambient, spec_k), bench_k) - bench_ambient
    if real < 500:
        return  # no gauge reads it, and the cold may have taken it below zero
    target = gas.target_reading(
        charge, bench_k, spec_k=spec_k, bench_ambient_pa=bench_ambient, spec_ambient_pa=spec_ambient
    )
    assert target.reading_pa == pytest.approx(real, abs=500)
    assert "within 0.5 kPa (0.07 psi) of that equation over all that is allowed" in TOLD


@given(st.floats(345e3, 2070e3), st.floats(288.15, 298.15), st.floats(243.15, 393.15))
def test_a_charge_set_in_the_shop_reads_within_the_fifth_of_a_kilopascal_that_is_promised(charge, spec_k, read_k):
    reading = gas.target_reading(charge, read_k, spec_k=spec_k).reading_pa
    real = real_pressure(real_density(charge + SEA_LEVEL_PA, spec_k), read_k) - SEA_LEVEL_PA
    assert reading == pytest.approx(real, abs=200)
    assert "within 0.2 kPa for a charge of 345 to 2070 kPa set at 15 to 25 °C" in TOLD


@pytest.mark.parametrize("kelvin", ALLOWED_K)
@pytest.mark.parametrize("charge", CHARGES)
def test_the_pressure_along_the_stroke_is_that_of_real_nitrogen(charge, kelvin):
    """Squeezed to a fifth. Slow, at one temperature: 0.02 % of the absolute pressure. Fast, on an isentrope: 0.3 % and
    2 K, which is 1 psi of 400 psi and less than a 0.25 % test gauge of that scale shows."""
    chamber = Chamber(bore_m=0.040, ifp_depth_m=0.100)
    stroke = gas.along_stroke(chamber, 0.020, 0.3199999, charge, kelvin)  # 400 mm would fill it
    start = real_density(charge + SEA_LEVEL_PA, kelvin)
    assert stroke.points
    for point in stroke.points:
        squeezed = start * chamber.volume_m3 / (chamber.volume_m3 - gas.circle(0.020) * point.travel_m)
        assert point.slow_pa + SEA_LEVEL_PA == pytest.approx(real_pressure(squeezed, kelvin), rel=2e-4)
        fast_pa, fast_k = real_fast(start, kelvin, squeezed)
        assert point.fast_pa + SEA_LEVEL_PA == pytest.approx(fast_pa, rel=3e-3)
        assert point.fast_k == pytest.approx(fast_k, abs=2)
    reached = stroke.fast_pa is not None
    assert reached is (start * 5 <= DENSEST_MOL_PER_M3 * (1 - 1e-6)), "only too dense a gas ends the picture early"


@given(st.floats(345e3, 2070e3), st.floats(288.15, 298.15), st.floats(1, 4))
def test_a_fast_stroke_to_a_quarter_keeps_the_tenth_of_a_percent_that_is_promised(charge, kelvin, ratio):
    start = real_density(charge + SEA_LEVEL_PA, kelvin)
    real, _ = real_fast(start, kelvin, start * ratio)
    ours = gas.pressure(start * ratio, gas.isentropic_temperature(start, kelvin, start * ratio))
    assert ours == pytest.approx(real, rel=1e-3)
    assert "along a fast stroke that squeezes such a charge to a quarter the pressure is within 0.1 %" in TOLD


@given(st.floats(1, DENSEST_MOL_PER_M3), st.floats(230, 800))
def test_the_fit_itself_keeps_the_largest_gap_that_is_told(mol, kelvin):
    assert gas.pressure(mol, kelvin) == pytest.approx(real_pressure(mol, kelvin), rel=2.5e-4)
    assert "the largest gap 0.02 %" in TOLD


@given(charges.filter(lambda charge: charge > 1e3), temperatures, st.floats(20e-6, 300e-6), st.floats(0, 20e-6))
def test_what_a_gauge_leaves_is_a_balance_of_real_moles(charge, kelvin, space, hose):
    """0.4 kPa, a tenth of what a test gauge shows."""
    inside, outside = real_density(charge + SEA_LEVEL_PA, kelvin), real_density(SEA_LEVEL_PA, kelvin)
    real = real_pressure((inside * space + outside * hose) / (space + hose), kelvin) - SEA_LEVEL_PA
    assert gas.reading_after_gauge(charge, space, hose, kelvin) == pytest.approx(real, abs=400)


# --- what the ideal gas would cost ------------------------------------------------------------------------------------


def ideal_error(charge, charge_k, read_k):
    """How far p / T = const lies beside real nitrogen: in Pa, and as a share of absolute pressure."""
    absolute = charge + SEA_LEVEL_PA
    real = real_pressure(real_density(absolute, charge_k), read_k)
    gap = abs(absolute * read_k / charge_k - real)
    return gap, gap / real


def test_the_ideal_gas_is_off_by_what_is_told():
    """Charged in the shop, 15 to 25 °C, and read anywhere from −30 to 120 °C; then at the ends of what is allowed."""
    shop = [
        ideal_error(charge, charge_k, read_k)
        for charge in DAMPER_CHARGES
        for charge_k in (288.15, 293.15, 298.15)
        for read_k in range(243, 395, 10)
    ]
    gap, share = (max(column) for column in zip(*shop, strict=True))
    assert f"{share:.1%}" == "1.4%"
    assert gap == pytest.approx(41e3, abs=500)
    assert gap == pytest.approx(to_si(6, "psi"), rel=0.01)
    everywhere = [
        ideal_error(charge, charge_k, read_k) for charge in CHARGES for charge_k in ALLOWED_K for read_k in ALLOWED_K
    ]
    assert f"{max(share for _, share in everywhere):.0%}" == "6%"
    assert "up to 1.4 % of absolute pressure (41 kPa, 6 psi)" in TOLD
    assert "by 6 % at the ends of what is allowed here" in TOLD
    decided = " ".join((Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8").split())
    assert "ideal gas is off by up to 1.4 %" in decided


def test_a_fixed_exponent_is_off_by_what_is_told():
    """p V^1.4 from 20 °C to a quarter of the space reads low, most for the highest charge."""
    absolute = 2070e3 + SEA_LEVEL_PA
    start = real_density(absolute, 293.15)
    real, _ = real_fast(start, 293.15, start * 4)
    assert 1 - absolute * 4**1.4 / real == pytest.approx(0.116, abs=0.0005)
    assert "11.6 %" in TOLD
