import pytest
from django.urls import reverse

from shop.core.models import RequestKey
from shop.parts.models import Movement
from shop.parts.selectors import stock_of
from shop.specs.models import KitMeasure
from shop.staff.models import AuditEntry, Role, User
from shop.staff.services import confirm_bench_pin
from tests import factories as make
from tests.factories import NOON, PASSWORD
from tests.web.people import form, send, words

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
STOCK, STAFF, NEW = reverse("manage:stock"), reverse("manage:staff"), reverse("manage:person_new")


def receive_url(part):
    return f"{reverse('manage:receive')}?part={part.pk}"


# --- stock


def test_the_stock_tells_what_is_there_what_is_held_and_in_which_containers(at_bench):
    kit = make.make_part(on_hand=5, name="seal kit H2", bin="B-07")
    make.make_pick_list(kit, 4)
    oil = make.make_part(name="damper oil Tarn No. 5", measure=KitMeasure.VOLUME, bin="F-02")
    bottle = make.make_container(oil, 1_000_000, name="1 L bottle", full=2)
    make.make_movement(oil, -340_000, container=bottle, kind="used")
    page = words(at_bench.get(STOCK))
    assert f"B-07 seal kit H2 {kit.number} 5 4 1" in page
    assert "1660 mL 0 mL 1660 mL 1 × 1 L bottle, an opened 1 L bottle with 660 mL" in page
    assert "Receive" not in page
    assert "seal kit H2" not in words(at_bench.get(STOCK, {"q": "F-02"}))
    assert "No such stock item." in words(at_bench.get(STOCK, {"q": "nothing"}))


def test_an_empty_stock_says_so(at_desk):
    assert "No stock items yet." in words(at_desk.get(STOCK))


def test_the_stock_takes_as_many_queries_for_fifty_parts_as_for_five(at_desk, django_assert_num_queries):
    def fill(count):
        for _ in range(count):
            make.make_container(make.make_part(measure=KitMeasure.VOLUME), 1000)

    fill(5)
    at_desk.get(STOCK)
    with django_assert_num_queries(7):
        at_desk.get(STOCK)
    fill(55)
    with django_assert_num_queries(7):
        assert "1 to 50 of 60" in words(at_desk.get(STOCK))


def test_a_delivery_of_pieces_goes_on_hand(at_desk):
    part = make.make_part(on_hand=1)
    answer = send(at_desk, receive_url(part), amount="4", reason="note 88")
    assert "4 of" in words(at_desk.get(answer.url))
    assert stock_of([part])[part.pk].on_hand == 5


def test_a_delivery_of_oil_is_whole_containers(at_desk):
    oil = make.make_part(measure=KitMeasure.VOLUME)
    make.make_container(oil, 1_000_000, name="1 L bottle")
    can = make.make_container(oil, 5_000_000, name="5 L can")
    send(at_desk, receive_url(oil), container=can.pk, count="2")
    shelf = {one.container.name: one.full for one in stock_of([oil])[oil.pk].containers}
    assert shelf == {"1 L bottle": 0, "5 L can": 2}


@pytest.mark.parametrize("typed", ["0", "-4", "a few", "2.5", "", "9" * 30, "4 mL"])
def test_a_delivery_of_no_sensible_amount_is_refused(at_desk, typed):
    part = make.make_part()
    answer = send(at_desk, receive_url(part), amount=typed, reason="note 88")
    assert answer.status_code == 422
    assert form(answer)["amount"] == typed
    assert form(answer)["reason"] == "note 88"
    assert not Movement.objects.exists()


@pytest.mark.parametrize("typed", [{"count": "0"}, {"count": "-1"}, {"count": "x"}, {"count": "9" * 20}, {}])
def test_a_delivery_of_no_sensible_count_of_containers_is_refused(at_desk, typed):
    oil = make.make_part(measure=KitMeasure.VOLUME)
    make.make_container(oil, 1_000_000)
    assert send(at_desk, receive_url(oil), **typed).status_code == 422
    assert not Movement.objects.exists()


def test_a_container_of_another_part_is_refused(at_desk):
    oil, other = (make.make_part(measure=KitMeasure.VOLUME) for _ in range(2))
    make.make_container(oil, 1_000_000)
    strange = make.make_container(other, 1_000_000)
    assert send(at_desk, receive_url(oil), container=strange.pk, count="1").status_code == 422
    assert not Movement.objects.exists()


