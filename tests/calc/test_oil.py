"""Oil: viscosity, index, grade, replacement, expansion, fill."""

import json
import math

import pytest
import scipy.optimize
from hypothesis import given
from hypothesis import strategies as st

from shop.calc import oil
from shop.calc.errors import OutOfRange
from shop.calc.oil import Oil

from .ends import assert_ends
from .reference import rows

TARN = Oil(15.0, 3.8)


@pytest.mark.parametrize("row", rows("viscosity", "iso_vg_min", "iso_vg_mid", "iso_vg_max"))
def test_iso_vg_limits(row):
    """Source: ISO 3448; exact to 1e-9 mm²/s."""
    limits = oil.iso_vg_limits(json.loads(row["inputs"])["iso_vg"])
    got = limits[("iso_vg_min", "iso_vg_mid", "iso_vg_max").index(row["kind"])]
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


WALTHER = ("walther_interpolate", "walther_extrapolate", "walther_published_rounded", "walther_low_viscosity_form")


@pytest.mark.parametrize("row", rows("viscosity", *WALTHER))
def test_viscosity_at_temperature(row):
    """Source: ASTM D341; the row's tolerance (2e-5 relative for the two-point curve)."""
    given_ = json.loads(row["inputs"])
    got = oil.viscosity_at(
        given_["nu1_mm2s"], given_["t1_c"] + 273.15, given_["nu2_mm2s"], given_["t2_c"] + 273.15, given_["t_c"] + 273.15
    )
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


@pytest.mark.parametrize("row", rows("viscosity", "viscosity_index", "viscosity_index_published"))
def test_viscosity_index(row):
    """Source: ASTM D2270 / ISO 2909, worked examples exact once rounded, others ±0.5."""
    given_ = json.loads(row["inputs"])
    got = oil.viscosity_index(given_["nu40_mm2s"], given_["nu100_mm2s"])
    if row["tolerance"] == "0":
        assert round(got) == int(row["expected"])
    else:
        assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


@pytest.mark.parametrize("row", rows("viscosity", "viscosity_index_undefined"))
def test_below_two_there_is_no_index(row):
    """Source: ASTM D2270 / ISO 2909."""
    given_ = json.loads(row["inputs"])
    with pytest.raises(OutOfRange, match="below 2 there is no index"):
        oil.viscosity_index(given_["nu40_mm2s"], given_["nu100_mm2s"])


@pytest.mark.parametrize("row", rows("viscosity", "nu100_from_vi"))
def test_viscosity_at_100_from_the_index(row):
    """Source: ASTM D2270 inverted; 0.01 mm²/s."""
    given_ = json.loads(row["inputs"])
    got = oil.nu100_for_index(given_["nu40_mm2s"], given_["viscosity_index"])
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)
    assert oil.viscosity_index(given_["nu40_mm2s"], got) == pytest.approx(given_["viscosity_index"], abs=1e-6)


@pytest.mark.parametrize("row", rows("oil_expansion", "linear_volume"))
def test_linear_expansion(row):
    """Source: V (1 + α ΔT), exact; the coefficient is common practice."""
    given_ = json.loads(row["inputs"])
    got = oil.volume_at_linear(
        given_["v1_ml"] * 1e-6, given_["t1_c"] + 273.15, given_["t2_c"] + 273.15, given_["alpha_per_k"]
    )
    assert got * 1e6 == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


@pytest.mark.parametrize("row", rows("oil_expansion", "alpha_from_density"))
def test_expansion_coefficient(row):
    """Source: ASTM D1250 / API MPMS 11.1, lubricating oils; 2e-7 per K."""
    got = oil.expansion_coefficient(json.loads(row["inputs"])["rho15_kg_m3"])
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


@pytest.mark.parametrize("row", rows("oil_expansion", "volume_correction_factor"))
def test_volume_correction(row):
    """Source: ASTM D1250 / API MPMS 11.1; 2e-5."""
    given_ = json.loads(row["inputs"])
    got = oil.volume_correction(given_["rho15_kg_m3"], given_["t_c"] + 273.15)
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


@pytest.mark.parametrize("row", rows("oil_expansion", "volume_two_temperatures"))
def test_volume_at_two_temperatures(row):
    """Source: ratio of two corrections of ASTM D1250; 0.02 mL."""
    given_ = json.loads(row["inputs"])
    got = oil.volume_at(
        given_["v1_ml"] * 1e-6, given_["t1_c"] + 273.15, given_["t2_c"] + 273.15, rho15_kg_per_m3=given_["rho15_kg_m3"]
    )
    assert got * 1e6 == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=0)


