"""When parts that are short can be on the shelf."""

from dataclasses import dataclass
from datetime import date

from shop.parts.models import Part


@dataclass(frozen=True)
class Arrival:
    """When an amount that is short can be on the shelf, and why; day None: nobody can say."""

    day: date | None
    words: str


def arrivals(short: dict[Part, int], *, today: date) -> dict[int, Arrival]:
    """For each part and its missing base units, by the part's key, the day on which so much of it can be there."""
    return {part.pk: Arrival(None, "nothing is on order") for part in short}
