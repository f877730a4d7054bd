"""Rows of a known time into one number a day.

Within a day, a power lasts until the next row; a hole of up to two hours is filled by the row beside it; a longer one
costs the day, unless it lies in the dark, told from the rows at its edges and from the file's own noon. Meters that
count up are read where the days meet. Not modelled: what happened inside a row.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.text.clocks import DAY_S
from engine.text.meanings import EVER, OF_DAY

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

HOUR_S = 3600.0
DAILY_STEP_S = 20.0 * HOUR_S
"""Rows further apart stand for a day each."""
_FILLED_S = 2.0 * HOUR_S
"""Longest hole that is filled (assumed: over two hours the light changes little beside the day's sum)."""
_DARK_SHARE, _DIM_SHARE, _DIM_FROM_NOON_S = 0.02, 0.15, 3.0 * HOUR_S
"""Assumed: below 2 % of the brightest rows it is dark; below 15 % it is evening, three hours or more from noon."""
_BRIDGED_S, _CARRIED_S = 20.0 * HOUR_S, 3.0 * HOUR_S
_LATE_S, _LATE_DAYS = 2.0 * HOUR_S, 15
_ABOUT_MIDNIGHT_S, _MINUTES_S, _FEW = 1.5 * HOUR_S, 300.0, 0.05
"""Assumed: stamps of days lie within an hour and a half of the midnight they mean, all but one in twenty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows in order of time: seconds since 1970 on the day's clock, and value; `step_s` is the usual step."""

    time_s: Floats
    value: Floats
    step_s: float
    ends: bool

    def kept(self, which: Flags) -> Rows:
        """Return some of the rows."""
        return dataclasses.replace(self, time_s=self.time_s[which], value=self.value[which])


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """One value a day from day `first` since 1970 on; `partial` days were begun and not finished."""

    first: int
    value: Floats
    partial: int = 0
    noon_h: float | None = None


def usual_step_s(time_s: Floats) -> float:
    """Return the usual step between rows in order of time [s]; a day where there is one row."""
    return float(np.median(np.diff(time_s))) if time_s.size > 1 else DAY_S


def day_of(rows: Rows, *, universal: bool) -> Whole:
    """Return the day since 1970 that each row stands for, of rows that stand for a day each.

    It is the day a row is stamped in. Stamps about midnight on both sides of it mean the day after it: a house’s
    midnight is at 23:00 of standard time in summer. Not where most lie minutes before it: they end their day. Where
    all are at 23:00, only a clock that was universal time (`universal`) can have had a midnight there.

    Examples
    --------
    >>> hours = Rows(time_s=HOUR_S * np.array([24.0, 48.0, 71.0, 95.0]), value=np.ones(4), step_s=DAY_S, ends=False)
    >>> day_of(hours, universal=True).tolist()
    [1, 2, 3, 4]
    """
    if rows.ends:
        return np.floor((rows.time_s - 1.0) / DAY_S).astype(np.int64)
    midnight = np.floor((rows.time_s + _ABOUT_MIDNIGHT_S) / DAY_S).astype(np.int64)
    after_s = rows.time_s - midnight * DAY_S
    if (after_s > _ABOUT_MIDNIGHT_S).mean() > _FEW:
        return np.floor(rows.time_s / DAY_S).astype(np.int64)
    before = after_s < 0.0
    minutes = before & (after_s >= -_MINUTES_S)
    past_hour_s = after_s[before] + HOUR_S
    summer = universal and bool(((past_hour_s >= 0.0) & (past_hour_s <= _MINUTES_S)).all())
    ends_day = minutes.mean() > 0.5 or (before.mean() > 1.0 - _FEW and not summer)
    return midnight - 1 if ends_day else midnight


def of_days(day: Whole, value: Floats, totals: str) -> Totals:
    """Return one value a day of rows that stand for a day each; of a meter, the rise since the day before.

    Of rows of one day the first that is known counts.

    Examples
    --------
    >>> of_days(np.array([10, 11, 13, 13]), np.array([5.0, 7.0, 12.0, 13.0]), EVER).value.tolist()
    [nan, 2.0, nan, nan]
    """
    first = int(day.min())
    known = np.full(int(day.max()) - first + 1, np.nan)
    fit = np.flatnonzero(np.isfinite(value))
    days, at = np.unique(day[fit], return_index=True)
    known[days - first] = value[fit[at]]
    return Totals(first=first, value=_risen(np.diff(known, prepend=np.nan)) if totals == EVER else known)


def of_hours(rows: Rows, totals: str, *, power: bool) -> Totals:
    """Return one value a day of rows within the day: their sum, or what a meter rose."""
    rows = rows.kept(np.isfinite(rows.value))
    if totals == EVER:
        return _metered(rows)
    return _counted(rows) if totals == OF_DAY else _summed(rows, power=power)


def _risen(rise: Floats) -> Floats:
    """Rises of a meter; one that fell was exchanged or set back, and says nothing."""
    return np.where(rise >= 0.0, rise, np.nan)


def _summed(rows: Rows, *, power: bool) -> Totals:
    own_s = _steps_of_rows(rows)
    usual_s = _usual_near(own_s, rows.step_s)
    lasts_s = np.where(own_s <= _FILLED_S + usual_s, own_s, usual_s)
    even = bool((np.abs(own_s - usual_s) < 0.1 * usual_s).mean() > 0.5)
    amount = rows.value * (lasts_s / HOUR_S if power else lasts_s / usual_s if even else 1.0)
    start_s = rows.time_s - lasts_s if rows.ends else rows.time_s
    middle_s = start_s + lasts_s / 2.0
    day = np.floor(middle_s / DAY_S).astype(np.int64)
    first = int(day[0])
    total = np.bincount(day - first, weights=amount)
    noon_h = _noon_h(middle_s, amount)
    lost = _lost(rows, start_s, start_s + lasts_s, first, total.size, 12.0 if noon_h is None else noon_h)
    begun = np.bincount(day - first, minlength=total.size) > 0
    return Totals(first=first, value=np.where(lost, np.nan, total), partial=int((lost & begun).sum()), noon_h=noon_h)


def _steps_of_rows(rows: Rows) -> Floats:
    """Time from each row to its neighbour on the side it counts [s]; the one without has the time of those near it."""
    steps = np.diff(rows.time_s)
    if not steps.size:
        return np.array([rows.step_s])
    edge_s = np.median(steps[:3] if rows.ends else steps[-3:])
    return np.insert(steps, 0 if rows.ends else steps.size, edge_s)


def _usual_near(own_s: Floats, step_s: float) -> Floats:
    """The usual step of a row and of the two on each side [s]: a log may change it; `step_s` among holes."""
    around = np.lib.stride_tricks.sliding_window_view(np.pad(own_s, 2, mode="edge"), 5)
    near_s = np.median(around, axis=1)
    return np.where(near_s > _FILLED_S, step_s, near_s)


def _noon_h(middle_s: Floats, amount: Floats) -> float | None:
    """Hour of the day about which the amounts lie; None where they lie about none."""
    angle = 2.0 * np.pi * middle_s / DAY_S
    sine, cosine = float(amount @ np.sin(angle)), float(amount @ np.cos(angle))
    if not np.hypot(sine, cosine) > 0.05 * float(amount.sum()):
        return None
    return float(np.arctan2(sine, cosine) % (2.0 * np.pi)) * 12.0 / np.pi


def _lost(rows: Rows, start_s: Floats, end_s: Floats, first: int, days: int, noon_h: float) -> Flags:
    """Which days a hole took light from: their noon lies in one, or it begins or ends in the light."""
    bright = float(np.percentile(rows.value, 99.0))
    before_s = np.concatenate(([first * DAY_S], end_s))
    after_s = np.concatenate((start_s, [(first + days) * DAY_S]))
    from_value, to_value = np.concatenate(([0.0], rows.value)), np.concatenate((rows.value, [0.0]))
    holes = np.flatnonzero(after_s - before_s > _FILLED_S)
    before_s, after_s, from_value, to_value = before_s[holes], after_s[holes], from_value[holes], to_value[holes]
    noon_s = noon_h * HOUR_S
    marks = np.zeros(days + 1, dtype=np.int64)
    since, until = np.ceil((before_s - noon_s) / DAY_S), np.floor((after_s - noon_s) / DAY_S) + 1
    spans = until > since
    np.add.at(marks, np.clip(since[spans] - first, 0, days).astype(np.int64), 1)
    np.add.at(marks, np.clip(until[spans] - first, 0, days).astype(np.int64), -1)
    lost: Flags = np.cumsum(marks[:-1]) > 0
    left_lit = _lit(from_value, before_s - noon_s, bright) & (before_s % DAY_S > 0)
    right_lit = _lit(to_value, noon_s - after_s, bright) & (after_s % DAY_S > 0)
    for edge_s in (before_s[left_lit], after_s[right_lit]):
        lost[np.clip(edge_s // DAY_S - first, 0, days - 1).astype(np.int64)] = True
    return lost


def _lit(value: Floats, from_noon_s: Floats, bright: float) -> Flags:
    """Whether it was light at the edge of a hole, so many seconds from noon on the hole's side."""
    evening = from_noon_s % DAY_S
    dim = (value <= _DIM_SHARE * bright) & (evening >= _DIM_FROM_NOON_S) & (evening <= DAY_S / 2.0)
    return ~(dim | (value <= _DARK_SHARE * bright))


def _metered(rows: Rows) -> Totals:
    """What a meter rose from midnight to midnight, read between the rows on both sides."""
    first, last = int(rows.time_s[0] // DAY_S), int(np.ceil(rows.time_s[-1] / DAY_S))
    midnights = np.arange(first, max(last, first + 1) + 1) * DAY_S
    after = np.searchsorted(rows.time_s, midnights)
    inside = np.clip(after, 1, max(rows.time_s.size - 1, 1))
    near = np.minimum(np.abs(midnights - rows.time_s[0]), np.abs(midnights - rows.time_s[-1])) <= _FILLED_S
    between = (after > 0) & (after < rows.time_s.size)
    bridged = rows.time_s[np.minimum(inside, rows.time_s.size - 1)] - rows.time_s[inside - 1] <= _BRIDGED_S
    known = near | (between & bridged)
    meter = np.where(known, np.interp(midnights, rows.time_s, rows.value), np.nan)
    rise = _risen(np.diff(meter))
    fell = np.flatnonzero(np.diff(rows.value) < 0.0)
    for edge in (rows.time_s[fell], rows.time_s[fell + 1]):
        rise[np.clip(edge // DAY_S - first, 0, rise.size - 1).astype(np.int64)] = np.nan
    return Totals(first=first, value=rise, partial=int(np.isnan(rise).sum()))


def _counted(rows: Rows) -> Totals:
    """What a counter rose that begins again each day, early or late; by the file's own clock."""
    day = np.floor((rows.time_s - (1.0 if rows.ends else 0.0)) / DAY_S).astype(np.int64)
    rise = np.diff(rows.value, prepend=0.0)
    new = np.diff(rows.time_s, prepend=rows.time_s[0] - DAY_S) > _CARRIED_S
    new &= np.diff(day, prepend=day[0] - 1) > 0
    amount = np.where(new | (rise < 0.0), rows.value, rise)
    first = int(day[0])
    total = np.bincount(day - first, weights=amount)
    last_s = np.full(total.size, np.nan)
    last_s[day - first] = rows.time_s - day * DAY_S
    missing = np.isnan(last_s)
    usual_s = _running_median(last_s)
    cut = ~missing & (last_s < usual_s - _LATE_S)
    return Totals(first=first, value=np.where(missing | cut, np.nan, total), partial=int(cut.sum()))


def _running_median(value: Floats) -> Floats:
    """Median of the known ones among the neighbours of each value."""
    padded = np.pad(value, _LATE_DAYS // 2, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, _LATE_DAYS)
    known = np.isfinite(windows).any(axis=1)
    median = np.full(value.size, np.nan)
    median[known] = np.nanmedian(windows[known], axis=1)
    return median
