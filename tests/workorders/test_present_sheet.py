"""An open job while the spec table changes: it is flagged and never changed by itself; a manager may move it."""

import html

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.documents.selectors import card as card_of
from shop.documents.services import DIGITS_IN_QR, card_state, job_card
from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.services import NewValue, change_draft, verify_sheet, withdraw_sheet
from shop.web.links import why_this_sheet
from shop.workorders.models import DamperJob, SpecChange
from shop.workorders.selectors import figures_changed, job_steps
from shop.workorders.services import pick_line, take_present_sheet
from tests import factories as make
from tests.documents.orders import make_checked_in, stock_kit
from tests.factories import NOON
from tests.racing import at_once
from tests.web.conftest import logged_in
from tests.web.dampers_at_work import TORQUE, at_step, order_on_the_benches, record, tools, work
from tests.web.people import send, words

pytestmark = [pytest.mark.django_db, pytest.mark.flow]
CHANGED = "changed since check-in: this job keeps H2-A version 1; today H2-A version 2 (verified) would hold."


@pytest.fixture(autouse=True)
def noon(monkeypatch):
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOON)


@pytest.fixture
def job(desk):
    return order_on_the_benches(desk, code="H2-A").jobs.get()


def next_version(job, second, **figures):
    old = SpecSheet.objects.get(status=SheetStatus.VERIFIED, damper_model=job.damper.model)
    figures = {"torque": 22, "charge": 200, "depth": 2.4} | figures
    new = make.make_sheet(
        job.damper.model, code=old.code, version=old.version + 1, status=SheetStatus.DRAFT, replaces=old, **figures
    )
    return verify_sheet(sheet=new, edition=new.edition, by=second, at=NOON)


def as_it_is(job):
    return DamperJob.objects.get(pk=job.pk)


def take(job, by, why="rev C misprints the torque"):
    return take_present_sheet(job=job, why=why, by=by, at=NOON)


# --- flagged, never changed


def test_a_next_version_flags_the_open_job_on_every_page_and_changes_none_of_its_figures(job, desk, technician, second):
    kept, order = as_it_is(job).spec, job.order
    card = job_card(order=order, at=NOON)
    scanned = reverse("desk:card_check", args=[order.pk, card.revision, card.digest[:DIGITS_IN_QR]])
    at_bench, at_desk = logged_in(technician), logged_in(desk)
    pages = {
        at_bench: [job.get_absolute_url(), at_step(job, TORQUE), reverse("tablet:close", args=[job.pk]), scanned],
        at_desk: [order.get_absolute_url()],
    }
    for client, addresses in pages.items():
        assert all("has changed since check-in" not in words(client.get(address)) for address in addresses)
    next_version(job, second)
    for client, addresses in pages.items():
        for address in addresses:
            assert CHANGED in words(client.get(address)), address
    assert as_it_is(job).spec == kept
    assert "Shaft nut torque 18 lbf·ft allowed 17.1 to 18.9 lbf·ft" in words(at_bench.get(at_step(job, TORQUE)))
    assert job_card(order=order, at=NOON).digest == card.digest  # the paper still says what was checked in


def test_a_withdrawn_sheet_flags_the_open_job_and_is_still_what_it_is_held_against(job, manager, technician, second):
    sheet = SpecSheet.objects.get()
    withdraw_sheet(sheet=sheet, why="misread", by=manager, at=NOON)
    assert figures_changed(as_it_is(job)).endswith("keeps H2-A version 1; today no sheet would hold. Ask the manager.")
    work(job, technician, second, to=TORQUE, tools=tools())
    with pytest.raises(ValidationError, match=r"Allowed is 17\.1 to 18\.9"):
        record(job, "shaft_nut_torque", technician, "22 lbf·ft", tools={"wrench": make.make_tool()})


def test_a_draft_that_is_changed_flags_the_job_that_was_given_it(desk, manager):
    model = make.make_damper_model()
    draft = make.make_sheet(model, code="D", status=SheetStatus.DRAFT)
    order = make_checked_in(model=model, corners=["rear_left"])
    job, card = order.jobs.get(), job_card(order=order, at=NOON)
    page = logged_in(desk)
    assert "has changed since check-in" not in words(page.get(order.get_absolute_url()))
    change_torque(draft, "24 lbf·ft", manager)
    told = "this job keeps D version 1 as edition 1 says it; today edition 2 of D version 1 (draft) would hold."
    assert told in words(page.get(order.get_absolute_url()))
    assert job_card(order=order, at=NOON).revision == card.revision  # the paper still says what was checked in
    before_editions = as_it_is(job)
    del before_editions.spec["edition"]
    assert figures_changed(before_editions) == ""


def change_torque(draft, text, by):
    """A draft says another torque, and only that."""
    torque = parse(text, "torque")
    return change_draft(
        sheet=draft, edition=draft.edition, vehicle_model=None, position=draft.position,
        source_document=draft.source_document, source_revision=draft.source_revision, source_page=draft.source_page,
        values=[NewValue("shaft_nut_torque", torque, torque, torque)],
        why="misread", keep_flagged=True, sure=True, by=by, at=NOON,
    )  # fmt: skip


