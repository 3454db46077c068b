"""Sizes of a damper, flags on a sheet and the picture along the stroke, as people meet them on pages."""

import re

import pytest
from django.urls import reverse

from shop.calc.units import parse
from shop.dampers.models import Construction, DamperModel
from shop.dampers.services import set_geometry
from shop.specs.models import SheetStatus, SpecSheet
from tests import factories as make
from tests.factories import NOON
from tests.web.dampers_at_work import order_on_the_benches
from tests.web.people import TICKS, form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]

# Invented, and plausible; typed in the shop's units: in, psi, lbf/in.
SIZES = {
    "sizes-reservoir_bore": "1.575", "sizes-cap_intrusion": "20 mm", "sizes-shaft": "16 mm", "sizes-stroke": "130 mm",
    "sizes-highest_gas": "650", "sizes-spring_rate": "400", "sizes-reservoir_depth": "5.9",
}  # fmt: skip


def at_model(model, page="damper_model"):
    return reverse(f"manage:{page}", args=[model.pk])


def sized(manager, model=None, **given):
    sizes = {"reservoir_bore": "40 mm", "cap_intrusion": "20 mm", "shaft": "16 mm", "stroke": "130 mm"} | given
    quantity = {"highest_gas": "pressure", "spring_rate": "spring_rate"}
    return set_geometry(
        damper_model=model or make.make_damper_model(), by=manager, at=NOON,
        **{name: parse(text, quantity.get(name, "length")) for name, text in sizes.items()},
    )  # fmt: skip


# --- sizes ------------------------------------------------------------------------------------------------------------


def test_the_manager_enters_what_is_known_and_sees_it_in_both_units(as_manager):
    model = make.make_damper_model()
    assert "the pressure along the stroke is not computed" in words(as_manager.get(at_model(model)))
    answer = send(as_manager, at_model(model), "sizes/", to=at_model(model, "sizes"), **SIZES)
    assert answer.status_code == 302, words(answer)
    page = as_manager.get(at_model(model))
    told = words(page)
    assert "Reservoir bore 1.575 in 40 mm" in told
    assert "Reservoir depth 5.9 in 149.9 mm" in told
    assert "Shaft diameter 0.63 in 16 mm" in told
    assert "Spring rate at the damper 400 lbf/in 70.1 N/mm" in told
    # What the form begins with says the same again, to the last figure that matters.
    assert as_manager.post(at_model(model, "sizes"), form(page, "sizes/")).status_code == 302
    model.refresh_from_db()
    assert (model.shaft_m, model.reservoir_bore_m) == (pytest.approx(0.016, abs=1e-7), pytest.approx(0.040005))


def test_a_size_that_cannot_be_is_refused_beside_its_field_and_nothing_is_lost(as_manager):
    model = make.make_damper_model()
    typed = SIZES | {"sizes-shaft": "16"}
    answer = send(as_manager, at_model(model), "sizes/", to=at_model(model, "sizes"), **typed)
    assert answer.status_code == 422
    assert "Shaft diameter cannot be 16 in" in words(answer)
    assert form(answer, "sizes/")["sizes-reservoir_bore"] == "1.575"
    assert DamperModel.objects.get(pk=model.pk).stroke_m is None


def test_a_shaft_thicker_than_the_bore_is_refused(as_manager):
    model = make.make_damper_model()
    typed = SIZES | {"sizes-shaft": "50 mm"}
    answer = send(as_manager, at_model(model), "sizes/", to=at_model(model, "sizes"), **typed)
    assert answer.status_code == 422
    assert "A shaft of 50 mm does not go with a reservoir bore of 1.575 in" in words(answer)


def test_only_the_manager_enters_sizes(at_desk, at_bench):
    model = make.make_damper_model()
    for client in (at_desk, at_bench):
        assert client.post(at_model(model, "sizes"), SIZES).status_code == 403


def test_a_damper_without_ifp_is_not_asked_for_sizes(as_manager):
    model = make.make_damper_model(construction=Construction.EMULSION)
    assert "sizes-shaft" not in as_manager.get(at_model(model)).content.decode()
    assert as_manager.post(at_model(model, "sizes"), SIZES).status_code == 422


