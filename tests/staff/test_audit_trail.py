import pytest

from shop.staff.models import AuditEntry
from shop.staff.services import coming_from, note, note_each
from tests.factories import NOON

pytestmark = pytest.mark.django_db


def said():
    return list(AuditEntry.objects.order_by("pk").values_list("what", flat=True))


def test_what_is_noted_inside_says_where_it_came_from_and_what_comes_after_does_not():
    with coming_from("from parts.csv, line 12"):
        note(who="Somebody", kind="part", key=1, what="entered", at=NOON)
    note(who="Somebody", kind="part", key=2, what="entered", at=NOON)
    assert said() == ["entered (from parts.csv, line 12)", "entered"]


def test_a_long_line_loses_its_end_and_never_its_origin():
    with coming_from("from parts.csv, line 12"):
        note(who="Somebody", kind="part", key=1, what="x" * 600, at=NOON)
    note_each(who="Somebody", kind="part", lines=[(2, "y" * 600, "from parts.csv, line 13")], at=NOON)
    assert [len(one) for one in said()] == [500, 500]
    assert [one[-26:] for one in said()] == ["x (from parts.csv, line 12)"[-26:], "y (from parts.csv, line 13)"[-26:]]
