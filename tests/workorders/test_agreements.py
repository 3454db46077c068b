"""What the customer agreed to holds: work that needs more stops until there is an answer, and one answer stands."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.specs.models import Pressure
from shop.workorders import services
from shop.workorders.agreed import agreed_in_words, agreed_total, asked_in_words, waiting_of
from shop.workorders.models import AgreedHow, QuestionState, WorkOrder
from shop.workorders.selectors import job_steps
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db
PHONE = {"name": "Ines Calloway", "how": AgreedHow.TELEPHONE}


@pytest.fixture
def order(desk):
    """Two dampers on the bench, agreed up to 420.00."""
    vehicle = make.make_vehicle()
    dampers = [make.make_damper(vehicle, position) for position in ("rear_left", "rear_right")]
    order = make.make_order(by=desk, dampers=dampers)
    services.check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    make.make_agreement(order, by=desk)
    return WorkOrder.objects.get(pk=order.pk)


@pytest.fixture
def jobs(order):
    return list(order.jobs.order_by("index"))


def first_step(job, by):
    return services.finish_step(job=job, step=job_steps(job)[0].step, by=by, at=NOON)


@pytest.mark.flow
def test_a_damper_with_an_open_question_stands_still_and_the_other_goes_on(order, jobs, desk, technician):
    make.make_question(order, jobs[0], by=desk)
    with pytest.raises(ValidationError, match=f"{jobs[0].tag} waits for the customer's answer: new shaft, 85.00"):
        first_step(jobs[0], technician)
    found = {"measure": "rebound_clicks", "moment": "found", "entered": parse("11 clicks", "count")}
    with pytest.raises(ValidationError, match="nothing is done, recorded or taken"):
        services.record_reading(job=jobs[0], **found, by=technician, at=NOON)
    with pytest.raises(ValidationError, match="waits for the customer"):
        services.close_job(job=jobs[0], override_reason="done anyway", by=technician, at=NOON)
    assert first_step(jobs[1], technician)
    assert services.record_reading(job=jobs[1], **found, by=technician, at=NOON)


@pytest.mark.flow
def test_a_damper_that_stands_still_may_be_vented_proven_and_checked_and_no_more(order, jobs, desk, technician, second):
    job = jobs[0]
    proof = next(state.step for state in job_steps(job) if state.step.pressure == Pressure.PROVEN)
    services.finish_step(job=job, step=proof, by=technician, at=NOON)
    make.make_question(order, job, by=desk)
    services.reopen_damper(job=job, why="charged by mistake", by=technician, at=NOON)
    assert services.finish_step(job=job, step=proof, by=technician, at=NOON).round == 2
    assert services.second_check(job=job, step=proof, by=second, at=NOON)
    after = next(state.step for state in job_steps(job) if state.step.number > proof.number)
    with pytest.raises(ValidationError, match="except that it is vented and zero pressure proven"):
        services.finish_step(job=job, step=after, by=technician, at=NOON)


def test_a_question_about_the_whole_order_stops_all_its_dampers(order, jobs, desk, technician):
    make.make_question(order, by=desk)
    for job in jobs:
        with pytest.raises(ValidationError, match="That holds for all its dampers"):
            first_step(job, technician)


@pytest.mark.flow
def test_agreed_the_work_goes_on_and_the_new_total_holds(order, jobs, desk, technician):
    question = make.make_question(order, jobs[0], by=desk)
    assert question.new_total == Decimal("505.00")
    services.answer_question(question=question, agreed=True, **PHONE, by=desk, at=NOON)
    assert first_step(jobs[0], technician)
    assert agreed_total(order) == Decimal("505.00")
    assert agreed_in_words(order) == "Agreed up to 505.00 USD."
    kept = order.agreements.last()
    assert (kept.what, kept.agreed_by, kept.how, kept.by) == ("new shaft", "Ines Calloway", "telephone", desk)
    assert order.agreements.count() == 2  # what was agreed before stays


def test_what_the_bench_proposes_stops_the_damper_until_the_desk_has_asked(order, jobs, desk, technician):
    proposed = services.propose_question(job=jobs[0], what="new shaft", why="bent", by=technician, at=NOON)
    with pytest.raises(ValidationError, match="waits for the front desk to ask the customer: new shaft"):
        first_step(jobs[0], technician)
    assert "the front desk to ask the customer" in asked_in_words(waiting_of(order)[0])
    with pytest.raises(Conflict, match="not been asked yet"):
        services.answer_question(question=proposed, agreed=True, **PHONE, by=desk, at=NOON)
    asked = services.ask_proposed(question=proposed, by_how_much=Decimal("85"), by=desk, at=NOON)
    assert (asked.state, asked.proposed_by, asked.asked_by) == (QuestionState.OPEN, technician, desk)
    again = WorkOrder.objects.get(pk=order.pk)
    assert [asked_in_words(one) for one in waiting_of(again)] == [
        "the customer's answer about rear left: new shaft, 85.00 USD more, 505.00 USD in all"
    ]
    with pytest.raises(Conflict, match="asked already"):
        services.ask_proposed(question=proposed, by_how_much=Decimal("90"), by=desk, at=NOON)


def test_declined_the_damper_waits_until_the_desk_says_what_happens(order, jobs, desk, technician):
    question = make.make_question(order, jobs[0], by=desk)
    services.answer_question(question=question, agreed=False, **PHONE, by=desk, at=NOON)
    with pytest.raises(ValidationError, match="did not agree, and the front desk has to say"):
        first_step(jobs[0], technician)
    services.settle_declined(question=question, after="without", by=desk, at=NOON)
    assert first_step(jobs[0], technician)
    assert agreed_total(order) == Decimal("420.00")
    with pytest.raises(Conflict, match="goes on without it"):
        services.settle_declined(question=question, after="unfinished", by=desk, at=NOON)


def test_a_withdrawn_question_lets_the_work_go_on(order, jobs, desk, technician):
    question = make.make_question(order, jobs[0], by=desk)
    with pytest.raises(ValidationError, match="Say why it is not asked"):
        services.withdraw_question(question=question, why=" ", by=desk, at=NOON)
    services.withdraw_question(question=question, why="the nick polished out", by=desk, at=NOON)
    services.withdraw_question(question=question, why="twice", by=desk, at=NOON)
    assert first_step(jobs[0], technician)
    with pytest.raises(Conflict, match=r"withdrawn by .*the nick polished out"):
        services.answer_question(question=question, agreed=True, **PHONE, by=desk, at=NOON)


def test_an_answer_on_a_total_that_has_changed_meanwhile_is_refused(order, jobs, desk):
    first, second = (make.make_question(order, job, by=desk) for job in jobs)
    services.answer_question(question=first, agreed=True, **PHONE, by=desk, at=NOON)
    second.refresh_from_db()
    assert second.new_total == Decimal("590.00")
    with pytest.raises(Conflict, match=r"590\.00 USD by now, not 505\.00 USD"):
        services.answer_question(
            question=second, agreed=True, new_total=Decimal("505.00"), **PHONE, by=desk, at=NOON
        )  # fmt: skip


def test_without_a_limit_the_total_has_to_be_said(order, jobs, desk):
    make.make_agreement(order, up_to=None, by=desk)
    asked = {"order": order, "what": "shaft", "why": "bent", "by_how_much": Decimal("85"), "by": desk, "at": NOON}
    with pytest.raises(ValidationError, match="what it comes to in all"):
        services.ask_customer(**asked)
    with pytest.raises(ValidationError, match="less than"):
        services.ask_customer(**asked, new_total=Decimal("80"))
    assert services.ask_customer(**asked, new_total=Decimal("505")).new_total == Decimal("505")


def test_sums_that_do_not_add_up_are_refused(order, desk):
    asked = {"order": order, "what": "shaft", "why": "bent", "by": desk, "at": NOON}
    with pytest.raises(ValidationError, match=r"420\.00 USD agreed and 85\.00 USD more are 505"):
        services.ask_customer(**asked, by_how_much=Decimal("85"), new_total=Decimal("500"))
    with pytest.raises(ValidationError, match="above zero"):
        services.ask_customer(**asked, by_how_much=Decimal("0"))


def test_no_sum_goes_beyond_what_any_job_costs(order, desk):
    question = make.make_question(order, by=desk)
    with pytest.raises(ValidationError, match="beyond any job"):
        make.make_agreement(order, up_to="9999990.00", by=desk)
    with pytest.raises(ValidationError, match="beyond any job"):
        make.make_question(order, by=desk, by_how_much=Decimal("9999999.00"))
    question.refresh_from_db()
    assert question.new_total == Decimal("505.00")


def test_an_optional_part_asks_whether_it_passes_the_price(desk, technician):
    model = make.make_damper_model()
    make.make_kit_line(model, "SH-1", name="shaft", optional=True)
    job = make.make_open_job(by=desk, damper=make.make_damper(make.make_vehicle(), model=model))
    take = {"job": job, "part_number": "SH-1", "by": technician, "at": NOON}
    make.make_agreement(job.order, by=desk)
    with pytest.raises(ValidationError, match=r"agreed up to 420\.00 USD\. Does it stay within that") as refusal:
        services.take_up_part(**take)
    assert "within_price" in refusal.value.message_dict
    make.make_question(job.order, job, by=desk)
    with pytest.raises(ValidationError, match="waits for the customer's answer"):
        services.take_up_part(**take, within_price=True)
    assert not job.order.pick_list.lines.exists()


def test_parts_are_picked_for_the_other_bags_only(desk, technician):
    model, part = make.make_damper_model(), make.make_part("SK-9", on_hand=4)
    make.make_kit_line(model, part.number)
    vehicle = make.make_vehicle()
    dampers = [make.make_damper(vehicle, one, model=model) for one in ("rear_left", "rear_right")]
    order = make.make_order(by=desk, dampers=dampers)
    services.check_in(order=order, meters=[], as_found=[], by=desk, at=NOON)
    first, second = order.jobs.order_by("index")
    make.make_question(order, first, by=desk)
    services.pick_part(order=order, part_number="SK-9", by=technician, at=NOON)
    picked = dict(order.pick_list.lines.values_list("tag", "picked_at"))
    assert picked == {first.tag: None, second.tag: NOON}
    with pytest.raises(ValidationError, match="waits for the customer"):
        services.pick_line(line=order.pick_list.lines.get(tag=first.tag), by=technician, at=NOON)


def test_an_order_that_is_called_off_asks_nothing_any_more(desk):
    order = make.make_order(by=desk)
    question = make.make_question(order, by=desk)
    services.call_off(order=order, why="sold it", by=desk, at=NOON)
    question.refresh_from_db()
    assert (question.state, question.withdrawn_why) == ("withdrawn", "the order is called off: sold it")


def test_nothing_is_asked_about_a_damper_that_is_closed(order, jobs, desk, manager):
    services.close_job(job=jobs[0], override_reason="scrapped", by=manager, at=NOON)
    with pytest.raises(Conflict, match="is closed: nothing is asked about it"):
        make.make_question(order, jobs[0], by=desk)


def test_an_order_is_not_closed_while_something_is_asked(order, jobs, desk, manager):
    for job in jobs:
        services.close_job(job=job, override_reason="scrapped", by=manager, at=NOON)
    make.make_question(order, by=desk)
    with pytest.raises(ValidationError, match="waits for the customer's answer"):
        services.close_order(order=order, used=[], by=manager, at=NOON)


def test_the_answer_through_the_link_again_is_as_good_as_once(order, jobs, desk):
    question = make.make_question(order, jobs[0], by=desk)
    link = {"question": question, "name": "Ines Calloway", "how": AgreedHow.LINK, "by": None}
    services.answer_question(**link, agreed=True, at=NOON)
    again = services.answer_question(**link, agreed=True, at=NOON + timedelta(minutes=1))
    assert again.answered_at == NOON
    with pytest.raises(Conflict, match="agreed: Ines Calloway, through the link"):
        services.answer_question(**link, agreed=False, at=NOON)


@pytest.mark.flow
@pytest.mark.django_db(transaction=True)
def test_of_two_answers_at_once_one_stands_and_the_other_is_told(desk):
    order = make.make_order(by=desk)
    question = make.make_question(order, by=desk)

    def by_telephone():
        return services.answer_question(question=question, agreed=False, **PHONE, by=desk, at=NOON)

    def by_link():
        return services.answer_question(
            question=question, agreed=True, name="Ines Calloway", how=AgreedHow.LINK, by=None, at=NOON
        )

    outcomes = at_once(by_telephone, by_link)
    refused = [one for one in outcomes if isinstance(one, Exception)]
    assert len(refused) == 1
    assert isinstance(refused[0], Conflict)
    assert "That stands." in refused[0].messages[0]
    question.refresh_from_db()
    assert order.agreements.count() == (question.state == QuestionState.AGREED)


@pytest.mark.django_db(transaction=True)
def test_a_step_and_a_question_at_once_never_cross(desk, technician):
    """Either the step was signed before the question came, or it is refused: never signed after it."""
    job = make.make_open_job(by=desk)
    step = job_steps(job)[0].step
    outcomes = at_once(
        lambda: services.finish_step(job=job, step=step, by=technician, at=NOON),
        lambda: make.make_question(job.order, job, by=desk),
    )
    assert not isinstance(outcomes[1], Exception)
    signed = job.steps_done.exists()
    assert signed is not isinstance(outcomes[0], ValidationError)
