"""One step: what it shows, what it records, what it refuses, and what happens when two people are at it."""

import re
from datetime import timedelta
from html import unescape

import pytest
from django.urls import reverse

from shop.calc.units import to_si
from shop.dampers.models import Construction
from shop.specs.models import SheetStatus
from shop.workorders import services
from shop.workorders.models import Moment, Reading, SecondCheck, StepDone
from tests import factories as make
from tests.factories import LBF_FT, NOON
from tests.web.conftest import logged_in
from tests.web.dampers_at_work import (
    AIR,
    CHARGE,
    CLOSE,
    DEPTH,
    FILL,
    PIN,
    REFIT,
    TORQUE,
    ZERO_PRESSURE,
    at_check,
    at_step,
    leave,
    order_on_the_benches,
    record,
    tools,
    with_pin,
    work,
)
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
LEFT = {"compression_clicks": "12", "rebound_clicks": "10", "preload_length": "3.35"}


@pytest.fixture
def kit(db):
    return tools()


@pytest.fixture
def job(desk, technician, second, kit):
    """A damper whose next step is the torque of the shaft nut."""
    job = order_on_the_benches(desk, code="H2-A").jobs.get()
    work(job, technician, second, tools=kit, to=TORQUE)
    return job


def set_readings(job):
    return [f"{one.figures} {one.unit}" for one in job.readings.filter(moment=Moment.SET)]


# --- what a step shows ------------------------------------------------------------------------------------------------


def test_a_step_shows_its_caution_the_number_its_range_and_where_it_comes_from(at_bench, job):
    page = words(at_bench.get(at_step(job, TORQUE)))
    for part in (
        "Build the shaft, step 8 of 15", "Critical: a second person checks it",
        "Too little lets the nut go in the field, too much breaks the shaft.",
        "Tools: soft jaws, torque wrench in calibration",
        "Shaft nut torque 18 lbf·ft allowed 17.1 to 18.9 lbf·ft 24.4 N·m",
        "Sheet H2-A version 1, chosen as: all model years, any position, any vehicle.",
        "Source: common practice, no source. Entered by Test Manager", ", verified by Test Technician",
        "The maker's current service manual for the exact unit prevails.", "Readings in the shop's books: 3",
    ):  # fmt: skip
        assert part in page


def test_every_step_leads_back_and_on(at_bench, job):
    page = at_bench.get(at_step(job, 1)).content.decode()
    assert f'href="{job.get_absolute_url()}">Back</a>' in page
    assert f'href="{at_step(job, 2)}">Next</a>' in page
    page = at_bench.get(at_step(job, CLOSE)).content.decode()
    assert f'href="{at_step(job, REFIT)}">Back</a>' in page
    assert f'href="{reverse("tablet:close", args=[job.pk])}">Next</a>' in page


def test_the_first_step_shows_the_settings_as_found_to_compare_with(at_bench, job):
    page = words(at_bench.get(at_step(job, 1)))
    assert "found at 12 clicks" in page
    assert "found at 3.35 in" in page


@pytest.mark.parametrize(
    ("low", "high", "unit"), [(25.03, 26.11, "N·m"), (17.12, 18.97, "lbf·ft"), (23.001, 23.899, "N·m")]
)
def test_the_range_that_is_watched_while_typing_is_never_wider_than_the_true_one(
    at_bench, desk, technician, second, kit, low, high, unit
):
    model = make.make_damper_model()
    low, high = to_si(low, unit), to_si(high, unit)
    torque = {"low_si": low, "high_si": high, "value_si": (low + high) / 2}
    make.make_sheet(model, torque=18, printed={"shaft_nut_torque": torque})
    job = order_on_the_benches(desk, model=model, sheet=False).jobs.get()
    work(job, technician, second, to=TORQUE)
    page = at_bench.get(at_step(job, TORQUE)).content.decode()
    watched = [float(re.search(rf'data-{side}="([\d.]+)"', page)[1]) * LBF_FT for side in ("low", "high")]
    assert low * (1 - 1e-12) <= watched[0] < watched[1] <= high * (1 + 1e-12)


