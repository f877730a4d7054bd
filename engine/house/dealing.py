"""Which cell goes into which parallel group, so that the groups hold about the same.

A group holds the sum of its cells and the string as much as its smallest group. The cells are dealt longest first:
each to the group that has least so far and still has room. Then two cells of two groups change places as long as
that brings the two sums nearer to each other, which can only raise the smaller of the two. Begun a second time from
the order of the list; the better end is kept, so evening never gives less than the list as it stands.
Ampere-hours throughout. Not modelled: resistance (cells in parallel share current by it), drift with age.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Order = NDArray[np.int64]

_LEAST_GAIN = 1e-9
"""A swap must lower the sum of the squares by this share of a cell's mean square, so that rounding never loops."""


def in_list_order(cells: int, series: int) -> Order:
    """Return (series, parallel) places of the cells as they stand in the list."""
    return np.arange(cells, dtype=np.int64).reshape(series, -1)


def longest_first(ah: Array, series: int) -> Order:
    """Deal the cells, largest first, each to the group that has least so far and still has room.

    Parameters
    ----------
    ah : (n,) array
        Ampere-hours of the cells [Ah]; n a multiple of `series`.
    series : int
        Number of groups.

    Returns
    -------
    (series, n / series) array
        Places in `ah`, one row a group.
    """
    room = len(ah) // series
    groups: list[list[int]] = [[] for _ in range(series)]
    sums = [0.0] * series
    for cell in np.argsort(-ah, kind="stable").tolist():
        least = min((k for k in range(series) if len(groups[k]) < room), key=lambda k: sums[k])
        groups[least].append(cell)
        sums[least] += float(ah[cell])
    return np.array(groups, dtype=np.int64)


def swapped(ah: Array, groups: Order) -> tuple[Order, int]:
    """Let cells change places between groups while a swap evens the sums.

    Parameters
    ----------
    ah : (n,) array
        Ampere-hours of the cells [Ah].
    groups : (series, parallel) array
        Places in `ah` to begin from.

    Returns
    -------
    (series, parallel) array, int
        The places after the swaps, and how many swaps there were.
    """
    groups, swaps = groups.copy(), 0
    enough = _LEAST_GAIN * float(np.mean(ah**2))
    while True:
        sums = ah[groups].sum(axis=1)
        moves = (_best_swap(ah, groups, sums, int(group)) for group in (np.argmin(sums), np.argmax(sums)))
        move = next((place for gain, place in moves if gain > enough), None)
        if move is None:
            return groups, swaps
        here, there = move
        groups[here], groups[there] = groups[there], groups[here]
        swaps += 1


Place = tuple[int, int]


def _best_swap(ah: Array, groups: Order, sums: Array, group: int) -> tuple[float, tuple[Place, Place]]:
    """The swap of one cell of `group` that lowers the sum of squares most: half that gain, and the two places."""
    cells = ah[groups]
    moved = cells[None, :, :] - cells[group][:, None, None]
    gain = moved * ((sums - sums[group])[None, :, None] - moved)
    own, other, place = np.unravel_index(int(np.argmax(gain)), gain.shape)
    return float(gain[own, other, place]), ((group, int(own)), (int(other), int(place)))


def evened(ah: Array, series: int) -> tuple[Order, int]:
    """Return the better of the two ends, by its smallest group and then its imbalance, and its number of swaps."""
    starts = (longest_first(ah, series), in_list_order(len(ah), series))
    ends = [swapped(ah, start) for start in starts]

    def worth(end: tuple[Order, int]) -> tuple[float, float]:
        sums = ah[end[0]].sum(axis=1)
        return float(sums.min()), -float(sums.max())

    return max(ends, key=worth)
