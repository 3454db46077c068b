"""The bench list and the page of one damper."""

from datetime import timedelta

import pytest
from django.urls import reverse

from shop.dampers.models import Construction
from shop.specs.models import SheetStatus
from shop.workorders import services
from tests import factories as make
from tests.factories import NOON
from tests.web.dampers_at_work import TORQUE, at_step, order_on_the_benches, tools, work
from tests.web.people import words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
BENCH = reverse("tablet:bench")


def test_the_bench_lists_open_dampers_in_the_order_promised_each_with_its_next_step(at_bench, desk, technician, second):
    later = order_on_the_benches(desk)
    sooner = order_on_the_benches(desk, dampers=2)
    type(later).objects.filter(pk=later.pk).update(promised_for=NOON + timedelta(days=9))
    work(sooner.jobs.first(), technician, second, to=TORQUE)
    page = words(at_bench.get(BENCH))
    tags = [job.tag for job in [*sooner.jobs.all(), *later.jobs.all()]]
    assert sorted(tags, key=page.index) == tags
    assert "Tighten the shaft nut: waits for the shaft nut torque" in page
    assert "Identify, tag, wash, photograph: not done yet" in page
    assert "Ostrander" in page


def test_a_promise_that_is_past_says_so(at_bench, desk):
    order = order_on_the_benches(desk)
    type(order).objects.filter(pk=order.pk).update(promised_for=NOON - timedelta(hours=1))
    assert "promise past: Wed 25 Nov, 11:00" in words(at_bench.get(BENCH))


def test_an_empty_bench_says_what_brings_a_damper_there(at_bench, desk):
    order_on_the_benches(desk, check_in=False)
    assert "A damper appears here when the front desk has checked its order in" in words(at_bench.get(BENCH))


def test_the_bench_takes_the_same_number_of_queries_for_one_damper_and_for_six(
    at_bench, desk, technician, second, django_assert_num_queries
):
    fitted = tools()
    work(order_on_the_benches(desk).jobs.get(), technician, second, tools=fitted, to=TORQUE + 1)
    with django_assert_num_queries(17):
        at_bench.get(BENCH)
    for _ in range(2):
        for job in order_on_the_benches(desk, dampers=3).jobs.all():
            work(job, technician, second, tools=fitted, to=TORQUE + 1)
    with django_assert_num_queries(17):
        at_bench.get(BENCH)


@pytest.mark.parametrize("text", ["{tag}", " {tag} ", "LG-{tag}", "lg {tag}", "http://127.0.0.1:8000/bench/{pk}/"])
def test_a_tag_typed_or_scanned_leads_to_its_damper(at_bench, desk, text):
    job = order_on_the_benches(desk, dampers=2).jobs.last()
    answer = at_bench.get(BENCH, {"tag": text.format(tag=job.tag, pk=job.pk)})
    assert (answer.status_code, answer.url) == (302, job.get_absolute_url())


def test_an_order_number_alone_lists_its_dampers_and_no_others(at_bench, desk):
    order, other = order_on_the_benches(desk, dampers=2), order_on_the_benches(desk)
    page = words(at_bench.get(BENCH, {"tag": order.number}))
    assert all(job.tag in page for job in order.jobs.all())
    assert other.jobs.get().tag not in page


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("8888-1", "No damper has the tag “8888-1”"),
        ("rear right", "“rear right” is no tag"),
        ("", "Nothing is typed here"),
        ("9" * 400, "at most 200"),
        ("999999999-9999", "No damper has the tag"),
    ],
)
def test_a_tag_that_nothing_carries_is_kept_in_the_field_with_the_reason(at_bench, desk, text, sentence):
    order_on_the_benches(desk)
    answer = at_bench.get(BENCH, {"tag": text})
    assert answer.status_code == 404
    assert sentence in words(answer)
    assert f'value="{text}"' in answer.content.decode() or not text


