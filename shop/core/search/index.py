"""The search entries and what keeps them in step: triggers on both databases, made from one definition.

A package says in its AppConfig (`found = "shop.customers.found"`) which module tells what of its rows can be found: a
list SOURCES. From a Source come the triggers, the entries computed from scratch, and so the proof that both agree.

The triggers are no part of the migrations: on SQLite a migration that rebuilds a table would drop them, or stumble over
those that look at it. They come off before a migration and on again behind the last one (take_off, put_on).
"""

from dataclasses import dataclass
from importlib import import_module

from django.apps import apps
from django.db import connection as default_connection
from django.db import transaction
from django.db.migrations.executor import MigrationExecutor

from shop.core.search import words

ENTRY, WORD = "core_searchentry", "core_searchword"
COLUMNS = "kind, key, customer, past, own, text"
MARK = "search_"  # what the names of all triggers and functions of ours begin with


@dataclass(frozen=True)
class Watch:
    """A table whose rows an entry speaks of: which column of the entry's row leads there, and what is spoken of."""

    table: str
    leads: str
    columns: tuple[str, ...]


@dataclass(frozen=True)
class Source:
    """One kind of thing that can be found, in SQL that both databases read.

    own is what the thing is called by, context what it is found by besides (whose it is, where it sits); past is true
    for what comes last: sold, called off. alias names the row in all of them.
    """

    kind: str
    table: str
    alias: str
    customer: str
    own: str
    columns: tuple[str, ...]
    context: str = "''"
    past: str = "false"
    joins: str = ""
    only: str = "true"
    watches: tuple[Watch, ...] = ()

    def select(self, where: str = "true") -> str:
        return (
            f"SELECT '{self.kind}', {self.alias}.id, {self.customer}, {self.past}, {self.own}, "
            f"{self.own} || {self.context} FROM {self.table} {self.alias} {self.joins} WHERE {self.only} AND {where}"
        )

    def triggers(self, vendor: str):
        """(name, table, event, condition, statements) for each table that the entry speaks of."""
        rows = Watch(self.table, f"{self.alias}.id", self.columns)
        for watch in (rows, *self.watches):
            name = f"{MARK}{self.kind}_of_{watch.table}"
            is_own = watch is rows
            rows_there = f"SELECT {self.alias}.id FROM {self.table} {self.alias} {self.joins}"
            gone = f"DELETE FROM {ENTRY} WHERE kind = '{self.kind}' AND key "
            gone += "= {row}.id" if is_own else f"IN ({rows_there} WHERE {watch.leads} = {{row}}.id)"
            here = f"INSERT INTO {ENTRY} ({COLUMNS}) {self.select(f'{watch.leads} = NEW.id')}"
            if vendor == "postgresql":
                # Somebody else may have put the entry there while this one waited for the lock on the old entry.
                here += (
                    " ON CONFLICT (kind, key) DO UPDATE SET customer = excluded.customer, past = excluded.past, "
                    "own = excluded.own, text = excluded.text"
                )
            differs = "IS DISTINCT FROM" if vendor == "postgresql" else "IS NOT"
            changed = " OR ".join(f"OLD.{one} {differs} NEW.{one}" for one in watch.columns)
            update = f"UPDATE OF {', '.join(watch.columns)}"
            yield f"{name}_update", watch.table, update, f"WHEN ({changed})", [gone.format(row="NEW"), here]
            if is_own:
                yield f"{name}_insert", watch.table, "INSERT", "", [here]
                yield f"{name}_delete", watch.table, "DELETE", "", [gone.format(row="OLD")]


def sources() -> list[Source]:
    modules = [config.found for config in apps.get_app_configs() if hasattr(config, "found")]
    return [source for module in modules for source in import_module(module).SOURCES]


# A word is noted once; when two note it in the same moment it stands there twice, which does no harm. A unique index
# would make one wait for the other until it is through, for the sake of a word.
def _note_words(split: str) -> str:
    padded = f"'{words.GAP}' || w.word || ' '"  # so that its beginning and its end make trigrams of their own
    return (
        f"INSERT INTO {WORD} (word) SELECT DISTINCT {padded} FROM {split} WHERE length(w.word) BETWEEN 4 AND 40 "
        f"AND w.word NOT LIKE '%{words.MAIL}' AND {{letters}} "
        f"AND NOT EXISTS (SELECT 1 FROM {WORD} known WHERE known.word = {padded})"
    )