@given(st.floats(5, 200), st.floats(1.5, 20), st.floats(243.15, 440))
def test_oil_thins_as_it_warms_and_passes_through_its_data_sheet(nu40, ratio, kelvin):
    one = Oil(nu40, max(nu40 / ratio, 1.0)) if ratio > 1.6 else Oil(nu40, nu40 / 2)
    assert one.at(313.15) == pytest.approx(nu40, rel=1e-9)
    assert one.at(373.15) == pytest.approx(one.nu100_mm2_per_s, rel=1e-9)
    try:
        assert one.at(kelvin) > one.at(kelvin + 1)
    except OutOfRange as error:
        assert error.field == "t_k"  # noqa: PT017


@given(st.floats(2, 100), st.floats(1.5, 12))
def test_a_flatter_oil_has_the_higher_index(nu100, ratio):
    assert oil.viscosity_index(nu100 * ratio, nu100) > oil.viscosity_index(nu100 * (ratio + 0.2), nu100)


@pytest.mark.parametrize("wanted", [5, 90, 120, 200])
@pytest.mark.parametrize("edge", oil._D2270_FROM[1:])
def test_the_index_has_no_step_where_the_formula_changes(edge, wanted):
    """The ranges of D2270 meet within six tenths of a point, for a poor oil as for a good one."""
    nu40 = scipy.optimize.brentq(lambda nu: oil.viscosity_index(nu, edge) - wanted, edge * 1.01, 20_000)
    below = oil.viscosity_index(nu40, edge - 1e-9)
    assert below == pytest.approx(wanted, abs=0.6)


def test_the_two_points_of_a_data_sheet_may_come_in_either_order():
    cold_first = oil.viscosity_at(16, oil.AT_40_C, 4.5, oil.AT_100_C, 293.15)
    assert oil.viscosity_at(4.5, oil.AT_100_C, 16, oil.AT_40_C, 293.15) == pytest.approx(cold_first, rel=1e-12)
    with pytest.raises(OutOfRange, match="lower viscosity at the higher temperature"):
        oil.viscosity_at(16, oil.AT_100_C, 4.5, oil.AT_40_C, 293.15)


@pytest.mark.parametrize(("nu40", "grade"), [
    (15, 15), (13.5, 15), (16.5, 15), (13.4, None), (16.6, None), (32, 32), (2.2, 2), (2.42, 2), (3520, 3200),
    (3521, None),
])  # fmt: skip
def test_a_grade_reaches_ten_percent_either_side(nu40, grade):
    """Source: ISO 3448."""
    assert oil.iso_vg(nu40) == grade


def test_a_bottle_may_replace_another_within_the_band_with_figures():
    close = oil.may_replace(TARN, Oil(14.2, 3.7))
    assert close.allowed
    assert close.reasons[1] == "At 40 °C it has 14.2 mm²/s instead of 15.0: -5 %, within ±10 %."
    thick = oil.may_replace(TARN, Oil(22.0, 4.9))
    assert not thick.allowed
    assert thick.reasons[1] == "At 40 °C it has 22.0 mm²/s instead of 15.0: +47 %, outside ±10 %."


def test_the_same_label_may_hide_a_different_oil():
    """Equal at 40 °C, apart when cold and hot: one index is 151, the other 45."""
    verdict = oil.may_replace(TARN, Oil(15.0, 3.1))
    assert not verdict.allowed
    assert "within" in verdict.reasons[1]
    assert "outside" in verdict.reasons[0]


def test_the_band_includes_its_limit_and_a_hair_beyond_never_reads_like_it():
    at_40 = {"temperatures_k": [313.15]}
    assert oil.may_replace(TARN, Oil(16.5, 4.0), **at_40).allowed
    just_over = oil.may_replace(TARN, Oil(16.5005, 4.0), **at_40)
    assert not just_over.allowed
    assert "+10.003 %, outside ±10 %" in just_over.reasons[0]


FILL = {
    "body_bore_m": 0.050, "body_length_m": 0.300, "shaft_m": 0.016, "shaft_inside_m": 0.040, "reservoir_bore_m": 0.050,
    "reservoir_length_m": 0.150, "ifp_depth_m": 0.061, "ifp_height_m": 0.020, "solids_m3": 30e-6, "passages_m3": 12e-6,
}  # fmt: skip


def test_fill_volume_from_geometry():
    """By hand: 589.05 - 8.04 - 30 + 135.48 + 12 = 698.49 mL."""
    assert oil.fill_volume(**FILL) * 1e6 == pytest.approx(698.49, abs=0.02)


def test_allowance_comes_on_top():
    assert oil.with_allowance(700e-6, 8) == pytest.approx(756e-6)
    assert oil.with_allowance(700e-6, 0) == 700e-6


