"""The look-up of the spec table among 100 000 sheets: by an index, and against its own SQL sent bare."""

import json
from itertools import count

from django.db import connection
from django.test.utils import CaptureQueriesContext

from shop.dampers.models import DamperModel
from shop.specs.models import SpecSheet, SpecValue
from shop.specs.selectors import Place, sheet_for, sheets_for
from shop.staff.models import User
from tests import factories
from tests.bench.measures import Measure, in_turns, milliseconds

MODELS = 500
SHEETS = 100_000  # 200 of each damper model: 40 verified, the others earlier versions of these
ROUNDS = 300
BATCH = 20_000
CORNERS = ("front_left", "front_right", "rear_left", "rear_right")

# Sheet n of a damper model: five positions, any vehicle or one, four ranges of model years, five versions, of which the
# last is verified and the earlier ones are withdrawn.
SHEET = """
    INSERT INTO specs_specsheet (code, version, damper_model_id, vehicle_model_id, position, year_from, year_to,
        source_document, source_revision, source_page, note, reference_k, reference_altitude_m, flag_reason,
        edition, status, entered_by_id, entered_at)
    SELECT 'B-' || damper.number || '-' || n / 5, n %% 5 + 1, damper.id,
        CASE WHEN n / 100 = 0 THEN NULL ELSE %(vehicle_model)s END,
        (ARRAY['any', 'front', 'rear', 'rear_left', 'rear_right'])[n / 20 %% 5 + 1],
        NULLIF(2008 + n / 5 %% 4 * 4, 2008), NULLIF(2011 + n / 5 %% 4 * 4, 2023),
        'common practice, no source', 'none', 'none', '', 293.15, 0, '', 1, 'draft', %(entered_by)s, now()
    FROM (SELECT id, row_number() OVER (ORDER BY id) AS number FROM dampers_dampermodel WHERE name LIKE 'B-%%') damper
    CROSS JOIN generate_series(0, 199) n
"""
VALUE = """
    INSERT INTO specs_specvalue (sheet_id, measure, value_si, low_si, high_si, figures, unit, tolerance, page, note)
    SELECT id, measure, 1, 0.9, 1.1, '1', '', '', '', '' FROM specs_specsheet
    CROSS JOIN unnest(ARRAY['shaft_nut_torque', 'charge', 'ifp_depth', 'oil_volume']) measure WHERE code LIKE 'B-%%'
"""
STATUS = """
    UPDATE specs_specsheet SET status = CASE version WHEN 5 THEN 'verified' ELSE 'withdrawn' END,
        verified_by_id = %(verified_by)s, verified_at = now()
    WHERE code LIKE 'B-%%'
"""


def measure():
    models, vehicle_model = fill()
    turn = count()

    def place():
        n = next(turn)
        return Place(models[n * 7 % MODELS], 2005 + n % 20, CORNERS[n % 4], vehicle_model if n % 3 else None)

    asked = place()
    with CaptureQueriesContext(connection) as queries:
        found = one(asked)
    assert found.sheet, found.rule
    statements = [query["sql"] for query in queries]
    scans = [scan for statement in statements for scan in _plain_scans(statement)]
    how = f"{len(statements)} statements; EXPLAIN on {SHEETS} sheets after ANALYZE"
    yield Measure("Look-up of a sheet: tables read from end to end", len(scans), 0, how)

    full, objects, bare = in_turns(
        ROUNDS, lambda: one(asked), lambda: _as_objects(statements), lambda: _bare(statements), warm_up=20
    )
    how = (
        f"{milliseconds(full)} : {milliseconds(objects)}; medians of {ROUNDS} in turns after 20 to warm up. "
        f"Without making objects of the rows the statements take {milliseconds(bare)}"
    )
    name = f"Look-up of a sheet among {SHEETS} : its own SQL sent raw, rows made into the same objects"
    yield Measure(name, full / objects, 2, how)

    four, counts = [place() for _ in range(4)], []
    for places in (four[:1], four):
        with CaptureQueriesContext(connection) as queries:
            sheets_for(places)
        counts.append(len(queries))
    how = f"{counts[0]} queries for 1 damper, {counts[1]} for 4"
    yield Measure("Queries of the look-up: 4 dampers less 1 damper", counts[1] - counts[0], 0, how)


def one(place):
    return sheet_for(place.damper_model, place.model_year, place.position, place.vehicle_model)


def _as_objects(statements):
    for model, statement in zip((SpecSheet, SpecValue, User), statements, strict=True):
        list(model.objects.raw(statement))


def _bare(statements):
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
            cursor.fetchall()


def _plain_scans(statement):
    """Names of the tables of sheets and values that PostgreSQL would read from end to end for a statement."""
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (FORMAT JSON) {statement}")
        (plan,) = cursor.fetchone()
    nodes = [(json.loads(plan) if isinstance(plan, str) else plan)[0]["Plan"]]
    while nodes:
        node = nodes.pop()
        nodes += node.get("Plans", [])
        if node["Node Type"] == "Seq Scan" and node["Relation Name"] in ("specs_specsheet", "specs_specvalue"):
            yield node["Relation Name"]


def fill():
    """As a book of many years would be: most sheets are earlier versions. Then what the planner knows is made new."""
    models = DamperModel.objects.bulk_create(
        [DamperModel(maker="Hallinde", name=f"B-{n}", construction="reservoir") for n in range(MODELS)]
    )
    vehicle_model = factories.make_vehicle_model()
    people = {"entered_by": factories.make_user().pk, "verified_by": factories.make_user("technician").pk}
    with connection.cursor() as cursor:
        for statement in (SHEET, VALUE, STATUS):
            cursor.execute(statement, people | {"vehicle_model": vehicle_model.pk})
        cursor.execute("ANALYZE")
    return models, vehicle_model
