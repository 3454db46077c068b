"""What the job card says, read back from the PDF."""

import subprocess
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from PIL import Image
from pypdf import PdfReader

from shop.calc.units import parse
from shop.dampers.models import Construction
from shop.documents.services import bag_tags, card_state, job_card, pick_list_paper
from shop.specs.models import SheetStatus
from shop.workorders.services import check_in, record_reading
from tests import factories
from tests.documents.orders import make_booked, make_checked_in, make_family, pages, stock_kit
from tests.factories import NOON

pytestmark = pytest.mark.django_db


def card_pages(order):
    return pages(job_card(order=order, at=NOON).pdf)


# Common practice, no source: torque and charge of one damper family by model year, IFP depths of one vehicle. The other
# unit follows from NIST SP 811, Appendix B: 1 lbf·ft = 1.355 818 N·m, 1 psi = 6.894 757 kPa, 1 in = 25.4 mm.
@pytest.mark.parametrize(
    ("year", "torque", "charge"),
    [
        (
            2014,
            "18 lbf·ft 24.4 N·m allowed 17.1 to 18.9 lbf·ft",
            "200 psi 1379 kPa, at 68 °F, sea level allowed 195 to 205 psi",
        ),
        (
            2015,
            "22 lbf·ft 29.8 N·m allowed 20.9 to 23.1 lbf·ft",
            "100 psi 689 kPa, at 68 °F, sea level allowed 95 to 105 psi",
        ),
    ],
)
def test_every_damper_has_the_figures_of_its_model_year_and_position(year, torque, charge):
    order = make_checked_in(year=year)
    depths = {"front": "2.4 in 61 mm allowed 2.37 to 2.43 in", "rear": "3.4 in 86.4 mm allowed 3.37 to 3.43 in"}
    found = card_pages(order)
    assert len(found) == 4
    for index, (text, where) in enumerate(
        zip(found, ["front left", "front right", "rear left", "rear right"], strict=True), 1
    ):
        assert f"{where.capitalize()} · {order.number} tag {1000 + order.pk}-{index}" in text
        assert f"Shaft nut torque {torque} Source: common practice, no source" in text
        assert f"Nitrogen charge {charge} Source: common practice, no source" in text
        assert f"IFP depth {depths[where.split()[0]]} Source: common practice, no source" in text
        assert "305 mL 10.3 fl oz allowed 300 to 310 mL with allowance 336 mL Source: common" in text
        assert "Oil volume Tarn No. 5 (SK-" in text
        assert f"card revision 1 · checked in Wed 25 Nov 2026, 12:00 {index} / 4" in text


def test_with_the_bench_temperature_of_the_day_the_card_says_what_to_aim_at_and_why(settings):
    # 200 psi at 20 °C is 184.8 psi at 0 °C (Span et al. 2000, tests/reference, N2V-017), and 2.2 psi more at 1320 m,
    # where there is 14.9 kPa less air (ISO 2533).
    settings.SHOP_ALTITUDE_M = 1320.0
    order = make_booked(year=2014, corners=["rear_right"])
    freezing = parse("0 °C", "temperature")
    by = factories.make_user("desk")
    order = check_in(order=order, meters=[], as_found=[], bench_temperature=freezing, by=by, at=NOON)
    (text,) = card_pages(order)
    assert (
        "200 psi 1379 kPa, at 68 °F, sea level allowed 195 to 205 psi today at 32 °F, 4331 ft: aim at 187 psi" in text
    )
    assert "aim at 187 psi (182 to 191) 15 psi lower for 32 °F, 2 psi higher for 4331 ft Source" in text
    assert "aim at, today" not in text
    settings.SHOP_ALTITUDE_M = 0.0
    assert card_state(order=order, revision=1, digest=order.cards.get().digest[:12]).current


def test_without_it_the_card_leaves_a_line_for_what_to_aim_at():
    (text,) = card_pages(make_checked_in(year=2014, corners=["rear_right"]))
    assert "aim at, today" in text
    assert "today at" not in text


def test_the_card_says_whose_damper_it_is_what_is_wrong_and_when_it_is_promised():
    customer = factories.make_customer(name="Sam Ferreira-Holt")
    order = make_checked_in(customer=customer, complaint="leaks at the shaft,\nbottoms out", corners=["rear_right"])
    job = order.jobs.get()
    (text,) = card_pages(order)
    assert "Larkspur Gulch Powersports · job card" in text
    assert f"Damper {job.damper.model} model year 2015 serial {job.damper.serial}" in text
    assert f"Vehicle {order.vehicle.model} model year 2015 4218 mi, 391 h at check-in" in text
    assert "Customer Sam Ferreira-Holt Rebuild, promised Fri 27 Nov 2026, 16:00" in text
    assert "“leaks at the shaft, bottoms out”" in text


