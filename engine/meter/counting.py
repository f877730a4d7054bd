"""Columns of energy or charge to what came in each row: intervals, and counters that rise, begin again or were reset.

A counter's rise belongs to the time between its two readings. Not modelled: what a counter rose between its last
reading and a reset.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.text.clocks import DAY_S
from engine.text.meanings import EVER, INTERVAL, OF_DAY

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_FAR_ABOVE = 20.0
"""Assumed: no row brings twenty times what the fullest twentieth of rows brings at least."""
_SMALL_RISES = 3.0
_EDGE_SHARE = 0.1
_MOST_EMPTY, _FARTHEST_S = 11, 3600.0
"""Between two readings of a counter so many rows may be empty, and so much time lie: what came is then known to the
hour (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Came:
    """What came in each row, and how many of a counter's steps fell, of those what is not known, and were too large."""

    amount: Floats
    resets: int = 0
    unknown: int = 0
    spikes: int = 0


def came_in(value: Floats, local_s: Floats, counts: str, *, ends: bool) -> Came:
    """Return what came in each row, in the column's unit.

    Parameters
    ----------
    value : (n,) array
        In order of time; NaN where a row does not know it.
    local_s : (n,) array
        Seconds since 1970 on a clock of the house: a counter of the day begins again at its midnight.
    counts : str
        One of `formats.TOTALS`.
    ends : bool
        Whether a row lies before its time, and not after it.

    Examples
    --------
    >>> minutes = 60.0 * np.arange(5)
    >>> came_in(np.array([8.0, 8.5, 9.0, 0.5, 1.0]), minutes, EVER, ends=False).amount.tolist()
    [0.5, 0.5, 0.5, 0.5, nan]
    """
    if counts == INTERVAL:
        return Came(amount=value)
    value = _bridged(value, local_s)
    rise = np.diff(value)
    step_s = np.diff(local_s)
    usual = _usual_rise(rise) * np.maximum(step_s / (np.median(step_s) or 1.0), 1.0)
    fell = rise < 0
    after = value[1:]
    known = fell & (after <= _SMALL_RISES * usual)
    if counts == OF_DAY:
        known = fell & _nothing_lost(local_s, rise)
    rise = np.where(fell, np.where(known, after, np.nan), rise)
    spikes = (rise > _FAR_ABOVE * usual) & (usual > 0.0)
    rise[spikes] = np.nan
    return Came(
        amount=np.concatenate(([np.nan], rise) if ends else (rise, [np.nan])),
        resets=int(fell.sum()) if counts == EVER else 0,
        unknown=int((fell & ~known).sum()),
        spikes=int(spikes.sum()),
    )


def _bridged(value: Floats, local_s: Floats) -> Floats:
    """A counter with rows that do not know it between readings near each other, which rose evenly or not at all there.

    Two meters in one table often have every other row empty. Across a fall nothing is bridged.
    """
    at = np.flatnonzero(np.isfinite(value))
    if at.size < 2 or at.size == value.size:
        return value
    rise, rows = np.diff(value[at]), np.diff(at)
    near = (rise >= 0.0) & (rows > 1) & (rows <= _MOST_EMPTY + 1) & (np.diff(local_s[at]) <= _FARTHEST_S)
    inside = np.repeat(near, rows)
    found = np.interp(local_s, local_s[at], value[at])
    bridged = np.zeros(value.size, dtype=bool)
    bridged[at[0] : at[-1]] = inside
    return np.where(np.isfinite(value) | ~bridged, value, found)


def _usual_rise(rise: Floats) -> float:
    """A large rise of one row, as the fullest twentieth of those that rose have it; 0 where none rose."""
    rose = rise[rise > 0]
    return float(np.percentile(rose, 95.0)) if rose.size else 0.0


def _nothing_lost(local_s: Floats, rise: Floats) -> Flags:
    """At which steps a counter of the day can begin again with nothing unread before.

    Either the reading before lies at midnight, or nothing came in the step before: the panels were dark.
    """
    step_s = np.diff(local_s)
    midnight_s = np.floor(local_s[1:] / DAY_S) * DAY_S
    unread_s = np.clip(midnight_s - local_s[:-1], 0.0, None)
    still = np.concatenate(([False], rise[:-1] == 0.0))
    return still | (unread_s <= _EDGE_SHARE * step_s)


def how_counts(value: Floats, local_s: Floats) -> str:
    """Return how a column counts, by some of its rows in order of time.

    Examples
    --------
    >>> how_counts(np.arange(40.0), 3600.0 * np.arange(40)), how_counts(np.arange(48.0) % 24, 3600.0 * np.arange(48))
    ('ever', 'day')
    """
    fit = np.isfinite(value) & np.isfinite(local_s)
    value, day = value[fit], np.floor(local_s[fit] / DAY_S)
    if value.size < 8 or not value.max() > value.min():
        return INTERVAL
    step = np.diff(value)
    falls = np.flatnonzero(step < 0)
    at_new_day = np.diff(day)[falls] > 0
    days = np.unique(day).size
    if falls.size and at_new_day.mean() > 0.9 and days > 1 and falls.size >= 0.5 * (days - 1) and value.size > 3 * days:
        return OF_DAY
    return EVER if falls.size <= max(0.002 * step.size, 2.0 if step.size > 50 else 0.0) else INTERVAL
