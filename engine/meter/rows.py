"""The rows of a meter's file by a reading of it: times of universal time and plain columns, in order, each time once.

Every row that is left out is counted and said.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Generator
from dataclasses import dataclass
from datetime import tzinfo
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.meter.clock import standard_clock, universal_s, written
from engine.meter.formats import STANDARD, WALL, Reading
from engine.text import delimited
from engine.text.clocks import DAY_S
from engine.text.finding import Finding
from engine.text.meanings import INTERVAL, TIME_KEYS
from engine.text.steps import RowsRead
from engine.text.time_units import MOST
from engine.text.times import day_column, parser, stamps_s, time_columns

Floats = NDArray[np.float64]

MOST_UNREADABLE_SHARE = 0.2
_YEARS = (1990, 2100)
"""No house’s meter wrote before or after (judgement); a clock that was never set begins at 1970."""
_EARLIEST_S, _LATEST_S = (float(np.datetime64(f"{year}-01-01", "s").astype(np.int64)) for year in _YEARS)
_REACH, _REACH_INTERVAL = 3.0, 1.5
"""A row lasts until the next where that is within so many usual steps; where rows have energies of their own, a
missing row's is missing."""
_NEAR, _MOST_NEAR_S, _MOST_STEP_S = 2, 7200.0, 1.5 * DAY_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Rows in order: when stamped [s since 1970, universal time], when begun, how long, and columns as written."""

    stamp_s: Floats
    start_s: Floats
    step_s: Floats
    values: dict[str, Floats]


def rows_in_steps(
    content: bytes, reading: Reading, zone: ZoneInfo
) -> Generator[RowsRead, None, tuple[Rows, tuple[Finding, ...]]]:
    """Return the rows of a file, and what is to be said of them; say on the way how many are read."""
    parts = time_columns(reading.columns)
    keys = [*parts, *(key for key in reading.columns if key not in TIME_KEYS)]
    wanted = [
        (reading.columns[key][0], parser(key, reading.columns[key][1], zone_written=reading.zone_written))
        for key in keys
    ]
    read = yield from delimited.columns_in_steps(content, reading.layout, wanted)
    by_key = {key: read.values[:, k] for k, key in enumerate(keys)}
    local_s = stamps_s({key: by_key[key] for key in parts}, reading.columns)
    findings = _unreadable(reading, local_s, read.lines)
    local_s, said = _of_this_age(reading, local_s)
    findings += said
    fit = np.flatnonzero(np.isfinite(local_s))
    if np.count_nonzero(np.diff(local_s[fit]) < 0) > 0.5 * fit.size:
        fit = fit[::-1]
    values = {key: by_key[key][fit] for key in keys if key not in TIME_KEYS}
    local_s = local_s[fit]
    usual_s = _usual_step_s(np.unique(local_s))
    dated = _by_dates(reading, local_s, usual_s)
    stamp_s, said = universal_s(local_s, dated, zone, usual_s)
    findings += said
    clock = zone if dated is reading else standard_clock(zone, stamp_s)
    stamp_s, values, said = _ordered(stamp_s, values, clock)
    start_s, step_s = _lasting(stamp_s, reading)
    rows = Rows(stamp_s=stamp_s, start_s=start_s, step_s=step_s, values=values)
    return rows, findings + said + _gaps(rows, clock)


def _by_dates(reading: Reading, local_s: Floats, step_s: float) -> Reading:
    """The reading of rows that are whole days, which have no summer time: a date stays the date it says.

    By the clock on the wall an hour of each would lie on the day before, and a day’s kWh would be told of two.
    """
    whole = step_s >= DAY_S and not (local_s % DAY_S).any()
    return dataclasses.replace(reading, clock=STANDARD) if whole and reading.clock == WALL else reading


def _unreadable(reading: Reading, local_s: Floats, lines: NDArray[np.int64]) -> tuple[Finding, ...]:
    bad = ~np.isfinite(local_s)
    count, total = int(bad.sum()), local_s.size
    if count > MOST_UNREADABLE_SHARE * total or count == total:
        key = day_column(reading.columns)
        name = reading.layout.name(reading.columns[key][0])
        raise InputError(
            key,
            f"{count:,} of {total:,} rows have no date that can be read, in “{name}”. Is it the right column, and the "
            "right order of its parts?",
        )
    if not count:
        return ()
    many = "1 row has" if count == 1 else f"{count:,} rows have"
    text = f"{many} no date that can be read, the first at line {lines[bad][0]:,}, and left out."
    return (Finding(level="check", code="unreadable_rows", text=text),)


def _of_this_age(reading: Reading, local_s: Floats) -> tuple[Floats, tuple[Finding, ...]]:
    """Times without those that a clock shows which was never set."""
    wrong = (local_s < _EARLIEST_S) | (local_s >= _LATEST_S)
    count = int(wrong.sum())
    if not count:
        return local_s, ()
    if count == int(np.isfinite(local_s).sum()):
        key = day_column(reading.columns)
        name = reading.layout.name(reading.columns[key][0])
        text = f"Every date in “{name}” is before {_YEARS[0]} or after {_YEARS[1]}: is it the right column and order?"
        raise InputError(key, text)
    many = "1 row is" if count == 1 else f"{count:,} rows are"
    text = f"{many} dated before {_YEARS[0]} or after {_YEARS[1]}, as by a clock that was never set, and left out."
    return np.where(wrong, np.nan, local_s), (Finding(level="check", code="unset_clock", text=text),)


def _ordered(
    stamp_s: Floats, values: dict[str, Floats], clock: tzinfo
) -> tuple[Floats, dict[str, Floats], tuple[Finding, ...]]:
    """Rows in order, each time once; of rows at the same time, the first, and what it does not know of the others."""
    findings: tuple[Finding, ...] = ()
    if (np.diff(stamp_s) < 0).any():
        order = np.argsort(stamp_s, kind="stable")
        stamp_s, values = stamp_s[order], {key: column[order] for key, column in values.items()}
        text = "The rows were not in order of time; they were put in order."
        findings = (Finding(level="note", code="disorder", text=text),)
    again = np.concatenate(([False], np.diff(stamp_s) == 0))
    if not again.any():
        return stamp_s, values, findings
    group = np.cumsum(~again) - 1
    once = {}
    for key, column in values.items():
        known = np.flatnonzero(np.isfinite(column))
        once[key] = np.full(int(group[-1]) + 1, np.nan)
        at, where = np.unique(group[known], return_index=True)
        once[key][at] = column[known[where]]
    count = int(again.sum())
    many = "1 row has" if count == 1 else f"{count:,} rows have"
    first = written(float(stamp_s[again][0]), clock)
    text = f"{many} the same time as another, first {first}; the first of each time was taken."
    return stamp_s[~again], once, (*findings, Finding(level="note", code="duplicates", text=text))


def _usual_step_s(stamp_s: Floats) -> float:
    return float(np.median(np.diff(stamp_s))) if stamp_s.size > 1 else DAY_S


def _lasting(stamp_s: Floats, reading: Reading) -> tuple[Floats, Floats]:
    """When each row begins and how long it lasts [s]: until the next, or the usual step where that is far away."""
    if stamp_s.size < 2:
        raise InputError("file", "The file has one row that can be read: at least two are needed.")
    step_s = np.diff(stamp_s)
    overall_s = _usual_step_s(stamp_s)
    if overall_s > _MOST_STEP_S:
        key = day_column(reading.columns)
        raise InputError(key, f"The rows are {overall_s / DAY_S:.0f} days apart: one row a day or more is needed.")
    around = np.lib.stride_tricks.sliding_window_view(np.pad(step_s, _NEAR, mode="edge"), 2 * _NEAR + 1)
    near_s = np.median(around, axis=1)
    usual_s = np.where(near_s > max(_MOST_NEAR_S, overall_s), overall_s, near_s)
    own = any(counts == INTERVAL for counts in reading.totals.values())
    lasts_s = np.where(step_s <= (_REACH_INTERVAL if own else _REACH) * usual_s, step_s, usual_s)
    if reading.ends:
        lasts_s = np.concatenate((usual_s[:1], lasts_s))
        return stamp_s - lasts_s, lasts_s
    return stamp_s, np.concatenate((lasts_s, usual_s[-1:]))


def _gaps(rows: Rows, clock: tzinfo) -> tuple[Finding, ...]:
    hole_s = rows.start_s[1:] - rows.start_s[:-1] - rows.step_s[:-1]
    holes = np.flatnonzero(hole_s > 1.0)
    if not holes.size:
        return ()
    many = "1 gap" if holes.size == 1 else f"{holes.size:,} gaps"
    first = written(float(rows.start_s[holes[0]] + rows.step_s[holes[0]]), clock)
    text = f"{many} of {hole_s[holes].sum() / 3600.0:,.1f} hours in all, first from {first}: what came then is unknown."
    return (Finding(level="note", code="gaps", text=text),)


def plausible(column: Floats) -> Floats:
    """Return a column without numbers larger than any file means."""
    return np.where(np.abs(column) < MOST, column, np.nan)
