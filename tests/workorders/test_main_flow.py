"""The main job through the domain functions alone: what the desk, the bench and the stock room end up with."""

from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.customers.models import Meter
from shop.customers.services import mark_sold as sell
from shop.dampers.measures import Measure
from shop.dampers.models import Position
from shop.dampers.services import fit_dampers
from shop.parts.selectors import stock_of
from shop.picklists.selectors import pick_sheet
from shop.specs.models import SheetPosition
from shop.workorders import services
from shop.workorders.models import JobStatus, Moment, OrderStatus, ToolKind
from shop.workorders.selectors import job_steps, missing
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench():
    """One vehicle of 2014 with four dampers, a sheet for each end, a parts list, three kits and oil on the shelf."""
    damper_model = make.make_damper_model(name="H2")
    vehicle_model = make.make_vehicle_model()
    for position in Position.values:
        make.make_fitment(vehicle_model, position, damper_model)
    # 18 lbf·ft and 200 psi up to model year 2014, IFP 2.4 in front and 3.4 in rear: common practice, no source.
    for position, depth in [(SheetPosition.FRONT, 2.4), (SheetPosition.REAR, 3.4)]:
        make.make_sheet(damper_model, torque=18, charge=200, depth=depth, year_to=2014, position=position)
    vehicle = make.make_vehicle(model=vehicle_model, model_year=2014)
    make.make_kit_line(damper_model, "SK-H2")
    make.make_kit_line(damper_model, "TARN-5", amount=None, measure="volume", name="oil")
    make.make_kit_line(damper_model, "GREASE", amount=4000, measure="mass", name="seal grease")
    kit = make.make_part("SK-H2", on_hand=3)
    oil = make.make_part("TARN-5", measure="volume", name="Tarn No. 5")
    make.make_container(oil, 1_000_000, name="1 L bottle", full=2)
    grease = make.make_part("GREASE", measure="mass", on_hand=100_000)
    tools = {kind: make.make_tool(kind) for kind in ToolKind.values}
    return {"vehicle": vehicle, "kit": kit, "oil": oil, "grease": grease, "tools": tools}


def booked(bench, desk):
    dampers = fit_dampers(vehicle=bench["vehicle"], by=desk, at=NOON)
    return services.book(
        customer=bench["vehicle"].customer, vehicle=bench["vehicle"], dampers=dampers, complaint="leaks at the shaft",
        arrives_on=date(2026, 11, 25), promised_for=NOON + timedelta(days=2), by=desk, at=NOON,
    )  # fmt: skip


def checked_in(bench, desk):
    order = booked(bench, desk)
    found = [(job, Measure.REBOUND_CLICKS, parse("11", "count", "clicks")) for job in order.jobs.all()]
    meters = [(Meter.DISTANCE, parse("4218 mi", "distance"))]
    return services.check_in(order=order, meters=meters, as_found=found, by=desk, at=NOON)


def work_through(job, bench, technician, second):
    figures = {Measure.SHAFT_NUT_TORQUE: "18.2 lbf·ft", Measure.CHARGE: "200 psi", Measure.OIL_VOLUME: "304 mL"}
    figures[Measure.IFP_DEPTH] = "2.41 in" if job.damper.position.startswith("front") else "3.39 in"
    for state in job_steps(job):
        step = state.step
        if step.reading:
            record(job, bench, step.reading, figures[step.reading], technician)
        if step.as_left:
            left = parse("11", "count", "clicks")
            services.record_reading(
                job=job, measure=Measure.REBOUND_CLICKS, moment=Moment.LEFT, entered=left, by=technician, at=NOON
            )  # fmt: skip
        services.finish_step(job=job, step=step, by=technician, at=NOON)
        if step.critical:
            services.second_check(job=job, step=step, by=second, at=NOON)