def test_the_card_names_sheet_source_and_both_people():
    model = factories.make_damper_model()
    factories.make_sheet(
        model,
        code="H2-A",
        version=3,
        year_to=2014,
        position="rear",
        source_document="service manual",
        source_revision="rev C",
        source_page="pp. 38 to 44",
        entered_by=factories.make_user(first_name="Dora", last_name="Achterberg"),
        verified_by=factories.make_user(first_name="Rosa", last_name="Odumbe"),
        printed={"charge": {"page": "p. 41"}},
    )
    order = make_checked_in(model=model, year=2014, corners=["rear_right"])
    (text,) = card_pages(order)
    assert "Sheet H2-A version 3, chosen as: model years to 2014, rear, any vehicle." in text
    assert "Entered by Dora Achterberg, verified by Rosa Odumbe, 25 Nov 2026." in text
    assert "allowed 95 to 105 psi Source: service manual, rev C, p. 41" in text
    assert "allowed 20.9 to 23.1 lbf·ft Source: service manual, rev C, pp. 38 to 44" in text
    assert "DRAFT" not in text


def test_a_figure_printed_otherwise_in_its_source_says_how():
    model = factories.make_damper_model()
    factories.make_sheet(model, printed={"shaft_nut_torque": {"figures": "29.8", "unit": "N·m"}})
    (text,) = card_pages(make_checked_in(model=model, corners=["rear_right"]))
    assert "no source; prints 29.8 N·m" in text


def test_the_figures_follow_the_units_of_the_shop(settings):
    settings.SHOP_UNITS = settings.SHOP_UNITS | {
        "torque": "N·m",
        "pressure": "bar",
        "length": "mm",
        "temperature": "°C",
    }
    (text,) = card_pages(make_checked_in(year=2014, corners=["rear_right"]))
    assert "24.4 N·m 18 lbf·ft allowed 23.2 to 25.6 N·m Source: common practice, no source; prints 18 lbf·ft" in text
    assert "13.79 bar 200 psi" in text
    assert "86.4 mm 3.4 in" in text
    assert "bench °C" in text


def test_the_figures_are_large():
    order = make_checked_in(year=2014, corners=["rear_right"])
    page = PdfReader(BytesIO(job_card(order=order, at=NOON).pdf)).pages[0]
    points = {}

    def note(text, outer, inner, _, size):
        points.setdefault(text.strip(), abs(size * inner[3] * outer[3]))

    page.extract_text(visitor_text=note)
    assert all(points[figure] >= 19 for figure in ("18", "200", "3.4", "305"))
    assert points["reading"] < 8


def test_what_a_draft_sheet_gives_is_marked_beside_every_figure():
    model = factories.make_damper_model()
    factories.make_sheet(model, status=SheetStatus.DRAFT)
    (text,) = card_pages(make_checked_in(model=model, corners=["rear_right"]))
    for figure in ("22 lbf·ft", "100 psi", "3.4 in", "305 mL"):
        assert f"DRAFT, not verified: does not count {figure}" in text
    assert "DRAFT figures: nobody has verified this sheet, and the job cannot close on them." in text
    assert "DRAFT, verified by nobody." in text
    assert ", verified by Test" not in text


def test_without_a_sheet_the_card_says_so_and_leaves_room_for_value_and_manual():
    model = factories.make_damper_model(name="H9")
    stock_kit(model)
    (text,) = card_pages(make_checked_in(model=model, corners=["rear_right"]))
    assert "No spec sheet for this damper No sheet covers Hallinde H9, model year 2015, rear right." in text
    assert "value and unit manual, revision, page" in text
    assert "Shaft nut torque Nitrogen charge IFP depth Oil volume" in text
    assert "lbf·ft" not in text
    assert "psi" not in text


def test_a_figure_missing_on_the_sheet_leaves_room_for_it():
    model = factories.make_damper_model()
    factories.make_sheet(model, charge=None)
    (text,) = card_pages(make_checked_in(model=model, corners=["rear_right"]))
    assert "Nitrogen charge Not on the sheet: write down value, unit, manual and page." in text
    assert "22 lbf·ft" in text


def test_a_damper_without_an_ifp_has_no_ifp_depth():
    model = factories.make_damper_model(construction=Construction.EMULSION)
    factories.make_sheet(model, depth=None)
    (text,) = card_pages(make_checked_in(model=model, corners=["rear_right"]))
    assert "IFP" not in text
    assert "100 psi" in text


def test_the_cautions_stand_on_every_page_and_the_manual_prevails():
    for text in card_pages(make_checked_in(corners=["rear_left", "rear_right"])):
        for words in (
            "Stored gas. Vent through the valve and prove zero pressure",
            "Stored spring energy.",
            "Eye protection on from the first step to the last",
            "Nitrogen only. Never oxygen, shop air or a flammable gas",
            "Ventilate",
            "Torque never under charge.",
            "Used oil, solvent, rags by local rules",
            "The maker’s current service manual for this exact unit prevails",
            "licensed practice",
        ):
            assert words in text


