"""Rows of a bench log made fit to add up: no unreadable rows, and a clock that only runs forward.

A clock that starts again is stitched on with the interval before it; rows out of order and rows that repeat a time
are dropped. Seconds, volts of one cell, amperes, degC. Not modelled: a clock that runs fast or slow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.bench.records import Array, BenchLog
from engine.errors import InputError
from engine.text.finding import Finding

LEAST_ROWS = 10
_LOOK_AHEAD = 4
"""Rows after which a clock that fell has either caught up (a row out of order) or started again."""
_GAP_STEPS, _GAP_S = 10.0, 300.0
_NEAR = np.arange(-10, 11)
_AT_ONCE = 4_000_000
"""Values of all windows that are sorted at once (choice): 32 MB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CleanLog:
    """A log with a rising clock from 0 [s]; volts are of one cell, all arrays (n,) and finite but the last two."""

    time_s: Array
    voltage_v: Array
    current_a: Array
    counter_ah: Array | None
    temperature_c: Array | None
    findings: tuple[Finding, ...] = ()


def clean(log: BenchLog, series: int = 1) -> CleanLog:
    """Drop what cannot be read and put the clock in order.

    Parameters
    ----------
    log : BenchLog
    series : int
        Cells in series behind the measured volts, >= 1.

    Returns
    -------
    CleanLog

    Raises
    ------
    InputError
        If fewer than 10 rows hold a time, volts above 0 and a current.
    """
    fit = np.isfinite(log.time_s) & np.isfinite(log.current_a) & (np.nan_to_num(log.voltage_v) > 0)
    rows = np.flatnonzero(fit)
    found = _unreadable(len(fit), len(rows))
    if len(rows) >= LEAST_ROWS:
        time_s, kept, clock = _forward(log.time_s[rows])
        rows, found = rows[kept], found + clock
    if len(rows) < LEAST_ROWS:
        raise InputError(
            "log", f"A log must have {LEAST_ROWS} or more rows with a time, volts above 0 and amperes; got {len(rows)}."
        )
    temperature_c, doubt = _temperature(None if log.temperature_c is None else log.temperature_c[rows])
    return CleanLog(
        time_s=time_s,
        voltage_v=log.voltage_v[rows] / series,
        current_a=log.current_a[rows],
        counter_ah=None if log.ah is None else log.ah[rows],
        temperature_c=temperature_c,
        findings=log.findings + found + doubt,
    )


