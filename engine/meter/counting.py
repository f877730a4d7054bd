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
_MOST_FALLS, _MOST_A_DAY, _RISES_A_FALL, _LEFT_SHARE, _SUMMER_TIME_S = 0.9, 1.2, 2, 0.5, 3600.0
"""A counter of the day: so many of its falls begin a new day, at most so many falls a day, at least so many rises to a
fall, at most so much left after one (judgement: rows that are hours apart see it late); and the clock moves so far."""
_LATEST_S = 0.7 * DAY_S
"""So long after its midnight a counter of the day rises at most, at the mean of what it rises (judgement: half is what
a steady load has, and nearly what the sun has)."""


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


def how_counts(value: Floats, time_s: Floats) -> str:
    """Return how a column counts, by some of its rows in order of time.

    Parameters
    ----------
    value : (n,) array
    time_s : (n,) array
        Seconds since 1970 on any clock: a counter of the day begins again at the house's midnight, which a file of
        universal time has at another hour.

    Examples
    --------
    >>> how_counts(np.arange(40.0), 3600.0 * np.arange(40)), how_counts(np.arange(48.0) % 24, 3600.0 * np.arange(48))
    ('ever', 'day')
    """
    fit = np.isfinite(value) & np.isfinite(time_s)
    value, time_s = value[fit], time_s[fit]
    if value.size < 8 or not value.max() > value.min():
        return INTERVAL
    step = np.diff(value)
    falls = np.flatnonzero(step < 0)
    days = np.unique(np.floor(time_s / DAY_S)).size
    often = days > 1 and falls.size and falls.size >= 0.5 * (days - 1) and value.size > 3 * days
    at_midnight = across_midnight(value, time_s) > _MOST_FALLS * falls.size
    if often and (at_midnight or _begins_again_daily(value, time_s, days)):
        return OF_DAY
    return EVER if falls.size <= max(0.002 * step.size, 2.0 if step.size > 50 else 0.0) else INTERVAL


def across_midnight(value: Floats, local_s: Floats) -> int:
    """Return over how many midnights of a clock a column falls."""
    fit = np.isfinite(value)
    fell, day = np.diff(value[fit]) < 0, np.floor(local_s[fit] / DAY_S)
    return int((fell & (np.diff(day) > 0)).sum())


def _begins_again_daily(value: Floats, time_s: Floats, days: int) -> bool:
    """Whether a column rises row by row and falls to little about once a day, at one hour of the day or beside it.

    It rises about midway between two midnights; what flows in each row until a bank is full rises just before it falls.
    """
    step = np.diff(value)
    falls = np.flatnonzero(step < 0)
    if not 1 < falls.size <= _MOST_A_DAY * days or (step > 0).sum() < _RISES_A_FALL * falls.size:
        return False
    deep = value[falls + 1] <= _LEFT_SHARE * value[falls]
    since_s = time_s[falls] - _SUMMER_TIME_S
    ends_s = time_s[falls + 1]
    meet = np.mod(ends_s[:, None] - since_s, DAY_S) <= ends_s - since_s
    alike = meet.mean(axis=1).max() > _MOST_FALLS
    return bool(deep.mean() > _MOST_FALLS and alike and _rises_after_s(step, time_s, falls) <= _LATEST_S)


def _rises_after_s(step: Floats, time_s: Floats, falls: NDArray[np.int64]) -> float:
    """How long after a fall a column rises, at the mean of all it rose [s]."""
    rises = np.flatnonzero(step > 0)
    rises = rises[rises > falls[0]]
    last = falls[np.searchsorted(falls, rises) - 1]
    after_s = np.mod(0.5 * (time_s[rises] + time_s[rises + 1]) - time_s[last + 1], DAY_S)
    return float(np.average(after_s, weights=step[rises])) if rises.size else DAY_S