def test_bench_and_day_tell_which_jobs_keep_another_sheet(job, desk, technician, second):
    lists = [(logged_in(technician), reverse("tablet:bench")), (logged_in(desk), reverse("desk:day"))]
    for client, address in lists:
        assert "heet changed" not in words(client.get(address))
    next_version(job, second)
    at_bench, at_desk = [words(client.get(address)) for client, address in lists]
    assert at_bench.count("sheet changed") == 1
    assert f"Sheet changed: {job.tag}" in at_desk


def test_the_step_leads_to_which_sheet_holds_and_why(job, technician):
    page = html.unescape(logged_in(technician).get(at_step(job, TORQUE)).content.decode())
    assert f'href="{why_this_sheet(job.damper)}">Which sheet holds, and why</a>' in page


# --- moved, knowingly


def test_a_manager_moves_a_job_on_which_nothing_is_set_yet_and_its_steps_go_on(job, manager, technician, second):
    work(job, technician, second, to=TORQUE, tools=tools())
    kept = as_it_is(job).spec
    next_version(job, second)
    take(job, manager)
    moved = as_it_is(job)
    assert (moved.spec, moved.round) == (kept, 1)
    assert (moved.sheet.version, moved.sheet.values["shaft_nut_torque"].figures) == (2, "22")
    assert moved.sheet.rule == (
        "all model years, any position, any vehicle; taken by Mika Sorensdal on 25 November 2026 in place of "
        "H2-A version 1: rev C misprints the torque"
    )
    assert figures_changed(moved) == ""
    assert sum(state.complete for state in job_steps(moved)) == TORQUE - 1
    record(job, "shaft_nut_torque", technician, "22 lbf·ft", tools={"wrench": make.make_tool()})


def test_where_a_figure_was_set_by_the_earlier_sheet_the_steps_begin_anew_with_zero_pressure(
    job, manager, technician, second
):
    wrench = tools()
    work(job, technician, second, to=TORQUE + 1, tools=wrench)
    next_version(job, second)
    take(job, manager)
    moved = as_it_is(job)
    assert moved.round == 2
    assert not any(state.done or state.reading for state in job_steps(moved))
    assert moved.reopenings.get().why == "held against H2-A version 2 in place of H2-A version 1"
    with pytest.raises(ValidationError, match="First: “Vent the nitrogen and prove zero pressure”"):
        record(job, "shaft_nut_torque", technician, "22 lbf·ft", tools=wrench)


def test_the_card_of_before_is_no_card_to_work_from_and_the_next_one_says_who_took_the_sheet_and_why(
    job, manager, second
):
    order = job.order
    card = job_card(order=order, at=NOON)
    next_version(job, second)
    take(job, manager)
    asked = {"order": order, "revision": card.revision, "digest": card.digest[:DIGITS_IN_QR]}
    assert "has changed since. Print the card anew." in card_state(**asked).words
    assert job_card(order=order, at=NOON).revision == card.revision + 1
    assert "superseded by revision 2" in card_state(**asked).words
    assert "taken by Mika Sorensdal on 25 November 2026" in card_of(order).dampers[0].sheet.rule


@pytest.mark.parametrize(
    ("why", "role", "prepare", "told"),
    [
        (" ", "manager", next_version, "Say why"),
        ("misprint", "technician", next_version, "Only a manager"),
        ("misprint", "manager", lambda job, second: None, "is held against H2-A version 1 already"),
    ],
)
def test_it_is_refused_without_a_reason_a_manager_or_another_sheet(job, second, why, role, prepare, told):
    prepare(job, second)
    with pytest.raises(ValidationError, match=told):
        take(job, make.make_user(role), why)
    assert not SpecChange.objects.exists()


def test_neither_a_draft_nor_nothing_can_be_taken_and_a_closed_job_keeps_what_it_has(job, manager, second):
    sheet = SpecSheet.objects.get()
    withdraw_sheet(sheet=sheet, why="misread", by=manager, at=NOON)
    with pytest.raises(ValidationError, match="only a verified sheet can be taken"):
        take(job, manager)
    make.make_sheet(job.damper.model, status=SheetStatus.DRAFT, code="D")
    with pytest.raises(ValidationError, match="D version 1 is a draft: only a verified sheet"):
        take(job, manager)
    DamperJob.objects.filter(pk=job.pk).update(status="closed", closed_by=manager, closed_at=NOON)
    with pytest.raises(Conflict, match="is closed: it keeps the sheet it has"):
        take(job, manager)


def test_a_job_without_a_sheet_takes_the_one_that_is_there_now(desk, manager, second):
    job = order_on_the_benches(desk, sheet=False).jobs.get()
    make.make_sheet(job.damper.model, code="NEW")
    take(job, manager, "entered after the check-in")
    assert as_it_is(job).sheet.code == "NEW"


