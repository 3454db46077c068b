"""People come, change what they do, and go; somebody always keeps the staff."""

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from rest_framework.authtoken.models import Token

from shop.core.errors import Conflict
from shop.staff.models import AuditEntry, Role, User
from shop.staff.services import (
    change_role,
    confirm_bench_pin,
    let_go,
    set_bench_pin,
    set_password,
    take_back,
)
from tests import factories as make
from tests.factories import NOON, PASSWORD
from tests.racing import at_once

WORD = "grease-and-daybreak"


def browser(user):
    client = Client()
    client.force_login(user)
    assert is_in(client)
    return client


def is_in(client):
    return client.get(reverse("desk:orders")).status_code == 200


def logs_in(user, password):
    return Client().post(reverse("log_in"), {"username": user.username, "password": password}).status_code == 302


def told(user):
    return [entry.what for entry in AuditEntry.objects.filter(kind="user", key=user.pk)]


def test_who_is_let_go_is_out_at_once_everywhere(technician, manager):
    set_bench_pin(user=technician, pin="2468", by=manager, at=NOON)
    client, token = browser(technician), Token.objects.create(user=technician)
    gone = let_go(user=technician, by=manager, at=NOON)
    assert not is_in(client)
    assert not logs_in(gone, PASSWORD)
    assert not Token.objects.filter(key=token.key).exists()
    with pytest.raises(ValidationError, match="no bench PIN"):
        confirm_bench_pin(user=gone, pin="2468", at=NOON)
    assert told(gone)[0] == f"let go: {gone}"


def test_letting_go_twice_is_as_good_as_once(technician, manager):
    for _ in range(2):
        let_go(user=technician, by=manager, at=NOON)
    assert len(told(technician)) == 1


def test_who_is_taken_back_needs_a_new_password_and_no_old_log_in_is_good_again(technician, manager):
    client = browser(technician)
    let_go(user=technician, by=manager, at=NOON)
    back = take_back(user=technician, by=manager, at=NOON)
    assert (back.is_active, back.role) == (True, Role.TECHNICIAN)
    assert not is_in(client)
    assert not logs_in(back, PASSWORD)
    set_password(user=back, password=WORD, by=manager, at=NOON)
    assert not is_in(client)
    assert logs_in(back, WORD)
    assert told(back) == ["new password", f"taken back: {back}, Technician", f"let go: {back}"]


def test_a_new_password_ends_what_the_old_one_opened(technician, manager):
    client, token = browser(technician), Token.objects.create(user=technician)
    set_password(user=technician, password=WORD, by=manager, at=NOON)
    assert not is_in(client)
    assert not Token.objects.filter(key=token.key).exists()


@pytest.mark.parametrize("password", ["", "short", "password12", "Nkemelu-Tobias"])
def test_a_password_that_is_easily_guessed_is_refused_and_the_old_one_stays(technician, manager, password):
    User.objects.filter(pk=technician.pk).update(username="nkemelu-tobias")
    with pytest.raises(ValidationError) as refused:
        set_password(user=technician, password=password, by=manager, at=NOON)
    assert "password" in refused.value.message_dict
    technician.refresh_from_db()
    assert technician.check_password(PASSWORD)
    assert told(technician) == []


def test_a_role_changes_what_opens_from_the_next_page_on(technician, manager):
    client = browser(technician)
    assert client.get(reverse("desk:customer_new")).status_code == 403
    change_role(user=technician, role=Role.DESK, by=manager, at=NOON)
    assert client.get(reverse("desk:customer_new")).status_code == 200
    assert told(technician) == ["role: Front desk"]
    with pytest.raises(ValidationError, match="“owner” is none of: desk, technician, manager"):
        change_role(user=technician, role="owner", by=manager, at=NOON)


def test_the_last_manager_stays_and_stays_one(manager, desk):
    User.objects.filter(pk=make.make_user(Role.MANAGER).pk).update(is_active=False)  # one who left does not count
    with pytest.raises(ValidationError, match="is the last manager"):
        let_go(user=manager, by=manager, at=NOON)
    with pytest.raises(ValidationError, match="is the last manager"):
        change_role(user=manager, role=Role.DESK, by=manager, at=NOON)
    change_role(user=desk, role=Role.MANAGER, by=manager, at=NOON)
    let_go(user=manager, by=desk, at=NOON)
    assert list(User.objects.filter(is_active=True, role=Role.MANAGER)) == [desk]


@pytest.mark.django_db(transaction=True)
def test_two_managers_who_let_each_other_go_at_once_leave_one():
    one, other = make.make_user(Role.MANAGER), make.make_user(Role.MANAGER)
    outcomes = at_once(
        lambda: let_go(user=other, by=one, at=NOON),
        lambda: let_go(user=one, by=other, at=NOON),
    )
    assert sum(isinstance(outcome, ValidationError) for outcome in outcomes) == 1
    assert User.objects.filter(is_active=True, role=Role.MANAGER).count() == 1


def test_nothing_is_given_to_somebody_who_left(technician, manager):
    let_go(user=technician, by=manager, at=NOON)
    for write in (
        lambda: set_password(user=technician, password=WORD, by=manager, at=NOON),
        lambda: set_bench_pin(user=technician, pin="2468", by=manager, at=NOON),
        lambda: change_role(user=technician, role=Role.DESK, by=manager, at=NOON),
    ):
        with pytest.raises(Conflict, match="Take them back first"):
            write()


def test_a_bench_pin_is_noted_without_its_digits(technician, manager):
    set_bench_pin(user=technician, pin="2468", by=manager, at=NOON)
    assert told(technician) == ["new bench PIN"]
