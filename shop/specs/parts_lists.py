"""What the parts list of a damper model says, for a model year and as a whole."""

from collections.abc import Iterable

from shop.core.services import fingerprint
from shop.dampers.models import DamperModel
from shop.specs.models import KitLine

OPEN_YEARS = (0, 9999)
TOLD = (
    "pk",
    "part_number",
    "name",
    "measure",
    "amount",
    "year_from",
    "year_to",
    "optional",
    "stands_in_for_id",
    "rank",
)


def kit_lines_for(damper_model: DamperModel, model_year: int) -> list[tuple[KitLine, list[KitLine]]]:
    """Each part that a rebuild of one such damper takes or may take, with its alternates by rank."""
    lines = [one for one in damper_model.kit_lines.all() if covers(one, model_year)]
    return [(line, alternates_of(line, lines)) for line in lines if line.stands_in_for_id is None]


def alternates_of(line: KitLine, lines: Iterable[KitLine]) -> list[KitLine]:
    """Those of the lines that stand in for this one, by rank."""
    return sorted((one for one in lines if one.stands_in_for_id == line.pk), key=lambda one: (one.rank, one.pk))


def in_order(lines: Iterable[KitLine]) -> list[KitLine]:
    """A parts list as it is read: each line, then its alternates."""
    lines = list(lines)
    return [
        one for head in lines if head.stands_in_for_id is None for one in (head, *alternates_of(head, lines))
    ]  # fmt: skip


def covers(one, model_year: int) -> bool:
    """Whether a row with open-ended model years holds for this one."""
    return (one.year_from is None or one.year_from <= model_year) and (one.year_to is None or model_year <= one.year_to)


def share_a_year(one, other) -> bool:
    """Whether two rows with open-ended model years hold for one and the same year."""
    first, last = OPEN_YEARS
    return max(one.year_from or first, other.year_from or first) <= min(one.year_to or last, other.year_to or last)


def as_seen(lines: Iterable[KitLine]) -> str:
    """A mark of all that a parts list says: another one, and somebody has changed it since it was read."""
    return fingerprint([[getattr(one, name) for name in TOLD] for one in sorted(lines, key=lambda one: one.pk)])
