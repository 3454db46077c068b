"""The one box over a million customers and a million vehicles, against the raw SQL on the same trigram index.

The mix: names of two invented words (400 first names, 12 000 family names), two in three with an e-mail address, all
with a telephone number of seven digits; vehicles of 60 models, one in eight sold, four in five with a plate, all with a
number of 17 characters.
"""

import random
from statistics import median

from django.db import connection, transaction

from shop.core.search import asking, index, words
from shop.customers.models import Customer, Vehicle
from tests import factories
from tests.bench.measures import Measure, in_turns, milliseconds, seconds
from tests.factories import NOON

ROWS = 1_000_000
ROUNDS = 25
MOST = 20
TRIGRAM_INDEXES = {
    "searchentry_text": "core_searchentry USING gin (text gin_trgm_ops)",
    "searchword_alike": "core_searchword USING gin (word gin_trgm_ops)",
}
SYLLABLES = [
    "ba",
    "bel",
    "cor",
    "dan",
    "el",
    "fen",
    "gar",
    "hol",
    "is",
    "jor",
    "kal",
    "lun",
    "mar",
    "nel",
    "or",
    "pas",
    "quil",
    "ros",
    "sten",
    "tor",
    "ul",
    "ven",
    "wen",
    "yar",
    "zel",
]
SIGNS = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"


