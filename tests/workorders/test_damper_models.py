"""A damper model is corrected while some of its dampers are booked or on the benches; counts beyond its clicks."""

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.dampers.models import Construction, DamperModel
from shop.workorders.models import Reading
from shop.workorders.selectors import booked_in_vain, job_steps
from shop.workorders.services import change_damper_model, check_in, close_job, record_reading
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db


def describe(model, by, **given):
    names = ("version", "maker", "name", "construction", "serviceable", "why_not", "cap_style")
    now = {name: getattr(model, name) for name in names}
    return change_damper_model(damper_model=model, **now | given, by=by, at=NOON)


def clicks(count):
    return parse(f"{count} clicks", "count")


@pytest.mark.parametrize(
    ("given", "field", "told"),
    [
        ({"construction": Construction.EMULSION}, "construction", "steps that hang on its construction"),
        ({"cap_style": "ring"}, "cap_style", "steps that hang on its cap style"),
    ],
)
def test_what_its_steps_hang_on_stays_while_one_is_on_the_benches(manager, given, field, told):
    job = make.make_open_job()
    model, before = job.damper.model, [state.step.number for state in job_steps(job)]
    with pytest.raises(ValidationError, match=told) as refusal:
        describe(model, manager, **given)
    assert list(refusal.value.message_dict) == [field]
    assert str(job.order) in refusal.value.messages[0]
    assert [state.step.number for state in job_steps(type(job).objects.get(pk=job.pk))] == before
    assert DamperModel.objects.get(pk=model.pk).version == 1
    close_job(job=job, override_reason="wrong construction", by=manager, at=NOON)
    assert getattr(describe(model, manager, **given), field) == given[field]


def test_its_name_is_corrected_meanwhile_and_a_booked_order_is_no_hindrance(manager):
    job = make.make_open_job()
    assert describe(job.damper.model, manager, name="H22").name == "H22"
    booked = make.make_order()
    model = booked.jobs.get().damper.model
    assert describe(model, manager, construction=Construction.INTERNAL).construction == Construction.INTERNAL


def test_what_is_booked_is_told_when_a_model_is_not_serviced_any_more(manager):
    model = make.make_damper_model()
    first, second, other = (make.make_damper(make.make_vehicle(), model=one) for one in (model, model, None))
    booked = [make.make_order(dampers=[damper]) for damper in (first, second, other)]
    make.make_open_job(damper=make.make_damper(model=model))
    assert list(booked_in_vain(model)) == []
    model = describe(model, manager, serviceable=False, why_not="No parts to be had.")
    assert list(booked_in_vain(model)) == booked[:2]
    with pytest.raises(ValidationError, match="is not serviced here: No parts to be had") as refusal:
        make.make_order(dampers=[make.make_damper(model=model)])
    assert refusal.value.error_dict["dampers"][0].code == "not_serviceable"


# --- clicks -----------------------------------------------------------------------------------------------------------


def test_more_clicks_than_the_adjuster_has_are_refused_at_check_in_with_the_corner(desk):
    vehicle = make.make_vehicle()
    damper = make.make_damper(vehicle)
    make.make_adjuster(damper.model, clicks=22)
    order = make.make_order(by=desk, dampers=[damper])
    job = order.jobs.get()
    with pytest.raises(ValidationError) as refusal:
        check_in(order=order, meters=[], as_found=[(job, "rebound_clicks", clicks(25))], by=desk, at=NOON)
    assert refusal.value.message_dict == {
        "as_found": [
            f"Rear right: the rebound adjuster of the {damper.model} has 22 clicks; 25 were counted. Turn it fully "
            "closed and count again."
        ]
    }
    order.refresh_from_db()
    assert order.status == "booked"
    found = [(job, "rebound_clicks", clicks(22)), (job, "compression_clicks", clicks(40))]
    check_in(order=order, meters=[], as_found=found, by=desk, at=NOON)
    assert Reading.objects.count() == 2


def test_a_correction_of_what_was_found_is_held_against_the_clicks_too(technician):
    job = make.make_open_job(found=11)
    make.make_adjuster(job.damper.model, clicks=12)
    given = {"job": job, "measure": "rebound_clicks", "moment": "found", "corrects": job.readings.get(), "why": "slip"}
    with pytest.raises(ValidationError, match="has 12 clicks; 13 were counted"):
        record_reading(**given, entered=clicks(13), by=technician, at=NOON)
    assert record_reading(**given, entered=clicks(12), by=technician, at=NOON).value_si == 12


# --- two at once ------------------------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_of_a_check_in_and_a_new_construction_at_once_the_steps_fit_what_the_damper_is(desk, manager):
    for _ in range(3):
        order = make.make_order(by=desk)
        model = order.jobs.get().damper.model
        taken_in, changed = at_once(
            lambda order=order: check_in(order=order, meters=[], as_found=[], by=desk, at=NOON),
            lambda model=model: describe(model, manager, construction=Construction.EMULSION),
        )
        assert taken_in.status == "on_bench"
        model.refresh_from_db()
        if isinstance(changed, ValidationError):
            assert "is on the benches in" in changed.messages[0]
            assert model.construction == Construction.RESERVOIR
        else:
            assert model.construction == Construction.EMULSION