# --- flags ------------------------------------------------------------------------------------------------------------

SHEET = {
    "position": "any", "code": "H9-A", "source_document": "manual", "source_revision": "C", "source_page": "38",
    "charge": "200", "charge_unit": "psi", "charge_low": "195", "charge_high": "205",
    "ifp_depth": "1.6", "ifp_depth_unit": "in", "ifp_depth_low": "1.57", "ifp_depth_high": "1.63",
}  # fmt: skip


def test_a_flagged_sheet_is_asked_about_kept_by_a_tick_and_verified_with_a_reason(as_manager, at_bench, manager):
    model = sized(manager)
    new = reverse("manage:sheet_new")
    assert "keep these figures" not in words(as_manager.get(new))
    asked = send(as_manager, new, damper_model=model.pk, **SHEET)
    assert asked.status_code == 422
    assert "The IFP hits the cap before full stroke" in words(asked)
    assert "Did you mean other figures?" in words(asked)
    assert "keep these figures in the draft" in words(asked)
    assert not SpecSheet.objects.exists()

    kept = as_manager.post(new, form(asked) | {"keep_flagged": "on"})
    assert kept.status_code == 302
    sheet = SpecSheet.objects.get()
    page = at_bench.get(sheet.get_absolute_url())
    assert "Flagged. The IFP hits the cap before full stroke" in words(page)

    verify = reverse("manage:sheet_verify", args=[sheet.pk])
    typed = form(at_bench.get(verify), "verify/") | TICKS
    refused = at_bench.post(verify, typed)
    assert refused.status_code == 422
    assert "Write down why the figures are right all the same." in words(refused)
    assert at_bench.post(verify, typed | {"flag_reason": "measured on the unit"}).status_code == 302
    sheet.refresh_from_db()
    assert sheet.status == SheetStatus.VERIFIED
    assert "Verified all the same: measured on the unit" in words(at_bench.get(sheet.get_absolute_url()))


def test_an_ifp_beyond_the_reservoir_is_asked_about_when_the_sheet_is_entered(as_manager):
    model = set_geometry(
        damper_model=make.make_damper_model(), reservoir_depth=parse("5.9 in", "length"), by=make.make_user(), at=NOON
    )
    typed = SHEET | {"ifp_depth": "6.2", "ifp_depth_low": "6.17", "ifp_depth_high": "6.23"}
    asked = send(as_manager, reverse("manage:sheet_new"), damper_model=model.pk, **typed)
    assert asked.status_code == 422
    told = "An IFP depth of 6.2 in lies beyond the reservoir, which is 5.9 in deep from rim to floor."
    assert told in words(asked)
    assert "keep these figures in the draft" in words(asked)
    kept = as_manager.post(reverse("manage:sheet_new"), form(asked) | {"keep_flagged": "on"})
    assert kept.status_code == 302
    assert told in words(as_manager.get(kept.url))


def test_a_sheet_says_where_its_charge_is_meant(as_manager):
    model = make.make_damper_model()
    typed = SHEET | {"reference_temperature": "15 °C", "reference_altitude": "4330"}
    answer = send(as_manager, reverse("manage:sheet_new"), damper_model=model.pk, **typed)
    assert answer.status_code == 302, words(answer)
    sheet = SpecSheet.objects.get()
    assert (sheet.reference_k, sheet.reference_altitude_m) == (pytest.approx(288.15), pytest.approx(1319.784))
    assert "Nitrogen charge at 59 °F, 4330 ft 200 psi" in words(as_manager.get(sheet.get_absolute_url()))
    again = form(as_manager.get(f"{reverse('manage:sheet_new')}?replaces={sheet.pk}"))
    assert (again["reference_temperature"], again["reference_altitude"]) == ("59", "4330")


