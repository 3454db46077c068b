"""The bench calculators for programs: the same definitions, quantities with their unit."""

import json

import pytest

from shop.calc import gas, units
from shop.calc.atmosphere import standard_pressure
from shop.figures.asked import Number, Quantity
from shop.figures.catalogue import CALCULATORS
from tests.api.conftest import refused
from tests.calc.reference import rows

EVERY = pytest.mark.parametrize("calculator", CALCULATORS.values(), ids=list(CALCULATORS))


def path(calculator):
    return f"calculations/{calculator.name}/"


def example(calculator):
    """The example's inputs with their units, without those left empty."""
    texts = calculator.example()
    return {one.name: f"{texts[one.name]} {one.unit}".strip() for one in calculator.inputs if texts[one.name]}


def test_the_list_tells_inputs_formula_range_and_source(at_bench):
    told = {one["name"]: one for one in at_bench.get("calculations/").json()}
    assert list(told) == list(CALCULATORS)
    charge = told["charge-today"]
    assert charge["formula"]
    assert "US Standard Atmosphere 1976" in charge["source"]
    assert "Stored gas." in charge["caution"]
    inputs = {one["name"]: one for one in charge["inputs"]}
    assert inputs["charge"]["quantity"] == "pressure"
    assert inputs["charge"]["allowed"] == "0 to 507 psi"
    assert inputs["charge"]["required"] is True
    assert inputs["spec_temperature"]["default"] == "20 °C"
    assert inputs["spec_temperature"]["required"] is False


@EVERY
def test_a_calculation_gives_what_the_definition_works_out(calculator, at_bench):
    got = at_bench.made(path(calculator), example(calculator))
    wanted = calculator.answer(calculator.read(example(calculator), own=False))
    assert [(one["name"], one["figures"], one["unit"], one["si"]) for one in got["figures"]] == [
        (one.name, one.figures, one.symbol, one.si) for one in wanted.figures
    ]
    assert [one["text"] for one in got["sentences"]] == [one.text for one in wanted.sentences]
    if wanted.table:
        assert got["table"]["rows"] == [list(row) for row in wanted.table.rows]


@pytest.mark.parametrize("row", rows("nitrogen_isochoric")[::6])
def test_charge_to_set_today(row, at_bench):
    """Source: Span et al. 2000 (CoolProp), US Standard Atmosphere 1976; 0.2 kPa as calc promises."""
    body = {
        "charge": {"figures": row["p_charge_kpa_gauge"], "unit": "kPa"},
        "spec_temperature": f"{row['t_charge_c']} °C",
        "spec_altitude": f"{row['altitude_charge_m']} m",
        "bench_temperature": f"{row['t_read_c']} °C",
        "altitude": f"{row['altitude_read_m']} m",
    }
    got = at_bench.made("calculations/charge-today/", body)
    assert got["figures"][0]["si"] == pytest.approx(float(row["expected"]) * 1e3, abs=200)


def test_inputs_left_out_take_their_default(at_bench, settings):
    settings.SHOP_ALTITUDE_M = 1500.0
    got = at_bench.made("calculations/charge-today/", {"charge": "200 psi", "bench_temperature": "30 °C"})
    target = gas.target_reading(units.to_si(200, "psi"), 303.15, bench_ambient_pa=standard_pressure(1500))
    assert got["figures"][0]["si"] == pytest.approx(target.reading_pa)


def test_a_unit_is_asked_for(at_bench):
    answer = at_bench.post("calculations/charge-today/", {"charge": "200", "bench_temperature": "30 °C"})
    assert "Give a unit with the number" in refused(answer, 400, field="charge")


def test_a_refusal_of_the_calculation_names_our_input(at_bench):
    body = example(CALCULATORS["gas-along-the-stroke"]) | {"shaft": "2 in"}
    message = refused(at_bench.post("calculations/gas-along-the-stroke/", body), 400, field="shaft")
    assert "Shaft diameter cannot be 2 in. Give less than the reservoir bore, 1.5 in." in message


def test_an_input_of_another_calculator_is_refused(at_bench):
    refused(at_bench.post("calculations/vin/", {"number": "11111111111111111", "charge": "2 psi"}), 400, field="charge")


def test_a_calculation_needs_no_key_and_may_be_asked_for_by_the_front_desk(at_desk):
    body = {"number": "11111111111111111"}
    assert at_desk.made("calculations/vin/", body) == at_desk.made("calculations/vin/", body, key="once")


NONSENSE = [
    None, True, [], {}, {"figures": "1"}, {"figures": 1, "unit": "psi"}, "", " ", "abc", "NaN", "inf", "1,234",
    "x" * 10_000, "\x00", "1e400", 10**400, "9" * 5000,
]  # fmt: skip


@EVERY
@pytest.mark.parametrize("wrong", NONSENSE, ids=lambda wrong: json.dumps(wrong)[:20])
def test_nonsense_is_refused_under_its_name(calculator, wrong, at_bench):
    for one in calculator.inputs:
        if not isinstance(one, (Quantity, Number)):
            continue
        answer = at_bench.post(path(calculator), example(calculator) | {one.name: wrong})
        if answer.status_code == 200:
            assert wrong in ("", " ", None)
            assert not one.required
            continue
        assert answer.status_code == 400, (one.name, answer.content)
        if wrong != 10**400:  # no JSON that this API reads
            refused(answer, 400, field=one.name)