def test_a_tool_out_of_calibration_stays_in_sight_and_out_of_reach_with_the_reason(at_bench, job, kit):
    page = at_bench.get(at_step(job, TORQUE))
    assert "TW-2, 5 to 60 lbf·ft, calibrated to 17 August 2027" in words(page)
    assert "TW-9 is out of calibration since" in words(page)
    assert re.search(rf'value="{kit["old wrench"].pk}"[^>]*disabled', page.content.decode())
    assert "0 to 300 psi" not in words(page)
    assert form(page)["tool"] == str(kit["wrench"].pk)


def test_of_two_good_tools_none_is_chosen_beforehand(at_bench, job):
    make.make_tool(code="TW-3")
    assert "tool" not in form(at_bench.get(at_step(job, TORQUE)))


def test_a_damper_without_an_ifp_counts_its_own_steps(at_bench, desk, technician, second, kit):
    model = make.make_damper_model(construction=Construction.EMULSION)
    job = order_on_the_benches(desk, model=model).jobs.get()
    work(job, technician, second, tools=kit, to=CHARGE)
    assert "Charge, step 11 of 14" in words(at_bench.get(at_step(job, CHARGE)))
    assert at_bench.get(at_step(job, DEPTH)).status_code == 404
    assert f'href="{at_step(job, CHARGE)}">Next</a>' in at_bench.get(at_step(job, AIR)).content.decode()


def test_a_draft_is_shown_as_one_and_holds_nothing_against_a_reading(at_bench, desk, technician, second, kit):
    job = order_on_the_benches(desk, status=SheetStatus.DRAFT).jobs.get()
    work(job, technician, second, to=TORQUE)
    page = at_bench.get(at_step(job, TORQUE))
    assert "Shaft nut torque DRAFT 18 lbf·ft allowed by the draft" in words(page)
    assert "data-low" not in page.content.decode()
    assert send(at_bench, at_step(job, TORQUE), entered="21").status_code == 302
    assert "held against a DRAFT" in words(at_bench.get(at_step(job, TORQUE)))


def test_without_a_sheet_the_step_says_so_records_what_was_read_and_leads_on(at_bench, desk, technician, second, kit):
    job = order_on_the_benches(desk, sheet=False).jobs.get()
    work(job, technician, second, to=TORQUE)
    assert "No spec sheet." in words(at_bench.get(at_step(job, TORQUE)))
    send(at_bench, at_step(job, TORQUE), entered="18.2")
    services.second_check(job=job, step=job.procedure.steps.get(number=TORQUE), by=second, at=NOON)
    assert set_readings(job) == ["18.2 lbf·ft"]
    page = at_bench.get(job.get_absolute_url()).content.decode()
    assert f'href="{at_step(job, FILL)}">Go on</a>' in page


# --- recording --------------------------------------------------------------------------------------------------------


def test_a_torque_is_recorded_with_its_tool_and_leads_to_the_second_person(at_bench, job, kit, technician):
    answer = send(at_bench, at_step(job, TORQUE), entered="18,2")
    assert answer.url == at_check(job, TORQUE)
    reading = job.readings.get(moment=Moment.SET)
    assert (reading.figures, reading.unit, reading.tool, reading.by) == ("18.2", "lbf·ft", kit["wrench"], technician)
    page = words(at_bench.get(at_step(job, TORQUE)))
    assert "18.2 lbf·ft, with TW-2: Tobias Nkemelu, 12:00" in page
    assert "waits for a second person's check" in page


