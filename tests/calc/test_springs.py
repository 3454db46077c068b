"""Coil springs: Hooke's law and the coil formula."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.calc import springs
from shop.calc.errors import OutOfRange
from shop.calc.springs import Spring, Stack
from shop.calc.units import from_si, to_si

from .ends import assert_ends
from .reference import rows


def si_rate(value):
    return to_si(value, "N/mm")


def stack(one):
    return Stack(
        si_rate(one["rate1_n_per_mm"]), si_rate(one["rate2_n_per_mm"]), one["spring1_travel_to_stop_mm"] / 1000
    )


def coil(one):
    if "wire_d_in" in one:
        return springs.coil_rate(
            to_si(one["wire_d_in"], "in"),
            to_si(one["mean_d_in"], "in"),
            one["active_coils"],
            to_si(one["shear_modulus_psi"], "psi"),
        )
    return springs.coil_rate(
        one["wire_d_mm"] / 1000, one["mean_d_mm"] / 1000, one["active_coils"], one["shear_modulus_mpa"] * 1e6
    )


ANSWERS = {
    "series_rate": lambda one: springs.series_rate([si_rate(k) for k in one["rates_n_per_mm"]]),
    "parallel_rate": lambda one: springs.parallel_rate([si_rate(k) for k in one["rates_n_per_mm"]]),
    "helical_rate": coil,
    "helical_rate_published": coil,
    "preload_force": lambda one: springs.preload_force(si_rate(one["rate_n_per_mm"]), one["preload_mm"] / 1000),
    "crossover_force": lambda one: stack(one).crossover_n,
    "crossover_stack_compression": lambda one: stack(one).crossover_m,
    "rate_after_crossover": lambda one: stack(one).rate_at(stack(one).crossover_m + 1e-6),
    "stack_force_at_travel": lambda one: stack(one).force(
        one["stack_preload_mm"] / 1000, one["damper_travel_mm"] / 1000
    ),
    "stored_energy": lambda one: springs.stored_energy(
        si_rate(one["rate_n_per_mm"]), one["to_mm"] / 1000, one["from_mm"] / 1000
    ),
}


@pytest.mark.parametrize("row", rows("springs"))
def test_springs(row):
    """Sources per row: Hooke's law, EN 13906-1, Shigley's Mechanical Engineering Design; the row's tolerance."""
    got = ANSWERS[row["kind"]](json.loads(row["inputs"]))
    unit = row["unit"]
    got = got if unit == "J" else from_si(got, unit)
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]), rel=1e-9)


rates = st.floats(1e3, 2e5)


@given(st.lists(rates, min_size=2, max_size=4))
def test_series_is_softer_than_the_softest_and_parallel_stiffer_than_the_stiffest(many):
    assert springs.series_rate(many) < min(many)
    assert springs.parallel_rate(many) > max(many)


@given(rates, rates, st.floats(0.01, 0.1), st.floats(0, 0.05), st.floats(0, 0.2), st.floats(0, 0.2))
def test_stack_force_rises_without_a_step(k1, k2, stop, preload, a, b):
    one = Stack(k1, k2, stop)
    low, high = sorted((a, b))
    assert one.force(preload, low) <= one.force(preload, high)
    edge = one.crossover_m
    if edge + 1e-9 <= 1:
        assert one.force(edge) == pytest.approx(one.crossover_n, rel=1e-9)
        assert one.force(edge + 1e-9) == pytest.approx(one.crossover_n, rel=1e-4)


def test_the_rate_jumps_at_the_crossover_from_series_to_the_second_spring():
    one = Stack(35e3, 70e3, 0.05)
    assert one.rate_at(0.0749) == pytest.approx(23_333.33, abs=0.01)
    assert one.rate_at(0.075) == 70e3


@given(rates, st.floats(0, 0.1))
def test_preload_length_and_force_are_inverse(rate, length):
    assert springs.preload_length(rate, springs.preload_force(rate, length)) == pytest.approx(length, abs=1e-15)


def test_the_same_spring_and_collar_go_back_where_they_were():
    one = Spring(52.5e3, 0.300)
    assert springs.restored_ring_position(0.080, 0.010, one, one) == pytest.approx(0.080)


def test_as_found_force_on_another_spring_and_collar():
    """By hand: found 52.5 N/mm × 10 mm = 525 N, installed 290 mm; new 35 N/mm needs 15 mm, installed 305 - 15 = 290."""
    found, fitted = Spring(52.5e3, 0.300), Spring(35e3, 0.305)
    assert springs.restored_ring_position(0.080, 0.010, found, fitted) == pytest.approx(0.080)
    longer = Spring(35e3, 0.310)
    assert springs.restored_ring_position(0.080, 0.010, found, longer) == pytest.approx(0.075)
    # A collar 3 mm higher: the ring stands 3 mm further back.
    assert springs.restored_ring_position(0.080, 0.010, found, fitted, 0.003) == pytest.approx(0.077)


