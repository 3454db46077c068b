"""Drafts that wait for a second person: the queue, and the page beside the source."""

from datetime import timedelta

import pytest
from django.urls import reverse

from shop.specs.models import SheetStatus
from tests import factories as make
from tests.factories import NOON
from tests.web.people import TICKS, form, send, verify, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
QUEUE = reverse("manage:sheets_queue")


def at(sheet, page="sheet_verify"):
    return reverse(f"manage:{page}", args=[sheet.pk])


def waiting(manager, *codes, **given):
    """Drafts of one damper model for a model year each, the first of them entered first."""
    model = make.make_damper_model()
    return [
        make.make_sheet(
            model, code=code, status=SheetStatus.DRAFT, entered_by=manager, entered_at=NOON - timedelta(days=9 - n),
            year_from=2010 + n, year_to=2010 + n, **given,
        )
        for n, code in enumerate(codes)
    ]  # fmt: skip


def test_the_queue_tells_what_waits_for_whom_the_oldest_first(as_manager, at_bench, manager, technician):
    waiting(manager, "Z-1", "A-2")
    own = make.make_sheet(make.make_damper_model(), code="T-3", status=SheetStatus.DRAFT, entered_by=technician)
    page = words(at_bench.get(QUEUE))
    assert page.index("Z-1") < page.index("A-2") < page.index("T-3")
    assert f"{manager}, 16 Nov 2026 waits for 9 days" in page
    assert "waits for less than an hour" in page
    assert page.count("You entered or changed it: a second person verifies it") == 1
    assert at(own) not in at_bench.get(QUEUE).content.decode()
    assert "Begin with Z-1 version 1" in page
    assert "Nothing waits for you" not in page
    assert "You entered or changed it" in words(as_manager.get(QUEUE))
    assert "3 drafts to be verified" in words(as_manager.get(reverse("manage:sheets")))


def test_the_queue_says_which_are_flagged(at_bench, manager):
    model = make.make_damper_model(
        reservoir_bore_m=0.04, cap_intrusion_m=0.02, shaft_m=0.016, stroke_m=0.13, highest_gas_pa=4e6
    )
    make.make_sheet(model, depth=1.2, status=SheetStatus.DRAFT, entered_by=manager)
    assert "Flagged The IFP hits the cap before full stroke" in words(at_bench.get(QUEUE))


@pytest.mark.parametrize(
    ("place", "held"),
    [
        ({}, True),
        ({"year_from": 2018, "year_to": None}, True),
        ({"year_from": None, "year_to": 2016}, True),
        ({"year_from": 2019, "year_to": None}, False),
        ({"year_from": None, "year_to": 2014}, False),
        ({"position": "front"}, False),
        ({"position": "any"}, False),
    ],
)
def test_a_draft_at_the_place_of_a_verified_sheet_says_so_before_anybody_compares_it(
    as_manager, at_bench, manager, place, held
):
    model, rear = make.make_damper_model(), {"position": "rear", "year_from": 2015, "year_to": 2018}
    make.make_sheet(model, code="H2-A", **rear)
    draft = make.make_sheet(model, code="H2-B", status=SheetStatus.DRAFT, entered_by=manager, **rear | place)
    told = "H2-A version 1 holds for model years 2015 to 2018, rear already"
    for page in (
        as_manager.get(draft.get_absolute_url()),
        at_bench.get(reverse("manage:sheets_queue")),
        at_bench.get(reverse("manage:sheet_verify", args=[draft.pk])),
    ):
        assert (told in words(page)) == held
    assert verify(at_bench, draft).status_code == (422 if held else 302)


def test_a_next_version_and_a_sheet_for_one_vehicle_have_no_rival(at_bench, manager):
    model = make.make_damper_model()
    old = make.make_sheet(model)
    given = {"status": SheetStatus.DRAFT, "entered_by": manager}
    make.make_sheet(model, code=old.code, version=2, replaces=old, **given)
    make.make_sheet(model, vehicle_model=make.make_vehicle_model(), **given)
    assert "Cannot be verified" not in words(at_bench.get(reverse("manage:sheets_queue")))


def test_an_empty_queue_says_so_and_is_no_place_for_the_desk(at_bench, at_desk):
    assert "No draft waits." in words(at_bench.get(QUEUE))
    assert at_desk.get(QUEUE).status_code == 403
    assert "to be verified" not in words(at_desk.get(reverse("manage:sheets")))


def test_the_queue_takes_as_many_queries_for_twenty_drafts_as_for_two(at_bench, manager, django_assert_num_queries):
    waiting(manager, "A", "B")
    at_bench.get(QUEUE)
    with django_assert_num_queries(6):  # session, user, count, drafts, their figures, the next one
        at_bench.get(QUEUE)
    waiting(manager, *(f"C{n}" for n in range(18)))
    with django_assert_num_queries(6):
        assert "C17" in words(at_bench.get(QUEUE))