def test_the_same_delivery_sent_twice_is_one(at_desk):
    part = make.make_part()
    filled = form(at_desk.get(receive_url(part))) | {"amount": "4"}
    for _ in range(2):
        assert at_desk.post(receive_url(part), filled).status_code == 302
    assert stock_of([part])[part.pk].on_hand == 4


@pytest.mark.parametrize("asked", ["?part=4711", "?part=x", "?part="])
def test_a_delivery_of_an_unknown_part_has_no_page(at_desk, asked):
    assert at_desk.get(reverse("manage:receive") + asked).status_code == 404


# --- counting


def count_url(part):
    return f"{reverse('manage:count')}?part={part.pk}"


def test_pieces_that_were_counted_correct_the_book(at_desk):
    part = make.make_part(on_hand=5)
    assert "The book says: 5; 0 held for jobs." in words(at_desk.get(count_url(part)))
    answer = send(at_desk, count_url(part), found="3", reason="yearly count")
    assert "2 less than before." in words(at_desk.get(answer.url))
    assert stock_of([part])[part.pk].on_hand == 3
    told = Movement.objects.filter(part=part).last()
    assert (told.kind, told.amount, told.reason) == ("counted", -2, "yearly count")


def test_containers_are_counted_by_size_full_ones_and_the_opened_one(at_desk):
    oil = make.make_part(measure=KitMeasure.VOLUME)
    bottle = make.make_container(oil, 1_000_000, name="1 L bottle", full=3)
    make.make_container(oil, 5_000_000, name="5 L can", full=1)
    send(at_desk, count_url(oil), container=bottle.pk, full="1", found="250 mL", reason="one bottle broke")
    shelf = {one.container.name: (one.full, one.opened) for one in stock_of([oil])[oil.pk].containers}
    assert shelf == {"1 L bottle": (1, 250_000), "5 L can": (1, 0)}
    send(at_desk, count_url(oil), container=bottle.pk, full="0", reason="all gone")
    assert stock_of([oil])[oil.pk].on_hand == 5_000_000


def test_what_stands_in_no_container_is_counted_too(at_desk):
    oil = make.make_part(measure=KitMeasure.VOLUME, on_hand=500_000)
    make.make_container(oil, 1_000_000, full=1)
    send(at_desk, count_url(oil), container="", full="", found="0", reason="was never there")
    assert stock_of([oil])[oil.pk].on_hand == 1_000_000


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"full": "", "found": ""}, "Type 0 if none is there."),
        ({"found": "1 L"}, "Where two of one size and lot stand opened, add up what they hold"),
        ({"full": "-1"}, "from 0 to 100000"),
        ({"full": "9" * 30}, "from 0 to 100000"),
        ({"found": "some"}, "cannot be read"),
        ({"full": "3", "found": ""}, "nothing to correct"),
        ({"reason": ""}, "Nothing is typed here."),
        ({"full": "0", "found": "0"}, "but 2000 mL is held: 2000 mL for"),
    ],
)
def test_a_count_that_cannot_be_is_refused_and_kept(at_desk, typed, told):
    oil = make.make_part(measure=KitMeasure.VOLUME)
    bottle = make.make_container(oil, 1_000_000, full=3)
    make.make_pick_list(oil, 2_000_000)
    typed = {"container": bottle.pk, "full": "2", "found": "100 mL", "reason": "yearly count"} | typed
    answer = send(at_desk, count_url(oil), **typed)
    assert answer.status_code == 422
    assert told in words(answer)
    assert form(answer)["full"] == typed["full"]
    assert stock_of([oil])[oil.pk].on_hand == 3_000_000


def test_the_same_count_sent_twice_is_one(at_desk):
    part = make.make_part(on_hand=5)
    filled = form(at_desk.get(count_url(part))) | {"found": "4", "reason": "yearly count"}
    for _ in range(2):
        assert at_desk.post(count_url(part), filled).status_code == 302
    assert stock_of([part])[part.pk].on_hand == 4


# --- staff


PERSON = {"username": "noor", "first_name": "Noor", "last_name": "Abernathy", "role": "technician"}
WORD = "grease-and-daybreak"


