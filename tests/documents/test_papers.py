"""Pick list, bag tags and service record, read back from the PDF; the codes on them, read back from the picture."""

import subprocess
from datetime import timedelta
from io import BytesIO

import pytest
import segno
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from shop.calc.units import parse
from shop.documents.services import bag_tags, job_card, pick_list_paper, service_record
from shop.specs.models import KitMeasure, SheetStatus
from shop.workorders.selectors import job_steps
from shop.workorders.services import close_job, close_order, finish_step, record_reading, second_check
from tests import factories
from tests.documents.orders import make_booked, make_checked_in, make_family, make_tools, pages, rebuild
from tests.factories import NOON

pytestmark = pytest.mark.django_db


# --- Pick list -----------------------------------------------------------------------------------------------------


def test_the_pick_list_gathers_whole_containers_in_the_order_of_the_bins():
    order = make_booked()
    (text,) = pages(pick_list_paper(order=order, at=NOON).pdf)
    tags = [f"{job.tag} {job.damper.where()}" for job in order.jobs.all()]
    assert order.number in text
    assert "Ines Calloway" in text
    assert text.index("B-07 4 × seal kit") < text.index("F-02 1342 mL Tarn No. 5") < text.index("F-05 16 g seal grease")
    assert "Take 2 × 1 L bottle." in text
    assert " ".join(f"{tag}: 336 mL" for tag in tags) in text
    assert "Stock as of Wed 25 Nov 2026, 12:00. Everything is held for this order." in text


def test_the_pick_list_says_what_is_short_and_what_to_buy():
    model = factories.make_damper_model()
    factories.make_sheet(model)
    oil = factories.make_part("OIL-5", name="Tarn No. 5", measure=KitMeasure.VOLUME, bin="F-02")
    factories.make_container(oil, 1_000_000, name="1 L bottle", full=1)
    factories.make_kit_line(model, "OIL-5", amount=None, measure=KitMeasure.VOLUME, name="Tarn No. 5")
    factories.make_kit_line(model, "SK-NONE", name="seal kit")
    (text,) = pages(pick_list_paper(order=make_booked(model=model), at=NOON).pdf)
    assert "Something is short." in text
    assert "342 mL short: buy 1 × 1 L bottle." in text
    assert "4 short: SK-NONE is not in the stock list." in text


def test_a_pick_list_of_nothing_says_so():
    (text,) = pages(pick_list_paper(order=make_booked(model=factories.make_damper_model()), at=NOON).pdf)
    assert "there is nothing to gather" in text


def test_the_queries_of_the_pick_list_do_not_grow_with_the_dampers(django_assert_num_queries):
    model = make_family()
    one, eight = make_booked(model=model, loose=1), make_booked(model=model, loose=8)
    with CaptureQueriesContext(connection) as of_one:
        pick_list_paper(order=one, at=NOON)
    with django_assert_num_queries(len(of_one)):
        pick_list_paper(order=eight, at=NOON)


# --- Tags ----------------------------------------------------------------------------------------------------------


def test_every_damper_has_a_tag_of_its_own():
    order = make_checked_in()
    (text,) = pages(bag_tags(order=order).pdf)
    for job in order.jobs.all():
        where, damper = job.damper.where().capitalize(), job.damper
        assert f"{where} {job.tag} {damper.model} model year 2015, serial {damper.serial}" in text
    assert text.count("promised Fri 27 Nov 2026, 16:00") == 4


def test_eight_loose_dampers_get_eight_tags():
    order = make_booked(loose=8)
    text = " ".join(pages(bag_tags(order=order).pdf))
    assert all(f"Loose {job.tag}" in text for job in order.jobs.all())


# --- Codes ---------------------------------------------------------------------------------------------------------


def code_at(pdf, left, top, size):
    """Reader of the QR code in a square of the first page, in mm from its top left corner; a dark module is True."""
    command = ["pdftoppm", "-png", "-r", "300", "-gray", "-f", "1", "-l", "1", "-"]
    picture = Image.open(BytesIO(subprocess.run(command, input=pdf, capture_output=True, check=True).stdout))
    dots = 300 / 25.4
    square = picture.convert("L").crop([round(one * dots) for one in (left, top, left + size, top + size)])
    square = square.crop(square.point(lambda shade: 255 * (shade < 128)).getbbox())

    def read(count):
        middles = [(one + 0.5) / count for one in range(count)]
        return [[square.getpixel((x * square.width, y * square.height)) < 128 for x in middles] for y in middles]

    return read


def modules(text):
    """What a QR code of this text looks like, by the library that other readers are tested with (ISO/IEC 18004)."""
    return [[bool(module) for module in row] for row in segno.make_qr(text, error="m").matrix]


def test_the_code_on_the_card_leads_to_the_check_of_this_revision(settings):
    settings.SITE_URL = "https://book.example.com"
    order = make_checked_in(corners=["rear_right"])
    paper = job_card(order=order, at=NOON)
    address = settings.SITE_URL + reverse("desk:card_check", args=[order.pk, 1, paper.digest[:12]])
    wanted = modules(address)
    assert code_at(paper.pdf, left=171, top=10, size=27)(len(wanted)) == wanted


