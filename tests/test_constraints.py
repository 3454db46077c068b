"""Every constraint is hit once, past all checks in Python: the database is the last word."""

from datetime import date

import pytest
from django.apps import apps
from django.db import IntegrityError, transaction

from shop.core.models import RequestKey, SearchEntry
from shop.customers.models import Customer, MeterReading, Vehicle, VehicleModel
from shop.dampers.models import Adjuster, Damper, DamperModel, Fitment, Position
from shop.exchange.models import ImportRun
from shop.parts.models import (
    Container,
    Drum,
    Lot,
    Movement,
    OilEntry,
    OilPaper,
    Part,
    PurchaseLine,
    PurchaseOrder,
    Receipt,
    ReceiptLine,
    ReorderFix,
    Reservation,
    StockTake,
    Supplier,
    SupplierItem,
    SupplierPrice,
    TakenPart,
    WalkStop,
)
from shop.picklists.models import PickLine
from shop.specs.models import (
    KitLine,
    LabourTime,
    Procedure,
    ServiceInterval,
    SheetEdition,
    SheetPosition,
    SheetScan,
    SpecSheet,
    SpecValue,
    Step,
)
from shop.staff.models import Absence, BenchHours, ClosedDay, User, WorkingHours
from shop.workorders.models import (
    Agreement,
    BenchBook,
    BenchPlan,
    CardRevision,
    Condition,
    DamperJob,
    Photo,
    PhotoStrike,
    Question,
    Reading,
    Reopening,
    SecondCheck,
    SpecChange,
    StepDone,
    Tool,
    WorkOrder,
)
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def book(desk, technician, second, manager):
    """A little of everything."""
    vehicle = make.make_vehicle(vin="OS9R15-1")
    model = make.make_damper_model()
    make.make_fitment(vehicle.model, Position.REAR_LEFT, model)
    make.make_adjuster(model)
    damper = make.make_damper(vehicle, Position.REAR_LEFT, model=model)
    make.make_damper(vehicle, Position.REAR_RIGHT, model=model)
    make.make_sheet(model, position=SheetPosition.REAR, status="draft")
    make.make_kit_line(model, "SK-1")
    part = make.make_part("SK-1", on_hand=2)
    make.make_container(part, 1000)
    Lot.objects.create(part=part, received_on=NOON.date())
    TakenPart.objects.create(take=another_take(), part=part)
    make.make_meter_reading(vehicle, miles=100)
    make.make_tool()
    job = make.make_open_job(by=desk, damper=damper)
    make.open_the_gate(job, technician, second)
    Reopening.objects.create(job=job, round=2, why="no full stroke", by=technician, at=NOON)
    SpecChange.objects.create(job=job, round=1, spec={"code": "H-2"}, why="page misread", by=technician, at=NOON)
    CardRevision.objects.create(order=job.order, number=1, digest="a" * 64, at=NOON)
    make.make_agreement(job.order, by=desk)
    make.make_question(job.order, job, by=desk)
    photo = make.make_photo(job, by=desk)
    PhotoStrike.objects.create(photo=photo, why="another damper", by=desk, at=NOON)
    Condition.objects.create(order=job.order, job=job, words="leaks", by=desk, at=NOON)
    make.make_import_run(by=manager)
    make.make_bench_hours(technician)
    make.make_absence(technician)
    make.make_closed_day()
    LabourTime.objects.create(damper_model=model, minutes=60)
    BenchPlan.objects.create(order=job.order, on=NOON.date(), minutes=60)
    RequestKey.objects.create(scope="s", key="k", fingerprint="f", made_at=NOON)
    ServiceInterval.objects.create(damper_model=model, months=6, source="test")
    ServiceInterval.objects.create(vehicle_model=vehicle.model, months=6, source="test")
    make.make_draft(manager)
    make.make_delivery(desk)
    make.make_oil_entry(movement=Movement.objects.first())
    make.make_oil_paper()
    WalkStop.objects.create(prefix="B", place=1)


def change(model, **values):
    """Write these values over a row of a table that may be changed."""
    return lambda: model.objects.filter(pk=model.objects.order_by("pk").last().pk).update(**values)