def test_a_reading_without_a_second_check_leads_to_the_next_step(at_bench, desk, technician, second, kit):
    job = order_on_the_benches(desk).jobs.get()
    work(job, technician, second, tools=kit, to=FILL)
    assert send(at_bench, at_step(job, FILL), entered="303").url == at_step(job, AIR)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("19.5", "Shaft nut torque 19.5 lbf·ft is out of tolerance. Allowed is 17.1 to 18.9 lbf·ft."),
        ("18 N·m", "Allowed is 17.1 to 18.9 lbf·ft."),
        ("18.90001", "is out of tolerance. Allowed is 17.1 to 18.9 lbf·ft."),
        ("", "Nothing is typed here. Type the figure that was read."),
        ("tight", "“tight” cannot be read. Give a number such as 18 or 18.2 lbf·ft."),
        ("-18", "Give zero or more."),
        ("18 psi", "psi measures pressure"),
        ("1" * 100_000, "cannot be read"),
        ("18.\x002", "cannot be read"),
    ],
)
def test_a_figure_that_cannot_be_recorded_is_refused_with_the_reason_and_kept(at_bench, job, typed, sentence):
    answer = send(at_bench, at_step(job, TORQUE), entered=typed)
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert form(answer)["entered"].strip("\x00") == typed.strip("\x00")
    assert set_readings(job) == []


@pytest.mark.parametrize(
    ("tool", "sentence"),
    [
        ("old wrench", "TW-9 is out of calibration"),
        ("gauge", "This is no torque wrench of the shop."),
        ("", "Say with which torque wrench it was read."),
        ("nonsense", "This is no torque wrench of the shop."),
    ],
)
def test_a_tool_that_does_not_fit_is_refused_and_the_figure_kept(at_bench, job, kit, tool, sentence):
    given = kit[tool].pk if tool in kit else tool
    answer = send(at_bench, at_step(job, TORQUE), entered="18.2", tool=given)
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert form(answer)["entered"] == "18.2"
    assert set_readings(job) == []


def test_a_wrench_whose_scale_ends_too_early_is_refused(at_bench, job):
    small = make.make_tool(code="TW-1", low_si=1, high_si=15)
    answer = send(at_bench, at_step(job, TORQUE), entered="18.2", tool=small.pk)
    assert answer.status_code == 422
    assert "outside the range of TW-1" in words(answer)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [("", "Read the thermometer at the bench"), ("200", "−40 to 140 °F"), ("warm", "“warm” cannot be read")],
)
def test_a_charge_needs_the_bench_temperature(at_bench, desk, technician, second, kit, typed, sentence):
    job = order_on_the_benches(desk).jobs.get()
    work(job, technician, second, tools=kit, to=CHARGE)
    answer = send(at_bench, at_step(job, CHARGE), entered="201", bench_temperature=typed)
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert form(answer)["entered"] == "201"
    assert send(at_bench, at_step(job, CHARGE), entered="201", bench_temperature="68").status_code == 302
    assert "201 psi, bench at 68 °F, with G-1" in words(at_bench.get(at_step(job, CHARGE)))


def test_a_step_without_a_figure_is_signed_by_one_press(at_bench, desk, technician):
    job = order_on_the_benches(desk).jobs.get()
    assert send(at_bench, at_step(job, 1)).url == at_step(job, 2)
    assert StepDone.objects.get().by == technician
    page = at_bench.get(at_step(job, 1))
    assert "done: Tobias Nkemelu, 12:00" in words(page)
    assert "Done, go on" not in words(page)


def test_the_same_entry_sent_twice_is_written_once(at_bench, job):
    entry = form(at_bench.get(at_step(job, TORQUE))) | {"entered": "18.2"}
    answers = [at_bench.post(at_step(job, TORQUE), entry) for _ in range(2)]
    assert {answer.url for answer in answers} == {at_check(job, TORQUE)}
    assert set_readings(job) == ["18.2 lbf·ft"]


def test_a_refused_entry_may_come_again_under_its_key(at_bench, job):
    refused = send(at_bench, at_step(job, TORQUE), entered="19.5")
    assert at_bench.post(at_step(job, TORQUE), form(refused) | {"entered": "18.2"}).status_code == 302
    assert set_readings(job) == ["18.2 lbf·ft"]


