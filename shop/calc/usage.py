"""How fast a meter runs, and when it will reach a target, from readings that people typed.

Readings are (day, value) in one unit, miles, kilometres or hours alike. Swapped meters that are declared are joined
into one running total; typing errors and swaps nobody declared are found, left out and told in words.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations
from statistics import NormalDist, median

from shop.calc.errors import OutOfRange
from shop.calc.intervals import day_in_words

OK = "ok"
NOT_ENOUGH_DATA = "not_enough_data"
NO_USAGE = "no_usage"
ALREADY_REACHED = "already_reached"

# What a reading left out costs against a swap assumed: one odd reading is a slip, two that agree are another meter.
SLIP, SWAP = 1.0, 1.5
# A last reading that runs so many times faster than the rate before, and more than doubles the total, as a digit too
# many does, waits for the next one to confirm it.
DOUBTFUL_RATE = 10
DOUBTFUL_TOTAL = 2
FEWEST_TO_DOUBT = 4
CONFIDENCE = 0.95
STILL = 1e-12

Reading = tuple[date, float]


@dataclass(frozen=True, slots=True)
class Swap:
    """A meter replaced on a day: what the old one showed last and what the new one started at."""

    on: date
    old_final: float
    new_start: float = 0.0


@dataclass(frozen=True, slots=True)
class Usage:
    """The rate of use and where it starts from.

    status: ok, not_enough_data or no_usage. rate, rate_low and rate_high are per day (95 % by Sen's method; None
    without data). last_on and last_value are the last good reading as running total. kept and ignored are readings as
    running totals: together all that were given; since is the first day kept; notes are whole sentences for people.
    """

    status: str
    rate: float | None
    rate_low: float | None
    rate_high: float | None
    last_on: date | None
    last_value: float | None
    since: date | None
    kept: tuple[Reading, ...]
    ignored: tuple[Reading, ...]
    notes: tuple[str, ...]
    swaps: tuple[Swap, ...] = ()

    def running(self, on: date, value: float) -> float:
        """A meter's figure on a day as running total over all declared swaps."""
        return _running(on, value, self.swaps)


@dataclass(frozen=True, slots=True)
class Reach:
    """When a target is reached. on is set only when status is ok; latest is None when no end can be told."""

    status: str
    on: date | None
    earliest: date | None
    latest: date | None
    words: str


def estimate(
    readings: Sequence[Reading], swaps: Sequence[Swap] = (), *, most_per_day: float | None = None, clean: bool = True
) -> Usage:
    """Rate of use per day as the median of all slopes between pairs of readings (Theil 1950, Sen 1968).

    most_per_day is what the vehicle can do at most (24 for an hour meter): faster is a typing error. clean=False takes
    everything as written. Readings need no order; several on one day carry no slope between them. A meter that stands
    still never makes the rate rise. Raises OutOfRange for values that are negative or not finite.
    """
    swaps = tuple(sorted(swaps, key=lambda swap: swap.on))
    points = _points(readings, swaps)
    if most_per_day is not None and not (0 < most_per_day < math.inf):
        raise OutOfRange("most_per_day", most_per_day, "a finite amount above zero")
    kept, notes = (points, []) if not clean else _clean(points, most_per_day)
    rates = _rates(kept)
    if clean and _doubtful(kept):
        day, value = kept.pop()
        notes.append(
            f"The reading {value:g} of {day_in_words(day)} is far ahead of all earlier use and is left out until "
            "another reading confirms it."
        )
        rates = _rates(kept)
    status = OK
    if rates is None:
        status, rates = NOT_ENOUGH_DATA, (None, None, None)
        notes.append("There are not enough readings on different days to tell a rate of use.")
    elif rates[0] <= STILL:
        status = NO_USAGE
        notes.append("The meter does not move: there is no rate of use.")
    last_on, last_value = kept[-1] if kept else (None, None)
    since = kept[0][0] if kept else None
    left_out = list(points)
    for point in kept:
        left_out.remove(point)
    return Usage(status, *rates, last_on, last_value, since, tuple(kept), tuple(left_out), tuple(notes), swaps)


def date_of_reaching(usage: Usage, target: float) -> Reach:
    """The first whole day on which target (a running total) is reached, counted from the last good reading.

    From the last reading, not from a fitted line, because the line may run months ahead of or behind the meter.
    earliest and latest use the ends of the rate's 95 % interval. Raises OutOfRange unless target is finite, 0 or more.
    """
    if isinstance(target, bool) or not isinstance(target, (int, float)) or not 0 <= target < math.inf:
        raise OutOfRange("target", target, "a finite amount, zero or more")
    if usage.last_value is not None and usage.last_value >= target:
        seen = f"the meter showed {usage.last_value:g} on {day_in_words(usage.last_on)}"
        words = f"The target {target:g} is already reached: {seen}."
        return Reach(ALREADY_REACHED, None, None, None, words)
    if usage.status != OK:
        return Reach(usage.status, None, None, None, usage.notes[-1])
    togo = target - usage.last_value
    on, earliest, latest = (_after(usage.last_on, togo, rate) for rate in (usage.rate, usage.rate_high, usage.rate_low))
    if on is None:
        return Reach(NO_USAGE, None, earliest, None, "At the present rate the target is not reached in this calendar.")
    words = f"{togo:g} to go from the reading of {day_in_words(usage.last_on)} at {usage.rate:.3g} per day."
    return Reach(OK, on, earliest, latest, words)


