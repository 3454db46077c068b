"""What is recorded is never rewritten: every append-only table and frozen column is attacked past all our own code."""

import pytest
from django.db import IntegrityError, connection, transaction

from shop.customers.models import MeterReading
from shop.parts.models import Movement
from shop.specs.models import SpecSheet, SpecValue
from shop.staff.models import AuditEntry
from shop.staff.services import note
from shop.workorders import services
from shop.workorders.models import CardRevision, DamperJob, Reading, Reopening, SecondCheck, SpecChange, StepDone
from tests import factories as make
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def rows(desk, technician, second):
    """One row of every append-only table."""
    vehicle = make.make_vehicle()
    make.make_meter_reading(vehicle, miles=100)
    make.make_part(on_hand=1)
    job = make.make_open_job(by=desk)
    step = job.procedure.steps.filter(critical=True).first()
    for earlier in job.procedure.steps.filter(number__lte=step.number):
        services.finish_step(job=job, step=earlier, by=technician, at=NOON)
    services.second_check(job=job, step=step, by=second, at=NOON)
    services.reopen_damper(job=job, why="no full stroke", by=technician, at=NOON)
    SpecChange.objects.create(job=job, round=2, spec={"code": "H-2"}, why="page misread", by=technician, at=NOON)
    services.register_card(order=job.order, digest="a" * 64, at=NOON)
    note(who="Somebody", kind="test", key=1, what="a line", at=NOON)
    return {model: model.objects.first() for model in APPEND_ONLY}


APPEND_ONLY = [MeterReading, Movement, AuditEntry, Reading, StepDone, SecondCheck, Reopening, SpecChange, CardRevision]
A_COLUMN = {AuditEntry: {"what": "another line"}, CardRevision: {"digest": "b" * 64}}


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


@pytest.mark.parametrize(
    "change",
    [{"year_to": 2014}, {"source_page": "p. 7"}, {"position": "rear"}, {"status": "draft"}, {"entered_by": None}],
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


def test_the_procedure_of_a_job_cannot_be_changed(rows):
    from shop.specs.models import Procedure

    other = Procedure.objects.create(name="Another")
    with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
        DamperJob.objects.update(procedure=other)