def test_nothing_is_entered_before_zero_pressure_is_proven_and_checked(at_bench, desk, technician, second, kit):
    job = order_on_the_benches(desk).jobs.get()
    work(job, technician, second, to=ZERO_PRESSURE)
    page = at_bench.get(at_step(job, TORQUE))
    assert "Not yet. First step 3, “Vent the nitrogen and prove zero pressure” (not done yet)." in words(page)
    assert "entered" not in form(page)
    assert "Go to step 3" in words(page)
    answer = at_bench.post(at_step(job, TORQUE), {"entered": "18.2", "tool": kit["wrench"].pk})
    assert answer.status_code == 422
    assert "Nothing after it can be recorded before." in words(answer)
    assert form(answer)["entered"] == "18.2"
    assert set_readings(job) == []


def test_the_front_desk_cannot_record(at_desk, job, kit):
    answer = at_desk.post(at_step(job, TORQUE), {"entered": "18.2", "tool": kit["wrench"].pk})
    assert answer.status_code == 403
    assert "This page is for: technician, manager." in words(answer)
    assert set_readings(job) == []


@pytest.mark.parametrize("number", [0, 16, 99, 10**25])
def test_an_unknown_step_is_not_found(at_bench, job, number):
    assert at_bench.get(f"/bench/{job.pk}/{number}/").status_code == 404
    assert at_bench.post(f"/bench/{job.pk}/{number}/", {"entered": "18"}).status_code == 404


def test_a_closed_damper_takes_no_entry_and_keeps_what_was_typed_on_the_page(at_bench, job, manager):
    entry = form(at_bench.get(at_step(job, TORQUE))) | {"entered": "18.2"}
    services.close_job(job=job, override_reason="scrapped", by=manager, at=NOON)
    answer = at_bench.post(at_step(job, TORQUE), entry)
    assert answer.status_code == 409
    assert f"Damper {job.tag} is closed: nothing can be recorded on it." in words(answer)
    assert form(answer)["entered"] == "18.2"
    assert "entered" not in form(at_bench.get(at_step(job, TORQUE)))
    assert set_readings(job) == []


# --- two people, one figure -------------------------------------------------------------------------------------------


def test_a_figure_recorded_meanwhile_is_shown_beside_the_typed_one_and_mine_becomes_a_correction(
    at_bench, job, kit, second
):
    mine = form(at_bench.get(at_step(job, TORQUE))) | {"entered": "18.6"}
    record(job, "shaft_nut_torque", second, "18.2 lbf·ft", tools=kit)
    answer = at_bench.post(at_step(job, TORQUE), mine)
    assert answer.status_code == 409
    assert "In the shop's books 18.2 lbf·ft Rosa Odumbe, 12:00 You typed, not saved 18.6 lbf·ft" in words(answer)
    assert set_readings(job) == ["18.2 lbf·ft"]
    way = re.search(r'href="([^"]*)">Mine is right', answer.content.decode())[1].replace("&amp;", "&")
    assert form(at_bench.get(way))["entered"] == "18.6"
    assert send(at_bench, way, why="read again, the wrench clicked late").status_code == 302
    assert set_readings(job) == ["18.2 lbf·ft", "18.6 lbf·ft"]


def test_settings_left_meanwhile_are_shown_beside_the_typed_ones_and_none_is_written(at_bench, job, second):
    mine = form(at_bench.get(at_step(job, REFIT))) | LEFT
    leave(job, second, only="compression_clicks", compression_clicks="14")
    answer = at_bench.post(at_step(job, REFIT), mine)
    assert answer.status_code == 409
    assert "In the shop's books 14 clicks Rosa Odumbe, 12:00 You typed, not saved 12 clicks" in words(answer)
    assert form(answer)["rebound_clicks"] == "10"
    assert "compression_clicks" not in form(answer)
    assert job.readings.filter(moment=Moment.LEFT).count() == 1
    assert at_bench.post(at_step(job, REFIT), form(answer)).status_code == 302
    assert job.readings.filter(moment=Moment.LEFT).count() == 3


# --- as left ----------------------------------------------------------------------------------------------------------