def record(job, bench, measure, text, by, **given):
    kinds = {Measure.SHAFT_NUT_TORQUE: "torque_wrench", Measure.CHARGE: "gauge", Measure.IFP_DEPTH: "depth_tool"}
    quantities = {"lbf": "torque", "N·m": "torque", "psi": "pressure", "in": "length", "mL": "volume"}
    quantity = next(q for unit, q in quantities.items() if unit in text)
    return services.record_reading(
        job=job, measure=measure, moment=Moment.SET, entered=parse(text, quantity),
        tool=bench["tools"][kinds[measure]] if measure in kinds else None,
        bench_temperature=parse("68 °F", "temperature") if measure == Measure.CHARGE else None,
        by=by, at=NOON, **given,
    )  # fmt: skip


def past_the_gate(job, technician, second):
    """Spring off, pressure proven to be zero and checked."""
    for state in job_steps(job)[:3]:
        services.finish_step(job=job, step=state.step, by=technician, at=NOON)
    services.second_check(job=job, step=state.step, by=second, at=NOON)


def test_the_main_job_ends_with_closed_dampers_and_less_stock(bench, desk, technician, second):
    order = checked_in(bench, desk)
    for job in order.jobs.all():
        work_through(job, bench, technician, second)
        assert services.close_job(job=job, by=technician, at=NOON).status == JobStatus.CLOSED
    make.make_movement(bench["kit"], 1)
    order = services.close_order(order=order, used=[], by=technician, at=NOON)
    assert order.status == OrderStatus.READY
    stock = stock_of([bench["kit"], bench["oil"], bench["grease"]])
    assert stock[bench["kit"].pk].on_hand == 0
    # 4 × 305 mL and 10 % for bleeding and spilling
    assert stock[bench["oil"].pk].on_hand == 2_000_000 - 4 * 335_500
    assert stock[bench["grease"].pk].on_hand == 100_000 - 4 * 4_000
    assert all(one.held == 0 for one in stock.values())


def test_the_pick_list_sums_per_part_and_says_what_is_short(bench, desk):
    sheet = pick_sheet(booked(bench, desk).pick_list)
    kit, oil, grease = (next(r for r in sheet.rows if r.part_number == n) for n in ("SK-H2", "TARN-5", "GREASE"))
    assert (kit.needed, kit.held, kit.short_in_words) == (4, 3, "1 short: buy 1")
    assert (oil.needed, oil.plan) == (4 * 335_500, ["2 × 1 L bottle"])
    assert (grease.needed, grease.short) == (16_000, 0)


def test_pick_list_takes_the_same_number_of_queries_for_one_damper_and_for_four(bench, desk, django_assert_num_queries):
    order = booked(bench, desk)
    with django_assert_num_queries(5):
        pick_sheet(order.pick_list)
    order.pick_list.lines.exclude(tag=order.jobs.first().tag).delete()
    with django_assert_num_queries(5):
        pick_sheet(order.pick_list)


def test_a_kit_held_for_one_order_is_not_offered_to_the_next(bench, desk):
    first = booked(bench, desk)
    damper = make.make_damper(model=first.jobs.first().damper.model)
    second = services.book(
        customer=damper.customer, vehicle=None, dampers=[damper], complaint="", arrives_on=date(2026, 11, 26),
        promised_for=NOON + timedelta(days=3), by=desk, at=NOON,
    )  # fmt: skip
    assert next(row for row in pick_sheet(second.pick_list).rows if row.part_number == "SK-H2").held == 0
    services.call_off(order=first, why="customer fell ill", by=desk, at=NOON)
    assert stock_of([bench["kit"]])[bench["kit"].pk].available == 3


def test_nothing_is_recorded_before_zero_pressure_is_proven_and_checked(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    with pytest.raises(ValidationError, match="prove zero pressure"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician)
    past_the_gate(job, technician, second)
    assert record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician).pk


@pytest.mark.parametrize("text", ["17.0 lbf·ft", "19 lbf·ft", "18 N·m", "22 lbf·ft"])
def test_a_torque_out_of_tolerance_is_refused_with_the_allowed_range(bench, desk, technician, second, text):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    with pytest.raises(ValidationError, match=r"Allowed is 17\.1 to 18\.9 lbf·ft"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, text, technician)
    assert not job.readings.filter(moment=Moment.SET).exists()