SPLIT = {
    "postgresql": "(SELECT trim(unnest(string_to_array({own}, '  '))) AS word) w",
    "sqlite": """(SELECT trim(value) AS word FROM json_each('["' || replace({own}, '  ', '","') || '"]')) w""",
}
HAS_LETTERS = {"postgresql": "w.word ~ '[^0-9]'", "sqlite": "w.word GLOB '*[^0-9]*'"}


def _words_of(vendor: str, own: str) -> str:
    return _note_words(SPLIT[vendor].format(own=own)).format(letters=HAS_LETTERS[vendor])


def functions(connection) -> list[str]:
    """PostgreSQL's own plain(), spaced() and one_spaced(), see words.py. SQLite calls those of Python."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_collation WHERE collname = 'und-x-icu'")
        letters = ' COLLATE "und-x-icu"' if cursor.fetchone() else ""  # else the database's own idea of letters
    ones, others = "".join(words.SINGLE), "".join(words.SINGLE.values())
    singles = f"translate(lower(normalize(coalesce(given, ''), NFKD){letters}), '{ones}', '{others}')"
    for one, two in words.DOUBLE.items():
        singles = f"replace({singles}, '{one}', '{two}')"
    make = "CREATE OR REPLACE FUNCTION {}(given text) RETURNS text LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$ {} $$"
    kept = f"regexp_replace(({singles}){letters}, '[^[:alnum:][:space:]]', '', 'g')"
    one = f"regexp_replace(({singles}){letters}, '[^[:alnum:]]', '', 'g')"
    several = f"regexp_replace(btrim(regexp_replace({kept}{letters}, '[[:space:]]+', ' ', 'g')), ' ', '  ', 'g')"
    padded = "SELECT CASE WHEN t = '' THEN '' ELSE '  ' || t || '  ' END FROM (SELECT {} AS t) s"
    digits = "regexp_replace(coalesce(given, ''), '[^0-9]', '', 'g')"
    return [
        make.format("search_plain", f"SELECT {one}"),
        make.format("search_spaced", padded.format(several)),
        make.format("search_one_spaced", padded.format("search_plain(given)")),
        make.format("search_digits", padded.format(digits)),
    ]


def give_functions(*, connection, **signal) -> None:
    """Called for every new connection: SQLite's triggers fold words by the functions of words.py."""
    if connection.vendor != "sqlite":
        return
    for name, function in (
        ("search_plain", words.plain),
        ("search_spaced", words.spaced),
        ("search_one_spaced", words.one_spaced),
        ("search_digits", lambda text: words.one_spaced("".join(one for one in text or "" if one in "0123456789"))),
    ):
        connection.connection.create_function(name, 1, function, deterministic=True)


def _trigger(vendor, name, table, event, when, statements) -> list[str]:
    body = "; ".join(statements)
    if vendor == "sqlite":
        return [f"CREATE TRIGGER {name} AFTER {event} ON {table} FOR EACH ROW {when} BEGIN {body}; END"]
    return [
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {body}; RETURN NULL; END $$",
        f"CREATE TRIGGER {name} AFTER {event} ON {table} FOR EACH ROW {when} EXECUTE FUNCTION {name}()",
    ]


def _statements(vendor: str):
    for source in sources():
        for trigger in source.triggers(vendor):
            yield from _trigger(vendor, *trigger)
    yield from _trigger(vendor, f"{MARK}words", ENTRY, "INSERT", "", [_words_of(vendor, "NEW.own")])
    if vendor == "sqlite":
        for table, column in ((ENTRY, "text"), (WORD, "word")):
            index = f"{table}_index"
            note = f"INSERT INTO {index} (rowid, {column}) VALUES (NEW.id, NEW.{column})"
            drop = f"INSERT INTO {index} ({index}, rowid, {column}) VALUES ('delete', OLD.id, OLD.{column})"
            yield from _trigger(vendor, f"{MARK}index_{table}_insert", table, "INSERT", "", [note])
            yield from _trigger(vendor, f"{MARK}index_{table}_delete", table, "DELETE", "", [drop])
            yield from _trigger(vendor, f"{MARK}index_{table}_update", table, "UPDATE", "", [drop, note])


