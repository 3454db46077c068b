"""The pages of a part's ledger and of a stock take, as people at desk and shelf use them."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from shop.parts.models import StockTake
from shop.parts.selectors import draw_portions, stock_of
from shop.parts.services import enter_counts, receive, start_take, use
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def now():
    return timezone.now()


@pytest.fixture
def oil(desk, now):
    oil = make.make_part("TARN-5", measure="volume", name="Tarn No. 5", keeps_days=30)
    litre = make.make_container(oil, 1_000_000, name="1 L bottle")
    came = now - timedelta(days=40)
    receive(part=oil, amount=2_000_000, container=litre, lot_code="A7731", by=desk, at=came)
    use(part=oil, amount=300_000, reservation=None, by=desk, at=came)
    return oil


def page(client, user, name, *args, **query):
    client.force_login(user)
    return client.get(reverse(name, args=args), query)


def words(answer):
    text = re.sub(r"<[^>]+>", " ", answer.content.decode())
    return re.sub(r"\s+", " ", text)


def on_hand(part):
    return stock_of([part])[part.pk].on_hand


def test_a_part_tells_its_lots_what_may_not_be_used_and_every_movement(client, desk, oil):
    told = words(page(client, desk, "manage:ledger", oil.pk))
    assert "Not to be used. 700 mL of the opened 1 L bottle, lot A7731: opened on" in told
    assert "it keeps 30 days" in told
    assert "Available 1000 mL" in told
    assert "used on a job, straight from the shelf" in told
    assert "not to be used" in words(page(client, desk, "manage:stock"))


def test_the_list_of_movements_goes_on_by_key_in_a_constant_number_of_queries(
    client, desk, django_assert_max_num_queries, now
):
    kit = make.make_part()
    for _ in range(60):
        receive(part=kit, amount=1, by=desk, at=now)
    client.force_login(desk)
    with django_assert_max_num_queries(12):
        first = client.get(reverse("manage:ledger", args=[kit.pk]))
    before = re.search(r"\?before=(\d+)", first.content.decode()).group(1)
    rest = page(client, desk, "manage:ledger", kit.pk, before=before)
    assert (first.content.decode().count("+1<"), rest.content.decode().count("+1<")) == (50, 10)
    assert page(client, desk, "manage:ledger", kit.pk, before="x").status_code == 404
    assert page(client, desk, "manage:ledger", kit.pk, kind="nonsense").status_code == 422


def test_the_table_of_movements_runs_no_formula(client, desk, now):
    kit = make.make_part()
    receive(part=kit, amount=1, by=desk, at=now, reason="=HYPERLINK(1)")
    told = page(client, desk, "manage:movements_csv", kit.pk).content.decode("utf-8-sig")
    assert "'=HYPERLINK(1)" in told
    assert told.splitlines()[0].startswith("Number,When,What")


def test_a_manager_writes_off_what_is_past_its_date(client, manager, oil):
    address = reverse("manage:write_off", args=[oil.pk])
    place = re.search(r'<option value="([\d-]+)"', page(client, manager, "manage:write_off", oil.pk).content.decode())
    assert client.post(address, {"place": "9-9", "amount": "700", "reason": "old"}).status_code == 422
    given = {"place": place.group(1), "amount": "700", "reason": "opened too long"}
    asked = client.post(address, given)
    assert asked.status_code == 422
    assert "Say into which drum it was poured" in words(asked)
    drum = make.make_drum("Used Oil 1")
    assert client.post(address, given | {"drum": drum.pk}).status_code == 302
    assert on_hand(oil) == 1_000_000
    told = words(page(client, manager, "manage:ledger", oil.pk))
    assert f"Used-oil log no. {drum.entries.get().pk} , Used Oil 1" in told
    log = words(client.get(reverse("desk:oil_log"), {"period": "year", "on": drum.entries.get().on.isoformat()}))
    assert "Expired oil from stock, from Tarn No. 5 TARN-5" in log
    assert "In the stock" in log


def test_a_drum_that_would_run_over_is_asked_about_on_the_page(client, manager, oil):
    address = reverse("manage:write_off", args=[oil.pk])
    place = re.search(r'<option value="([\d-]+)"', page(client, manager, "manage:write_off", oil.pk).content.decode())
    small = make.make_drum("Can 1", litres=0.5)
    given = {"place": place.group(1), "amount": "700", "reason": "opened too long", "drum": small.pk}
    asked = client.post(address, given)
    assert asked.status_code == 422
    assert "It is right as I wrote it" in words(asked)
    assert client.post(address, given | {"sure": "on"}).status_code == 302


def test_a_wrong_delivery_is_corrected_from_its_row(client, desk, now):
    kit = make.make_part()
    wrong = receive(part=kit, amount=30, by=desk, at=now)
    address = reverse("manage:movement_correct", args=[wrong.pk])
    client.force_login(desk)
    assert client.post(address, {"right": "30", "reason": "slip"}).status_code == 422
    assert client.post(address, {"right": "3", "reason": "a zero too many"}).status_code == 302
    assert on_hand(kit) == 3
    assert f"corrects entry {wrong.pk}" in words(page(client, desk, "manage:ledger", kit.pk))


def test_what_came_with_an_order_is_corrected_there(client, desk):
    line = make.make_delivery(desk).lines.get()
    client.force_login(desk)
    answer = client.get(reverse("manage:movement_correct", args=[line.movement_id]))
    assert answer.url == reverse("manage:receipt_correct", args=[line.pk])


@pytest.mark.flow
def test_a_stock_take_from_its_start_to_its_posting(client, desk, technician, oil):
    kit = make.make_part("SK-1", on_hand=5, bin="A-02")
    client.force_login(desk)
    client.post(reverse("manage:take_new"), {"parts": "SK-1, TARN-5", "blind": "on"})
    take = StockTake.objects.get()
    rows = {row.part.number: row for row in take.rows.all()}
    told = words(page(client, technician, "manage:take", take.pk))
    assert "What the book expects is not shown" in told
    assert "At the start" not in told
    found = {f"full_{rows['TARN-5'].pk}": "1", f"found_{rows['TARN-5'].pk}": "700", f"found_{rows['SK-1'].pk}": "4"}
    assert client.post(reverse("manage:take", args=[take.pk]), found).status_code == 302
    assert "All counted" in words(page(client, technician, "manage:take", take.pk))
    client.force_login(desk)
    finish = reverse("manage:take_finish", args=[take.pk])
    refused = client.post(finish, {})
    assert refused.status_code == 422
    assert "Say why the book is corrected, for all or for each: SK-1" in words(refused)
    assert client.post(finish, {f"reason_{rows['SK-1'].pk}": "one was torn"}).status_code == 302
    assert (on_hand(kit), on_hand(oil)) == (4, 1_700_000)
    assert "one was torn" in words(client.get(finish))
    assert "posted by Dora Achterberg" in words(page(client, desk, "manage:takes"))


def test_a_place_that_somebody_else_counted_meanwhile_keeps_what_was_typed(client, desk, technician, now):
    kit = make.make_part("SK-1", on_hand=5)
    take = start_take(parts=[kit], by=desk, at=now)
    row = take.rows.get()
    enter_counts(take=take, figures=[(row, 4)], by=technician, at=now)
    client.force_login(desk)
    address = reverse("manage:take", args=[take.pk])
    answer = client.post(address, {f"found_{row.pk}": "3"})
    assert answer.status_code == 409
    assert "Tobias Nkemelu counted 4 of SK-1" in words(answer)
    assert 'value="3"' in answer.content.decode()
    assert client.post(f"{address}?again={row.pk}", {f"found_{row.pk}": "3"}).status_code == 302
    assert [one.found for one in row.tallies.all()] == [4, 3]


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({}, "Nothing is typed here"),
        ({"found": "-1"}, "zero or more"),
        ({"full": "0", "found": "1000"}, "A full 1 L bottle holds 1000 mL"),
        ({"found": "a few"}, "number"),
    ],
)
def test_what_nobody_can_find_is_refused(client, desk, oil, now, typed, told):
    take = start_take(parts=[oil], by=desk, at=now)
    row = take.rows.get()
    client.force_login(desk)
    answer = client.post(
        reverse("manage:take", args=[take.pk]), {f"{what}_{row.pk}": text for what, text in typed.items()}
    )
    assert answer.status_code == 422
    assert told in words(answer)


def test_a_count_is_found_by_the_scanned_number_printed_and_given_up(client, desk, oil, now):
    kit = make.make_part("SK-1", on_hand=5)
    take = start_take(parts=[oil, kit], by=desk, at=now)
    told = words(page(client, desk, "manage:take", take.pk, q="SK-1"))
    assert "seal kit" in told
    assert "Tarn No. 5" not in told
    paper = page(client, desk, "manage:take_sheet", take.pk)
    assert paper.content.startswith(b"%PDF")
    client.post(reverse("manage:take_give_up", args=[take.pk]))
    take.refresh_from_db()
    assert take.given_up
    assert "it was given up" in words(page(client, desk, "manage:take", take.pk)).lower()
    client.post(reverse("manage:take_give_up", args=[take.pk]))
    assert "Begin a stock take" in words(page(client, desk, "manage:takes"))


def test_lists_of_places_and_differences_take_a_constant_number_of_queries(
    client, desk, now, django_assert_max_num_queries
):
    parts = [make.make_part(on_hand=5) for _ in range(40)]
    take = start_take(parts=parts, by=desk, at=now)
    enter_counts(take=take, figures=[(row, 4) for row in take.rows.all()], by=desk, at=now)
    client.force_login(desk)
    for name in ("manage:take", "manage:take_finish"):
        with django_assert_max_num_queries(14):
            assert client.get(reverse(name, args=[take.pk])).status_code == 200
    with django_assert_max_num_queries(8):
        client.get(reverse("manage:takes"))


def test_a_delivery_names_its_lot_and_a_count_says_which_lot_it_is_about(client, desk, now):
    oil = make.make_part("TARN-5", measure="volume")
    litre = make.make_container(oil, 1_000_000, name="1 L bottle")
    client.force_login(desk)
    use_by = (now + timedelta(days=100)).date()
    given = {"container": litre.pk, "count": "3", "lot_code": "A7731", "use_by": use_by.isoformat()}
    assert client.post(f"{reverse('manage:receive')}?part={oil.pk}", given).status_code == 302
    lot = oil.lots.get()
    assert (lot.code, lot.use_by, on_hand(oil)) == ("A7731", use_by, 3_000_000)
    past = given | {"use_by": "2020-01-01"}
    assert "is past" in words(client.post(f"{reverse('manage:receive')}?part={oil.pk}", past))
    address, counted = (
        f"{reverse('manage:count')}?part={oil.pk}",
        {"container": litre.pk, "full": "2", "reason": "count"},
    )
    assert "Say which of them it is about" in words(client.post(address, counted))
    assert client.post(address, counted | {"lot": lot.pk}).status_code == 302
    assert on_hand(oil) == 2_000_000


def test_the_pages_of_a_part_lead_to_each_other(client, desk, oil):
    names = ["manage:ledger", "manage:part", "manage:reorder_part"]
    for name in names:
        body = page(client, desk, name, oil.pk).content.decode()
        assert body.count('<b aria-current="page">') == 1
        for other in names:
            assert (f'<a href="{reverse(other, args=[oil.pk])}">' in body) == (other != name)


def test_a_count_that_leaves_less_than_is_held_asks_who_goes_without(client, desk):
    kit = make.make_part("SK-1", on_hand=5)
    line = make.make_pick_list(kit, 4).lines.get()
    client.force_login(desk)
    address = f"{reverse('manage:count')}?part={kit.pk}"
    refused = client.post(address, {"found": "3", "reason": "one was torn"})
    assert refused.status_code == 422
    assert "Who goes without" in words(refused)
    given = {"found": "3", "reason": "one was torn", "loses": [line.reservation_id]}
    assert client.post(address, given).status_code == 302
    line.refresh_from_db()
    assert (on_hand(kit), line.held, line.short) == (3, 0, 4)


def test_two_opened_bottles_of_one_lot_are_counted_together(client, desk):
    part = make.make_part("TARN-6", name="Tarn No. 6", measure="volume")
    bottle = make.make_container(part, 1_000_000, name="1 L bottle")
    client.force_login(desk)
    client.post(reverse("manage:take_new"), {"parts": "TARN-6"})
    take = StockTake.objects.get()
    row, address = take.rows.get(), reverse("manage:take", args=[take.pk])
    assert "Where two of one size and lot stand opened" in words(client.get(address))
    refused = client.post(address, {f"found_{row.pk}": "1400"})
    assert refused.status_code == 422
    assert "an opened one less. Where two of one size and lot stand opened, add up" in words(refused)
    assert client.post(address, {f"full_{row.pk}": "1", f"found_{row.pk}": "400"}).status_code == 302
    finish = {"reason": "two stood opened"}
    assert client.post(reverse("manage:take_finish", args=[take.pk]), finish).status_code == 302
    found = stock_of([part])[part.pk]
    assert (found.on_hand, [(one.full, one.opened) for one in found.portions]) == (1_400_000, [(1, 400_000)])
    assert sum(one.amount for one in draw_portions(found, 1_300_000)) == 1_300_000
    told = words(page(client, desk, "manage:ledger", part.pk))
    assert "where two stand opened, what they hold together is shown as full ones and a rest" in told
    assert bottle == found.portions[0].container
