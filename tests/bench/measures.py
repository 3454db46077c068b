"""Times as ratios: what is compared runs in turns, in one process, and the medians are compared."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Measure:
    """One promise and what came of it. limit: the value may be as large; how: what was done, for the reader."""

    name: str
    value: float
    limit: float
    how: str

    @property
    def kept(self) -> bool:
        return self.value <= self.limit


def seconds(work: Callable) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def in_turns(rounds: int, *works: Callable, warm_up: int = 2) -> list[float]:
    """Median seconds of each; they run one after the other in every round, so that a busy moment hits all alike."""
    times = [[seconds(work) for work in works] for _ in range(warm_up + rounds)][warm_up:]
    return [median(column) for column in zip(*times, strict=True)]


def milliseconds(value: float) -> str:
    return f"{value * 1000:.1f} ms"