def test_a_new_person_can_log_in(as_manager, client):
    answer = send(as_manager, NEW, **PERSON, password=WORD, again=WORD)
    assert "Noor Abernathy noor Technician" in words(as_manager.get(answer.url))
    logged = client.post(reverse("log_in"), {"username": "noor", "password": WORD})
    assert logged.url == reverse("tablet:bench")


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"username": ""}, "User name: Nothing is typed here. Fill it in."),
        ({"username": "no or!"}, "“no or!” cannot be a user name."),
        ({"username": "x" * 151}, "at most 150 characters"),
        ({"role": "owner"}, "This is none of the choices, or not any more."),
        ({"password": "short", "again": "short"}, "This password is too short."),
        ({"again": "another-one-entirely"}, "The two passwords differ. Type both again."),
    ],
)
def test_a_person_who_cannot_be_is_refused_and_the_names_stay(as_manager, typed, told):
    answer = send(as_manager, NEW, **PERSON | {"password": WORD, "again": WORD} | typed)
    assert answer.status_code == 422
    assert told in words(answer)
    assert form(answer)["first_name"] == "Noor"
    assert form(answer)["username"] == typed.get("username", "noor")
    assert WORD not in answer.content.decode()
    assert not User.objects.filter(first_name="Noor").exists()


def test_a_user_name_is_given_once(as_manager):
    make.make_user(Role.DESK, username="noor")
    answer = send(as_manager, NEW, **PERSON, password=WORD, again=WORD)
    assert answer.status_code == 422
    assert "already exists" in words(answer)


def test_the_same_person_sent_twice_is_one_and_no_digest_holds_the_password(as_manager):
    filled = form(as_manager.get(NEW)) | PERSON | {"password": WORD, "again": WORD}
    for _ in range(2):
        assert as_manager.post(NEW, filled).status_code == 302
    assert User.objects.filter(username="noor").count() == 1
    kept = RequestKey.objects.get().fingerprint
    filled["password"] = filled["again"] = "another-one-entirely"
    assert as_manager.post(NEW, filled).status_code == 302  # the same request, whatever its password
    assert RequestKey.objects.get().fingerprint == kept
    assert User.objects.get(username="noor").check_password(WORD)


def test_a_bench_pin_is_set_and_holds_and_is_told_to_nobody(as_manager, technician):
    page = words(as_manager.get(STAFF))
    assert "No bench PIN: cannot confirm a second check." in page
    url = reverse("manage:pin", args=[technician.pk])
    answer = send(as_manager, url, pin="2468")
    assert f"{technician} has a new bench PIN." in words(as_manager.get(answer.url))
    confirm_bench_pin(user=technician, pin="2468", at=NOON)
    assert not RequestKey.objects.exists()
    assert AuditEntry.objects.get(kind="user", key=technician.pk).what == "new bench PIN"


@pytest.mark.parametrize("typed", ["", "123", "123456789", "12a4", "١٢٣٤", " "])
def test_a_bench_pin_has_four_to_eight_digits(as_manager, technician, typed):
    answer = send(as_manager, reverse("manage:pin", args=[technician.pk]), pin=typed)
    assert answer.status_code == 422
    technician.refresh_from_db()
    assert technician.bench_pin == ""


def test_nobody_sets_a_pin_for_somebody_who_is_not_there(as_manager, technician):
    assert as_manager.get(reverse("manage:pin", args=[4711])).status_code == 404
    User.objects.filter(pk=technician.pk).update(is_active=False)
    assert as_manager.get(reverse("manage:pin", args=[technician.pk])).status_code == 404
    assert "Does not work here any more." in words(as_manager.get(STAFF))


def of(person, page):
    return reverse(f"manage:{page}", args=[person.pk])


def test_a_person_is_let_go_and_taken_back_with_a_new_password(as_manager, technician, client):
    client.force_login(technician)
    page = as_manager.get(STAFF).content.decode()
    assert of(technician, "person") in page
    assert of(technician, "let_go") in as_manager.get(of(technician, "person")).content.decode()
    answer = send(as_manager, of(technician, "let_go"))
    assert "is let go and cannot log in any more." in words(as_manager.get(answer.url))
    assert client.get(reverse("tablet:bench")).url.startswith(reverse("log_in"))
    page = words(as_manager.get(of(technician, "person")))
    assert "Does not work here any more" in page
    assert f"let go: {technician}" in page
    answer = send(as_manager, of(technician, "take_back"))
    assert answer.url == of(technician, "password")
    answer = send(as_manager, answer.url, password=WORD, again=WORD)
    assert "has a new password" in words(as_manager.get(answer.url))
    logged = client.post(reverse("log_in"), {"username": technician.username, "password": WORD})
    assert logged.url == reverse("tablet:bench")


