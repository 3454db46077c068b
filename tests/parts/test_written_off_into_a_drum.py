"""Writing a fluid off and the used-oil log are one act: both books say it, or neither."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from shop.core.errors import Conflict
from shop.parts.models import Movement, OilEntry
from shop.parts.selectors import stock_of
from shop.parts.services import correct, correct_entry, receive, retire_drum, write_off
from shop.parts.used_oil import held_by, oil_log
from tests import factories as make
from tests.factories import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.flow]
LATER = NOON + timedelta(hours=1)


@pytest.fixture
def litre():
    return make.make_container(make.make_part("TARN-5", name="Tarn No. 5", measure="volume"), 1_000_000, name="1 L")


@pytest.fixture
def drum():
    return make.make_drum("Used Oil 1")


def off(litre, by, amount=700_000, **given):
    if not litre.part.movements.exists():
        receive(part=litre.part, amount=2_000_000, container=litre, by=by, at=NOON)
    defaults = {"part": litre.part, "container": litre, "reason": "cloudy", "by": by, "at": NOON}
    return write_off(amount=amount, **defaults | given)


def test_one_act_writes_both_books_and_each_names_the_other(litre, drum, manager):
    made = off(litre, manager, drum=drum)
    (entry,) = made.oil_entries.all()
    assert (made.amount, entry.amount, entry.fluid, entry.on) == (-700_000, 700_000, "expired", NOON.date())
    assert (stock_of([litre.part])[litre.part.pk].on_hand, held_by(drum)) == (1_300_000, 700_000)
    ((line,),) = [one.lines for one in oil_log(NOON.date(), NOON.date()).drums]
    said = f"expired oil from stock, from Tarn No. 5 TARN-5, written off as entry {made.pk} of the stock"
    assert line.words == said


def test_solvent_goes_into_the_drum_for_solvent_as_solvent(litre, manager):
    assert off(litre, manager, drum=make.make_drum(holds="solvent")).oil_entries.get().fluid == "solvent"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({}, "Say into which drum it was poured. If into none, say where it went"),
        ({"elsewhere": "  "}, "Say into which drum"),
        ({"elsewhere": "spilt", "drum": True}, "It goes into Used Oil 1 or elsewhere, not both"),
        ({"elsewhere": "x" * 195}, "characters together; at most 200"),
    ],
)
def test_where_a_fluid_goes_is_said_once(litre, drum, manager, given, told):
    if "drum" in given:
        given = given | {"drum": drum}
    with pytest.raises(ValidationError, match=told):
        off(litre, manager, **given)
    assert not Movement.objects.filter(kind="wasted").exists()


def test_what_is_no_fluid_goes_into_no_drum(drum, manager):
    kit = make.make_part(on_hand=3)
    with pytest.raises(ValidationError, match="is no fluid"):
        write_off(part=kit, amount=1, reason="torn", drum=drum, by=manager, at=NOON)
    assert write_off(part=kit, amount=1, reason="torn", by=manager, at=NOON).reason == "torn"


def test_a_drum_that_would_run_over_is_asked_about_and_then_neither_book_is_written(litre, manager):
    small = make.make_drum("Can 1", litres=0.5)
    with pytest.raises(ValidationError, match="would be 200 mL over its capacity"):
        off(litre, manager, drum=small)
    assert not Movement.objects.filter(kind="wasted").exists()
    assert not OilEntry.objects.exists()
    off(litre, manager, drum=small, sure=True)
    assert held_by(small) == 700_000


def test_a_drum_out_of_use_is_refused(litre, drum, manager):
    retire_drum(drum=drum, by=manager, at=NOON)
    with pytest.raises(Conflict, match="out of use"):
        off(litre, manager, drum=drum)
    assert not Movement.objects.filter(kind="wasted").exists()


@pytest.mark.parametrize("right", [650_000, 0])
def test_a_correction_of_the_stock_corrects_the_log_with_it(litre, drum, manager, right):
    made = off(litre, manager, drum=drum)
    correct(movement=made, right=-right, reason="read wrongly", by=manager, at=LATER)
    assert (held_by(drum), stock_of([litre.part])[litre.part.pk].on_hand) == (right, 2_000_000 - right)
    standing = OilEntry.objects.standing().get()
    assert (standing.amount, standing.why, standing.movement) == (right, "read wrongly", made)
    correct(movement=made, right=-600_000, reason="measured", by=manager, at=LATER)  # and once more
    assert (held_by(drum), stock_of([litre.part])[litre.part.pk].on_hand) == (600_000, 1_400_000)


def test_the_line_of_the_log_alone_is_not_corrected(litre, drum, manager):
    made = off(litre, manager, drum=drum)
    with pytest.raises(ValidationError, match=f"follows entry {made.pk} of the stock. Correct that one"):
        correct_entry(entry=made.oil_entries.get(), why="slip", by=manager, at=LATER)


def test_a_correction_that_the_drum_cannot_follow_changes_neither_book(litre, drum, manager):
    from shop.parts.services import hand_over

    made = off(litre, manager, drum=drum)
    hand_over(drum=drum, hauler="Basin Oil Recovery (invented)", emptied=True, on=NOON.date(), by=manager, at=NOON)
    with pytest.raises(ValidationError, match="more was handed over than poured in"):
        correct(movement=made, right=0, reason="slip", by=manager, at=LATER)
    assert (held_by(drum), stock_of([litre.part])[litre.part.pk].on_hand) == (0, 1_300_000)
