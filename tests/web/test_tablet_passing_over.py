"""A step for some caps only: on a damper whose cap style nobody knows the technician decides."""

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.documents.selectors.record import record as service_record
from shop.documents.services import job_card
from shop.specs import services as specs
from shop.workorders import services
from shop.workorders.models import StepDone
from shop.workorders.selectors import job_steps, missing
from tests import factories as make
from tests.documents.orders import pages
from tests.factories import NOON
from tests.web.dampers_at_work import CHARGE, at_step, leave, order_on_the_benches, record, tools, work
from tests.web.people import send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
CAP = 5  # the place of the step, behind the one that opens


@pytest.fixture
def kit(db):
    return tools()


def job_with_a_cap(desk, manager, style="", caps=("threaded",)):
    draft = make.make_draft(manager)
    specs.add_step(
        procedure=draft, number=CAP, stage="Strip", title="Turn the cap out", text="Pins square.", tool="pin tool",
        cap_styles=list(caps), by=manager, at=NOON,
    )  # fmt: skip
    draft.refresh_from_db()
    make.put_in_force(draft, manager)
    model = make.make_damper_model(cap_style=style)
    return order_on_the_benches(desk, model=model).jobs.get()


def at_cap(job):
    return at_step(job, CAP)


def titles(job):
    return [state.step.title for state in job_steps(job)]


def fresh(job):
    return type(job).objects.get(pk=job.pk)


@pytest.mark.parametrize(
    ("style", "caps", "there"),
    [("threaded", ["threaded"], True), ("ring", ["threaded"], False), ("clip", ["ring", "clip"], True),
     ("", ["threaded"], True), ("ring", [], True)],
)  # fmt: skip
def test_a_step_for_some_caps_is_there_for_those_and_where_nobody_knows(desk, manager, style, caps, there):
    job = job_with_a_cap(desk, manager, style, caps)
    assert ("Turn the cap out" in titles(job)) is there


def test_where_nobody_knows_the_cap_the_page_says_so_and_a_tap_passes_over_it(
    at_bench, desk, manager, technician, second, kit
):
    job = job_with_a_cap(desk, manager)
    work(job, technician, second, tools=kit, to=CAP)
    page = words(at_bench.get(at_cap(job)))
    assert "Only for a threaded cap. The catalogue does not say what cap a Hallinde" in page
    assert "Tools: pin tool" in page
    assert "not done yet, only for a threaded cap" in words(at_bench.get(job.get_absolute_url()))
    answer = send(at_bench, at_cap(job), does_not_apply="1")
    assert answer.url == at_step(job, CAP + 1)
    passed = StepDone.objects.get(step__number=CAP)
    assert (passed.applies, passed.by) == (False, technician)
    page = words(at_bench.get(at_cap(job)))
    assert "does not apply: Tobias Nkemelu, 12:00" in page
    assert "It was done after all" in page
    assert "does not apply: Tobias Nkemelu, 12:00" in words(at_bench.get(job.get_absolute_url()))


def test_what_was_passed_over_by_mistake_is_done_after_all(at_bench, desk, manager, technician, second, kit):
    job = job_with_a_cap(desk, manager)
    work(job, technician, second, tools=kit, to=CAP)
    send(at_bench, at_cap(job), does_not_apply="1")
    assert send(at_bench, at_cap(job)).status_code == 302
    state = next(one for one in job_steps(fresh(job)) if one.step.number == CAP)
    assert (state.passed_over, state.words) == (False, "done")
    assert StepDone.objects.filter(step__number=CAP).count() == 2, "what was said first stays in the record"
    with pytest.raises(Conflict, match="is done already"):
        services.pass_over_step(job=fresh(job), step=state.step, by=technician, at=NOON)


def test_a_job_closes_with_a_step_passed_over_and_the_record_says_so(desk, manager, technician, second, kit):
    job = job_with_a_cap(desk, manager)
    work(job, technician, second, tools=kit, to=CAP)
    step = job.procedure.steps.get(number=CAP)
    first = services.pass_over_step(job=fresh(job), step=step, by=technician, at=NOON)
    assert services.pass_over_step(job=fresh(job), step=step, by=second, at=NOON) == first
    for state in job_steps(fresh(job)):
        if state.done is None:
            work_one(fresh(job), state.step, technician, second, kit)
    assert missing(fresh(job)) == []
    services.close_job(job=fresh(job), by=technician, at=NOON)
    services.close_order(order=job.order, used=[], by=technician, at=NOON)
    told = service_record(job.order).dampers[0]
    assert told.procedure == "Rebuild version 3"
    assert next(one.done for one in told.steps if one.title == "Turn the cap out").startswith(
        "does not apply: Tobias Nkemelu"
    )


