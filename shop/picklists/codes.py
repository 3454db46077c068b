"""What a scanner types: a part number as it is, or one wrapped by a printed code of a supplier.

Known wrappers, all from memory: the symbology mark that a scanner may put in front (ISO/IEC 15424, "]Q1"), the envelope
of ISO/IEC 15434 with fields of format 06, the part number of a customer or supplier behind a data identifier (ISO/IEC
15418, ANSI MH10.8.2: "P", "1P", "30P"), and GS1's identifiers for additional and customer's part numbers, "(240)" and
"(241)".
"""

import re

LONGEST = 200
SYMBOLOGY = re.compile(r"\][A-Za-z][0-9A-Za-z]")
ENVELOPE = "[)>"
SEPARATORS = re.compile(r"[\x1c-\x1e\x04]")
PART_FIELD = re.compile(r"(?:30P|1P|P)(.+)", re.DOTALL)
GS1_FIELD = re.compile(r"\(24[01]\)([^(]+)|(?:^|\x1d)24[01]([^\x1d]+)")
# Our own papers: the address of a damper's page, on its bag tag and job card.
DAMPER_PAGE = re.compile(r"/bench/(\d{1,18})/$")


def part_numbers_in(text: str) -> list[str]:
    """The part numbers that a scanned text may mean, the plainest reading first."""
    text = text[:LONGEST].strip(" \t\r\n")
    bare = SYMBOLOGY.sub("", text, count=1) if SYMBOLOGY.match(text) else text
    found = [text, bare]
    if bare.startswith(ENVELOPE):
        found += [one[1] for field in SEPARATORS.split(bare) if (one := PART_FIELD.fullmatch(field))]
    elif one := PART_FIELD.fullmatch(bare):
        found.append(one[1])
    found += [a or b for a, b in GS1_FIELD.findall(bare)]
    clean = ("".join(sign for sign in one if sign.isprintable()).strip() for one in found)
    return list(dict.fromkeys(one for one in clean if one))


def damper_in(text: str) -> int | None:
    """The key of the damper's job whose page an address names; None for any other text."""
    found = DAMPER_PAGE.search(text.strip())
    return int(found[1]) if found else None
