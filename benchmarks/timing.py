"""How a line of the benchmarks is timed and printed.

One JSON object a line: `name`, `value`, `unit`, `goal`, and `pass`, which is null where there is no goal or where only
the machine decides. A time is the median of the repeats; beside it stands its ratio to a yardstick timed in turn with
it, a pure-Python loop of floating-point sums, which holds on a fast and on a slow machine.
"""

from __future__ import annotations

import json
import statistics
import time
import tracemalloc
from collections.abc import Callable

REPEATS = 9


def yardstick() -> float:
    """Do a million floating-point additions and multiplications in plain Python."""
    total = 0.0
    for index in range(1_000_000):
        total += index * 0.5
    return total


def seconds(work: Callable[[], object]) -> float:
    """Time one call [s]."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def tell(
    name: str, value: object, unit: str, goal: float | None = None, passed: bool | None = None, **more: object
) -> None:
    """Print one line."""
    told = {"name": name, "value": value, "unit": unit, "goal": goal, "pass": passed, **more}
    print(json.dumps(told, ensure_ascii=False), flush=True)


def tell_at_most(name: str, value: float, unit: str, goal: float | None, digits: int = 1, **more: object) -> None:
    """Print one line whose value should not be above its goal."""
    tell(name, round(value, digits), unit, goal, None if goal is None else value <= goal, **more)


def report(name: str, work: Callable[[], object], goal_ms: float | None = None, repeats: int = REPEATS) -> None:
    """Print the median time of `work`, after a first call that is not counted, beside that of the yardstick."""
    work()
    pairs = [(seconds(work), seconds(yardstick)) for _ in range(repeats)]
    ms = statistics.median(own for own, _ in pairs) * 1000
    ratio = statistics.median(own / other for own, other in pairs)
    tell_at_most(name, ms, "ms", goal_ms, 2, ratio_to_yardstick=round(ratio, 4))


def most_held_mib(work: Callable[[], object]) -> float:
    """Return the most memory that a call holds beyond what was held before it [MiB]."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20