def theil_sen(points: Sequence[tuple[float, float]]) -> tuple[float, float, float] | None:
    """Median slope of (x, y) points and the ends of its 95 % interval (Sen 1968, variance corrected for ties).

    None when all x are equal: there is no slope. Pairs of equal x carry none.
    """
    slopes = sorted((b[1] - a[1]) / (b[0] - a[0]) for a, b in combinations(points, 2) if a[0] != b[0])
    if not slopes:
        return None
    n, many = len(points), len(slopes)
    ties = [_ties([point[axis] for point in points]) for axis in (0, 1)]
    variance = (n * (n - 1) * (2 * n + 5) - sum(k * (k - 1) * (2 * k + 5) for axis in ties for k in axis)) / 18
    spread = NormalDist().inv_cdf((1 + CONFIDENCE) / 2) * math.sqrt(max(variance, 0.0))
    low = max(round((many - spread) / 2) - 1, 0)
    high = min(round((many + spread) / 2), many - 1)
    return median(slopes), slopes[low], slopes[high]


def _points(readings: Sequence[Reading], swaps: tuple[Swap, ...]) -> list[Reading]:
    for day, value in readings:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value < math.inf:
            raise OutOfRange("reading", value, f"a finite meter reading, zero or more, for {day_in_words(day)}")
    for swap in swaps:
        if not (0 <= swap.old_final < math.inf and 0 <= swap.new_start < math.inf):
            raise OutOfRange("swap", f"{swap.old_final} to {swap.new_start}", "finite meter readings, zero or more")
    return [(day, _running(day, value, swaps)) for day, value in sorted(readings, key=lambda reading: reading[0])]


def _running(on: date, value: float, swaps: Sequence[Swap]) -> float:
    total = value
    for swap in swaps:
        # On the day of the swap itself the figure tells which of the two meters was read.
        if on > swap.on or (on == swap.on and abs(value - swap.new_start) < abs(value - swap.old_final)):
            total += swap.old_final - swap.new_start
    return total


def _clean(points: list[Reading], most_per_day: float | None) -> tuple[list[Reading], list[str]]:
    """Keep the readings that agree best: fewest slips, fewest swaps; then only those of the meter in use.

    cheapest[i] is the least cost of an account of readings 0..i that keeps i; came_from[i] is the one kept before it.
    """
    if not points:
        return [], []
    cheapest: list[float] = []
    came_from: list[int | None] = []
    for i, (day, value) in enumerate(points):
        cost, before = i * SLIP, None
        for j in range(i):
            gap = (i - j - 1) * SLIP
            rise = value - points[j][1]
            if most_per_day is not None and rise > most_per_day * max((day - points[j][0]).days, 1):
                continue
            total = cheapest[j] + gap + (SWAP if rise < 0 else 0)
            if total <= cost:
                cost, before = total, j
        cheapest.append(cost)
        came_from.append(before)
    # Of two accounts as good as each other take the one with the higher meter: service too early is the safe side.
    last = min(range(len(points)), key=lambda i: (cheapest[i] + (len(points) - 1 - i) * SLIP, -points[i][1], -i))
    chain = [last]
    while (before := came_from[chain[-1]]) is not None:
        chain.append(before)
    chain.reverse()
    notes = []
    for i, (day, value) in enumerate(points):
        if i not in chain:
            notes.append(
                f"The reading {value:g} of {day_in_words(day)} does not fit the others and is left out: a typing error?"
            )
    start = 0
    for position in range(1, len(chain)):
        before, after = points[chain[position - 1]], points[chain[position]]
        if after[1] < before[1]:
            start = position
            notes.append(
                f"The meter fell from {before[1]:g} on {day_in_words(before[0])} to {after[1]:g} on "
                f"{day_in_words(after[0])}: it was swapped, it seems. Only readings of the new meter are used. "
                "Record the swap to keep the total."
            )
    return [points[i] for i in chain[start:]], notes


def _rates(points: list[Reading]) -> tuple[float, float, float] | None:
    """Theil-Sen rate and interval; the readings of a meter at a standstill can only lower it."""
    if not points:
        return None
    first = points[0][0]
    xy = [((day - first).days, value) for day, value in points]
    moved = len(xy)
    while moved > 1 and xy[moved - 1][1] == xy[moved - 2][1]:
        moved -= 1
    rates = None
    for end in range(moved, len(xy) + 1):
        now = theil_sen(xy[:end])
        if now is not None:
            rates = now if rates is None else tuple(map(min, rates, now))
    return rates


def _doubtful(kept: list[Reading]) -> bool:
    """Whether the very last reading is so far ahead that only a second one makes it believable."""
    if len(kept) <= FEWEST_TO_DOUBT:
        return False
    (day, value), (now, figure) = kept[-2], kept[-1]
    earlier = _rates(kept[:-1])
    if earlier is None or earlier[0] <= STILL:
        return False
    usual = earlier[0] * max((now - day).days, 1)
    return figure - value > DOUBTFUL_RATE * usual and figure > DOUBTFUL_TOTAL * value


def _after(day: date, togo: float, rate: float) -> date | None:
    if rate <= STILL:
        return None
    try:
        return day + timedelta(days=math.ceil(togo / rate - 1e-9))
    except OverflowError:
        return None


def _ties(values: list[float]) -> list[int]:
    return [values.count(value) for value in set(values)]
