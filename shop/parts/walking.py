"""In which order one walks past the bins. Sorted here, not by a database, so that every list has the same order."""

import re
from dataclasses import dataclass, field

from shop.core.services import fingerprint
from shop.parts.models import Part, WalkStop

RUN = re.compile(r"\d+|[^\W\d_]+")
NO_BIN = "no bin named"


def runs(text: str) -> tuple:
    """Its letters and numbers, so that B-7 comes before B-12, and B7, b 7 and B-07 are one place."""
    return tuple((0, int(one), "") if one.isdecimal() else (1, 0, one.casefold()) for one in RUN.findall(text))


@dataclass(frozen=True)
class Walk:
    """The shop's stops in the order of its way, by what their bins begin with."""

    prefixes: tuple[str, ...] = ()
    _places: dict[tuple, int] = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self):
        self._places.update((runs(prefix), place) for place, prefix in enumerate(self.prefixes))

    @property
    def seen(self) -> str:
        """Tells whether somebody has changed the order since a page showed it."""
        return fingerprint(self.prefixes)

    def key(self, bin: str) -> tuple:
        """Sorts bins: those of the stops first, in the shop's order, the others by letter and number, no bin last.

        The longest prefix that fits counts, and it ends where a letter or a number ends: B-1 holds B-1-3, not B-12.
        """
        place = bin.strip()
        if not place:
            return 2, 0, (), ""
        parts = runs(place)
        for length in range(len(parts), 0, -1):
            if (stop := self._places.get(parts[:length])) is not None:
                return 0, stop, parts, place
        return 1, 0, parts, place


def present_walk() -> Walk:
    """As the shop has it now; one query."""
    return Walk(tuple(WalkStop.objects.order_by("place", "prefix").values_list("prefix", flat=True)))


@dataclass(frozen=True)
class Stretch:
    """How bins begin, how many stock items lie there, and its place on the way; place None: in the natural order."""

    prefix: str
    items: int
    place: int | None


def stretches(walk: Walk) -> list[Stretch]:
    """The stops of a walk, and after them every other beginning of a bin that stock items name, in natural order."""
    bins = [one for one in Part.objects.exclude(bin="").values_list("bin", flat=True) if runs(one)]
    stops = [runs(prefix) for prefix in walk.prefixes]

    def inside(stop):
        return sum(runs(one)[: len(stop)] == stop for one in bins)

    found = [
        Stretch(prefix, inside(stop), n) for n, (prefix, stop) in enumerate(zip(walk.prefixes, stops, strict=True), 1)
    ]
    others: dict[tuple, list[str]] = {}
    for one in bins:
        others.setdefault(runs(one)[:1], []).append(RUN.findall(one)[0].upper())
    for first, named in sorted(others.items()):
        if first not in stops:
            found.append(Stretch(min(named), len(named), None))
    return found