def take_off(connection=default_connection) -> None:
    """Drop every trigger of ours, also those of an older version."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'search\\_%' ESCAPE '\\'"
            )
            for (name,) in cursor.fetchall():
                cursor.execute(f"DROP TRIGGER {name}")
            return
        cursor.execute(
            "SELECT tgname, tgrelid::regclass FROM pg_trigger WHERE tgname LIKE 'search\\_%' AND NOT tgisinternal "
            "AND tgrelid IN (SELECT oid FROM pg_class WHERE relnamespace = current_schema()::regnamespace)"
        )
        for name, table in cursor.fetchall():
            cursor.execute(f"DROP TRIGGER {name} ON {table}")
            cursor.execute(f"DROP FUNCTION IF EXISTS {name}()")


def put_on(connection=default_connection) -> None:
    """Make every trigger anew, as the sources are now."""
    take_off(connection)
    made = functions(connection) if connection.vendor == "postgresql" else []
    with connection.cursor() as cursor:
        for statement in [*made, *_statements(connection.vendor)]:
            cursor.execute(statement)


def _from_scratch() -> str:
    return " UNION ALL ".join(source.select() for source in sources())


def astray(connection=default_connection) -> int:
    """How many entries are stored that should not be, or should be and are not; 0 when all is in step."""
    stored, should = f"SELECT {COLUMNS} FROM {ENTRY}", f"SELECT * FROM ({_from_scratch()}) scratch"
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT (SELECT count(*) FROM ({stored} EXCEPT {should}) a) "
            f"+ (SELECT count(*) FROM ({should} EXCEPT {stored}) b)"
        )
        return cursor.fetchone()[0]


def mend(connection=default_connection) -> int:
    """Take away the entries that are wrong and write those that are missing; answers how many there were of both."""
    stored, should = f"SELECT {COLUMNS} FROM {ENTRY}", f"SELECT * FROM ({_from_scratch()}) scratch"
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        cursor.execute(
            f"DELETE FROM {ENTRY} WHERE id IN (SELECT e.id FROM {ENTRY} e JOIN ({stored} EXCEPT {should}) wrong "
            "ON wrong.kind = e.kind AND wrong.key = e.key)"
        )
        wrong = cursor.rowcount
        # Somebody may write the same entry at this moment; it is in step then.
        missing = f"SELECT * FROM ({should} EXCEPT {stored}) missing WHERE true"  # SQLite asks for a WHERE there
        cursor.execute(f"INSERT INTO {ENTRY} ({COLUMNS}) {missing} ON CONFLICT DO NOTHING")
        return wrong + cursor.rowcount


def rebuild(connection=default_connection) -> int:
    """Write all entries and words anew, from scratch; answers how many entries there are."""
    vendor = connection.vendor
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        take_off(connection)
        cursor.execute(f"DELETE FROM {ENTRY}")
        cursor.execute(f"DELETE FROM {WORD}")
        cursor.execute(f"INSERT INTO {ENTRY} ({COLUMNS}) {_from_scratch()}")
        split = SPLIT[vendor].format(own="e.own")
        if vendor == "postgresql":
            split = split.replace(") w", f" FROM {ENTRY} e) w")
        else:
            split = split.replace(" FROM json_each", f" FROM {ENTRY} e, json_each")
        cursor.execute(_note_words(split).format(letters=HAS_LETTERS[vendor]))
        if vendor == "sqlite":
            for table in (ENTRY, WORD):
                cursor.execute(f"INSERT INTO {table}_index ({table}_index) VALUES ('rebuild')")
        put_on(connection)
        cursor.execute(f"SELECT count(*) FROM {ENTRY}")
        return cursor.fetchone()[0]


def before_migrating(*, using, plan=(), **signal) -> None:
    from django.db import connections

    if plan:
        take_off(connections[using])


def after_migrating(*, using, plan=(), **signal) -> None:
    """Behind the last migration the triggers come on again, and what was changed without them is caught up with."""
    from django.db import connections

    if not plan:
        return
    connection = connections[using]
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        return  # on a database that is only partly migrated the tables are not what the sources speak of
    put_on(connection)
    mend(connection)