def work_one(job, step, first, second, kit):
    if step.reading:
        record(job, step.reading, first, tools=kit)
    if step.as_left:
        leave(job, first)
    services.finish_step(job=fresh(job), step=step, by=first, at=NOON)
    if step.critical:
        services.second_check(job=fresh(job), step=step, by=second, at=NOON)


@pytest.mark.parametrize("style", ["", "threaded"])
def test_only_a_step_in_doubt_is_passed_over(desk, manager, technician, second, kit, style):
    job = job_with_a_cap(desk, manager, style)
    for state in job_steps(job):
        if state.step.number == CAP and not style:
            continue
        with pytest.raises(ValidationError, match="belongs to every Hallinde"):
            services.pass_over_step(job=job, step=state.step, by=technician, at=NOON)
    assert not StepDone.objects.exists()


def test_nothing_is_passed_over_before_zero_pressure_is_proven(desk, manager, technician, second, kit):
    job = job_with_a_cap(desk, manager)
    step = job.procedure.steps.get(number=CAP)
    with pytest.raises(ValidationError, match="First: “Vent the nitrogen and prove zero pressure”"):
        services.pass_over_step(job=job, step=step, by=technician, at=NOON)


def test_the_charge_waits_for_a_step_in_doubt_until_it_is_done_or_passed_over(
    at_bench, desk, manager, technician, second, kit
):
    job = job_with_a_cap(desk, manager)
    for state in job_steps(job):
        if state.step.number not in (CAP,) and state.step.number < CHARGE + 1:
            work_one(fresh(job), state.step, technician, second, kit)
    page = words(at_bench.get(at_step(job, CHARGE + 1)))
    assert "Not yet. First step 5, “Turn the cap out” (not done yet, only for a threaded cap)." in page
    services.pass_over_step(job=fresh(job), step=job.procedure.steps.get(number=CAP), by=technician, at=NOON)
    assert "Not yet." not in words(at_bench.get(at_step(job, CHARGE + 1)))


def test_what_was_done_stays_in_sight_when_the_catalogue_learns_of_another_cap(desk, manager, technician, second, kit):
    job = job_with_a_cap(desk, manager)
    work(job, technician, second, tools=kit, to=CAP + 1)
    model = job.damper.model
    model.cap_style = "ring"
    model.save()
    assert "Turn the cap out" in titles(fresh(job))
    services.reopen_damper(job=fresh(job), why="no full stroke", by=technician, at=NOON)
    assert "Turn the cap out" not in titles(fresh(job))


def test_a_damper_opened_again_asks_anew(desk, manager, technician, second, kit):
    job = job_with_a_cap(desk, manager)
    work(job, technician, second, tools=kit, to=CAP)
    services.pass_over_step(job=fresh(job), step=job.procedure.steps.get(number=CAP), by=technician, at=NOON)
    services.reopen_damper(job=fresh(job), why="no full stroke", by=technician, at=NOON)
    state = next(one for one in job_steps(fresh(job)) if one.step.number == CAP)
    assert state.words == "not done yet, only for a threaded cap"


def test_the_card_says_for_which_caps_a_step_is_where_nobody_knows(desk, manager):
    job = job_with_a_cap(desk, manager)
    (text,) = pages(job_card(order=job.order, at=NOON).pdf)
    assert "16. Compare, bag, lay ready" in text, "still on one sheet of paper"
    assert "5. Turn the cap out, only for a threaded cap" in text
    assert "Rebuild version 3" in text


def test_the_desk_passes_over_nothing(at_desk, desk, manager):
    job = job_with_a_cap(desk, manager)
    assert at_desk.post(at_cap(job), {"does_not_apply": "1"}).status_code == 403
    assert not StepDone.objects.exists()