def copy(model, **values):
    """Add a row like an existing one, with these values: for tables that only grow, and for uniqueness."""

    def run():
        row = model.objects.order_by("pk").last()
        row.pk, row._state.adding = None, True
        for name, value in values.items():
            setattr(row, name, value(row) if callable(value) else value)
        row.save(force_insert=True)

    return run


def copied_photo():
    copy(Photo)()
    return Photo.objects.order_by("pk").last()


def two_next_versions(sheet):
    for _ in range(2):
        make.make_sheet(sheet.damper_model, replaces=sheet, status="draft")


def two_scans(**same):
    for number in (1, 2):
        given = {"sheet": SpecSheet.objects.get(), "number": number, "digest": str(number), "width": 1, "height": 1}
        SheetScan.objects.create(**given | same, by=User.objects.first(), at=NOON)


def two_of_a_size():
    for _ in range(2):
        container = Container.objects.last()
        SupplierItem.objects.create(supplier=Supplier.objects.get(), part=container.part, container=container)


def another_take():
    return StockTake.objects.create(title="bin A-1", started_by=User.objects.first(), started_at=NOON)


CASES = {
    "workinghours_once": copy(WorkingHours),
    "workinghours_weekday_known": change(WorkingHours, weekday=7),
    "workinghours_in_order": change(WorkingHours, opens="17:00", closes="08:00"),
    "benchhours_once": copy(BenchHours),
    "benchhours_weekday_known": change(BenchHours, weekday=7),
    "benchhours_within_a_day": change(BenchHours, minutes=1441),
    "absence_in_order": change(Absence, last_day=date(2026, 12, 20)),
    "absence_within_a_day": change(Absence, minutes_left=1441),
    "absence_has_reason": change(Absence, why=""),
    "closedday_in_order": change(ClosedDay, last_day=date(2025, 12, 31)),
    "closedday_one_rule": change(ClosedDay, day=26),
    "closedday_in_the_calendar": change(ClosedDay, nth=6),
    "closedday_has_name": change(ClosedDay, name=""),
    "labourtime_of_damper_once": copy(LabourTime),
    "labourtime_by_default_once": lambda: [LabourTime.objects.create(minutes=9, order_minutes=9) for _ in range(2)],
    "labourtime_within_reason": change(LabourTime, minutes=0),
    "labourtime_order_only_by_default": change(LabourTime, order_minutes=30),
    "benchplan_day_once": copy(BenchPlan),
    "benchplan_of_something": change(BenchPlan, minutes=0),
    "benchbook_one_row": lambda: BenchBook.objects.create(pk=2),
    "searchentry_once": copy(SearchEntry),
    "supplier_name_once": copy(Supplier, name=lambda row: row.name.upper()),
    "supplier_name_given": change(Supplier, name=""),
    "supplier_lead_plausible": change(Supplier, lead_days=251),
    "supplieritem_size_once": two_of_a_size,
    "supplieritem_piece_once": copy(SupplierItem),
    "supplieritem_packs_of_something": change(SupplierItem, pack=0),
    "supplieritem_minimum_of_something": change(SupplierItem, minimum=0),
    "supplierprice_not_negative": copy(SupplierPrice, price=-1),
    "purchaseorder_status_known": change(PurchaseOrder, status="lost"),
    "purchaseorder_sent_says_how": change(PurchaseOrder, sent_how=""),
    "purchaseorder_called_off_with_reason": change(PurchaseOrder, status="called_off", ended_at=NOON),
    "purchaseorder_ended_at_some_time": change(PurchaseOrder, status="closed", ended_at=None),
    "purchaseline_item_once": copy(PurchaseLine),
    "purchaseline_of_something": change(PurchaseLine, units=0),
    "purchaseline_price_not_negative": change(PurchaseLine, price=-1),
    "purchaseline_calls_off_no_more": change(PurchaseLine, called_off=13),
    "receipt_note_once": copy(Receipt, delivery_note=lambda row: row.delivery_note.upper()),
    "receipt_note_given": copy(Receipt, delivery_note=""),
    "receiptline_once": copy(ReceiptLine, movement=lambda row: make.make_movement(row.line.part, 1)),
    "receiptline_sign_fits": copy(
        ReceiptLine, movement=lambda row: make.make_movement(row.line.part, 1), corrects_id=lambda row: None, units=-1
    ),
    "receiptline_price_not_negative": copy(ReceiptLine, price=-1),
    "reorderfix_with_reason": change(ReorderFix, why=""),
    "question_says_what_and_why": change(Question, why=""),
    "question_asked_with_price": change(Question, by_how_much=None),
    "question_price_plausible": change(Question, new_total=1),
    "question_answered_by_somebody": change(Question, state="agreed", answered_at=NOON, answered_how="desk"),
    "question_withdrawn_with_reason": change(Question, state="withdrawn", answered_at=NOON, answered_by=1),
    "question_after_declined": change(Question, after="without"),
    "agreement_says_what_and_who": copy(Agreement, agreed_by=""),
    "agreement_price_not_negative": copy(Agreement, up_to=-1),
    "agreement_how_known": copy(Agreement, how="dream"),
    "agreement_noted_by_somebody": copy(Agreement, how="link"),
    "agreement_signature_kept": copy(Agreement, signed="screen"),
    "photo_moment_known": copy(Photo, moment="later"),
    "photo_has_size": copy(Photo, width=0),
    "photostrike_has_reason": copy(PhotoStrike, why="", photo=lambda row: copied_photo()),
    "condition_says_something": copy(Condition, words=""),
    "requestkey_once": copy(RequestKey),
    "importrun_kind_known": change(ImportRun, kind="tools"),
    "importrun_state_known": change(ImportRun, state="lost", problem_count=0),
    "importrun_refused_with_problem": change(ImportRun, problem_count=0),
    "importrun_done_by_somebody": change(ImportRun, state="done", problem_count=0),
    "importrun_broken_off_with_note": change(ImportRun, state="failed", problem_count=0),
    "requestkey_not_blank": copy(RequestKey, key=""),
    "user_role_known": change(User, role="owner"),
    "customer_name_given": change(Customer, name=""),
    "customer_consent_known": change(Customer, reminder_consent="perhaps"),
    "vehiclemodel_once": copy(VehicleModel),
    "vehiclemodel_years_in_order": change(VehicleModel, year_to=1999),
    "vehicle_vin_once": copy(Vehicle),
    "meterreading_not_negative": copy(MeterReading, value_si=-1),
    "meterreading_meter_known": copy(MeterReading, meter="clock"),
    "dampermodel_once": copy(DamperModel),
    "dampermodel_construction_known": change(DamperModel, construction="magic"),
    "dampermodel_refusal_has_reason": change(DamperModel, serviceable=False),
    "dampermodel_reservoir_bore_m": change(DamperModel, reservoir_bore_m=40.0),
    "dampermodel_reservoir_depth_m": change(DamperModel, reservoir_depth_m=5.9),
    "dampermodel_cap_intrusion_m": change(DamperModel, cap_intrusion_m=-0.001),
    "dampermodel_shaft_m": change(DamperModel, shaft_m=0.0),
    "dampermodel_stroke_m": change(DamperModel, stroke_m=0.0),
    "dampermodel_highest_gas_pa": change(DamperModel, highest_gas_pa=300.0),
    "dampermodel_spring_rate_n_per_m": change(DamperModel, spring_rate_n_per_m=50.0),
    "dampermodel_shaft_within_bore": change(DamperModel, reservoir_bore_m=0.016, shaft_m=0.016),
    "dampermodel_body_bore_m": change(DamperModel, body_bore_m=0.001),
    "dampermodel_shaft_within_body": change(DamperModel, body_bore_m=0.016, shaft_m=0.016),
    "dampermodel_cap_style_known": change(DamperModel, cap_style="glued"),
    "dampermodel_cap_over_ifp": change(DamperModel, construction="emulsion", cap_style="ring"),
    "adjuster_once": copy(Adjuster),
    "adjuster_kind_known": change(Adjuster, kind="preload"),
    "adjuster_clicks_plausible": change(Adjuster, clicks=0),
    "fitment_once": copy(Fitment),
    "fitment_position_known": change(Fitment, position="roof"),
    "fitment_years_in_order": change(Fitment, year_to=1999),
    "damper_one_per_corner": copy(Damper),
    "damper_on_vehicle_has_position": change(Damper, position=""),
    "damper_model_year_plausible": change(Damper, model_year=14),
    "specsheet_version_once": copy(SpecSheet),
    "specsheet_one_next_version": lambda: two_next_versions(SpecSheet.objects.get()),
    "sheetedition_number_once": copy(SheetEdition),
    "sheetscan_number_once": lambda: two_scans(number=1),
    "sheetscan_page_once": lambda: two_scans(digest="a" * 64),
    "specsheet_status_known": change(SpecSheet, status="maybe"),
    "specsheet_position_known": change(SpecSheet, position="roof"),
    "specsheet_years_in_order": change(SpecSheet, year_from=2016, year_to=2015),
    "specsheet_source_given": change(SpecSheet, source_page=""),
    "specsheet_reference_temperature": change(SpecSheet, reference_k=20.0),
    "specsheet_reference_altitude": change(SpecSheet, reference_altitude_m=-501.0),
    "specsheet_second_person": lambda: SpecSheet.objects.update(verified_by=SpecSheet.objects.get().entered_by),
    "specsheet_verified_by_somebody": change(SpecSheet, status="verified"),
    "specvalue_once_per_sheet": copy(SpecValue),
    "specvalue_measure_known": change(SpecValue, measure="smell"),
    "specvalue_within_its_range": change(SpecValue, value_si=1.0),
    "kitline_measure_known": change(KitLine, measure="length"),
    "kitline_amount_given": change(KitLine, amount=None),
    "kitline_years_in_order": change(KitLine, year_from=2016, year_to=2015),
    "kitline_not_its_own_alternate": lambda: KitLine.objects.update(stands_in_for=KitLine.objects.get(), rank=1),
    "kitline_rank_of_alternates": change(KitLine, rank=1),
    "kitline_optional_or_alternate": lambda: KitLine.objects.update(
        stands_in_for=make.make_kit_line(DamperModel.objects.first(), "SK-2"), rank=1, optional=True
    ),
    "serviceinterval_severe_factor": change(ServiceInterval, severe_factor=0.0),
    "serviceinterval_of_damper_once": lambda: ServiceInterval.objects.create(
        damper_model=DamperModel.objects.first(), months=6, source="test"
    ),
    "serviceinterval_of_vehicle_once": copy(ServiceInterval),
    "serviceinterval_by_default_once": lambda: ServiceInterval.objects.create(months=6, source="test"),
    "serviceinterval_of_one_thing": lambda: ServiceInterval.objects.filter(vehicle_model__isnull=False).update(
        damper_model=make.make_damper_model()
    ),
    "serviceinterval_says_something": change(ServiceInterval, months=None),
    "procedure_version_once": copy(Procedure, made_current_at=NOON),
    "procedure_one_current": copy(Procedure, version=9, current=True, made_current_at=NOON),
    "procedure_one_draft": copy(Procedure, version=9),
    "procedure_current_since": change(Procedure, current=True),
    "procedure_name_given": change(Procedure, name=""),
    "step_number_once": copy(Step, origin=999),
    "step_origin_once": copy(Step, number=999),
    "step_one_entry": change(Step, reading="charge", as_left=True),
    "step_pressure_known": change(Step, pressure="high"),
    "step_proof_is_checked": change(Step, pressure="proven"),
    "step_of_a_cap_is_plain": change(Step, cap_styles=["ring"], critical=True),
    "part_number_given": change(Part, number=""),
    "part_measure_known": change(Part, measure="length"),
    "container_size_once": copy(Container),
    "container_holds_something": change(Container, size=0),
    "container_price_not_negative": change(Container, price=-1),
    "reservation_of_something": change(Reservation, amount=0),
    "reservation_state_known": change(Reservation, state="lost"),
    "movement_of_something": copy(Movement, amount=0),
    "movement_sign_fits": copy(Movement, amount=-1),
    "movement_says_why": copy(Movement, kind="counted", reason=""),
    "movement_correction_names_the_wrong_one": copy(Movement, kind="corrected", reason="a slip"),
    "stocktake_finished_by_somebody": change(StockTake, given_up=True),
    "takenpart_in_one_open_take": copy(TakenPart, take=lambda row: another_take()),
    "takenpart_once": copy(TakenPart, open=False),
    "reservation_issued_is_something": change(Reservation, state="issued"),
    "part_keeps_a_while": change(Part, keeps_days=0),
    "lot_good_when_received": change(Lot, use_by=date(2000, 1, 1)),
    "lot_opened_after_it_came": change(Lot, opened_on=date(2000, 1, 1)),
    "walkstop_prefix_given": change(WalkStop, prefix=""),
    "drum_name_given": change(Drum, name=""),
    "drum_kind_known": change(Drum, holds="milk"),
    "drum_holds_something": change(Drum, capacity=0),
    "oilpaper_page_once": copy(OilPaper),
    "oilentry_written_off_once": copy(OilEntry, movement=lambda row: Movement.objects.first()),
    "oilentry_kind_known": copy(OilEntry, kind="lost"),
    "oilentry_fluid_known": copy(OilEntry, kind="in", amount=1),
    "oilentry_look_known": copy(OilEntry, look="blue"),
    "oilentry_of_something": copy(OilEntry, amount=0),
    "oilentry_sign_fits": copy(OilEntry, amount=1),
    "oilentry_handed_to_somebody": copy(OilEntry, hauler=""),
    "oilentry_correction_says_why": copy(OilEntry, corrects=lambda row: OilEntry.objects.first()),
    "pickline_once_per_bag": copy(PickLine, reservation=None),
    "pickline_of_something": change(PickLine, amount=0),
    "pickline_measure_known": change(PickLine, measure="length"),
    "pickline_picked_by_somebody": change(PickLine, picked_at=NOON),
    "pickline_taken_up_by_somebody": change(PickLine, taken_up_at=NOON),
    "workorder_status_known": change(WorkOrder, status="lost"),
    "workorder_bench_after_check_in": change(WorkOrder, checked_in_at=None),
    "workorder_ready_after_closing": change(WorkOrder, status="ready"),
    "workorder_bench_temperature_plausible": change(WorkOrder, bench_temperature_k=6.0),
    "workorder_called_off_with_reason": change(WorkOrder, status="called_off"),
    "damperjob_index_once": copy(DamperJob, status="called_off"),
    "damperjob_one_open_per_damper": copy(DamperJob, index=2),
    "damperjob_status_known": change(DamperJob, status="lost"),
    "damperjob_open_is_frozen": copy(DamperJob, index=2, spec=None, damper=lambda job: make.make_damper()),
    "damperjob_closed_by_somebody": change(DamperJob, status="closed"),
    "tool_kind_known": change(Tool, kind="hammer"),
    "tool_range_in_order": change(Tool, low_si=1e9),
    "tool_due_after_calibration": change(Tool, calibration_due_on=date(2000, 1, 1)),
    "reading_first_once": copy(Reading),
    "reading_not_negative": copy(Reading, moment="left", value_si=-1),
    "reading_measure_known": copy(Reading, measure="smell"),
    "reading_moment_known": copy(Reading, moment="later"),
    "reading_correction_has_reason": copy(Reading, corrects=lambda row: Reading.objects.first()),
    "stepdone_once": copy(StepDone),
    "secondcheck_once": copy(SecondCheck),
    "secondcheck_by_another": copy(SecondCheck, by=lambda row: row.first_by, step=lambda row: Step.objects.first()),
    "reopening_round_once": copy(Reopening),
    "reopening_has_reason": copy(Reopening, round=9, why=""),
    "specchange_has_reason": copy(SpecChange, why=""),
    "cardrevision_number_once": copy(CardRevision),
}


@pytest.mark.parametrize("name", CASES)
def test_the_database_refuses(book, name):
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        CASES[name]()
    told = str(refused.value)
    # SQLite names the columns of a broken uniqueness, not the constraint.
    assert name in told or told.startswith("UNIQUE constraint failed")


def test_every_constraint_has_a_case():
    ours = {
        constraint.name
        for model in apps.get_models()
        if model.__module__.startswith("shop.") and model._meta.app_label != "reminders"
        for constraint in model._meta.constraints
    }
    assert ours == set(CASES)
