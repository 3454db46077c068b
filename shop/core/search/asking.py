"""What the one box asks: which entries say every word, the best first, and what is alike when none does."""

from dataclasses import dataclass, field

from django.db import connection

from shop.core.models import SearchEntry
from shop.core.search import words
from shop.core.search.index import ENTRY, WORD

MOST_WORDS = 6  # what comes behind them is not looked at: nobody narrows further
WHOLE, START, PART, BESIDES = range(4)  # how well an entry fits: the smaller the better
MANY = 1000  # hits that are ranked; who gets more has to narrow anyway
ALIKE_ASKED = 60  # words that share enough with the one asked for, of which the nearest are taken
PHONE_SIGNS = frozenset("0123456789+-()/. \u00a0")


@dataclass(frozen=True)
class Hit:
    """An entry that says every word. fit: WHOLE words, at the START of words, as a PART, or BESIDES (by its owner)."""

    kind: str
    key: int
    customer: int
    past: bool
    fit: int


@dataclass(frozen=True)
class Answer:
    hits: list[Hit] = field(default_factory=list)
    more: bool = False
    unknown: list[str] = field(default_factory=list)  # words that nothing says, as they were typed
    alike: list[str] = field(default_factory=list)  # those that were looked for instead


def readings(text: str) -> list[dict[str, str]]:
    """What may be meant, the likeliest first: words as they are compared, with what was typed for each.

    A telephone number is one word, however it is written; and what nothing says in several words may be one: a plate.
    """
    apart = {}
    for part in text.split():
        if word := words.plain(part):
            apart.setdefault(word, part)
    apart = dict(list(apart.items())[:MOST_WORDS])
    if len(apart) < 2:
        return [apart] if apart else []
    joined = {words.plain(text): text.strip()}
    return [joined, apart] if set(text) <= PHONE_SIGNS else [apart, joined]


def find(text: str, *, kinds=None, most: int = 20) -> Answer:
    """The entries that say every word of the text, the best first; of kinds only, if they are given."""
    asked = readings(text)
    for reading in asked:
        if hits := _hits([(word,) for word in reading], kinds, most + 1):
            return Answer(hits[:most], len(hits) > most)
    if not asked:
        return Answer()
    wanted, unknown, alike = meant(max(asked, key=len))
    hits = _hits(wanted, kinds, most + 1, fits=(WHOLE, START)) if alike else []
    return Answer(hits[:most], len(hits) > most, unknown, alike if hits else [])


def entries(text: str, *kinds: str):
    """(entries, alike): the rows that say every word, for a list that orders them itself; alike as in Answer."""
    asked = readings(text)
    for reading in asked:
        rows = saying([(word,) for word in reading], *kinds)
        if rows is not None:
            return rows, []
    if asked:
        wanted, _, alike = meant(max(asked, key=len))
        rows = saying(wanted, *kinds, fit=START) if alike else None
        if rows is not None:
            return rows, alike
    return SearchEntry.objects.none(), []


def saying(wanted: list[tuple[str, ...]], *kinds: str, fit: int = PART):
    """The entries that say, of each of these lists of words, at least one; None when none does.

    The few are asked for by the index and named by their keys. Of the many the database may find them as it likes.
    """
    condition, parameters = _condition(wanted, fit)
    of_kinds = f" AND kind IN ({', '.join(['%s'] * len(kinds))})"
    found = _by_index(f"SELECT id FROM {ENTRY} WHERE {condition}{of_kinds} LIMIT {MANY}", [*parameters, *kinds])
    if not found:
        return None
    rows = SearchEntry.objects.filter(kind__in=kinds)
    if len(found) < MANY:
        return rows.filter(pk__in=[pk for (pk,) in found])
    return rows.extra(where=[condition], params=parameters)


def meant(asked: dict[str, str]) -> tuple[list[tuple[str, ...]], list[str], list[str]]:
    """Where nothing says all words, those that are alike for the ones that nothing says.

    (words to look for, unknown as typed, alike); a single word is one that nothing says.
    """
    wanted, unknown, alike = [], [], []
    for word, typed in asked.items():
        if len(word) < 4 or (len(asked) > 1 and is_said(word)):
            wanted.append((word,))
            continue
        unknown.append(typed)
        likely = near(word)
        if not likely:
            return [], unknown, []
        wanted.append(tuple(likely))
        alike += likely
    return wanted, unknown, alike


def is_said(word: str) -> bool:
    """Whether any entry says the word."""
    condition, parameters = _condition([(word,)], PART)
    return bool(_by_index(f"SELECT 1 FROM {ENTRY} WHERE {condition} LIMIT 1", parameters))


def near(word: str) -> list[str]:
    """Words of the book that a slip or two would make of this one."""
    return [one for one in words.nearest(word, _sharing_trigrams(word)) if one != word]


def _sharing_trigrams(word: str) -> list[str]:
    if connection.vendor == "postgresql":
        sql = f"SELECT word FROM {WORD} WHERE word %% %s ORDER BY similarity(word, %s) DESC LIMIT {ALIKE_ASKED}"
        found = _by_index(sql, [word, word], more="SET LOCAL pg_trgm.similarity_threshold = 0.2;")
    else:
        shared = " OR ".join(f'"{one}"' for one in words.trigrams(word))
        found = _by_index(
            f"SELECT w.word FROM {WORD}_index i JOIN {WORD} w ON w.id = i.rowid WHERE {WORD}_index MATCH %s "
            f"ORDER BY rank LIMIT {ALIKE_ASKED * 5}",
            [shared],
        )
    return [word.strip() for (word,) in found]


