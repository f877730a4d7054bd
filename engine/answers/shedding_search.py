"""The least inconvenient set of loads whose switching off reaches a goal: an exact search that prunes.

`reaches` must be monotone: whatever reaches the goal still does with more loads off. Inconvenience adds up, and every
load costs something. Not modelled: loads whose absence together is worse than the sum.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

Loads = frozenset[str]
MOST_RUNS = 4000
"""Sets tried before the search gives up being exact (choice): about as many as twelve loads have subsets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cheapest:
    """What a search found: the set and its inconvenience, whether it is proven the least, and how many sets were run.

    Where it is not proven, `least_cost` is what no set can be below.
    """

    off: Loads | None
    cost: float
    proven: bool
    least_cost: float
    runs: int


@dataclass(slots=True)
class _Known:
    """What is known of sets already tried; a set's supersets reach where it does, its subsets fail where it does."""

    reaches: Callable[[Loads], bool]
    good: list[Loads] = field(default_factory=list)
    bad: list[Loads] = field(default_factory=list)
    runs: int = 0

    def __call__(self, off: Loads) -> bool:
        if any(one <= off for one in self.good):
            return True
        if any(off <= one for one in self.bad):
            return False
        self.runs += 1
        found = self.reaches(off)
        (self.good if found else self.bad).append(off)
        return found


def cheapest_set(costs: Mapping[str, float], reaches: Callable[[Loads], bool], most_runs: int = MOST_RUNS) -> Cheapest:
    """Find the set of least inconvenience that reaches the goal; of equal ones that of fewest loads.

    Parameters
    ----------
    costs : mapping of str to float
        Inconvenience of each load, > 0; those that help most first, so that a good set is found early.
    reaches : callable
        Whether the goal is reached with a set switched off; monotone.
    most_runs : int
        Sets to try at most.

    Examples
    --------
    >>> found = cheapest_set({"a": 3.0, "b": 2.0, "c": 2.0}, lambda off: len(off) >= 2)
    >>> sorted(found.off), found.cost, found.proven
    (['b', 'c'], 4.0, True)
    >>> cheapest_set({"a": 1.0}, lambda off: False).off is None
    True
    """
    known = _Known(reaches)
    ids = list(costs)
    if not known(frozenset(ids)):
        return Cheapest(off=None, cost=0.0, proven=True, least_cost=0.0, runs=known.runs)
    best, best_key = frozenset(ids), (sum(costs.values()), len(ids))
    least_cost = float("inf")
    stack: list[tuple[int, Loads, float]] = [(0, frozenset(), 0.0)]
    while stack:
        place, off, cost = stack.pop()
        if (cost, len(off)) >= best_key:
            continue
        if known.runs >= most_runs:
            least_cost = min(least_cost, cost)
            continue
        if known(off):
            best, best_key = off, (cost, len(off))
            continue
        rest = ids[place:]
        if not rest or cost + min(costs[one] for one in rest) > best_key[0] or not known(off | frozenset(rest)):
            continue
        one = ids[place]
        stack.append((place + 1, off, cost))
        stack.append((place + 1, off | {one}, cost + costs[one]))
    proven = least_cost >= best_key[0]
    return Cheapest(off=best, cost=best_key[0], proven=proven, least_cost=min(least_cost, best_key[0]), runs=known.runs)
