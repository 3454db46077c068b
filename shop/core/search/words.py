"""How words are made comparable for finding: what is stored and what is asked go through the same folding.

Accents, capitals and signs fall off: O’Brien and obrien, 555-0142 and 5550142, Zoë and zoe are one. On PostgreSQL the
database does the same by functions of the same names (shop/core/search/index.py); tests hold the two together.
"""

import unicodedata

# Letters that NFKD leaves whole although people type them apart.
SINGLE = {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "ħ": "h", "ı": "i", "ς": "σ"}
DOUBLE = {"ß": "ss", "æ": "ae", "œ": "oe", "þ": "th"}
_LETTERS = str.maketrans(SINGLE | DOUBLE)

GAP = "  "  # two spaces stand between words, so that even one letter at the start of a word makes a trigram
MAIL = "@"  # stands behind the one word an e-mail address becomes: no slip of the finger is looked for in it


def folded(text: str) -> str:
    return unicodedata.normalize("NFKD", text).lower().translate(_LETTERS)


def plain(text: str | None) -> str:
    """One word of letters and digits: a plate, a frame number, a name without its signs."""
    return "".join(one for one in folded(text or "") if one.isalnum())


def spaced(text: str | None) -> str:
    """Several words with a gap before, between and behind them; empty for nothing."""
    words = [word for part in (text or "").split() if (word := plain(part))]
    return f"{GAP}{GAP.join(words)}{GAP}" if words else ""


def one_spaced(text: str | None) -> str:
    """The same of a text that counts as one word, whatever spaces it is written with."""
    word = plain(text)
    return f"{GAP}{word}{GAP}" if word else ""


def slips(asked: str, word: str) -> int:
    """Slips of the finger between two words: a letter too many, too few, another one, or two that changed places.

    A word that is only begun is compared with the beginning of the other. Optimal string alignment distance, after
    Damerau (1964), Communications of the ACM 7(3), pp. 171-176; from memory.
    """
    before, row = None, list(range(len(word) + 1))
    for down, letter in enumerate(asked, 1):
        before, last, row = row, before, [down]
        for right, other in enumerate(word, 1):
            least = min(before[right] + 1, row[-1] + 1, before[right - 1] + (letter != other))
            if last and right > 1 and asked[down - 2] == other and letter == word[right - 2]:
                least = min(least, last[right - 2] + 1)
            row.append(least)
    return min(row[max(len(asked) - 1, 0) :] or row[-1:])


def slips_allowed(asked: str) -> int:
    """One in a short word, two from six letters on, three from eleven on; none below four, where all is alike."""
    if len(asked) < 4:
        return 0
    return 1 + (len(asked) >= 6) + (len(asked) >= 11)


def nearest(asked: str, candidates: list[str], most: int = 3) -> list[str]:
    """Of the candidates those that a slip or two would make of what was asked, the likeliest first.

    None that only goes on where another one ends: who looks for the beginning finds both.
    """
    allowed = slips_allowed(asked)
    found = sorted((slips(asked, word), abs(len(word) - len(asked)), word) for word in set(candidates))
    chosen = []
    for distance, _, word in found:
        if distance <= min(allowed, found[0][0] + 1) and not any(word.startswith(one) for one in chosen):
            chosen.append(word)
    return chosen[:most]


def trigrams(word: str) -> list[str]:
    """Every three letters in a row, with the gap before the word and one space behind it."""
    padded = f"{GAP}{word} "
    return sorted({padded[at : at + 3] for at in range(len(padded) - 2)})