def measure():
    filled = seconds(fill)
    some = Customer.objects.order_by("pk")[ROWS // 2]
    vehicle = some.vehicles.select_related("model").get()
    family = some.name.split()[1].lower()
    digits = words.plain(some.phone)
    questions = {
        "a family name": family,
        "a part of one": family[1:6],
        "the whole name": some.name.lower(),
        "a number with its dash": some.phone,
        "its last four figures": digits[-4:],
        "the tail of a frame number": vehicle.vin[-6:].lower(),
        "a plate": vehicle.plate or vehicle.vin[:9],
        "family name and model": f"{family} {vehicle.model.name.split()[0].lower()}",
    }
    slip = _slip(family)
    ratios, times = [], []
    for what, text in questions.items():
        ratio, ours, raw, bare, hits = _one(text)
        ratios.append(ratio)
        times.append(f"{what} {milliseconds(ours)} : {milliseconds(raw)} (unordered {milliseconds(bare)}, {hits} rows)")
    ours, raw = in_turns(ROUNDS, lambda: asking.find(slip, most=MOST), lambda: _raw_alike(slip))
    assert asking.find(slip, most=MOST).alike, slip
    ratios.append(ours / raw)
    times.append(f"a slip of the finger {milliseconds(ours)} : {milliseconds(raw)}")
    how = f"{'; '.join(times)}; medians of {ROUNDS} in turns; filled in {filled:.0f} s"
    yield Measure(f"Find among {ROWS} customers and {ROWS} vehicles : raw SQL, same index", median(ratios), 2, how)
    scans = [text for text in [*questions.values(), slip] if _reads_all(text)]
    yield Measure(
        "Questions that read a whole table", len(scans), 0, f"EXPLAIN of every statement; {', '.join(scans) or 'none'}"
    )


def _one(text):
    ours, raw, bare = in_turns(ROUNDS, lambda: asking.find(text, most=MOST), lambda: _raw(text), lambda: _bare(text))
    found = asking.find(text, most=MOST)
    assert found.hits, text
    return ours / raw, ours, raw, bare, len(found.hits)


SAID = "SET LOCAL enable_seqscan = off; SELECT kind, key, customer, past FROM core_searchentry WHERE "


def _raw(text):
    """What one would type into psql: every word in the text; what is past last, whole words of its own first."""
    asked = list(asking.readings(text)[0])
    said = " AND ".join(["text LIKE %s"] * len(asked))
    better = " AND ".join(["own LIKE %s"] * len(asked))
    parameters = (
        [f"%{word}%" for word in asked] + [f"%  {word}  %" for word in asked] + [f"%  {word}%" for word in asked]
    )
    return _rows(f"{SAID} {said} ORDER BY past, NOT ({better}), NOT ({better}), key DESC LIMIT {MOST + 1}", parameters)


def _bare(text):
    """The same without any order: the first ones that come."""
    asked = list(asking.readings(text)[0])
    said = " AND ".join(["text LIKE %s"] * len(asked))
    return _rows(f"{SAID} {said} LIMIT {MOST + 1}", [f"%{word}%" for word in asked])


def _rows(sql, parameters):
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        while cursor.description is None and cursor.nextset():
            pass
        return cursor.fetchall()


def _raw_alike(word):
    """The nearest words by the index over words, then who says the nearest."""
    ((near,),) = _rows(
        "SET LOCAL enable_seqscan = off; SET LOCAL pg_trgm.similarity_threshold = 0.2; "
        "SELECT word FROM core_searchword WHERE word %% %s ORDER BY similarity(word, %s) DESC LIMIT 1",
        [word, word],
    )
    return _raw(near)


def _slip(word):
    """Two letters in the middle have changed places, to a word that nobody has."""
    for at in range(2, len(word) - 1):
        slipped = word[:at] + word[at + 1] + word[at] + word[at + 2 :]
        if slipped != word and not asking.is_said(slipped):
            return slipped
    return word[:3] + "x" + word[3:]


def _reads_all(text):
    """Whether any statement of ours for this text is planned to read one of the large tables from end to end."""
    asked = []

    def note(run, sql, parameters, many, context):
        asked.append((sql, parameters))
        return run(sql, parameters, many, context)

    with connection.execute_wrapper(note):
        asking.find(text, most=MOST)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        for sql, parameters in asked:
            question = next(part for part in sql.split(";") if part.strip().startswith("SELECT"))
            cursor.execute(f"EXPLAIN {question}", parameters)
            if any("Seq Scan on core_search" in line for (line,) in cursor.fetchall()):
                return True
    return False


def fill():
    """By COPY, without the triggers and the indexes over letters, which are made behind the rows."""
    chance = random.Random(7)
    models = [
        factories.make_vehicle_model(maker=maker, name=f"{name} {n}")
        for maker in ("Ostrander", "Velloway", "Brackmoor")
        for name in ("Ridge", "Gulch")
        for n in range(10)
    ]
    first = _names(chance, 400, 2)
    family = _names(chance, 12_000, 3)
    index.take_off()
    with connection.cursor() as cursor:
        for name in TRIGRAM_INDEXES:
            cursor.execute(f"DROP INDEX {name}")
        base = Customer.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
        raw = cursor.cursor
        with raw.copy(
            "COPY customers_customer (id, name, email, phone, address, note, reminder_consent, version, created_at) "
            "FROM STDIN"
        ) as copy:
            for n in range(1, ROWS + 1):
                name = f"{chance.choice(first)} {chance.choice(family)}"
                mail = f"{name.replace(' ', '.').lower()}{n}@example.com" if n % 3 else ""
                phone = f"{chance.randrange(200, 1000)}-{chance.randrange(10_000):04}"
                copy.write_row((base + n, name, mail, phone, "", "", "not_asked", 1, NOON))
        with raw.copy(
            "COPY customers_vehicle (customer_id, model_id, model_year, vin, plate, severe_use, note, sold_on, "
            "forecast_stale, version, created_at) FROM STDIN"
        ) as copy:
            for n in range(1, ROWS + 1):
                vin = "".join(chance.choices(SIGNS, k=8)) + f"{n:09}"
                plate = f"{''.join(chance.choices(SIGNS[10:], k=3))}-{chance.randrange(1000):03}" if n % 5 else ""
                sold = NOON.date() if n % 8 == 0 else None
                copy.write_row(
                    (base + n, chance.choice(models).pk, 2010 + n % 15, vin, plate, False, "", sold, False, 1, NOON)
                )
        cursor.execute("SELECT setval(pg_get_serial_sequence('customers_customer', 'id'), %s)", [base + ROWS])
        index.rebuild()
        for name, how in TRIGRAM_INDEXES.items():
            cursor.execute(f"CREATE INDEX {name} ON {how}")
        cursor.execute("VACUUM ANALYZE")
    assert Vehicle.objects.count() >= ROWS


def _names(chance, count, syllables):
    found = set()
    while len(found) < count:
        found.add("".join(chance.choices(SYLLABLES, k=syllables)).capitalize())
    return sorted(found)