def test_the_last_manager_cannot_leave_by_the_pages_either(as_manager, manager):
    for page, typed in (("let_go", {}), ("role", {"role": "desk"})):
        answer = send(as_manager, of(manager, page), **typed)
        assert answer.status_code == 422
        assert "is the last manager. Make somebody else a manager first" in words(answer)
    assert as_manager.get(STAFF).status_code == 200


def test_a_role_is_changed_on_a_page(as_manager, technician):
    assert form(as_manager.get(of(technician, "role")))["role"] == "technician"
    answer = send(as_manager, of(technician, "role"), role="desk")
    assert f"{technician} is now: front desk." in words(as_manager.get(answer.url))
    answer = send(as_manager, of(technician, "role"), role="owner")
    assert answer.status_code == 422
    technician.refresh_from_db()
    assert technician.role == Role.DESK


def test_a_manager_who_gives_the_role_away_is_led_to_a_page_that_opens(as_manager, manager):
    make.make_user(Role.MANAGER)
    answer = send(as_manager, of(manager, "role"), role="desk")
    assert as_manager.get(answer.url).status_code == 200
    assert as_manager.get(STAFF).status_code == 403


def test_a_manager_sets_a_forgotten_password(as_manager, technician, client):
    url = of(technician, "password")
    for typed, told in [
        ({"password": "short", "again": "short"}, "This password is too short."),
        ({"password": WORD, "again": "another-one-entirely"}, "The two passwords differ."),
    ]:
        answer = send(as_manager, url, **typed)
        assert answer.status_code == 422
        assert told in words(answer)
    assert send(as_manager, url, password=WORD, again=WORD).url == of(technician, "person")
    for password, status in ((PASSWORD, 200), (WORD, 302)):
        logged = client.post(reverse("log_in"), {"username": technician.username, "password": password})
        assert logged.status_code == status
    assert not RequestKey.objects.exists()


# --- one's own password


OWN = reverse("own_password")


def test_everybody_changes_their_own_password_and_stays_logged_in_here_only(at_bench, technician, client):
    client.force_login(technician)
    assert OWN in at_bench.get(reverse("tablet:bench")).content.decode()
    answer = send(at_bench, OWN, present=PASSWORD, password=WORD, again=WORD)
    assert "Your password is changed." in words(at_bench.get(answer.url))
    assert client.get(reverse("desk:orders")).status_code == 302
    logged = client.post(reverse("log_in"), {"username": technician.username, "password": WORD})
    assert logged.url == reverse("tablet:bench")
    assert not RequestKey.objects.exists()


def test_ones_password_cannot_be_guessed_at_a_screen_that_was_left_open(at_bench, technician):
    tries = [send(at_bench, OWN, present=f"guess {n}", password=WORD, again=WORD).status_code for n in range(12)]
    assert tries == [422] * 10 + [429] * 2
    closed = send(at_bench, OWN, present=PASSWORD, password=WORD, again=WORD)
    assert (closed.status_code, int(closed["Retry-After"]) <= 60) == (429, True)
    technician.refresh_from_db()
    assert technician.check_password(PASSWORD)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"present": "guessed"}, "This is not your present password."),
        ({"present": ""}, "Nothing is typed here."),
        ({"again": "another-one-entirely"}, "The two passwords differ."),
        ({"password": "short", "again": "short"}, "This password is too short."),
    ],
)
def test_a_password_of_ones_own_that_cannot_be_changed_stays(at_desk, desk, typed, told):
    answer = send(at_desk, OWN, **{"present": PASSWORD, "password": WORD, "again": WORD} | typed)
    assert answer.status_code == 422
    assert told in words(answer)
    assert PASSWORD not in answer.content.decode()
    desk.refresh_from_db()
    assert desk.check_password(PASSWORD)