def test_the_settings_as_left_are_typed_beside_those_found_and_nothing_is_filled_in(at_bench, job):
    page = at_bench.get(at_step(job, REFIT))
    assert "as found 12 clicks" in words(page)
    assert "as found 3.35 in" in words(page)
    assert [form(page)[name] for name in LEFT] == ["", "", ""]
    assert 'data-value="12"' in page.content.decode()
    answer = send(at_bench, at_step(job, REFIT), **LEFT)
    assert answer.url == at_step(job, CLOSE)
    left = {one.measure: f"{one.figures} {one.unit}" for one in job.readings.filter(moment=Moment.LEFT)}
    assert left == {"compression_clicks": "12 clicks", "rebound_clicks": "10 clicks", "preload_length": "3.35 in"}


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"rebound_clicks": ""}, "Nothing is typed here."),
        ({"rebound_clicks": "10.5"}, "Give a whole number of clicks."),
        ({"rebound_clicks": "-1"}, "Give zero or more."),
        ({"preload_length": "long"}, "“long” cannot be read."),
    ],
)
def test_one_bad_setting_and_none_is_written(at_bench, job, typed, sentence):
    answer = send(at_bench, at_step(job, REFIT), **LEFT | typed)
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert {name: form(answer)[name] for name in LEFT} == LEFT | typed
    assert not job.readings.filter(moment=Moment.LEFT).exists()


def test_more_clicks_than_the_adjuster_has_are_refused_and_none_is_written(at_bench, job):
    make.make_adjuster(job.damper.model, clicks=14)
    assert "Rebound: 14 clicks in all." in words(at_bench.get(at_step(job, REFIT)))
    answer = send(at_bench, at_step(job, REFIT), **LEFT | {"rebound_clicks": "15"})
    assert answer.status_code == 422
    told = f"The rebound adjuster of the {job.damper.model} has 14 clicks; 15 were counted. Turn it fully closed"
    assert told in words(answer)
    assert form(answer)["rebound_clicks"] == "15"
    assert not job.readings.filter(moment=Moment.LEFT).exists()


def test_where_nothing_was_noted_at_check_in_one_setting_as_left_is_enough_and_none_is_not(
    at_bench, desk, technician, second
):
    job = order_on_the_benches(desk, found=False).jobs.get()
    work(job, technician, second, to=ZERO_PRESSURE + 1)
    empty = send(at_bench, at_step(job, REFIT))
    assert empty.status_code == 422
    assert "note at least one setting" in words(empty)
    assert send(at_bench, at_step(job, REFIT), preload_length="3.35").status_code == 302


# --- corrections ------------------------------------------------------------------------------------------------------


def at_correction(reading):
    return reverse("tablet:correct", args=[reading.job_id, reading.pk])


@pytest.fixture
def reading(job, technician, kit):
    return record(job, "shaft_nut_torque", technician, tools=kit)


def test_a_correction_keeps_the_earlier_figure_and_says_why(at_bench, job, reading, second):
    services.second_check(job=job, step=reading.step, by=second, at=NOON)
    answer = send(at_bench, at_correction(reading), entered="18.4", why="read the wrong scale")
    assert answer.url == at_check(job, TORQUE)
    new = Reading.objects.get(corrects=reading)
    assert (new.figures, new.why) == ("18.4", "read the wrong scale")
    page = words(at_bench.get(at_correction(new)))
    assert "18.2 lbf·ft, with TW-2: Tobias Nkemelu, 12:00" in page
    assert "18.4 lbf·ft, with TW-2: Tobias Nkemelu, 12:00 (corrected: read the wrong scale)" in page


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"why": ""}, "Say why the earlier figure is wrong"),
        ({"entered": "22"}, "Allowed is 17.1 to 18.9 lbf·ft."),
        ({"entered": ""}, "Nothing is typed here"),
        ({"why": "x" * 201}, "at most 200"),
    ],
)
def test_a_correction_that_cannot_stand_is_refused_and_kept(at_bench, job, reading, typed, sentence):
    typed = {"entered": "18.4", "why": "read the wrong scale"} | typed
    answer = send(at_bench, at_correction(reading), **typed)
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert {name: form(answer)[name] for name in typed} == typed
    assert set_readings(job) == ["18.2 lbf·ft"]