def test_what_was_typed_stands_beside_where_it_is_printed(at_bench, manager):
    printed = {"charge": {"page": "p. 99", "note": "cold"}}
    (draft,) = waiting(manager, "H2-A", source_document="H2 bench manual", source_page="p. 41", printed=printed)
    page = words(at_bench.get(at(draft)))
    assert "Shaft nut torque 22 lbf·ft, tolerance ± 5 % Allowed 20.9 to 23.1 lbf·ft. Page: p. 41." in page
    assert "Allowed 95 to 105 psi, at 68 °F, sea level. Page: p. 99. cold" in page
    assert "Document H2 bench manual" in page
    assert "No scan of the source is kept with this sheet." in page


@pytest.mark.parametrize("missing", list(TICKS))
def test_everything_has_to_be_ticked(at_bench, manager, missing):
    (draft,) = waiting(manager, "H2-A")
    ticks = {name: one for name, one in TICKS.items() if name != missing}
    answer = at_bench.post(at(draft), form(at_bench.get(at(draft)), "verify") | ticks)
    assert answer.status_code == 422
    assert words(answer).count("with the source first, then tick this.") == 2  # above the form and at its tick
    kept = form(answer, "verify")
    assert {name for name in kept if name.startswith("read_")} == set(ticks)
    draft.refresh_from_db()
    assert draft.status == SheetStatus.DRAFT


def test_a_figure_that_the_sheet_does_not_give_needs_no_tick(at_bench, manager):
    (draft,) = waiting(manager, "H2-A", depth=None, oil=None)
    assert "IFP depth" not in words(at_bench.get(at(draft)))
    answer = send(at_bench, at(draft), "verify", read_shaft_nut_torque="on", read_charge="on", read_place="on")
    assert answer.status_code == 302


def test_verifying_goes_on_to_the_next_and_at_the_end_to_the_queue(at_bench, manager):
    first, second, third = waiting(manager, "A", "B", "C")
    assert verify(at_bench, second).url == at(third)
    answer = verify(at_bench, third)
    assert answer.url == at(first)
    assert "C version 1 is verified" in words(at_bench.get(answer.url))
    assert verify(at_bench, first).url == QUEUE
    assert "No draft waits." in words(at_bench.get(QUEUE))


def test_a_draft_changed_meanwhile_is_compared_anew(at_bench, as_manager, manager):
    (draft,) = waiting(manager, "H2-A")
    opened = form(at_bench.get(at(draft)), "verify") | TICKS
    send(as_manager, at(draft, "sheet_change"), source_page="p. 9", why="page misread")
    answer = at_bench.post(at(draft), opened)
    assert answer.status_code == 409
    assert "page misread. Look at what it says now." in words(answer)
    draft.refresh_from_db()
    assert draft.status == SheetStatus.DRAFT


def test_who_entered_it_is_shown_the_page_but_offered_nothing(as_manager, manager):
    (draft,) = waiting(manager, "H2-A")
    page = as_manager.get(at(draft))
    assert "Not for you. You entered or changed H2-A version 1" in words(page)
    assert "Verify and go on" not in words(page)


def test_what_is_verified_or_withdrawn_has_no_comparison(at_bench):
    sheet = make.make_sheet(make.make_damper_model())
    assert at_bench.get(at(sheet)).url == sheet.get_absolute_url()


# --- sent back


def test_a_draft_is_sent_back_with_a_note_that_stands_until_it_is_changed(at_bench, as_manager, manager):
    first, second = waiting(manager, "A", "B")
    answer = send(at_bench, at(first), "send-back", at(first, "sheet_send_back"), **{"back-why": "prints 24 lbf·ft"})
    assert answer.url == at(second)
    assert f"A version 1 is sent back to {manager}, with your note." in words(at_bench.get(answer.url))
    note = "Sent back by Tobias Nkemelu: prints 24 lbf·ft"
    assert note in words(as_manager.get(first.get_absolute_url()))
    assert note in words(as_manager.get(at(first, "sheet_change")))
    assert "Sent back Tobias Nkemelu: prints 24 lbf·ft" in words(as_manager.get(QUEUE))
    assert "Begin with B version 1" in words(at_bench.get(QUEUE))
    send(as_manager, at(first, "sheet_change"), shaft_nut_torque="24", why="misread")
    assert "prints 24" not in words(at_bench.get(at(first)))
    assert "sent back: A version 1: prints 24 lbf·ft" in words(at_bench.get(first.get_absolute_url()))


def test_nothing_is_sent_back_without_a_reason_and_ticks_are_no_reason(at_bench, manager):
    (draft,) = waiting(manager, "A")
    answer = send(at_bench, at(draft), "send-back", at(draft, "sheet_send_back"))
    assert answer.status_code == 422
    assert "Say what differs from the source" in words(answer)
    assert at_bench.get(at(draft, "sheet_send_back")).url == at(draft)