def _by_index(sql: str, parameters: list, more: str = "") -> list[tuple]:
    """The rows. PostgreSQL's planner does not know how rare a part of a word is and might read a million rows.

    So that way is closed for this one statement; the three go in one message, which is one transaction.
    """
    with connection.cursor() as cursor:
        if connection.vendor != "postgresql":
            cursor.execute(sql, parameters)
            return cursor.fetchall()
        cursor.execute(f"{more} SET LOCAL enable_seqscan = off; {sql}; SET LOCAL enable_seqscan = on", parameters)
        while cursor.description is None and cursor.nextset():
            pass
        return cursor.fetchall()


def _pattern(word: str, fit: int, others: bool) -> str:
    if fit == WHOLE:
        return f"{words.GAP}{word}{words.GAP}"
    if fit == START or (len(word) < 3 and not others):
        return f"{words.GAP}{word}"  # one or two letters are looked for at the start of words only
    return word


def _patterns(wanted, fit):
    others = any(len(word) > 2 for alternatives in wanted for word in alternatives)
    return [[_pattern(word, fit, others) for word in alternatives] for alternatives in wanted]


def _condition(wanted, fit) -> tuple[str, list[str]]:
    """SQL that holds for entries whose text says every word so well; by the trigram index on either database."""
    patterns = _patterns(wanted, fit)
    if connection.vendor == "postgresql":
        parts = [" OR ".join(["text LIKE %s"] * len(any_of)) for any_of in patterns]
        return " AND ".join(f"({part})" for part in parts), [f"%{one}%" for any_of in patterns for one in any_of]
    quoted = [[f'"{one}"' for one in any_of] for any_of in patterns if min(map(len, any_of)) > 2]
    matched = " AND ".join(f"({' OR '.join(any_of)})" for any_of in quoted)
    short = [any_of[0] for any_of in patterns if min(map(len, any_of)) <= 2]
    sql = f"id IN (SELECT rowid FROM {ENTRY}_index WHERE {ENTRY}_index MATCH %s)"
    return " AND ".join([sql, *["text LIKE %s"] * len(short)]), [matched, *(f"%{one}%" for one in short)]


def _plain_condition(column, wanted, fit, joint) -> tuple[str, list[str]]:
    """The same without an index, for rows that are at hand: every word (AND) or at least one (OR) in the column."""
    patterns = _patterns(wanted, fit)
    parts = [" OR ".join([f"{column} LIKE %s"] * len(any_of)) for any_of in patterns]
    return joint.join(f"({part})" for part in parts), [f"%{one}%" for any_of in patterns for one in any_of]


def _hits(wanted, kinds, most, fits=(WHOLE, START, PART)) -> list[Hit]:
    """At most so many, by how well they fit, what is past last."""
    of_kinds = f" AND kind IN ({', '.join(['%s'] * len(kinds))})" if kinds else ""
    rows = _ranked(wanted, kinds or (), of_kinds, most, fits)
    if rows and rows[0][5] == MANY:
        rows = _first_ones(wanted, kinds or (), of_kinds, most, fits)
    found = [Hit(kind, key, customer, bool(past), fit) for kind, key, customer, past, fit, _ in rows]
    order = {kind: place for place, kind in enumerate(("customer", "vehicle", "damper", "order"))}
    return sorted(found, key=lambda hit: (hit.past, hit.fit, order.get(hit.kind, 9), -hit.key))


def _ranked(wanted, kinds, of_kinds, most, fits):
    """All hits, ranked by the database; of more than MANY the first ones only, which is told in the last column."""
    condition, parameters = _condition(wanted, fits[-1])
    case, values = "", []
    for fit in fits:
        text, text_values = _plain_condition("text", wanted, fit, " AND ")
        own, own_values = _plain_condition("own", wanted, fit, " OR ")
        case += f" WHEN ({own}) AND {text} THEN {fit}"
        values += [*own_values, *text_values]
    return _by_index(
        f"SELECT kind, key, customer, past, fit, count(*) OVER () FROM (SELECT kind, key, customer, past, CASE{case} "
        f"ELSE {BESIDES} END AS fit FROM {ENTRY} WHERE {condition}{of_kinds} LIMIT {MANY}) few "
        f"ORDER BY past, fit, key DESC LIMIT {most}",
        [*values, *parameters, *kinds],
    )


def _first_ones(wanted, kinds, of_kinds, most, fits):
    """The first ones of each fit, the best fit first: of common words a hundred thousand hits are never ranked.

    The database looks further only while some are missing.
    """
    arms, parameters = [], []
    for past in ("NOT past", "past"):
        for fit in (*fits, BESIDES):
            arm, values = _arm(wanted, fit, fits)
            arms.append(
                f"SELECT * FROM (SELECT kind, key, customer, past, {fit} AS fit, 0 AS many FROM {ENTRY} "
                f"WHERE {past} AND {arm}{of_kinds} LIMIT {most}) a{len(arms)}"
            )
            parameters += [*values, *kinds]
    return _by_index(f"{' UNION ALL '.join(arms)} LIMIT {most}", parameters)


def _arm(wanted, fit, fits):
    """Entries that fit so well and no better, so that no row comes in two arms."""
    last = fits[-1]
    text, values = _condition(wanted, last if fit == BESIDES else fit)
    own, own_values = _plain_condition("own", wanted, last if fit == BESIDES else fit, " OR ")
    if fit == BESIDES:
        return f"{text} AND NOT ({own})", [*values, *own_values]
    sql, values = f"{text} AND ({own})", [*values, *own_values]
    if fit in (START, PART):
        better, better_values = _plain_condition("text", wanted, fit - 1, " AND ")
        better_own, better_own_values = _plain_condition("own", wanted, fit - 1, " OR ")
        sql += f" AND NOT (({better}) AND ({better_own}))"
        values += [*better_values, *better_own_values]
    return sql, values