def test_the_page_of_a_damper_tells_its_figures_with_their_source_and_what_was_done_by_whom(
    at_bench, desk, technician, second
):
    job = order_on_the_benches(desk, code="H2-A").jobs.get()
    work(job, technician, second, tools=tools(), to=TORQUE + 1)
    answer = at_bench.get(job.get_absolute_url())
    page = words(answer)
    for part in (
        "Front left", f"tag {job.tag}", "model year 2014", "The customer says: “leaks at the shaft”",
        "Shaft nut torque 18 lbf·ft", "17.1 to 18.9 lbf·ft", "24.4 N·m",
        "Nitrogen charge, at 68 °F, sea level 200 psi", "IFP depth 2.4 in",
        "Sheet H2-A version 1", "chosen as: all model years, any position, any vehicle.",
        "Source: common practice, no source.",
        ", verified by Test Technician",
        "maker's current service manual for the exact unit prevails",
        "18.2 lbf·ft, with TW-2: Tobias Nkemelu, 12:00", "checked: Rosa Odumbe, 12:00", "found at 12 clicks",
        "Readings in the shop's books: 4. Last: Shaft nut torque 18.2 lbf·ft",
    ):  # fmt: skip
        assert part in page
    assert "DRAFT" not in page
    assert f'href="{at_step(job, TORQUE + 1)}">Go on</a>' in answer.content.decode()


def test_figures_that_nobody_verified_carry_the_word_draft(at_bench, desk):
    job = order_on_the_benches(desk, status=SheetStatus.DRAFT, code="H2-A").jobs.get()
    page = words(at_bench.get(job.get_absolute_url()))
    assert "DRAFT figures. Nobody has verified sheet H2-A version 1" in page
    assert page.count("Shaft nut torque DRAFT 18 lbf·ft") == 1
    assert "verified by nobody" in page


def test_a_damper_without_a_sheet_says_so_and_shows_no_figure(at_bench, desk):
    model = make.make_damper_model(name="H2")
    job = order_on_the_benches(desk, model=model, sheet=False).jobs.get()
    page = words(at_bench.get(job.get_absolute_url()))
    assert "No spec sheet. No sheet covers Hallinde H2, model year 2014, front left." in page
    assert "lbf·ft" not in page


def test_a_damper_without_an_ifp_has_no_step_for_its_depth(at_bench, desk):
    model = make.make_damper_model(name="E1", construction=Construction.EMULSION)
    job = order_on_the_benches(desk, model=model).jobs.get()
    page = words(at_bench.get(job.get_absolute_url()))
    assert "Set the IFP depth" not in page
    assert "11. Charge with nitrogen" in page


def test_a_damper_that_is_only_booked_says_what_it_waits_for(at_bench, desk):
    job = order_on_the_benches(desk, check_in=False).jobs.get()
    answer = at_bench.get(job.get_absolute_url())
    assert answer.status_code == 200
    assert "Not on the bench. This damper is booked. Work begins when the front desk has checked" in words(answer)
    assert at_bench.get(at_step(job, 1)).status_code == 404


def test_a_changed_spec_table_is_told_on_the_open_job(at_bench, desk):
    job = order_on_the_benches(desk, sheet=False).jobs.get()
    make.make_sheet(job.damper.model, torque=18, code="NEW")
    assert "The spec table has changed since check-in" in words(at_bench.get(job.get_absolute_url()))


def test_a_closed_damper_tells_by_whom_and_why_and_leads_to_the_used_parts(at_bench, desk, manager):
    order = order_on_the_benches(desk, dampers=2)
    first, last = order.jobs.all()
    services.close_job(job=first, override_reason="shaft snapped, customer told", by=manager, at=NOON)
    page = at_bench.get(first.get_absolute_url())
    assert "This damper is closed by Mika Sorensdal" in words(page)
    assert "shaft snapped, customer told" in words(page)
    assert "Book used parts" not in words(page)
    services.close_job(job=last, override_reason="the same", by=manager, at=NOON)
    page = at_bench.get(first.get_absolute_url())
    assert reverse("tablet:close_order", args=[order.pk]) in page.content.decode()


def test_the_desk_reads_a_damper_and_finds_nothing_to_press(at_desk, desk):
    job = order_on_the_benches(desk).jobs.get()
    answer = at_desk.get(job.get_absolute_url())
    assert answer.status_code == 200
    assert at_step(job, 1) not in answer.content.decode()
    assert "Go on" not in words(answer)


def test_an_unknown_damper_is_not_found(at_bench):
    assert at_bench.get(reverse("tablet:job", args=[123456])).status_code == 404
    assert at_bench.get("/bench/99999999999999999999999/").status_code == 404
