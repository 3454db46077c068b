"""What is recorded is never rewritten: every append-only table and frozen column is attacked past all our own code."""

import pytest
from django.db import IntegrityError, connection, transaction

from shop.customers.models import MeterReading
from shop.parts.models import Movement, OilEntry, OilPaper, Receipt, ReceiptLine, SupplierPrice, Tally
from shop.parts.services import enter_counts, start_take
from shop.specs.models import SheetEdition, SpecSheet, SpecValue
from shop.staff.models import AuditEntry
from shop.staff.services import note
from shop.workorders import services
from shop.workorders.models import (
    Agreement,
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
)
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def rows(desk, technician, second):
    """One row of every append-only table."""
    vehicle = make.make_vehicle()
    make.make_meter_reading(vehicle, miles=100)
    make.make_part(on_hand=1)
    make.make_oil_paper()
    take = start_take(parts=[make.make_part(on_hand=1)], by=desk, at=NOON)
    enter_counts(take=take, figures=[(take.rows.get(), 1)], by=desk, at=NOON)
    make.make_sheet(make.make_damper_model())
    job = make.make_open_job(by=desk)
    step = job.procedure.steps.filter(critical=True).first()
    for earlier in job.procedure.steps.filter(number__lte=step.number):
        services.finish_step(job=job, step=earlier, by=technician, at=NOON)
    services.second_check(job=job, step=step, by=second, at=NOON)
    services.reopen_damper(job=job, why="no full stroke", by=technician, at=NOON)
    SpecChange.objects.create(job=job, round=2, spec={"code": "H-2"}, why="page misread", by=technician, at=NOON)
    services.register_card(order=job.order, digest="a" * 64, at=NOON)
    make.make_delivery(desk)
    make.make_agreement(job.order, by=desk)
    photo = make.make_photo(job, by=desk)
    PhotoStrike.objects.create(photo=photo, why="another damper", by=desk, at=NOON)
    Condition.objects.create(order=job.order, job=job, words="leaks", by=desk, at=NOON)
    note(who="Somebody", kind="test", key=1, what="a line", at=NOON)
    return {model: model.objects.first() for model in APPEND_ONLY}


APPEND_ONLY = [
    MeterReading,
    Movement,
    OilEntry,
    OilPaper,
    Tally,
    AuditEntry,
    Reading,
    StepDone,
    SecondCheck,
    Reopening,
    SpecChange,
    CardRevision,
    SheetEdition,
    SupplierPrice,
    Receipt,
    ReceiptLine,
    Agreement,
    Photo,
    PhotoStrike,
    Condition,
]
A_COLUMN = {AuditEntry: {"what": "another line"}, CardRevision: {"digest": "b" * 64}, SupplierPrice: {"price": 1}}


@pytest.mark.parametrize("model", APPEND_ONLY, ids=lambda model: model.__name__)
def test_a_row_cannot_be_changed(rows, model):
    change = A_COLUMN.get(model) or {"at" if hasattr(model, "at") else "recorded_at": NOON.replace(hour=1)}
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        model.objects.filter(pk=rows[model].pk).update(**change)


@pytest.mark.parametrize("model", APPEND_ONLY, ids=lambda model: model.__name__)
def test_a_row_cannot_be_deleted(rows, model):
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {model._meta.db_table} WHERE id = %s", [rows[model].pk])


def test_the_frozen_sheet_of_a_job_cannot_be_changed(rows):
    job = DamperJob.objects.first()
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        DamperJob.objects.filter(pk=job.pk).update(spec={"code": "another"})
    job.override_reason = "other columns may"
    job.save()


def test_the_answer_to_a_question_is_written_once(rows, desk):
    question = make.make_question(DamperJob.objects.first().order, by=desk)
    answer = {"agreed": True, "name": "Ines Calloway", "how": "telephone"}
    services.answer_question(question=question, **answer, by=desk, at=NOON)
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        Question.objects.filter(pk=question.pk).update(state="open", answered_at=None)


@pytest.mark.parametrize(
    "change",
    [
        {"year_to": 2014},
        {"source_page": "p. 7"},
        {"position": "rear"},
        {"status": "draft"},
        {"entered_by": None},
        {"sent_back_why": "misread"},
    ],
    ids=lambda change: next(iter(change)),
)
def test_a_verified_sheet_cannot_be_changed(manager, change):
    sheet = make.make_sheet(make.make_damper_model())
    change = change | ({"entered_by": manager} if "entered_by" in change else {})
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        SpecSheet.objects.filter(pk=sheet.pk).update(**change)
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM specs_specsheet WHERE id = %s", [sheet.pk])


def test_the_figures_of_a_verified_sheet_cannot_be_changed_added_or_taken_away():
    sheet = make.make_sheet(make.make_damper_model(), depth=None)
    value = sheet.values.get(measure="charge")
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        SpecValue.objects.filter(pk=value.pk).update(high_si=2e6, value_si=2e6)
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM specs_specvalue WHERE id = %s", [value.pk])
    value.pk, value.measure = None, "ifp_depth"
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        value.save(force_insert=True)


@pytest.fixture(params=["current", "former"])
def kept(request, manager):
    """A procedure that is current, and one that was."""
    from shop.specs.models import Procedure

    return Procedure.objects.filter(current=request.param == "current", name="Rebuild").first()


@pytest.mark.parametrize(
    "change", [{"name": "Another"}, {"version": 9}, {"made_current_at": None, "current": False}, {"edition": 7}],
    ids=lambda change: next(iter(change)),
)  # fmt: skip
def test_a_procedure_that_is_or_was_current_cannot_be_changed(kept, change):
    with pytest.raises(IntegrityError, match="frozen once current"), transaction.atomic():
        type(kept).objects.filter(pk=kept.pk).update(**change)
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM specs_step WHERE procedure_id = %s", [kept.pk])
    type(kept).objects.filter(pk=kept.pk).update(current=False)  # another may take its place


def test_a_procedure_that_is_or_was_current_cannot_be_deleted(kept):
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM specs_procedure WHERE id = %s", [kept.pk])


def test_the_steps_of_a_procedure_that_is_or_was_current_cannot_be_changed_added_moved_or_taken_away(kept, manager):
    step, draft = kept.steps.get(number=3), make.make_draft(manager)
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        kept.steps.filter(pk=step.pk).update(critical=False, pressure="")
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        kept.steps.filter(pk=step.pk).update(procedure=draft, number=99, origin=99)
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        draft.steps.filter(number=1).update(procedure=kept, number=99, origin=99)
    step.pk, step.number, step.origin = None, 99, 99
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        step.save(force_insert=True)
    draft.steps.filter(number=3).update(title="A draft may be changed")
    draft.steps.all().delete()
    draft.delete()


def test_the_procedure_of_a_job_cannot_be_changed(rows):
    from shop.specs.models import Procedure

    other = Procedure.objects.create(name="Another")
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        DamperJob.objects.update(procedure=other)