def test_a_correction_of_what_was_corrected_meanwhile_shows_what_holds_now_and_can_be_sent_again(
    at_bench, job, reading, second, kit
):
    mine = form(at_bench.get(at_correction(reading))) | {"entered": "18.4", "why": "mine"}
    theirs = record(job, "shaft_nut_torque", second, "18.6 lbf·ft", tools=kit, corrects=reading, why="theirs")
    answer = at_bench.post(at_correction(reading), mine)
    assert answer.status_code == 409
    assert "Somebody has corrected that reading already; it says now: 18.6 lbf·ft" in words(answer)
    assert form(answer)["entered"] == "18.4"
    assert f'action="{at_correction(theirs)}"' in answer.content.decode()
    assert at_bench.post(at_correction(theirs), form(answer)).status_code == 302
    assert set_readings(job) == ["18.2 lbf·ft", "18.6 lbf·ft", "18.4 lbf·ft"]


def test_the_address_of_a_corrected_reading_leads_to_the_one_that_stands(at_bench, job, reading, second, kit):
    new = record(job, "shaft_nut_torque", second, "18.6 lbf·ft", tools=kit, corrects=reading, why="theirs")
    assert at_bench.get(at_correction(reading)).url.startswith(at_correction(new))


def test_what_was_noted_as_found_can_be_corrected_at_the_bench(at_bench, job):
    found = job.readings.get(measure="rebound_clicks")
    assert send(at_bench, at_correction(found), entered="13", why="counted again").url == job.get_absolute_url()
    assert "found at 13 clicks" in words(at_bench.get(job.get_absolute_url()))


def test_a_setting_as_left_can_be_corrected(at_bench, job, technician):
    leave(job, technician)
    left = job.readings.get(measure="rebound_clicks", moment=Moment.LEFT)
    assert send(at_bench, at_correction(left), entered="9", why="customer asked").url == at_step(job, REFIT)
    assert "left at 9 clicks" in words(at_bench.get(at_step(job, REFIT)))


def test_the_reading_of_another_damper_is_not_found_here(at_bench, job, reading, desk):
    other = order_on_the_benches(desk).jobs.get()
    assert at_bench.get(reverse("tablet:correct", args=[other.pk, reading.pk])).status_code == 404


def test_the_front_desk_cannot_correct_at_the_bench(at_desk, reading):
    assert at_desk.post(at_correction(reading), {"entered": "18.4", "why": "mine"}).status_code == 403


# --- the second person ------------------------------------------------------------------------------------------------


def test_a_second_person_confirms_by_pin_and_the_first_stays_logged_in(at_bench, job, reading, second):
    with_pin(second)
    page = at_bench.get(at_check(job, TORQUE))
    assert "in the books 18.2 lbf·ft" in words(page)
    assert "Tobias Nkemelu stays logged in on this tablet" in words(page)
    answer = send(at_bench, at_check(job, TORQUE), by=second.pk, pin=PIN)
    assert answer.url == at_step(job, FILL)
    check = SecondCheck.objects.get(reading=reading)
    assert (check.by, check.first_by) == (second, reading.by)
    assert "Log out" in words(at_bench.get(answer.url))
    assert "Tobias Nkemelu" in words(at_bench.get(answer.url))
    assert "checked: Rosa Odumbe, 12:00" in words(at_bench.get(at_step(job, TORQUE)))


def test_the_gate_opens_with_the_second_persons_check(at_bench, desk, technician, second):
    job = order_on_the_benches(desk).jobs.get()
    work(job, technician, with_pin(second), to=ZERO_PRESSURE)
    assert send(at_bench, at_step(job, ZERO_PRESSURE)).url == at_check(job, ZERO_PRESSURE)
    assert "Point the valve and every end cap away from people" in words(at_bench.get(at_check(job, ZERO_PRESSURE)))
    assert send(at_bench, at_check(job, ZERO_PRESSURE), by=second.pk, pin=PIN).url == at_step(job, 4)
    assert send(at_bench, at_step(job, 4)).status_code == 302