def test_without_a_word_a_charge_is_meant_at_room_temperature_and_sea_level(as_manager):
    page = as_manager.get(reverse("manage:sheet_new"))
    assert (form(page)["reference_temperature"], form(page)["reference_altitude"]) == ("68", "0")
    typed = SHEET | {"reference_temperature": "", "reference_altitude": ""}
    send(as_manager, reverse("manage:sheet_new"), damper_model=make.make_damper_model().pk, **typed)
    sheet = SpecSheet.objects.get()
    assert (sheet.reference_k, sheet.reference_altitude_m) == (293.15, 0)


@pytest.mark.parametrize(
    ("field", "typed", "told"),
    [("reference_temperature", "200", "−40 to 140 °F"), ("reference_altitude", "30000", "Altitude of the charge")],
)
def test_conditions_that_cannot_be_are_refused(as_manager, field, typed, told):
    model = make.make_damper_model()
    answer = send(as_manager, reverse("manage:sheet_new"), damper_model=model.pk, **SHEET | {field: typed})
    assert answer.status_code == 422
    assert told in words(answer)
    assert form(answer)[field] == typed


# --- the picture ------------------------------------------------------------------------------------------------------


def drawn(response):
    found = re.search(r"<svg class=\"stroke\".*?</svg>", response.content.decode(), re.DOTALL)
    return found and found[0]


def test_the_sheet_shows_the_picture_with_axes_units_spec_and_limit_and_no_style_of_its_own(at_desk, manager):
    sheet = make.make_sheet(sized(manager, highest_gas="650 psi"), charge=200)
    page = at_desk.get(sheet.get_absolute_url())
    svg = drawn(page)
    for told in ("shaft travel, in", "gauge pressure, psi", "sheet 200 psi", "limit 650 psi", "slow ", "fast "):
        assert told in svg
    assert "Gas pressure along the stroke, charged at 68 °F, sea level" in svg
    assert "<title" in svg
    assert "<desc" in svg
    assert 'role="img"' in svg
    assert "style=" not in svg
    assert "<script" not in svg
    # IFP travel 130 mm * 16²/40² = 20.8 mm; 86.4 - 20 - 20.8 = 45.6 mm are left.
    assert "IFP travels 0.819 in (20.8 mm); 1.794 in (45.6 mm) to the cap at full stroke" in words(page)


def test_without_the_sizes_there_is_no_picture(at_desk, manager):
    sheet = make.make_sheet(make.make_damper_model())
    assert drawn(at_desk.get(sheet.get_absolute_url())) is None


def test_the_page_of_a_damper_shows_it_as_it_was_at_check_in(at_bench, desk, manager):
    job = order_on_the_benches(desk, model=sized(manager)).jobs.get()
    before = drawn(at_bench.get(job.get_absolute_url()))
    assert "sheet 200 psi" in before
    sized(manager, job.damper.model, stroke="100 mm")
    assert drawn(at_bench.get(job.get_absolute_url())) == before


def test_a_fast_stroke_stands_above_a_slow_one_and_both_begin_at_the_sheets_charge(at_desk, manager):
    sheet = make.make_sheet(sized(manager), charge=200)
    lines = re.findall(r'<polyline [^>]*points="([^"]+)"', drawn(at_desk.get(sheet.get_absolute_url())))
    slow, fast = ([tuple(map(float, pair.split(","))) for pair in line.split()] for line in lines)
    assert slow[0] == fast[0]
    assert fast[-1][1] < slow[-1][1]  # y counts downwards
    assert [y for _, y in slow] == sorted((y for _, y in slow), reverse=True)


@pytest.mark.parametrize("charge", [20, 50, 100, 200, 400])
def test_the_words_at_the_start_lie_on_no_axis(at_desk, manager, charge):
    sheet = make.make_sheet(sized(manager, highest_gas="3000 psi"), charge=charge)
    svg = drawn(at_desk.get(sheet.get_absolute_url()))
    axis = float(re.search(r'd="M52 14V(\d+)H', svg)[1])
    baseline = float(re.search(r'<text x="60" y="([\d.]+)" dy="14">sheet', svg)[1]) + 14
    assert 14 < baseline < axis
