"""The pages of the bench calculators: what a technician reads, also without JavaScript, and whatever is typed."""

import re
from html import unescape

import pytest
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop.calc import gas, units
from shop.calc.atmosphere import standard_pressure
from shop.figures.asked import Choice, Day, Text
from shop.figures.catalogue import CALCULATORS
from tests.web.people import words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
EVERY = pytest.mark.parametrize("calculator", CALCULATORS.values(), ids=list(CALCULATORS))
TODAY = {"charge": "200", "bench_temperature": "86", "altitude": "5000"}
NONSENSE = ["", "abc", "NaN", "inf", "-1", "1,234", "22 ft-lb", "２２", "1/4", "x" * 10_000, "\x00", "0", "<b>1</b>"]


def address(name):
    return reverse("tablet:figure", args=[name])


def test_the_bench_list_leads_to_all_calculators(at_bench):
    assert reverse("tablet:figures") in at_bench.get(reverse("tablet:bench")).content.decode()
    page = at_bench.get(reverse("tablet:figures"))
    for one in CALCULATORS.values():
        assert one.title in words(page)
        assert f'href="{address(one.name)}"' in page.content.decode()


def test_there_is_no_calculator_of_another_name(at_bench):
    assert at_bench.get(address("perpetual-motion")).status_code == 404


@EVERY
def test_a_page_tells_what_to_trust_it_with(calculator, at_bench):
    page = at_bench.get(address(calculator.name))
    assert page.status_code == 200
    said = words(page)
    for line in (*calculator.formula, calculator.validity, calculator.source, *filter(None, calculator.caution)):
        assert words_of(line) in said
    assert "The maker’s current service manual for the exact unit prevails." in said
    for one in calculator.inputs:
        assert one.label in said
        assert one.unit in said
    assert "Fill in the figures" in said


def words_of(line):
    return re.sub(r" ([.,:;])", r"\1", " ".join(line.split()))


@EVERY
def test_the_example_shows_every_figure_of_the_answer(calculator, at_bench):
    page = at_bench.get(address(calculator.name), calculator.example())
    assert page.status_code == 200
    answer = calculator.answer(calculator.read(calculator.example()))
    said = words(page)
    for one in answer.figures:
        assert words_of(f"{one.figures} {one.symbol}".strip()) in said
        assert words_of(one.other) in said
    for one in answer.sentences:
        assert words_of(one.text) in said
    if answer.table:
        for line in answer.table.lines():
            assert " ".join(line) in said


def test_the_reading_to_aim_at_is_shown_large_with_both_units_and_why(at_bench):
    """200 psi at 68 °F and sea level, on a bench at 86 °F and 5000 ft; the figure is calc's."""
    page = at_bench.get(address("charge-today"), TODAY)
    target = gas.target_reading(
        units.to_si(200, "psi"), units.to_si(86, "°F"), bench_ambient_pa=standard_pressure(units.to_si(5000, "ft"))
    )
    figures = units.figures(target.reading_pa, "psi")
    assert f'<p class="spec__number">{figures} <small>psi</small></p>' in page.content.decode()
    assert f"Reading to aim at {figures} psi {units.show(target.reading_pa, 'kPa')}" in words(page)
    assert "bench 18 °F warmer than the sheet assumes" in words(page)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(50, 300), st.integers(-20, 140), st.integers(0, 9000))
def test_the_page_shows_what_calc_works_out(at_bench, charge, fahrenheit, feet):
    query = {"charge": charge, "bench_temperature": fahrenheit, "altitude": feet}
    target = gas.target_reading(
        units.to_si(charge, "psi"),
        units.to_si(fahrenheit, "°F"),
        bench_ambient_pa=standard_pressure(units.to_si(feet, "ft")),
    )
    page = at_bench.get(address("charge-today"), query)
    assert f"Reading to aim at {units.show(target.reading_pa, 'psi')}" in words(page)


def test_the_shops_own_units_stand_beside_the_fields(at_bench, settings):
    settings.SHOP_UNITS = settings.SHOP_UNITS | {"pressure": "kPa", "temperature": "°C", "distance": "km"}
    page = at_bench.get(address("charge-today"), {"charge": "1379", "bench_temperature": "30", "altitude": "1500"})
    assert re.search(r"Reading to aim at 14\d\d kPa 2\d\d psi", words(page))