def test_whoever_did_it_cannot_check_it(at_bench, job, reading, technician):
    with_pin(technician)
    page = at_bench.get(at_check(job, TORQUE))
    assert "Tobias Nkemelu: did it, so somebody else checks" in words(page)
    answer = send(at_bench, at_check(job, TORQUE), by=technician.pk, pin=PIN)
    assert answer.status_code == 422
    assert "A second person has to check this: somebody who did not do it." in words(answer)
    assert not SecondCheck.objects.filter(reading=reading).exists()


def test_a_wrong_pin_is_refused_keeps_the_person_and_never_the_pin_and_five_lock_it(at_bench, job, reading, second):
    with_pin(second)
    for left in ("4 tries left", "3 tries left", "2 tries left", "1 try left", "locked for 10 min"):
        answer = send(at_bench, at_check(job, TORQUE), by=second.pk, pin="1111")
        assert answer.status_code == 422
        assert left in words(answer)
        assert form(answer)["by"] == str(second.pk)
        assert "1111" not in answer.content.decode()
    answer = send(at_bench, at_check(job, TORQUE), by=second.pk, pin=PIN)
    assert "locked for another" in words(answer)
    assert not SecondCheck.objects.filter(reading=reading).exists()


@pytest.mark.parametrize(
    ("who", "sentence"),
    [
        ("desk", "This person does not work at the bench."),
        ("", "Choose who checks."),
        ("nonsense", "This person does not work at the bench."),
        ("second", "has no bench PIN yet. A manager sets one"),
    ],
)
def test_a_person_who_cannot_check_is_refused(at_bench, job, reading, desk, second, who, sentence):
    by = {"desk": desk.pk, "second": second.pk}.get(who, who)
    answer = send(at_bench, at_check(job, TORQUE), by=by, pin=PIN)
    assert answer.status_code == 422
    assert sentence in words(answer)
    assert not SecondCheck.objects.filter(reading=reading).exists()


def test_a_check_of_a_reading_corrected_meanwhile_is_refused_until_the_new_one_was_seen(
    at_bench, job, reading, second, kit
):
    with_pin(second)
    seen = form(at_bench.get(at_check(job, TORQUE))) | {"by": second.pk, "pin": PIN}
    record(job, "shaft_nut_torque", reading.by, "18.6 lbf·ft", tools=kit, corrects=reading, why="pulled again")
    answer = at_bench.post(at_check(job, TORQUE), seen)
    assert answer.status_code == 409
    assert "the books now hold 18.6 lbf·ft" in words(answer)
    assert not SecondCheck.objects.filter(step=reading.step).exists()
    assert at_bench.post(at_check(job, TORQUE), form(answer) | {"pin": PIN}).status_code == 302
    assert SecondCheck.objects.get(step=reading.step).reading.figures == "18.6"


def test_a_check_sent_twice_is_written_once(at_bench, job, reading, second):
    with_pin(second)
    entry = form(at_bench.get(at_check(job, TORQUE))) | {"by": second.pk, "pin": PIN}
    assert [at_bench.post(at_check(job, TORQUE), entry).status_code for _ in range(2)] == [302, 302]
    assert SecondCheck.objects.filter(reading=reading).count() == 1


def test_there_is_nothing_to_check_before_the_step_is_done_or_where_it_is_not_critical(at_bench, job, second):
    assert at_bench.get(at_check(job, TORQUE)).url == at_step(job, TORQUE)
    answer = at_bench.post(at_check(job, TORQUE), {"by": with_pin(second).pk, "pin": PIN})
    assert answer.status_code == 422
    assert "is not done yet. Do it, then have it checked." in words(answer)
    assert at_bench.get(at_check(job, FILL)).status_code == 404


def test_a_colleague_takes_over_and_sees_what_was_done_by_whom(job, reading, second):
    page = words(logged_in(second).get(job.get_absolute_url()))
    assert "18.2 lbf·ft, with TW-2: Tobias Nkemelu" in page