def test_the_limits_themselves_are_in_tolerance(bench, desk, technician, second):
    jobs = list(checked_in(bench, desk).jobs.all())
    for job, text in zip(jobs, ["17.1 lbf·ft", "18.9 lbf·ft"], strict=False):
        past_the_gate(job, technician, second)
        assert record(job, bench, Measure.SHAFT_NUT_TORQUE, text, technician).pk


def test_a_wrench_out_of_calibration_is_refused_with_the_reason(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    old = make.make_tool(ToolKind.TORQUE_WRENCH, calibrated_on=date(2024, 1, 1), calibration_due_on=date(2025, 1, 1))
    bench["tools"]["torque_wrench"] = old
    with pytest.raises(ValidationError, match="out of calibration since 1 January 2025"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician)


def test_a_wrench_whose_scale_ends_below_the_reading_is_refused(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    bench["tools"]["torque_wrench"] = make.make_tool(low_si=1, high_si=15)
    with pytest.raises(ValidationError, match="outside the range"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician)


def test_a_second_reading_names_what_stands_and_a_correction_keeps_the_first(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    first = record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician)
    with pytest.raises(Conflict, match="recorded already: 18 lbf·ft by Tobias Nkemelu"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "18.4 lbf·ft", second)
    with pytest.raises(ValidationError, match="Say why"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "18.4 lbf·ft", second, corrects=first)
    again = record(job, bench, Measure.SHAFT_NUT_TORQUE, "18.4 lbf·ft", second, corrects=first, why="pulled again")
    assert [r.figures for r in job.readings.filter(measure=Measure.SHAFT_NUT_TORQUE)] == ["18", "18.4"]
    assert again.corrects == first
    with pytest.raises(Conflict, match=r"corrected that reading already; it says now: 18\.4"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "18.5 lbf·ft", technician, corrects=first, why="mine")


def test_a_correction_takes_the_second_check_away(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    first = record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician)
    services.second_check(job=job, step=first.step, by=second, at=NOON)
    record(job, bench, Measure.SHAFT_NUT_TORQUE, "18.4 lbf·ft", technician, corrects=first, why="pulled again")
    state = next(s for s in job_steps(type(job).objects.get(pk=job.pk)) if s.step == first.step)
    assert state.words == "waits for a second person's check"


def test_nobody_checks_their_own_work(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    step = record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician).step
    with pytest.raises(ValidationError, match="second person"):
        services.second_check(job=job, step=step, by=technician, at=NOON)
    with pytest.raises(ValidationError, match="does not work on the benches"):
        services.second_check(job=job, step=step, by=desk, at=NOON)


def test_a_job_that_lacks_something_says_each_thing_and_only_a_manager_overrides(bench, desk, technician, manager):
    job = checked_in(bench, desk).jobs.first()
    with pytest.raises(ValidationError) as refused:
        services.close_job(job=job, by=technician, at=NOON)
    assert len(refused.value.messages) == len(missing(job)) == 15
    with pytest.raises(ValidationError, match="Only a manager"):
        services.close_job(job=job, by=technician, at=NOON, override_reason="in a hurry")
    closed = services.close_job(job=job, by=manager, at=NOON, override_reason="damper scrapped, customer agreed")
    assert (closed.status, closed.override_reason) == (JobStatus.CLOSED, "damper scrapped, customer agreed")


def test_a_job_without_a_verified_sheet_cannot_be_closed_by_a_technician(bench, desk, technician, second):
    bench["vehicle"].model_year = 2016  # no sheet from 2015 on
    bench["vehicle"].save()
    job = checked_in(bench, desk).jobs.first()
    assert not job.sheet
    assert "No sheet covers Hallinde H2, model year 2016, front left." in job.sheet.rule
    work_through(job, bench, technician, second)
    with pytest.raises(ValidationError, match="No spec sheet covered this damper"):
        services.close_job(job=job, by=technician, at=NOON)


def test_closing_twice_keeps_the_first_closing_time(bench, desk, manager):
    job = checked_in(bench, desk).jobs.first()
    services.close_job(job=job, by=manager, at=NOON, override_reason="scrapped")
    later = NOON + timedelta(hours=1)
    assert services.close_job(job=job, by=manager, at=later, override_reason="again").closed_at == NOON


def test_an_order_is_checked_in_once(bench, desk):
    order = checked_in(bench, desk)
    with pytest.raises(Conflict, match=f"{order.number} is on the benches"):
        services.check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)


def test_a_refused_check_in_writes_nothing(bench, desk):
    order = booked(bench, desk)
    stranger = checked_in_stranger(desk)
    with pytest.raises(ValidationError, match="not part of"):
        services.check_in(
            order=order, meters=[(Meter.DISTANCE, parse("4218 mi", "distance"))],
            as_found=[(stranger, Measure.REBOUND_CLICKS, parse("11", "count", "clicks"))], by=desk, at=NOON,
        )  # fmt: skip
    order.refresh_from_db()
    assert order.status == OrderStatus.BOOKED
    assert not bench["vehicle"].meter_readings.exists()


def checked_in_stranger(desk):
    damper = make.make_damper()
    order = services.book(
        customer=damper.customer, vehicle=None, dampers=[damper], complaint="", arrives_on=date(2026, 11, 25),
        promised_for=NOON, by=desk, at=NOON,
    )  # fmt: skip
    return order.jobs.get()


def test_dampers_that_cannot_be_booked_are_each_named_with_the_reason(bench, desk):
    sealed = make.make_damper_model(name="S9", serviceable=False, why_not="Sealed: the maker sells it whole.")
    damper = make.make_damper(model=sealed)
    order = booked(bench, desk)
    with pytest.raises(ValidationError, match="not serviced here: Sealed"):
        services.book(
            customer=damper.customer, vehicle=None, dampers=[damper], complaint="", arrives_on=date(2026, 11, 25),
            promised_for=NOON, by=desk, at=NOON,
        )  # fmt: skip
    busy = order.jobs.first().damper
    with pytest.raises(ValidationError, match="booked or on the bench already"):
        services.book(
            customer=order.customer, vehicle=order.vehicle, dampers=[busy], complaint="",
            arrives_on=date(2026, 11, 25), promised_for=NOON, by=desk, at=NOON,
        )  # fmt: skip


def test_using_more_than_is_free_is_refused_and_nothing_is_booked(bench, desk, manager):
    order = checked_in(bench, desk)
    for job in order.jobs.all():
        services.close_job(job=job, by=manager, at=NOON, override_reason="scrapped")
    line = order.pick_list.lines.filter(part_number="GREASE").first()
    with pytest.raises(ValidationError, match="200 g used, but the book has 88 g"):
        services.close_order(order=order, used=[(line, 200_000)], by=manager, at=NOON)
    assert stock_of([bench["grease"]])[bench["grease"].pk].on_hand == 100_000


@pytest.mark.parametrize(
    ("measure", "text", "quantity", "words"),
    [
        ("rebound_clicks", "100 clicks", "count", "at most 99 clicks"),
        ("rebound_clicks", "7.5 clicks", "count", "clicks are whole numbers"),
        ("preload_length", "40 in", "length", "beyond any damper"),
    ],
)
def test_a_setting_that_no_damper_has_is_refused_at_check_in(bench, desk, measure, text, quantity, words):
    order = booked(bench, desk)
    as_found = [(order.jobs.first(), measure, parse(text, quantity))]
    with pytest.raises(ValidationError, match=words):
        services.check_in(order=order, meters=[], as_found=as_found, by=desk, at=NOON)


def test_a_setting_given_twice_at_check_in_is_named(bench, desk):
    order = booked(bench, desk)
    twice = [(order.jobs.first(), Measure.REBOUND_CLICKS, parse("11", "count", "clicks"))] * 2
    with pytest.raises(ValidationError, match=r"Rebound, clicks out from closed of damper 1\d*-1 is given twice"):
        services.check_in(order=order, meters=[], as_found=twice, by=desk, at=NOON)


def test_a_refusal_carries_its_code_also_inside_a_field(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    with pytest.raises(ValidationError) as refused:
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "22 lbf·ft", technician)
    assert [error.code for error in refused.value.error_dict["entered"]] == ["out_of_tolerance"]


def test_nobody_who_did_it_checks_it_also_not_after_a_colleagues_correction(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    first = record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician)
    record(job, bench, Measure.SHAFT_NUT_TORQUE, "18.4 lbf·ft", second, corrects=first, why="pulled again")
    for person in (technician, second):
        with pytest.raises(ValidationError, match="somebody who did not do it"):
            services.second_check(job=job, step=first.step, by=person, at=NOON)
    assert services.second_check(job=job, step=first.step, by=make.make_user("technician"), at=NOON).pk


def test_whoever_checks_checks_the_reading_that_they_saw(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    seen = record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician)
    record(job, bench, Measure.SHAFT_NUT_TORQUE, "18.4 lbf·ft", technician, corrects=seen, why="pulled again")
    with pytest.raises(Conflict, match="corrected meanwhile"):
        services.second_check(job=job, step=seen.step, reading=seen, by=second, at=NOON)


def test_a_sold_vehicle_is_not_booked(bench, desk):
    sell(vehicle=bench["vehicle"], on=date(2026, 11, 1), by=desk, at=NOON)
    with pytest.raises(ValidationError, match="was sold on 1 November 2026"):
        booked(bench, desk)


def test_an_amount_from_a_draft_says_so_on_the_pick_list(bench, desk):
    model = make.make_damper_model()
    make.make_kit_line(model, "TARN-5", amount=None, measure="volume", name="oil")
    make.make_kit_line(model, "SK-H2")
    make.make_sheet(model, status="draft")
    order = make.make_order(by=desk, dampers=[make.make_damper(model=model)])
    assert {row.part_number: row.from_draft for row in pick_sheet(order.pick_list).rows} == {
        "TARN-5": True,
        "SK-H2": False,
    }


def test_parts_are_picked_and_held_only_while_the_order_runs(bench, desk):
    order = booked(bench, desk)
    services.pick_part(order=order, part_number="SK-H2", by=desk, at=NOON)
    assert order.pick_list.lines.filter(part_number="SK-H2", picked_at__isnull=False).count() == 3  # one is short
    with pytest.raises(Conflict, match=r"SK-H2 for .* are picked for .* Put back what is in its bags first"):
        services.call_off(order=order, why="customer fell ill", by=desk, at=NOON)
    services.put_all_back(order=order, by=desk, at=NOON)
    services.call_off(order=order, why="customer fell ill", by=desk, at=NOON)
    for act in (services.pick_part, services.put_back_part):
        with pytest.raises(Conflict, match="called off"):
            act(order=order, part_number="SK-H2", by=desk, at=NOON)
    with pytest.raises(Conflict, match="called off"):
        services.hold_parts(order=order, by=desk, at=NOON)
    assert stock_of([bench["kit"]])[bench["kit"].pk].held == 0
    assert all(line.held == 0 for line in order.pick_list.lines.all())


@pytest.mark.django_db(transaction=True)
def test_closing_one_order_while_another_of_the_vehicle_is_checked_in_blocks_nobody(bench, desk, manager):
    vehicle = bench["vehicle"]
    front, rear, *_ = fit_dampers(vehicle=vehicle, by=desk, at=NOON)
    make.make_movement(bench["kit"], 5)
    for _ in range(2):
        first = make.make_order(by=desk, dampers=[front], vehicle=vehicle)
        services.check_in(order=first, meters=[], as_found=[], by=desk, at=NOON)
        services.close_job(job=first.jobs.get(), by=manager, at=NOON, override_reason="scrapped")
        then = make.make_order(by=desk, dampers=[rear], vehicle=vehicle)
        meters = [(Meter.DISTANCE, parse("4218 mi", "distance"))]
        outcomes = at_once(
            lambda first=first: services.close_order(order=first, used=[], by=manager, at=NOON),
            lambda then=then, meters=meters: services.check_in(
                order=then, meters=meters, as_found=[], by=desk, at=NOON
            ),
        )
        assert [one.status for one in outcomes] == [OrderStatus.READY, OrderStatus.ON_BENCH]
        services.close_job(job=then.jobs.get(), by=manager, at=NOON, override_reason="scrapped")
        services.close_order(order=then, used=[], by=manager, at=NOON)


# --- what may not be done before or after what ------------------------------------------------------------------------


def test_nothing_is_charged_before_all_that_comes_before_is_done_and_checked(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    with pytest.raises(ValidationError, match="First: “Open, drain, lay out”"):
        record(job, bench, Measure.CHARGE, "200 psi", technician)
    up_to_the_charge(job, bench, technician, second)
    assert record(job, bench, Measure.CHARGE, "200 psi", technician).pk


def test_a_torque_that_nobody_checked_bars_the_charge(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    up_to_the_charge(job, bench, technician, second, check_torque=False)
    with pytest.raises(ValidationError, match=r"First: “Tighten the shaft nut”. Waits for a second person's check"):
        record(job, bench, Measure.CHARGE, "200 psi", technician)


def test_on_a_charged_damper_nothing_is_torqued_or_corrected_by_a_technician(bench, desk, technician, second, manager):
    job = checked_in(bench, desk).jobs.first()
    up_to_the_charge(job, bench, technician, second)
    record(job, bench, Measure.CHARGE, "200 psi", technician)
    torque = job.readings.get(measure=Measure.SHAFT_NUT_TORQUE)
    correction = {"corrects": torque, "why": "typing error"}
    with pytest.raises(ValidationError, match=r"is charged: 200 psi\. “Tighten the shaft nut” comes before"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "18.4 lbf·ft", technician, **correction)
    # A manager may mend what was written down.
    assert record(job, bench, Measure.SHAFT_NUT_TORQUE, "18.4 lbf·ft", manager, **correction).pk


def test_a_damper_that_fails_is_opened_again_from_zero_pressure_on_and_loses_no_record(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    up_to_the_charge(job, bench, technician, second)
    record(job, bench, Measure.CHARGE, "200 psi", technician)
    with pytest.raises(ValidationError, match="Say why"):
        services.reopen_damper(job=job, why=" ", by=technician, at=NOON)
    services.reopen_damper(job=job, why="dead spot at mid stroke", by=technician, at=NOON)
    job = type(job).objects.get(pk=job.pk)
    assert not any(state.done or state.reading or state.check for state in job_steps(job))
    with pytest.raises(ValidationError, match="prove zero pressure"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "18 lbf·ft", technician)
    work_through(job, bench, technician, second)
    assert services.close_job(job=job, by=technician, at=NOON).status == JobStatus.CLOSED
    assert job.readings.filter(measure=Measure.CHARGE).count() == 2
    assert job.reopenings.get().why == "dead spot at mid stroke"


def test_a_damper_on_which_nothing_was_done_has_nothing_to_begin_anew(bench, desk, technician):
    job = checked_in(bench, desk).jobs.first()
    with pytest.raises(ValidationError, match="Nothing is done"):
        services.reopen_damper(job=job, why="a slip", by=technician, at=NOON)


def test_too_much_torque_says_to_loosen_and_inspect_before_tightening_anew(bench, desk, technician, second):
    job = checked_in(bench, desk).jobs.first()
    past_the_gate(job, technician, second)
    with pytest.raises(ValidationError, match="Loosen it, inspect thread and shaft"):
        record(job, bench, Measure.SHAFT_NUT_TORQUE, "22 lbf·ft", technician)


def up_to_the_charge(job, bench, technician, second, check_torque=True):
    right = {Measure.SHAFT_NUT_TORQUE: "18 lbf·ft", Measure.OIL_VOLUME: "305 mL", Measure.IFP_DEPTH: "2.4 in"}
    for state in job_steps(job):
        step = state.step
        if step.reading == Measure.CHARGE:
            return
        if step.reading:
            record(job, bench, step.reading, right[step.reading], technician)
        services.finish_step(job=job, step=step, by=technician, at=NOON)
        if step.critical and (check_torque or not step.reading):
            services.second_check(job=job, step=step, by=second, at=NOON)
