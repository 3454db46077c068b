"""The parts list of a damper model as a table to type in, and its copies."""

import pytest

from shop.specs.models import KitLine
from shop.staff.models import AuditEntry
from shop.workorders.services import check_in
from tests import factories as make
from tests.factories import NOON
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]


def page_of(damper):
    return f"/manage/catalogue/damper-models/{damper.pk}/parts-list/"


def row(number, **typed):
    return {f"lines.{number}.{name}": text for name, text in typed.items()}


def rows(damper):
    return set(damper.kit_lines.values_list("part_number", "amount", "optional", "stands_in_for__part_number"))


@pytest.fixture
def damper():
    damper = make.make_damper_model()
    kit = make.make_kit_line(damper, "SK-1")
    make.make_kit_line(damper, "TARN-5", None, "volume", name="damper oil Tarn No. 5")
    make.make_kit_line(damper, "SG-1", 4000, "mass", name="seal grease", year_from=2012, year_to=2020)
    make.make_alternate(kit, "SK-2", name="seal kit, second number")
    return damper


def test_saved_as_it_was_opened_the_list_says_what_it_said_and_nothing_is_told(as_manager, damper):
    before = list(KitLine.objects.order_by("pk").values())
    assert send(as_manager, page_of(damper)).status_code == 302
    assert list(KitLine.objects.order_by("pk").values()) == before
    assert not AuditEntry.objects.exists()


def test_lines_are_changed_added_and_taken_off_in_one_go(as_manager, damper):
    typed = (
        row(0, amount="2") | row(3, remove="on") | row(4, part_number="SH-1", name="shaft", amount="1", optional="on")
        | row(5, part_number="SK-3", name="third", amount="1", stands_in_for="SK-1", rank="2")
    )  # fmt: skip
    page = send(as_manager, page_of(damper), **typed)
    assert page.status_code == 302
    assert rows(damper) == {
        ("SK-1", 2, False, None), ("SK-2", 1, False, "SK-1"), ("TARN-5", None, False, None), ("SH-1", 1, True, None),
        ("SK-3", 1, False, "SK-1"),
    }  # fmt: skip
    told = words(as_manager.get(page.url))
    assert "if the inspection asks for it" in told
    assert "in the place of SK-1, rank 2" in told
    assert "parts list changed: SK-1 seal kit, 1, all model years; now SK-1 seal kit, 2, all model years" in told


def test_an_amount_may_be_typed_in_another_unit_of_the_same_kind(as_manager, damper):
    send(as_manager, page_of(damper), **row(2, measured="volume", amount="0.3 L"))
    assert damper.kit_lines.get(part_number="TARN-5").amount == 300_000


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"amount": ""}, "Give the amount that one damper takes."),
        ({"measured": "count", "amount": "4 g"}, "“4 g” cannot be read. Give the number in pcs"),
        ({"measured": "count", "amount": "1.5"}, "Give a whole number of pcs"),
        ({"amount": "0"}, "Give more than zero."),
        ({"amount": "-4"}, "cannot be -4 g"),
        ({"amount": "0.00001"}, "No damper takes 0 g. Give more than zero."),
        ({"amount": "300", "measured": "sheet"}, "Leave this empty: the sheet gives the amount."),
        ({"measured": "smell"}, "This is none of the choices"),
        ({"measured": ""}, "Choose how it is measured."),
        ({"year_from": "2015", "year_to": "2014"}, "2014 lies before the first model year, 2015"),
        ({"year_from": "12"}, "12 cannot be right. Give a model year"),
        ({"part_number": "sk-1"}, "SK-1 seal kit, 7, all model years is in this parts list already"),
        ({"part_number": ""}, "Give the part number, or tick Remove."),
        ({"name": ""}, "Give the name, as the parts list prints it."),
        ({"name": "x" * 100_000}, "the book takes at most 120"),
        ({"part_number": "\0"}, "There is a hidden character in this"),
        ({"stands_in_for": "SK-9"}, "SK-9 is not in this parts list"),
        ({"stands_in_for": "SK-1"}, "SK-1 seal kit is measured in pieces: an alternate is measured in the same."),
        ({"rank": "x"}, "This is not a whole number"),
    ],
)
def test_what_is_wrong_stands_at_its_row_and_nothing_is_saved_or_lost(as_manager, damper, typed, told):
    before = rows(damper)
    asked = form(as_manager.get(page_of(damper))) | row(0, amount="7") | row(3, **typed)
    page = as_manager.post(page_of(damper), asked)
    assert page.status_code == 422
    assert told in words(page)
    assert rows(damper) == before
    there = form(page)
    assert there["lines.0.amount"] == "7"
    kept = {name: text for name, text in typed.items() if name != "measured" and "\0" not in text}
    assert all(there[f"lines.3.{name}"] == text for name, text in kept.items())