def test_settings_as_found_stand_there_and_as_left_is_blank():
    order = make_checked_in(corners=["rear_right"])
    (text,) = card_pages(order)
    assert "Compression, clicks out from closed 7 clicks Rebound, clicks out from closed 11 clicks" in text
    assert "Preload, datum to ring 121 mm (4.764 in)" in text


def test_each_page_has_the_parts_of_its_own_damper():
    order = make_checked_in(corners=["rear_left", "rear_right"])
    kit = order.pick_list.lines.filter(name="seal kit").first()
    for text in card_pages(order):
        assert f"1 × seal kit {kit.part_number} B-07" in text
        assert "336 mL Tarn No. 5" in text
        assert "4 g seal grease" in text


def test_the_steps_say_where_a_second_person_signs():
    (text,) = card_pages(make_checked_in(corners=["rear_right"]))
    assert "first signature second signature" in text
    assert (
        "2. Take the spring off ◆ — 3. Vent the nitrogen and prove zero pressure ◆ 4. Open, drain, lay out ◆ —" in text
    )
    assert "8. Tighten the shaft nut ◆ 9. Fill" in text


def test_there_is_no_card_before_check_in():
    order = make_booked()
    with pytest.raises(ValidationError, match=f"{order.number} is booked: the job card comes with the check-in"):
        job_card(order=order, at=NOON)
    assert not order.cards.exists()


LONG_NAMES = ["Żółć-Kowalczykówna Αθηνά Дмитриевна", "山田太郎", "نوال", "W" * 120, "ab " * 40]


@pytest.mark.parametrize("name", LONG_NAMES)
def test_any_name_and_the_longest_complaint_stay_on_the_page(name):
    customer = factories.make_customer(name=name.strip())
    order = make_checked_in(customer=customer, complaint="W" * 1000, corners=["rear_right"])
    assert ink_beside_the_text(job_card(order=order, at=NOON).pdf) == []
    assert ink_beside_the_text(bag_tags(order=order).pdf) == []
    assert ink_beside_the_text(pick_list_paper(order=order, at=NOON).pdf) == []


def ink_beside_the_text(pdf):
    """Numbers of the pages that have something printed in the outer 10 mm of their right margin."""
    command = ["pdftoppm", "-png", "-r", "60", "-gray"]
    with TemporaryDirectory() as folder:
        subprocess.run([*command, "-", f"{folder}/page"], input=pdf, check=True)
        found = []
        for path in sorted(Path(folder).iterdir()):
            picture = Image.open(path).convert("L")
            edge = round(10 / 25.4 * 60)
            right = picture.crop((picture.width - edge, 0, picture.width, picture.height))
            if right.getextrema()[0] < 255:
                found.append(path.stem)
    return found


def test_markup_in_what_people_typed_is_text():
    wicked = '<script src="http://127.0.0.1:9/x.js"></script><img src="file:///etc/hostname">&amp; “quotes”'
    customer = factories.make_customer(name="<b>Bold</b> & Sons")
    (text,) = card_pages(make_checked_in(customer=customer, complaint=wicked, corners=["rear_right"]))
    assert f"“{wicked}”" in text
    assert "<b>Bold</b> & Sons" in text


def test_the_pdf_is_tagged_and_names_shop_title_and_language():
    order = make_checked_in(corners=["rear_right"])
    pdf = PdfReader(BytesIO(job_card(order=order, at=NOON).pdf))
    root = pdf.trailer["/Root"]
    assert pdf.metadata.title == f"Job card {order.number}"
    assert pdf.metadata.author == "Larkspur Gulch Powersports"
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    assert b"pdfuaid:part" in root["/Metadata"].get_data()


def test_the_number_of_queries_does_not_grow_with_the_dampers(django_assert_num_queries):
    model = make_family()
    one, eight = make_checked_in(model=model, loose=1), make_checked_in(model=model, loose=8)
    job_card(order=one, at=NOON)
    job_card(order=eight, at=NOON)
    with CaptureQueriesContext(connection) as of_one:
        job_card(order=one, at=NOON)
    with django_assert_num_queries(len(of_one)):
        assert len(pages(job_card(order=eight, at=NOON).pdf)) == 8


def test_a_correction_later_makes_the_next_revision(technician):
    order = make_checked_in(corners=["rear_right"])
    first = job_card(order=order, at=NOON)
    job = order.jobs.get()
    record_reading(
        job=job,
        measure="compression_clicks",
        moment="found",
        entered=parse("9", "count", "clicks"),
        corrects=job.readings.get(measure="compression_clicks"),
        why="counted from the wrong end",
        by=technician,
        at=NOON + timedelta(minutes=10),
    )
    second = job_card(order=order, at=NOON + timedelta(minutes=11))
    assert (first.revision, second.revision) == (1, 2)
    (text,) = pages(second.pdf)
    assert "Compression, clicks out from closed 9 clicks" in text
    assert "card revision 2" in text
