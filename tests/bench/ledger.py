"""What is on hand of 10 000 parts after 1 000 000 movements: the sum itself, against the same sum in bare SQL."""

from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.parts.models import Movement, Part
from shop.parts.selectors import movements_of, on_hand_of, stock_of
from tests import factories
from tests.bench.measures import Measure, in_turns, milliseconds
from tests.factories import NOON

PARTS = 10_000
MOVEMENTS = 1_000_000
ROUNDS = 7
BARE = "SELECT part_id, SUM(amount) FROM parts_movement GROUP BY part_id"
BARE_PLACES = (
    "SELECT part_id, container_id, lot_id, SUM(amount) FROM parts_movement GROUP BY part_id, container_id, lot_id"
)


def measure():
    parts = fill()

    def bare(statement=BARE):
        with connection.cursor() as cursor:
            cursor.execute(statement)
            return dict(row[:2] for row in cursor.fetchall())

    assert on_hand_of() == {key: int(amount) for key, amount in bare().items()}
    sums, raw, whole, raw_places = in_turns(
        ROUNDS, on_hand_of, bare, lambda: stock_of(parts), lambda: bare(BARE_PLACES)
    )
    what = f"{PARTS} parts, {MOVEMENTS} movements"
    how = f"{milliseconds(sums)} : {milliseconds(raw)}; medians of {ROUNDS} in turns"
    yield Measure(f"On hand of {what} : the same in bare SQL", sums / raw, 1.5, how)
    with CaptureQueriesContext(
        connection,
    ) as queries:
        on_hand_of()
    yield Measure(f"Queries for on hand of {what}", len(queries), 1, "counted")
    how = f"{milliseconds(whole)} : {milliseconds(raw_places)}; containers, lots and what is held included"
    yield Measure(f"Whole stock of {what} : sums by container and lot in bare SQL", whole / raw_places, 5, how)
    with CaptureQueriesContext(connection) as queries:
        stock_of(parts)
    yield Measure(f"Queries for the whole stock of {what}", len(queries), 3, "counted")
    busiest = parts[0]

    def page():
        return list(movements_of(busiest)[:50])

    def one():
        return list(Movement.objects.filter(part=busiest).order_by("-pk")[:50])

    shown, plain = in_turns(30, page, one)
    how = f"{milliseconds(shown)} : {milliseconds(plain)}; 50 rows of a part with {MOVEMENTS // PARTS} movements"
    yield Measure("Page of movements with on hand after each : the same rows without", shown / plain, 12, how)


def fill() -> list[Part]:
    """Pieces, and every tenth part a fluid in two sizes; 100 movements each, of which the sum stays above zero."""
    by = factories.make_user("desk")
    Part.objects.bulk_create(
        [
            Part(number=f"B-{n:05}", name="part of the benchmark", measure="count" if n % 10 else "volume", bin="B-1")
            for n in range(PARTS)
        ],
        batch_size=5_000,
    )
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO parts_container (part_id, name, size, price) "
            "SELECT id, size || ' bottle', size, 20 FROM parts_part, (VALUES (946000), (3785000)) AS of (size) "
            "WHERE measure = 'volume' AND number LIKE 'B-%%'"
        )
        cursor.execute(
            "INSERT INTO parts_movement (part_id, container_id, amount, kind, reason, by_id, at) "
            "SELECT p.id, c.id, CASE WHEN n %% 3 = 0 THEN -3 ELSE 5 END, "
            "CASE WHEN n %% 3 = 0 THEN 'used' ELSE 'received' END, '', %s, %s::timestamptz + n * interval '1 hour' "
            "FROM generate_series(1, %s) AS n CROSS JOIN parts_part AS p "
            "LEFT JOIN LATERAL (SELECT id FROM parts_container WHERE part_id = p.id ORDER BY id OFFSET n %% 2 LIMIT 1) "
            "AS c ON true WHERE p.number LIKE 'B-%%'",
            [by.pk, NOON, MOVEMENTS // PARTS],
        )
        cursor.execute("ANALYZE parts_movement")
        cursor.execute("VACUUM parts_movement")
    return list(Part.objects.filter(number__startswith="B-").order_by("pk"))