def test_another_unit_may_be_written_behind_the_number(at_bench):
    same = at_bench.get(
        address("charge-today"), {"charge": "1378.9514586 kPa", "bench_temperature": "30 C", "altitude": "1524 m"}
    )
    assert "Reading to aim at 210 psi" in words(same)


def test_a_refusal_stands_beside_its_field_and_what_was_typed_is_kept(at_bench):
    page = at_bench.get(address("charge-today"), TODAY | {"charge": "700 psi"})
    assert page.status_code == 422
    html = page.content.decode()
    assert (
        '<ul class="errors" id="id_charge_error"><li>Charge on the sheet cannot be 700 psi. Give 0 to 507 psi' in html
    )
    assert 'value="700 psi"' in html
    assert 'value="86"' in html
    assert 'aria-invalid="true"' in html
    assert "spec__number" not in html


def test_text_is_shown_as_text(at_bench):
    page = at_bench.get(address("vin"), {"number": "<script>alert(1)</script>"})
    assert page.status_code == 200
    assert "<script>alert" not in page.content.decode()


@EVERY
@pytest.mark.parametrize("text", NONSENSE, ids=lambda text: text[:10] or "empty")
def test_whatever_is_typed_gives_a_result_or_says_why_not(calculator, text, at_bench):
    page = at_bench.get(address(calculator.name), {one.name: text for one in calculator.inputs})
    assert page.status_code in (200, 422)
    html = page.content.decode()
    errors = re.findall(r"<li>(.*?)</li></ul>", html, flags=re.DOTALL)
    assert bool(errors) is (page.status_code == 422)
    assert ("spec__number" in html) is (page.status_code == 200)
    if text in ("abc", "NaN", "inf", "22 ft-lb") or len(text) > 1000:
        refused = [one for one in calculator.inputs if not isinstance(one, Text)]
        told = [unescape(error) for error in errors]
        for one in refused:
            if "torque" in getattr(one, "quantity", "") and text == "22 ft-lb":
                continue
            assert any(error.startswith(one.label) and text[:40] in error for error in told), one.label
    typed = [one for one in calculator.inputs if not isinstance(one, (Choice, Day))]
    if text and text not in ("\x00", "<b>1</b>"):
        assert html.count(f'value="{text}"') >= len(typed)


@EVERY
def test_a_calculator_asked_with_nothing_filled_in_names_what_is_missing(calculator, at_bench):
    page = at_bench.get(address(calculator.name), {one.name: "" for one in calculator.inputs})
    assert page.status_code == 422
    for one in calculator.inputs:
        assert (f"{one.label} is empty. Give" in words(page)) is one.required


def test_what_the_address_does_not_name_has_its_default(at_bench, settings):
    settings.SHOP_ALTITUDE_M = 1524.0
    page = at_bench.get(address("charge-today"), {"charge": "200", "bench_temperature": "86"})
    assert "Reading to aim at 210 psi" in words(page)
    assert 'value="5000"' in page.content.decode()


@EVERY
def test_the_part_for_the_module_holds_the_same_result_and_the_errors(calculator, at_bench):
    query = calculator.example()
    whole, part = (at_bench.get(address(calculator.name), query | more) for more in ({}, {"part": "result"}))
    assert part.status_code == 200
    assert "<html" not in part.content.decode()
    result = re.search(r"<div data-result>(.*?)</div>\s*<div data-errors", part.content.decode(), flags=re.DOTALL)[1]
    assert result.strip() in whole.content.decode()
    first = calculator.inputs[0]
    wrong = at_bench.get(address(calculator.name), query | {first.name: "x" * 100, "part": "result"})
    assert wrong.status_code == 200
    assert f'<div data-errors="{first.name}"><ul class="errors" id="id_{first.name}_error">' in wrong.content.decode()


def test_while_somebody_types_an_empty_field_is_no_error_yet(at_bench):
    part = at_bench.get(address("charge-today"), {"charge": "200", "bench_temperature": "", "part": "result"})
    assert "Still to fill in: Temperature of the damper now." in words(part)
    assert 'class="errors"' not in part.content.decode()


def test_front_desk_may_look_too(at_desk):
    assert at_desk.get(address("vin")).status_code == 200