def test_an_error_behind_empty_rows_still_stands_at_its_own_row(as_manager, damper):
    page = send(as_manager, page_of(damper), **row(6, part_number="X-1", name="x", amount="1", stands_in_for="X-9"))
    assert page.status_code == 422
    assert 'href="#id_lines.6.stands_in_for"' in page.content.decode()


def test_a_row_that_comes_off_need_not_be_right(as_manager, damper):
    assert send(as_manager, page_of(damper), **row(3, remove="on", amount="nonsense")).status_code == 302
    assert not damper.kit_lines.filter(part_number="SG-1").exists()


def test_who_saves_second_is_told_and_sees_both(as_manager, damper):
    asked = form(as_manager.get(page_of(damper))) | row(0, amount="2")
    make.make_kit_line(damper, "BR-1", name="bumper")
    page = as_manager.post(page_of(damper), asked)
    assert page.status_code == 409
    assert "Somebody else has changed the parts list" in words(page)
    assert "The list says now" in words(page)
    assert "bumper" in words(page)
    again = form(page)
    assert again["lines.0.amount"] == "2"
    assert as_manager.post(page_of(damper), again).status_code == 302
    assert rows(damper) >= {("SK-1", 2, False, None), ("BR-1", 1, False, None)}  # what the other one added stays


@pytest.mark.parametrize(
    "asked", [{}, {"rows": "x"}, {"rows": "-1"}, {"rows": "9" * 40}, {"rows": "3", "lines.0.line": "9" * 40}]
)
def test_nonsense_instead_of_a_table_changes_nothing(as_manager, damper, asked):
    before = rows(damper)
    assert as_manager.post(page_of(damper), asked).status_code in (409, 422)
    assert rows(damper) == before


def test_it_says_which_orders_take_it_up_and_which_keep_theirs(as_manager, damper, desk):
    booked, at_work = (make.make_order(dampers=[make.make_damper(model=damper)], by=desk) for _ in range(2))
    check_in(order=at_work, meters=[], as_found=[], by=desk, at=NOON)
    told = words(
        as_manager.post(page_of(damper), form(as_manager.get(page_of(damper))) | row(0, amount="2"), follow=True)
    )
    assert f"at the latest at check-in: {booked}." in told
    assert f"On the benches, with the parts they were given: {at_work}." in told


def test_a_list_is_copied_to_a_model_that_has_none_and_from_one_that_has(as_manager, damper):
    second, third = make.make_damper_model(), make.make_damper_model()
    page = send(as_manager, page_of(damper), "copy/", f"{page_of(damper)}copy/", **{"copy-other": second.pk})
    assert page.status_code == 302
    assert page.url == page_of(second)
    send(as_manager, page_of(third), "copy/", f"{page_of(third)}copy/", **{"copy-other": damper.pk})
    assert rows(second) == rows(third) == rows(damper)


@pytest.mark.parametrize("other", ["", "x", "0", "9" * 40, "\0"])
def test_a_copy_to_nowhere_is_refused(as_manager, damper, other):
    page = as_manager.post(f"{page_of(damper)}copy/", {"copy-other": other})
    assert page.status_code == 422
    assert KitLine.objects.count() == 4


def test_the_longest_list_can_still_be_typed(as_manager):
    damper = make.make_damper_model()
    for number in range(40):
        make.make_kit_line(damper, f"P-{number}")
    assert send(as_manager, page_of(damper), **row(39, amount="2")).status_code == 302
    assert damper.kit_lines.get(part_number="P-39").amount == 2
    page = send(as_manager, page_of(damper), **row(40, part_number="P-40", name="one too many", amount="1"))
    assert page.status_code == 422
    assert "41 lines are more than a parts list takes; at most 40." in words(page)