@pytest.mark.parametrize(("change", "field"), [
    ({"shaft_m": 0.05}, "shaft_m"), ({"shaft_m": 0.06}, "shaft_m"), ({"body_bore_m": 0}, "body_bore_m"),
    ({"ifp_depth_m": 0.131}, "ifp_depth_m"),
    ({"shaft_inside_m": 0.31}, "shaft_inside_m"), ({"solids_m3": 0.006}, "solids_m3"),
    ({"reservoir_bore_m": math.nan}, "reservoir_bore_m"),
    ({"ifp_height_m": -0.01}, "ifp_height_m"), ({"passages_m3": -1e-6}, "passages_m3"),
    ({"body_length_m": 300}, "body_length_m"),
    ({"reservoir_length_m": 0}, "reservoir_length_m"),
])  # fmt: skip
def test_a_damper_that_cannot_be_is_refused_by_name(change, field):
    with pytest.raises(OutOfRange) as caught:
        oil.fill_volume(**(FILL | change))
    assert caught.value.field == field


@pytest.mark.parametrize("call", [
    lambda: oil.viscosity_at(15, 313.15, 3.8, 373.15, 40), lambda: oil.viscosity_at(15, 40, 3.8, 100, 70),
    lambda: oil.viscosity_at(3.8, 313.15, 15, 373.15, 350), lambda: oil.viscosity_at(15, 313.15, 3.8, 313.15, 350),
    lambda: oil.viscosity_at(15, 313.15, 15, 373.15, 350), lambda: oil.viscosity_at(0, 313.15, 3.8, 373.15, 350),
    lambda: oil.viscosity_at(math.nan, 313.15, 3.8, 373.15, 350), lambda: oil.viscosity_at(300, 313.15, 1, 373.15, 210),
    lambda: oil.viscosity_at(3, 313.15, 0.3, 373.15, 470), lambda: oil.viscosity_index(3.8, 15),
    lambda: oil.viscosity_index(15, 15),
    lambda: oil.viscosity_index(math.inf, 3.8), lambda: oil.nu100_for_index(15, 501),
    lambda: oil.nu100_for_index(15, math.nan),
    lambda: oil.nu100_for_index(2.0, 100), lambda: oil.iso_vg_limits(5.5), lambda: oil.iso_vg_limits(True),
    lambda: oil.iso_vg(0),
    lambda: oil.may_replace(TARN, TARN, band_percent=-1), lambda: oil.may_replace(TARN, TARN, temperatures_k=[]),
    lambda: oil.expansion_coefficient(0.87), lambda: oil.volume_correction(870, 20),
    lambda: oil.volume_at(0, 293.15, 300),
    lambda: oil.volume_at(-1, 293.15, 300), lambda: oil.volume_at_linear(1, 293.15, 300, 0.7),
    lambda: oil.with_allowance(1, -1),
    lambda: oil.with_allowance(1, 101), lambda: oil.with_allowance(0, 5), lambda: oil.with_allowance(math.nan, 5),
])  # fmt: skip
def test_values_that_no_oil_has_are_refused(call):
    with pytest.raises(OutOfRange):
        call()


def test_the_range_told_is_the_range_kept():
    assert_ends(lambda value: oil.iso_vg(value), 0.21, 20_000)
    assert_ends(lambda value: oil.volume_correction(870, value), 203.15, 473.15)
    assert_ends(oil.expansion_coefficient, 750, 1160)
    assert_ends(lambda value: oil.volume_at(value, 290, 300), 0, 1, above=True)
    assert_ends(lambda value: oil.volume_at_linear(1, 290, 300, value), 0, 0.002)
    assert_ends(lambda value: oil.with_allowance(1, value), 0, 100)
    assert_ends(lambda value: oil.may_replace(TARN, TARN, band_percent=value), 0, 100)
    assert_ends(lambda value: oil.viscosity_index(1000, value), 2, 500)
    assert_ends(lambda value: oil.viscosity_index(value, 4), 4, 20_000, above=True)
    for name, low, high, out in (
        ("body_length_m", 0.04, 2, False), ("reservoir_bore_m", 0, 0.2, True), ("ifp_height_m", 0, 0.089, True),
        ("shaft_m", 0, 0.05, True), ("shaft_inside_m", 0, 0.3, False), ("passages_m3", 0, 0.01, False),
    ):  # fmt: skip
        usual = FILL | ({"ifp_depth_m": 0.150 - 0.089} if name == "ifp_height_m" else {})
        assert_ends(
            lambda value, name=name, usual=usual: oil.fill_volume(**(usual | {name: value})),
            low, high, above=out, below=name == "shaft_m",
        )  # fmt: skip
