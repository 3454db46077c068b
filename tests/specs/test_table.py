"""Many drafts written at once: with one reason, all of them or none."""

import pytest
from django.core.exceptions import ValidationError

from shop.calc.units import parse
from shop.core.errors import Conflict
from shop.specs.models import SheetStatus, SpecSheet
from shop.specs.services import DraftRow, NewValue, change_draft, write_drafts
from tests import factories as make
from tests.factories import NOON
from tests.racing import at_once

pytestmark = pytest.mark.django_db
SOURCE = {"source_document": "manual", "source_revision": "rev D", "source_page": "p. 41"}


def charge(text):
    one = parse(text, "pressure")
    return [NewValue("charge", one, one, one)]


@pytest.fixture
def draft(manager):
    return make.make_sheet(
        make.make_damper_model(), code="H2-C", status=SheetStatus.DRAFT, entered_by=manager, note="bench",
        torque=None, depth=None, oil=None, printed={"charge": {"page": "p. 9", "note": "cold"}}, reference_k=295.0,
    )  # fmt: skip


def changed(draft, text="110 psi", **given):
    where = {"damper_model": draft.damper_model, "code": draft.code, "position": "any", "values": charge(text)}
    return DraftRow(sheet=draft, **where | SOURCE | {"edition": 1} | given)


def new(draft, code="H2-N", text="100 psi", **given):
    return DraftRow(damper_model=draft.damper_model, code=code, position="rear", values=charge(text), **SOURCE | given)


def write(rows, by, why="new manual", **given):
    return write_drafts(rows=rows, why=why, by=by, at=NOON, **given)


def test_new_sheets_and_changed_drafts_are_written_together_with_one_reason(draft, manager):
    first, second = write([changed(draft), new(draft)], manager)
    assert (first.pk, first.edition, second.code, second.version) == (draft.pk, 2, "H2-N", 1)
    assert {one.editions.last().why for one in (first, second)} == {"new manual"}


def test_what_the_table_has_no_column_for_stays(draft, manager):
    (after,) = write([changed(draft)], manager)
    value = after.values.get()
    assert (value.figures, value.page, value.note) == ("110", "p. 9", "cold")
    assert (after.note, after.reference_k) == ("bench", 295.0)


def test_every_refusal_names_its_row_and_nothing_is_written(draft, manager):
    rows = [changed(draft), new(draft, code=""), new(draft, text="110 kPa"), new(draft, year_from=2015, year_to=2014)]
    with pytest.raises(ValidationError) as refusal:
        write(rows, manager)
    told = refusal.value.message_dict
    assert {name[0] for name in told} == {"1", "2", "3"}
    assert "Did you mean 110 psi?" in str(told["2-values"])
    assert [one.code for one in refusal.value.error_dict["2-values"]] == ["doubtful"]
    draft.refresh_from_db()
    assert (draft.edition, SpecSheet.objects.count()) == (1, 1)


def test_it_is_a_conflict_when_somebody_else_was_first(draft, manager):
    change_draft(
        sheet=draft, edition=1, position="any", values=charge("90 psi"), why="x", by=manager, at=NOON, **SOURCE
    )
    with pytest.raises(Conflict) as refusal:
        write([changed(draft)], manager)
    assert "has changed H2-C version 1 since you opened it" in str(refusal.value.message_dict["0-row"])
    with pytest.raises(ValidationError) as refusal:
        write([changed(draft), new(draft, code="")], manager)
    assert not isinstance(refusal.value, Conflict)


def test_one_answer_settles_the_questions_of_all_rows(draft, manager):
    assert len(write([new(draft, text="30 psi"), new(draft, "H2-O", "31 psi")], manager, sure=True)) == 2


def test_a_change_of_the_table_says_why_and_changes_something(draft, manager):
    with pytest.raises(ValidationError, match="Say why: what these figures were copied from"):
        write([changed(draft)], manager, why=" ")
    with pytest.raises(ValidationError, match="Nothing in the table is new or different"):
        write([], manager)


@pytest.mark.django_db(transaction=True)
def test_two_tables_over_the_same_damper_models_wait_for_each_other():
    by, models = make.make_user("manager"), [make.make_damper_model() for _ in range(2)]

    def table(code, order):
        rows = [
            DraftRow(damper_model=one, code=f"{code}-{n}", position="any", values=charge("100 psi"), **SOURCE)
            for n, one in enumerate(order)
        ]
        return lambda: write(rows, by)

    outcomes = at_once(table("A", models), table("B", models[::-1]))
    assert [len(one) for one in outcomes] == [2, 2]