def test_yesterdays_reading_carries_its_day(at_bench, desk, technician, second, kit):
    yesterday = NOON - timedelta(days=1)
    job = order_on_the_benches(desk, at=yesterday).jobs.get()
    work(job, technician, second, tools=kit, to=TORQUE, at=yesterday)
    record(job, "shaft_nut_torque", technician, tools=kit, at=yesterday)
    assert "Tobias Nkemelu, 24 Nov 2026, 12:00" in words(at_bench.get(at_step(job, TORQUE)))


# --- calculators ------------------------------------------------------------------------------------------------------


def calculators(page):
    """Titles and addresses of the calculators that a step offers."""
    line = re.search(r'<p class="soft reckoners">(.*?)</p>', page.content.decode())
    return {title: unescape(url) for url, title in re.findall(r'href="(.*?)">(.*?)<', line[1])} if line else {}


def typed_into(page):
    """What stands in the fields of a calculator, without those that are empty."""
    found = dict(re.findall(r'<input type="text" name="(\w+)" value="([^"]*)"', page.content.decode()))
    return {name: text for name, text in found.items() if text}


def test_the_charge_leads_to_its_calculators_with_the_jobs_figures_and_the_rest_to_type(at_bench, desk, settings):
    settings.SHOP_ALTITUDE_M = 1524.0  # 5000 ft
    settings.GAUGE_VOLUME_M3 = 4e-6
    model = make.make_damper_model(reservoir_bore_m=0.0381, cap_intrusion_m=0.01016)
    job = order_on_the_benches(desk, model=model).jobs.get()
    offered = calculators(at_bench.get(at_step(job, CHARGE)))
    assert list(offered) == ["Charge to set today", "What the gauge takes"]
    page = at_bench.get(offered["Charge to set today"])
    assert page.status_code == 200
    assert "Still to fill in: Temperature of the damper now." in words(page)
    assert typed_into(page) == {
        "charge": "200", "altitude": "5000", "spec_temperature": "68", "spec_altitude": "0",
    }  # fmt: skip
    page = at_bench.get(offered["What the gauge takes"])
    assert typed_into(page) == {
        "charge": "200", "gas": "57.9", "gauge": "4", "temperature": "68", "altitude": "5000",
    }  # fmt: skip
    assert "What one check takes" in words(page)


def test_torque_and_oil_lead_to_theirs_and_other_steps_to_none(at_bench, desk):
    job = order_on_the_benches(desk).jobs.get()
    torque = calculators(at_bench.get(at_step(job, TORQUE)))
    assert list(torque) == ["Extension or crow-foot"]
    page = at_bench.get(torque["Extension or crow-foot"])
    assert page.status_code == 200
    assert typed_into(page) == {"torque": "18", "angle": "0"}
    oil = calculators(at_bench.get(at_step(job, FILL)))
    assert list(oil) == ["May this bottle stand in", "Oil for one damper"]
    assert "Still to fill in: Asked for: at 40 °C" in words(at_bench.get(oil["May this bottle stand in"]))
    assert typed_into(at_bench.get(oil["Oil for one damper"]))["ifp_depth"] == "2.4"
    assert calculators(at_bench.get(at_step(job, ZERO_PRESSURE))) == {}


def test_a_job_without_a_sheet_leads_to_calculators_that_ask_for_everything(at_bench, desk):
    job = order_on_the_benches(desk, sheet=False).jobs.get()
    page = at_bench.get(calculators(at_bench.get(at_step(job, TORQUE)))["Extension or crow-foot"])
    assert page.status_code == 200
    assert "Still to fill in: Torque on the sheet" in words(page)


def test_a_figure_in_another_unit_goes_along_with_it(at_bench, desk, settings):
    settings.SHOP_UNITS = settings.SHOP_UNITS | {"torque": "N·m"}
    job = order_on_the_benches(desk).jobs.get()
    torque = calculators(at_bench.get(at_step(job, TORQUE)))
    assert typed_into(at_bench.get(torque["Extension or crow-foot"]))["torque"] == "18 lbf·ft"
