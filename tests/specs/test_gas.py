"""A sheet with which the IFP would hit the cap, or the gas pass the limit, is flagged when it is entered."""

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.dampers.models import Construction
from shop.dampers.services import set_geometry
from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.services import NewValue, enter_sheet, verify_sheet
from shop.staff.models import AuditEntry
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db

# Invented, and plausible. 40 mm bore, 3.4 in (86.4 mm) depth, 20 mm cap: 66.4 mm of gas. A 16 mm shaft through 130 mm
# of stroke pushes the IFP 130 * 16²/40² = 20.8 mm.
SIZES = {
    "reservoir_bore": "40 mm", "cap_intrusion": "20 mm", "shaft": "16 mm", "stroke": "130 mm", "highest_gas": "650 psi",
    "spring_rate": "70 N/mm",
}  # fmt: skip
QUANTITY = {"highest_gas": "pressure", "spring_rate": "spring_rate"}


def sized(model, manager, **given):
    sizes = {
        name: parse(text, QUANTITY.get(name, "length")) for name, text in (SIZES | given).items() if text is not None
    }
    return set_geometry(damper_model=model, by=manager, at=NOON, **sizes)


@pytest.fixture
def model(manager):
    return sized(make.make_damper_model(), manager)


def enter(model, manager, charge="200 psi", depth="3.4 in", oil="305 mL", code="H2-A", **given):
    values = [
        NewValue(measure, parse(text, quantity), parse(text, quantity), parse(text, quantity))
        for measure, text, quantity in [
            ("charge", charge, "pressure"), ("ifp_depth", depth, "length"), ("oil_volume", oil, "volume"),
        ]
        if text
    ]  # fmt: skip
    return enter_sheet(
        code=code, damper_model=model, position="any", source_document="manual", source_revision="C",
        source_page="38", values=values, by=manager, at=NOON, **given,
    )  # fmt: skip


def test_a_sheet_that_fits_its_damper_is_entered_and_verified_without_a_word(model, manager, technician):
    sheet = enter(model, manager)
    assert sheet.flags() == []
    assert verify_sheet(sheet=sheet, edition=sheet.edition, by=technician, at=NOON).status == SheetStatus.VERIFIED


@pytest.mark.parametrize(
    ("figures", "told"),
    [
        # 1.6 in is 40.6 mm: 20.6 mm to the cap, and the IFP travels 20.8 mm.
        ({"depth": "1.6 in"}, "The IFP hits the cap before full stroke"),
        ({"depth": "1.67 in"}, "stays between IFP and cap at full stroke"),
        ({"charge": "400 psi"}, "A fast full stroke reaches"),
        ({"charge": "2 MPa"}, "above the limit of 650 psi"),
        ({"depth": "0.7 in"}, "The figures cannot belong to one damper"),
        # 20 °C and slow, nothing is wrong; at 80 °C the oil has grown into the gas.
        (
            {"charge": "215 psi", "depth": "2.4 in", "oil": "390 mL"},
            "176 °F and its oil grown: A fast full stroke",
        ),
    ],
)
def test_a_flagged_sheet_is_a_question_at_entry_and_a_refusal_at_verification(
    model, manager, technician, figures, told
):
    with pytest.raises(ValidationError) as refusal:
        enter(model, manager, **figures)
    sentences = refusal.value.message_dict["keep_flagged"]
    assert told in sentences[0]
    assert "Did you mean other figures?" in sentences[-1]
    assert not SpecSheet.objects.exists()

    sheet = enter(model, manager, keep_flagged=True, **figures)
    assert told in sheet.flags()[0]
    for reason in ("", "   "):
        with pytest.raises(ValidationError) as refusal:
            verify_sheet(sheet=sheet, edition=sheet.edition, flag_reason=reason, by=technician, at=NOON)
        assert told in refusal.value.message_dict["flag_reason"][0]
    sheet.refresh_from_db()
    assert sheet.status == SheetStatus.DRAFT

    verify_sheet(sheet=sheet, edition=sheet.edition, flag_reason="measured on the unit", by=technician, at=NOON)
    sheet.refresh_from_db()
    assert (sheet.status, sheet.flag_reason) == (SheetStatus.VERIFIED, "measured on the unit")
    assert "although flagged: measured on the unit" in AuditEntry.objects.filter(kind="sheet").first().what


def test_the_shaft_is_a_diameter(model, manager):
    """Taken for a radius, it would push the IFP four times as far and into the cap."""
    assert enter(model, manager, depth="2.4 in", oil=None).flags() == []


def test_the_limit_is_held_against_a_fast_stroke_and_as_a_gauge_pressure(manager):
    # 200 psi into 66.4 - 20.8 = 45.6 mm: slow p = 214.7 * 66.4 / 45.6 - 14.7 = 298 psi by Boyle's law, fast more.
    calm = sized(make.make_damper_model(), manager, highest_gas="300 psi")
    with pytest.raises(ValidationError, match="A fast full stroke reaches 35"):
        enter(calm, manager, oil=None)
    assert enter(sized(make.make_damper_model(), manager, highest_gas="365 psi"), manager, oil=None).flags() == []


