"""A job from the telephone to the receipt, through the pages of desk, bench, stock room and customer."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from shop.parts.models import Movement, OilEntry
from shop.parts.selectors import stock_of
from shop.reminders.links import question_token
from shop.workorders import services
from shop.workorders.models import OrderStatus, Question, WorkOrder
from shop.workorders.selectors import job_steps
from tests import factories as make
from tests.factories import NOON
from tests.web.dampers_at_work import leave, record, tools
from tests.web.people import form, make_family, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon"), pytest.mark.flow]

# Common practice, no source, but for the oil, which is invented: model year 2015.
SET = {"shaft_nut_torque": "22 lbf·ft", "charge": "100 psi", "oil_volume": "305 mL"}
DEPTH = {"front_left": "2.4 in", "rear_left": "3.4 in"}
FOUND = {"compression_clicks": "12", "rebound_clicks": "11", "preload_length": "3.35"}


@pytest.fixture
def family():
    family = make_family()
    family["bushing"] = make.make_part(on_hand=1, name="seal-head bushing", bin="C-02")
    make.make_kit_line(family["damper_model"], family["bushing"].number, name="seal-head bushing", optional=True)
    make.make_bench_hours()
    return family


def on_hand(part):
    return stock_of([part])[part.pk].on_hand


def test_a_job_from_the_telephone_to_the_receipt(at_desk, at_bench, client, desk, technician, second, family):
    # The telephone: nobody of that name is in the book; one page enters all of it and books it.
    assert "Nothing found" in words(at_desk.get(reverse("desk:search"), {"q": "Calloway"}))
    page = reverse("desk:book_new")
    typed = {
        "name": "Ines Calloway", "phone": "555-0142", "email": "ines@example.com",
        "model": family["vehicle_model"].pk, "model_year": "2015", "plate": "KLR-204",
        "corners_shown": "yes", "corner_front_left": "on", "corner_rear_left": "on",
        "complaint": "knocks over ruts", "promised_for_0": "2026-11-27", "promised_for_1": "16:00",
    }  # fmt: skip
    answer = at_desk.post(page, form(at_desk.get(page), "book/new") | typed | {"book": "yes"})
    assert answer.status_code == 302, words(answer)
    order = WorkOrder.objects.get()
    assert order.bench_plan.exists(), "its bench days are planned"
    assert order.promised_for > NOON
    for asked in ("0142", "caloway", "klr204", order.number):
        found = at_desk.get(reverse("desk:search"), {"q": asked}, follow=True)
        assert "Calloway" in words(found), asked

    # It comes in: settings, condition, the price that is agreed.
    jobs = list(order.jobs.order_by("index"))
    found = {f"found_{job.pk}_{measure}": figure for job in jobs for measure, figure in FOUND.items()}
    checked = send(
        at_desk, reverse("desk:check_in", args=[order.pk]), distance="1204", words="dusty", agreed_up_to="420",
        on_paper="on", **found,
    )  # fmt: skip
    assert checked.status_code == 302, words(checked)
    assert on_hand(family["kit"]) == 5, "held, and still on the shelf"

    # The day's pick list, with a scanner: two kits, then the oil, from one opened bottle.
    scan = reverse("desk:picks_scan")
    for code in (family["kit"].number, family["kit"].number, family["oil"].number, family["oil"].number):
        said = at_bench.post(scan, {"code": code}, headers={"accept": "application/json"})
        assert said.status_code == 200, said.content
    assert (
        at_bench.post(scan, {"code": family["kit"].number}, headers={"accept": "application/json"}).status_code == 409
    )
    assert on_hand(family["kit"]) == 3
    taken = 2_000_000 - on_hand(family["oil"])
    assert taken == 2 * 335_500, "305 mL and the allowance of 10 % for each damper"

    # The bench finds a worn bushing: the damper stands still until the customer has answered through the link.
    jobs = list(order.jobs.select_related("damper").order_by("index"))  # as they are since the check-in
    job = jobs[0]
    asked = send(at_bench, reverse("tablet:ask", args=[job.pk]), what="new bushing", why="coating worn through")
    assert asked.status_code == 302
    question = Question.objects.get()
    url = question.get_absolute_url()
    priced = at_desk.post(url, form(at_desk.get(url)) | {"do": "price", "price-by_how_much": "38.50"})
    assert priced.status_code == 302, words(priced)
    assert "the customer's answer" in words(at_desk.get(order.get_absolute_url()))
    assert "the customer's answer" in words(at_desk.get(reverse("desk:day")))
    with pytest.raises(ValidationError, match="waits for the customer's answer"):
        services.finish_step(job=job, step=job_steps(job)[0].step, by=technician, at=NOON)
    question.refresh_from_db()

    link = reverse("public:question", args=[question_token(question)])
    seen = client.get(link)
    assert "458.50" in words(seen)
    assert client.post(link, form(seen, "") | {"answer": "agree"}).status_code == 302
    up = f"{reverse('desk:take_up', args=[order.pk])}?tag={job.tag}&part={family['bushing'].number}"
    assert send(at_bench, up, within_price="on").status_code == 302

    # The work, by two people; the drained oil goes into a drum.
    drum = make.make_drum()
    kit = tools()
    for one in jobs:
        for state in job_steps(one):
            step = state.step
            if step.reading:
                text = DEPTH[one.damper.position] if step.reading == "ifp_depth" else SET[step.reading]
                record(one, step.reading, technician, text, tools=kit)
            elif step.as_left:
                leave(one, technician, **FOUND)
            services.finish_step(job=one, step=step, by=technician, at=NOON)
            if step.critical:
                services.second_check(job=one, step=step, by=second, at=NOON)
        services.close_job(job=one, by=technician, at=NOON)
        services.note_drained_oil(job=one, drum=drum, look="dark", on=NOON.date(), by=technician, at=NOON)
    assert OilEntry.objects.count() == 2

    # Closed: the bushing was not needed after all, and 35.5 mL of oil came back.
    lines = {(line.tag, line.part_number): line for line in order.pick_list.lines.all()}
    used = [(lines[job.tag, family["oil"].number], 300_000), (lines[job.tag, family["bushing"].number], 0)]
    services.close_order(order=order, used=used, by=technician, at=NOON)
    assert on_hand(family["bushing"]) == 1
    assert 2_000_000 - on_hand(family["oil"]) == 300_000 + 335_500
    order.refresh_from_db()
    assert order.status == OrderStatus.READY

    # Handed back, with the paper; nothing is left on the day sheet.
    back = send(
        at_desk, reverse("desk:hand_back", args=[order.pk]), wants_reminders="yes", collected_by="Ines Calloway"
    )
    assert back.status_code == 302, words(back)
    told = words(at_desk.get(back.url))
    assert f"{order} is handed back to Ines Calloway." in told
    paper = at_desk.get(reverse("desk:service_record", args=[order.pk]))
    assert paper.content.startswith(b"%PDF-")
    assert order.number not in words(at_desk.get(reverse("desk:day")))
    for part in (family["kit"], family["oil"], family["bushing"]):
        assert on_hand(part) == sum(Movement.objects.filter(part=part).values_list("amount", flat=True))
        assert stock_of([part])[part.pk].held == 0