def test_the_code_on_a_tag_leads_to_the_page_of_its_damper(settings):
    order = make_checked_in(corners=["rear_left", "rear_right"])
    paper = bag_tags(order=order)
    for job, left in zip(order.jobs.all(), (75, 167), strict=True):
        wanted = modules(settings.SITE_URL + reverse("tablet:job", args=[job.pk]))
        assert code_at(paper.pdf, left=left, top=13, size=27)(len(wanted)) == wanted


# --- Service record ------------------------------------------------------------------------------------------------


def closed(order, by, used=()):
    close_order(order=order, used=list(used), by=by, at=NOON + timedelta(hours=5))
    return pages(service_record(order=order).pdf)


def test_the_record_says_what_was_set_with_what_by_whom_and_who_checked(technician, second):
    order = make_checked_in(corners=["rear_right"])
    tools, job = make_tools(), order.jobs.get()
    rebuild(job, tools, technician, second, left=("7", "12", "121 mm"))
    close_job(job=job, by=technician, at=NOON)
    kit = order.pick_list.lines.get(name="seal kit")
    (text,) = closed(order, technician, [(kit, 2)])
    signed = "Tobias Nkemelu, 25 Nov 2026, 12:00 Rosa Odumbe, 25 Nov 2026, 12:00"
    wrench, gauge = tools["shaft_nut_torque"], tools["charge"]
    assert f"Shaft nut torque 22 lbf·ft (allowed 20.9 to 23.1 lbf·ft) torque wrench {wrench} {signed}" in text
    # 100 ± 5 psi at 68 °F, on a bench at 61 °F: 1.5 psi less (Gay-Lussac's law, absolute).
    assert f"Nitrogen charge 100 psi (allowed 94 to 103 psi) charging gauge {gauge}, bench at 61 °F {signed}" in text
    assert "IFP depth 3.4 in (allowed 3.37 to 3.43 in)" in text
    assert "Rebound, clicks out from closed 11 clicks 12 clicks" in text
    assert f"2 × seal kit {kit.part_number}" in text
    assert "chosen as: model years from 2015, rear, any vehicle. Source: common practice, no source. Entered by" in text
    assert "25 Nov 2026. The maker’s current service manual for this exact unit prevails." in text
    assert "12 Quarry Road, Larkspur Gulch · 555-0100" in text
    assert "▲" not in text


def test_the_record_shows_what_a_correction_corrects(technician, second, manager):
    order = make_checked_in(corners=["rear_right"])
    tools, job = make_tools(), order.jobs.get()
    rebuild(job, tools, technician, second)
    wrench = tools["shaft_nut_torque"]
    for figures, why in [("22.4", "misread the scale"), ("22.5", "wrench set anew")]:
        record_reading(
            job=job,
            measure="shaft_nut_torque",
            moment="set",
            entered=parse(figures, "torque", "lbf·ft"),
            tool=wrench,
            corrects=job.readings.get(measure="shaft_nut_torque", corrected_by=None),
            why=why,
            by=manager,  # the damper is charged by now
            at=NOON,
        )
    step = next(state.step for state in job_steps(job) if state.step.reading == "shaft_nut_torque")
    second_check(job=job, step=step, by=second, at=NOON)
    close_job(job=job, by=technician, at=NOON)
    (text,) = closed(order, technician)
    assert "Shaft nut torque 22.5 lbf·ft" in text
    assert "corrects 22.4 lbf·ft by Mika Sorensdal: wrench set anew; corrects 22 lbf·ft by Tobias" in text
    assert "misread the scale" in text


def test_an_override_prints_its_reason_and_what_was_lacking(technician, manager):
    order = make_checked_in(corners=["rear_right"])
    job = order.jobs.get()
    finish_step(job=job, step=job.procedure.steps.first(), by=technician, at=NOON)
    reason = "Bore scored: the customer takes it home as it is, drained."
    close_job(job=job, by=manager, at=NOON, override_reason=reason)
    (text,) = closed(order, technician)
    assert f"although something was lacking. Reason: {reason}" in text
    assert "Tighten the shaft nut ▲ waits for the shaft nut torque" in text


def test_readings_held_against_a_draft_say_so(technician, second, manager):
    model = factories.make_damper_model()
    factories.make_sheet(model, status=SheetStatus.DRAFT)
    order = make_checked_in(model=model, corners=["rear_right"])
    job = order.jobs.get()
    rebuild(job, make_tools(), technician, second)
    close_job(job=job, by=manager, at=NOON, override_reason="figures compared with the manual by telephone")
    text = " ".join(closed(order, technician))
    assert "DRAFT figures: nobody had verified the sheet" in text
    assert "DRAFT Shaft nut torque 22 lbf·ft" in text


def test_there_is_no_record_of_unfinished_work():
    order = make_checked_in()
    with pytest.raises(ValidationError, match="the service record comes when the order is closed"):
        service_record(order=order)


def test_the_queries_of_the_record_do_not_grow_with_the_dampers(manager, django_assert_num_queries):
    model = make_family()
    orders = [make_checked_in(model=model, loose=1), make_checked_in(model=model, loose=8)]
    for order in orders:
        for job in order.jobs.all():
            close_job(job=job, by=manager, at=NOON, override_reason="sold as it is")
        closed(order, manager)
    with CaptureQueriesContext(connection) as of_one:
        service_record(order=orders[0])
    with django_assert_num_queries(len(of_one)):
        service_record(order=orders[1])
