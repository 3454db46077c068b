"""What the one box asks: which entries say every word, the best first, and what is alike when none does."""

from dataclasses import dataclass, field

from django.db import connection, transaction

from shop.core.models import SearchEntry
from shop.core.search import words
from shop.core.search.index import ENTRY, WORD

MOST_WORDS = 6  # what comes behind them is not looked at: nobody narrows further
WHOLE, START, PART, BESIDES = range(4)  # how well an entry fits: the smaller the better
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


def asked_words(text: str) -> list[str]:
    """The words of a search as they are compared; a telephone number counts as one, however it is written."""
    return list(_asked(text))


def _asked(text: str) -> dict[str, str]:
    """Words as they are compared, with what was typed for each."""
    if set(text) <= PHONE_SIGNS and " " in text.strip() and (number := words.plain(text)):
        return {number: text.strip()}
    return _apart(text)


def _apart(text: str) -> dict[str, str]:
    found = {}
    for part in text.split():
        if word := words.plain(part):
            found.setdefault(word, part)
    return dict(list(found.items())[:MOST_WORDS])


def find(text: str, *, kinds=None, most: int = 20) -> Answer:
    """The entries that say every word of the text, the best first; of kinds only, if they are given."""
    asked = _asked(text)
    if not asked:
        return Answer()
    hits = _hits([(word,) for word in asked], kinds, most + 1)
    if not hits and len(asked) == 1 and len(_apart(text)) > 1:  # not one number, so several
        asked = _apart(text)
        hits = _hits([(word,) for word in asked], kinds, most + 1)
    if hits:
        return Answer(hits[:most], len(hits) > most)
    wanted, unknown, alike = meant(asked)
    hits = _hits(wanted, kinds, most + 1, fits=(WHOLE,)) if alike else []
    return Answer(hits[:most], len(hits) > most, unknown, alike if hits else [])


def entries(text: str, *kinds: str):
    """(entries, alike): the rows that say every word, for a list that orders them itself; alike as in Answer."""
    rows = SearchEntry.objects.filter(kind__in=kinds)
    asked = _asked(text)
    if not asked:
        return rows.none(), []
    found = _saying(rows, [(word,) for word in asked], PART)
    if found.exists():
        return found, []
    if len(asked) == 1 and len(apart := _apart(text)) > 1:
        asked = apart
        found = _saying(rows, [(word,) for word in asked], PART)
        if found.exists():
            return found, []
    wanted, _, alike = meant(asked)
    return (_saying(rows, wanted, WHOLE), alike) if alike else (rows.none(), [])


def meant(asked: dict[str, str]) -> tuple[list[tuple[str, ...]], list[str], list[str]]:
    """For words that nothing says those that are alike: (words to look for, unknown as typed, alike)."""
    wanted, unknown, alike = [], [], []
    for word, typed in asked.items():
        if len(word) < 4 or _is_said(word):
            wanted.append((word,))
            continue
        unknown.append(typed)
        near = words.nearest(word, _sharing_trigrams(word))
        if not near:
            return [], unknown, []
        wanted.append(tuple(near))
        alike += near
    return wanted, unknown, alike


def _is_said(word: str) -> bool:
    return _saying(SearchEntry.objects.all(), [(word,)], PART).exists()


def _sharing_trigrams(word: str) -> list[str]:
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL pg_trgm.similarity_threshold = 0.24")
            cursor.execute(
                f"SELECT word FROM {WORD} WHERE word %% %s ORDER BY similarity(word, %s) DESC LIMIT {ALIKE_ASKED}",
                [word, word],
            )
        else:
            shared = " OR ".join(f'"{one}"' for one in words.trigrams(word) if one[2] != " ")
            cursor.execute(
                f"SELECT w.word FROM {WORD}_index i JOIN {WORD} w ON w.id = i.rowid WHERE {WORD}_index MATCH %s "
                f"ORDER BY rank LIMIT {ALIKE_ASKED * 5}",
                [shared],
            )
        return [word for (word,) in cursor.fetchall()]


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


def _saying(rows, wanted, fit):
    sql, parameters = _condition(wanted, fit)
    return rows.extra(where=[sql], params=parameters)


def _hits(wanted, kinds, most, fits=(WHOLE, START, PART)) -> list[Hit]:
    """At most so many, by how well they fit, what is past last; the database looks further only while some are missing.

    Common words have a hundred thousand hits: none of them is sorted, the first ones of each fit are taken.
    """
    arms, parameters = [], []
    of_kinds = f" AND kind IN ({', '.join(['%s'] * len(kinds))})" if kinds else ""
    for past in ("NOT past", "past"):
        for fit in (*fits, BESIDES):
            arm, values = _arm(wanted, fit, fits)
            arms.append(f"SELECT * FROM (SELECT kind, key, customer, past, {fit} AS fit FROM {ENTRY} WHERE {past} AND {arm}{of_kinds} LIMIT {most}) a{len(arms)}")
            parameters += [*values, *(kinds or ())]
    sql = f"{' UNION ALL '.join(arms)} LIMIT {most}"
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # The planner does not know how rare a part of a word is, and would rather read a million rows.
            cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute(sql, parameters)
        found = [Hit(kind, key, customer, bool(past), fit) for kind, key, customer, past, fit in cursor.fetchall()]
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL enable_seqscan = on")
    order = {kind: place for place, kind in enumerate(("customer", "vehicle", "damper", "order"))}
    return sorted(found, key=lambda hit: (hit.past, hit.fit, order.get(hit.kind, 9), -hit.key))


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