def running_median(values: Array, width: int) -> Array:
    """Return the median of `width` (odd) neighbours around each value, the ends repeated outwards.

    Examples
    --------
    >>> running_median(np.array([1.0, 1.0, 9.0, 1.0, 2.0]), 3).tolist()
    [1.0, 1.0, 1.0, 2.0, 2.0]
    """
    if width < 2:
        return values
    padded = np.pad(values, width // 2, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)
    chunk = max(_AT_ONCE // width, 1)
    return np.concatenate([np.median(windows[k : k + chunk], axis=1) for k in range(0, len(values), chunk)])


def usual_step_s(time_s: Array, at: NDArray[np.intp]) -> Array:
    """Return the median interval [s] of the twenty around each interval number in `at`."""
    step_s = np.diff(time_s)
    return np.asarray(np.median(step_s[np.clip(at[:, None] + _NEAR, 0, len(step_s) - 1)], axis=1), dtype=np.float64)


def gaps(time_s: Array) -> NDArray[np.intp]:
    """Return the numbers of the intervals in which the log is silent: over ten usual steps, or 300 s and three."""
    step_s = np.diff(time_s)
    long = np.flatnonzero(step_s > 3.0 * np.percentile(step_s, 10))
    if not len(long):
        return long
    usual_s = usual_step_s(time_s, long)
    silent = (step_s[long] > _GAP_STEPS * usual_s) | ((step_s[long] > _GAP_S) & (step_s[long] > 3.0 * usual_s))
    return long[silent]


def _unreadable(rows: int, fit: int) -> tuple[Finding, ...]:
    """Say how many rows were dropped because a number was missing."""
    lost = rows - fit
    if not lost:
        return ()
    level = "check" if lost > 0.05 * rows else "note"
    text = f"{lost} of {rows} rows have no time, no volts above 0 or no amperes, and are left out."
    return (Finding(level=level, code="rows_unreadable", text=text),)


def _forward(time_s: Array) -> tuple[Array, NDArray[np.intp], tuple[Finding, ...]]:
    """Return the clock from 0 [s], the rows kept and what was wrong with it."""
    ahead = np.zeros(len(time_s), dtype=np.bool_)
    ahead[1:-1] = (time_s[1:-1] > time_s[2:]) & (time_s[2:] > time_s[:-2])
    rows = np.flatnonzero(~ahead)
    clock, findings = _stitched(time_s[rows])
    highest = np.maximum.accumulate(clock)
    same = np.flatnonzero(clock[1:] == highest[:-1])
    late = np.flatnonzero(clock[1:] < highest[:-1])
    kept = np.concatenate(([True], clock[1:] > highest[:-1]))
    clock = clock[kept] - clock[0]
    return clock, rows[kept], findings + _dropped(int(ahead.sum()) + len(late), len(same))


def _stitched(time_s: Array) -> tuple[Array, tuple[Finding, ...]]:
    """Put each restart of the clock behind what was before it."""
    back = np.flatnonzero(np.diff(time_s) < 0) + 1
    ends = np.clip(back[:, None] + np.arange(1, _LOOK_AHEAD + 1), 0, len(time_s) - 1)
    back = back[~(time_s[ends] > time_s[back - 1, None]).any(axis=1)]
    if not len(back):
        return time_s, ()
    before_s = time_s[back - 1] - time_s[np.maximum(back - 2, 0)]
    rising = np.diff(time_s)
    usual_s = float(np.median(rising[rising > 0])) if (rising > 0).any() else 1.0
    shift = np.zeros(len(time_s))
    shift[back] = time_s[back - 1] - time_s[back] + np.where(before_s > 0, before_s, usual_s)
    fallen_s = time_s[back - 1] - time_s[back]
    restart = time_s[back] <= time_s[0] + np.maximum(10.0 * usual_s, 0.01 * fallen_s)
    return time_s + np.cumsum(shift), _restarts(restart, fallen_s, back)


def _restarts(restart: NDArray[np.bool_], fallen_s: Array, rows: NDArray[np.intp]) -> tuple[Finding, ...]:
    """Say where the clock began again, and where it only went back."""
    findings = []
    if restart.any():
        text = (
            f"The clock starts again {_times(int(restart.sum()))}, first at row {rows[restart][0] + 1}; the parts were "
            "put end to end. A pause between them, if there was one, is not in the log."
        )
        findings.append(Finding(level="note", code="clock_reset", text=text))
    if not restart.all():
        text = (
            f"The clock goes back {_times(int((~restart).sum()))}, first by {fallen_s[~restart][0] / 60:.1f} min "
            f"at row {rows[~restart][0] + 1}; the later rows were put behind the earlier ones."
        )
        findings.append(Finding(level="check", code="time_backwards", text=text))
    return tuple(findings)


def _dropped(late: int, same: int) -> tuple[Finding, ...]:
    """Say how many rows were out of order and how many repeated a time."""
    findings = []
    if late:
        text = f"{_rows(late)} out of order in time, and left out."
        findings.append(Finding(level="note", code="time_backwards", text=text))
    if same:
        text = f"{_rows(same)} at the same time as the row before, and left out."
        findings.append(Finding(level="note", code="duplicate_rows", text=text))
    return tuple(findings)


def _temperature(temperature_c: Array | None) -> tuple[Array | None, tuple[Finding, ...]]:
    """Return temperatures that can be used, or None: a sensor not connected writes one number for ever."""
    if temperature_c is None or not np.isfinite(temperature_c).any():
        return None, ()
    if np.nanmin(temperature_c) == np.nanmax(temperature_c) == 0:
        text = "The temperature is exactly 0 °C throughout: taken as a sensor that was not connected."
        return None, (Finding(level="note", code="temperature_missing", text=text),)
    return temperature_c, ()


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _rows(count: int) -> str:
    return "1 row is" if count == 1 else f"{count} rows are"