@pytest.mark.parametrize("unknown", ["reservoir_bore", "cap_intrusion", "shaft", "stroke"])
def test_without_the_whole_geometry_nothing_is_guessed(manager, unknown):
    model = sized(make.make_damper_model(), manager, **{unknown: None})
    assert enter(model, manager, depth="0.8 in").flags() == []


def test_a_charge_above_the_limit_is_flagged_with_no_other_size_known(manager):
    model = set_geometry(
        damper_model=make.make_damper_model(), highest_gas=parse("150 psi", "pressure"), by=manager, at=NOON
    )
    with pytest.raises(ValidationError, match="The charge itself, 200 psi, is above the limit of 150 psi"):
        enter(model, manager)


@pytest.mark.parametrize("others", ["known", "not known"])
def test_an_ifp_beyond_the_reservoir_is_asked_about_whatever_else_is_known(manager, technician, others):
    model = sized(make.make_damper_model(), manager, reservoir_depth="5.9 in")
    if others == "not known":
        model = set_geometry(damper_model=model, reservoir_depth=parse("5.9 in", "length"), by=manager, at=NOON)
    told = "An IFP depth of 6.2 in lies beyond the reservoir, which is 5.9 in deep from rim to floor."
    with pytest.raises(ValidationError) as refusal:
        enter(model, manager, depth="6.2 in", charge="60 psi")
    assert refusal.value.message_dict["keep_flagged"][0] == told
    assert enter(model, manager, depth="5.85 in", charge="60 psi").flags() == []

    sheet = enter(model, manager, code="H2-B", depth="6.2 in", charge="60 psi", keep_flagged=True)
    with pytest.raises(ValidationError, match="lies beyond the reservoir"):
        verify_sheet(sheet=sheet, edition=sheet.edition, by=technician, at=NOON)


def test_an_ifp_on_the_floor_is_beyond_the_reservoir_also_on_a_sheet_without_a_charge(manager):
    model = sized(make.make_damper_model(), manager, reservoir_depth="5.9 in")
    with pytest.raises(ValidationError, match="lies beyond the reservoir"):
        enter(model, manager, depth="5.9 in", charge=None)


def test_both_are_told_when_the_ifp_is_beyond_the_reservoir_and_the_charge_above_the_limit(manager):
    model = set_geometry(
        damper_model=make.make_damper_model(), reservoir_depth=parse("60 mm", "length"),
        highest_gas=parse("150 psi", "pressure"), by=manager, at=NOON,
    )  # fmt: skip
    with pytest.raises(ValidationError) as refusal:
        enter(model, manager)
    beyond, limit, _ = refusal.value.message_dict["keep_flagged"]
    assert ("lies beyond the reservoir" in beyond, "above the limit of 150 psi" in limit) == (True, True)


def test_without_a_limit_only_the_way_of_the_ifp_is_looked_at(manager):
    model = sized(make.make_damper_model(), manager, highest_gas=None)
    assert enter(model, manager, charge="400 psi").flags() == []


def test_a_sheet_without_depth_is_not_flagged(model, manager):
    assert enter(model, manager, depth=None).flags() == []


# --- the sizes --------------------------------------------------------------------------------------------------------


def test_sizes_are_kept_in_si_and_told_in_the_history(model):
    assert (model.reservoir_bore_m, model.shaft_m, model.stroke_m) == pytest.approx((0.04, 0.016, 0.13))
    assert model.highest_gas_pa == pytest.approx(650 * 6894.757, rel=1e-6)  # NIST SP 811
    assert model.spring_rate_n_per_m == pytest.approx(70_000)
    assert "reservoir bore 40 mm, cap intrusion 20 mm" in AuditEntry.objects.filter(kind="dampermodel").first().what


def test_what_is_not_given_is_not_known_any_more(model, manager):
    assert sized(model, manager, spring_rate=None).spring_rate_n_per_m is None


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("reservoir_bore", "40 in", "Reservoir bore cannot be 40 in"),
        ("shaft", "2 mm", "Shaft diameter cannot be 2 mm. Allowed is 3 to 100 mm"),
        ("stroke", "0 mm", "Stroke cannot be 0 mm"),
        ("reservoir_depth", "5.9 mm", "Reservoir depth cannot be 5.9 mm. Allowed is 20 to 500 mm"),
        ("cap_intrusion", "201 mm", "Cap intrusion cannot be 201 mm"),
        ("highest_gas", "10 psi", "Highest gas pressure cannot be 10 psi"),
        ("spring_rate", "70 N/m", "Spring rate at the damper cannot be 70 N/m"),
        ("shaft", "40 mm", "A shaft of 40 mm does not go with a reservoir bore of 40 mm"),
    ],
)
def test_a_size_that_no_damper_has_is_refused_under_its_name(manager, name, text, told):
    model = make.make_damper_model()
    with pytest.raises(ValidationError) as refusal:
        sized(model, manager, **{name: text})
    assert told in refusal.value.message_dict[name][0]
    model.refresh_from_db()
    assert model.stroke_m is None


def test_an_emulsion_damper_takes_no_sizes(manager):
    with pytest.raises(ValidationError, match="has no IFP"):
        sized(make.make_damper_model(construction=Construction.EMULSION), manager)
