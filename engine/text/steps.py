"""Work that says how far it is: each step yields, the result is returned; and the same work done without asking."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from typing import TypeVar

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsRead:
    """How many rows of a file are read so far, of how many."""

    rows: int
    of: int


def finished(steps: Generator[object, None, Result]) -> Result:
    """Do all of it and return its result.

    Examples
    --------
    >>> def sums(values):
    ...     total = 0
    ...     for value in values:
    ...         total += value
    ...         yield total
    ...     return total
    >>> finished(sums([1, 2, 3]))
    6
    """
    while True:
        try:
            next(steps)
        except StopIteration as end:
            result: Result = end.value
            return result
