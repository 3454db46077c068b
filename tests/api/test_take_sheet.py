"""A manager's program moves an open job to the sheet of today; everybody's reads what it is held against, and why."""

import pytest

from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.services import verify_sheet
from tests import factories as make
from tests.api.conftest import refused
from tests.factories import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(desk, technician):
    model = make.make_damper_model()
    make.make_sheet(model, code="H2-A", torque=18)
    job = make.make_open_job(by=desk, damper=make.make_damper(model=model))
    new = make.make_sheet(model, code="H2-A", version=2, status=SheetStatus.DRAFT, replaces=SpecSheet.objects.get())
    verify_sheet(sheet=new, edition=new.edition, by=technician, at=NOON)
    return job


def test_the_job_tells_that_its_figures_changed_and_after_the_move_whose_word_it_is(as_manager, at_bench, job):
    told = at_bench.get(f"jobs/{job.pk}/").json()
    assert (told["sheet"]["version"], "H2-A version 2 (verified) would hold" in told["figures_changed"]) == (1, True)
    moved = as_manager.made(f"jobs/{job.pk}/take-sheet/", {"why": "the torque was misread"})
    assert (moved["sheet"]["version"], moved["figures_changed"]) == (2, "")
    assert moved["sheet"]["rule"].endswith("in place of H2-A version 1: the torque was misread")
    refused(as_manager.post(f"jobs/{job.pk}/take-sheet/", {"why": "again"}), 409, code="same_sheet")


def test_it_takes_a_reason_and_a_manager(as_manager, at_bench, job):
    refused(as_manager.post(f"jobs/{job.pk}/take-sheet/", {"why": " "}), 400, field="why")
    refused(at_bench.post(f"jobs/{job.pk}/take-sheet/", {"why": "misread"}), 403)
    assert at_bench.get(f"jobs/{job.pk}/").json()["sheet"]["version"] == 1