def test_the_pick_list_holds_the_oil_that_the_taken_sheet_asks_for_and_leaves_the_rest(manager, second):
    model = make.make_damper_model()
    make.make_sheet(model, oil=305)
    stock_kit(model)
    order = make_checked_in(model=model, corners=["rear_left", "rear_right"])
    first, other = order.jobs.all()
    before = {(line.tag, line.name): line.amount for line in order.pick_list.lines.all()}
    next_version(first, second, oil=400)
    take(first, manager)
    after = {(line.tag, line.name): line.amount for line in order.pick_list.lines.all()}
    assert after == before | {(first.tag, "Tarn No. 5"): 440_000}
    assert all(line.held == line.amount for line in order.pick_list.lines.all())
    assert as_it_is(other).sheet.version == 1


def test_a_job_that_had_no_sheet_is_given_the_oil_of_the_one_it_takes(manager):
    model = make.make_damper_model()
    stock_kit(model)
    order = make_checked_in(model=model, corners=["rear_left", "rear_right"])
    first = order.jobs.first()
    before = {(line.tag, line.name): line.amount for line in order.pick_list.lines.all()}
    assert (first.tag, "Tarn No. 5") not in before
    make.make_sheet(model, oil=400)
    take(first, manager, "entered after the check-in")
    after = {(line.tag, line.name): line.amount for line in order.pick_list.lines.all()}
    assert after == before | {(first.tag, "Tarn No. 5"): 440_000}
    assert order.pick_list.lines.get(name="Tarn No. 5").held == 440_000


def test_the_oil_is_found_by_its_number_whatever_the_allowance_was_and_stays_picked_if_it_stays(
    manager, second, settings
):
    model = make.make_damper_model()
    make.make_sheet(model, oil=305)
    stock_kit(model)
    locker = make.make_part(on_hand=500_000, measure="volume")
    make.make_kit_line(model, locker.number, amount=335_500, measure="volume", name="as much as the oil")
    order = make_checked_in(model=model, corners=["rear_left"])
    job = order.jobs.get()
    pick_line(line=order.pick_list.lines.get(name="seal kit"), by=manager, at=NOON)
    pick_line(line=order.pick_list.lines.get(name="Tarn No. 5"), by=manager, at=NOON)
    before = {line.name: line.amount for line in order.pick_list.lines.all()}
    settings.OIL_ALLOWANCE_PERCENT = 20
    next_version(job, second, oil=400)
    take(job, manager)
    lines = {line.name: line for line in order.pick_list.lines.all()}
    assert {name: line.amount for name, line in lines.items()} == before | {"Tarn No. 5": 480_000}
    assert [name for name, line in lines.items() if line.picked_at] == ["seal kit"]
    settings.OIL_ALLOWANCE_PERCENT = 10
    next_version(job, second, oil=None)
    take(job, manager)
    assert order.pick_list.lines.get(name="Tarn No. 5").amount == 480_000


def test_on_the_tablet_a_manager_is_led_there_and_a_technician_is_not(job, manager, technician, second):
    address = reverse("tablet:take_sheet", args=[job.pk])
    as_manager, at_bench = logged_in(manager), logged_in(technician)
    assert address not in as_manager.get(job.get_absolute_url()).content.decode()
    next_version(job, second)
    assert address in as_manager.get(job.get_absolute_url()).content.decode()
    assert address not in at_bench.get(job.get_absolute_url()).content.decode()
    page = words(as_manager.get(address))
    assert "It keeps Sheet H2-A version 1, chosen as:" in page
    assert "Today the spec table gives Sheet H2-A version 2, chosen as:" in page
    assert (
        "Shaft nut torque 18 lbf·ft, allowed 17.1 to 18.9 lbf·ft → becomes "
        "22 lbf·ft, allowed 20.9 to 23.1 lbf·ft" in page
    )
    assert "Oil volume" not in page
    sheets = [SpecSheet.objects.get(version=version).pk for version in (1, 2)]
    compare = html.unescape(as_manager.get(address).content.decode())
    assert f"{reverse('manage:sheets_compare')}?sheet={sheets[0]}&sheet={sheets[1]}" in compare
    assert send(as_manager, address, why="").status_code == 422
    answer = send(as_manager, address, why="rev C misprints the torque")
    assert answer.status_code == 302
    page = words(at_bench.get(job.get_absolute_url()))
    assert "Shaft nut torque 22 lbf·ft" in page
    assert "in place of H2-A version 1: rev C misprints the torque." in page
    assert "has changed since check-in" not in page


@pytest.mark.django_db(transaction=True)
def test_a_figure_set_while_the_sheet_is_taken_never_counts_by_the_figures_of_before(job, manager, technician, second):
    wrench = tools()
    work(job, technician, second, to=TORQUE, tools=wrench)
    next_version(job, second)
    moved, reading = at_once(
        lambda: take(job, manager), lambda: record(job, "shaft_nut_torque", technician, "18 lbf·ft", tools=wrench)
    )
    assert isinstance(moved, SpecChange)
    assert as_it_is(job).sheet.version == 2
    assert ("shaft_nut_torque", "set") not in as_it_is(job).standing_readings()
    # Either it came first and the steps begin anew, or it was refused by the sheet that holds now.
    assert (as_it_is(job).round, isinstance(reading, ValidationError)) in ((2, False), (1, True))