@given(rates, rates, st.floats(0.2, 0.3), st.floats(0.2, 0.3), st.floats(0, 0.01), st.floats(0.2, 0.3))
def test_restored_preload_gives_the_force_that_was_found(k1, k2, free1, free2, preload, ring):
    if k1 * preload / k2 >= free2:
        return
    new_ring = springs.restored_ring_position(ring, preload, Spring(k1, free1), Spring(k2, free2))
    room = ring + (free1 - preload)  # datum to the far end of the spring
    assert k2 * (free2 - (room - new_ring)) == pytest.approx(k1 * preload, abs=1e-6)


def test_a_spring_shortened_by_60_mm_holds_94_joules():
    """Computed: 52.5 N/mm × 60² mm² / 2 = 94.5 J."""
    assert springs.stored_energy(52.5e3, 0.060) == pytest.approx(94.5)


@pytest.mark.parametrize("call", [
    lambda: springs.coil_rate(0, 0.09, 7), lambda: springs.coil_rate(0.012, 0, 7),
    lambda: springs.coil_rate(0.05, 0.09, 7),
    lambda: springs.coil_rate(12, 90, 7), lambda: springs.coil_rate(0.012, 0.09, 0),
    lambda: springs.coil_rate(0.012, 0.09, math.nan),
    lambda: springs.coil_rate(0.012, 0.09, 7, 79_300), lambda: springs.series_rate([]),
    lambda: springs.series_rate([35e3, 0]),
    lambda: springs.parallel_rate([]), lambda: springs.parallel_rate([-1]), lambda: springs.preload_force(0, 0.01),
    lambda: springs.preload_force(35e3, -0.01), lambda: springs.preload_force(35e3, 10),
    lambda: springs.preload_length(35e3, -1),
    lambda: springs.preload_length(35e3, math.inf), lambda: Stack(0, 70e3, 0.05),
    lambda: Stack(35e3, -1, 0.05), lambda: Stack(35e3, 70e3, 0),
    lambda: Stack(35e3, 70e3, 50), lambda: Stack(35e3, 70e3, 0.05).force(-0.01),
    lambda: Stack(35e3, 70e3, 0.05).force(0, 120),
    lambda: Stack(35e3, 70e3, 0.05).rate_at(-1), lambda: Spring(35e3, 0), lambda: Spring(math.nan, 0.3),
    lambda: springs.stored_energy(35e3, 0.01, 0.02), lambda: springs.stored_energy(35e3, math.nan),
    lambda: springs.restored_ring_position(-0.01, 0.01, Spring(35e3, 0.3), Spring(35e3, 0.3)),
    lambda: springs.restored_ring_position(0.08, 0.3, Spring(35e3, 0.3), Spring(35e3, 0.3)),
    lambda: springs.restored_ring_position(0.08, 0.2, Spring(70e3, 0.3), Spring(35e3, 0.3)),
    lambda: springs.restored_ring_position(0.01, 0.01, Spring(35e3, 0.3), Spring(35e3, 0.4)),
    lambda: springs.restored_ring_position(0.08, 0.01, Spring(35e3, 0.3), Spring(35e3, 0.3), 3),
])  # fmt: skip
def test_values_no_spring_has_are_refused(call):
    with pytest.raises(OutOfRange):
        call()


def test_the_range_told_is_the_range_kept():
    one = Spring(35e3, 0.3)
    assert_ends(lambda value: Spring(35e3, value), 0, 1, above=True)
    assert_ends(lambda value: Spring(value, 0.3), 0, 1e7, above=True)
    assert_ends(lambda value: Stack(35e3, 70e3, value), 0, 1, above=True)
    assert_ends(lambda value: springs.coil_rate(value, 0.09, 7), 0, 0.045, above=True, below=True)
    assert_ends(lambda value: springs.coil_rate(0.001, value, 7), 0.002, 0.5, above=True)
    assert_ends(lambda value: springs.coil_rate(0.012, 0.09, value), 1, 50)
    assert_ends(lambda value: springs.coil_rate(0.012, 0.09, 7, value), 10e9, 120e9)
    assert_ends(lambda value: springs.preload_force(35e3, value), 0, 1)
    assert_ends(lambda value: springs.preload_length(35e3, value), 0, 1e5)
    assert_ends(lambda value: springs.stored_energy(35e3, 0.5, value), 0, 0.5)
    assert_ends(lambda value: springs.restored_ring_position(value, 0.01, one, one), 0, 1)
    assert_ends(lambda value: springs.restored_ring_position(0.5, value, one, Spring(70e3, 0.3)), 0, 0.3, below=True)
    assert_ends(lambda value: springs.restored_ring_position(0.5, 0.01, one, one, value), -0.2, 0.2)


def test_steel_is_taken_when_no_modulus_is_given():
    """79.3 GPa is common practice."""
    assert springs.coil_rate(0.012, 0.09, 7.5) == springs.coil_rate(0.012, 0.09, 7.5, 79.3e9)


def test_a_ring_may_stand_at_the_datum():
    assert springs.restored_ring_position(0.0625, 0, Spring(35e3, 0.25), Spring(35e3, 0.3125)) == 0
