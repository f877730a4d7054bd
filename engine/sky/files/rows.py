"""The rows of a file by a reading of it: time and value, without codes for missing, repeats and disorder.

Every row that is left out is counted and said. Not modelled: a value that is wrong and looks right (`believable`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.sky.files.daily import Rows, usual_step_s
from engine.sky.files.formats import Reading, factor
from engine.text import delimited
from engine.text.clocks import DAY_S
from engine.text.finding import Finding
from engine.text.meanings import INTERVAL
from engine.text.time_units import MOST
from engine.text.times import day_column, parser, stamps_s, time_columns

Floats = NDArray[np.float64]

MOST_UNREADABLE_SHARE = 0.2
_CODES = (-9.0, -99.0, -999.0, -9999.0, -99999.0, -9900.0, 9999.0, 99999.0, 999999.0)
_CODE_BEYOND = 1.5
"""A positive code is one only where it stands out so far above all else."""
_NIGHT_SHARE = 0.02
"""Assumed: a sensor reads up to 2 % of its brightest below zero at night; that is nothing."""
TYPICAL_YEAR = 2001
_VALUES = ("value", "value_2", "value_3")


def rows_of(content: bytes, reading: Reading, utc_offset_h: float) -> tuple[Rows, tuple[Finding, ...]]:
    """Return the rows in order of time, on the house's clock unless they stand for days, and what is said of them."""
    columns = reading.columns
    keys = [*time_columns(columns), *(key for key in _VALUES if key in columns)]
    wanted = [(columns[key][0], parser(key, columns[key][1], zone_written=reading.zone_written)) for key in keys]
    read = delimited.columns(content, reading.layout, wanted)
    by_key = {key: read.values[:, k] for k, key in enumerate(keys)}
    time_s = stamps_s(by_key, columns)
    value, findings = _value(reading, by_key)
    if reading.typical:
        time_s = _in_one_year(time_s, ends=reading.ends)
    last = int(np.max(np.flatnonzero(np.isfinite(time_s)), initial=-1)) + 1
    time_s, value, lines = time_s[:last], value[:last], read.lines[:last]
    findings += _unreadable(reading, time_s, lines)
    fit = np.isfinite(time_s)
    if not np.isfinite(value[fit]).any():
        name = reading.layout.name(columns["value"][0])
        raise InputError("value", f"“{name}” holds no number that can be used. Is it the right column?")
    return _ordered(reading, time_s[fit], value[fit], findings, utc_offset_h)


def _value(reading: Reading, by_key: dict[str, Floats]) -> tuple[Floats, tuple[Finding, ...]]:
    """Values in kWh/m2 or kWh, or kW of a power; codes and what is far below zero are NaN."""
    total = np.zeros(next(iter(by_key.values())).size)
    coded = below = 0
    for key in _VALUES:
        if key not in by_key:
            continue
        value, codes = _without_codes(by_key[key])
        coded += codes
        if reading.totals == INTERVAL:
            value, negatives = _without_negatives(value)
            below += negatives
        total = total + value * factor(reading.columns[key][1])
    findings = []
    if coded:
        text = f"{_values(coded)} a code for missing, such as -999 or 9999, and taken as not known."
        findings.append(Finding(level="note", code="missing_codes", text=text))
    if below:
        text = f"{_values(below)} below zero, more than a sensor reads at night, and taken as not known."
        findings.append(Finding(level="check", code="negative", text=text))
    return total, tuple(findings)


def _without_codes(value: Floats) -> tuple[Floats, int]:
    value = np.where(np.abs(value) < MOST, value, np.nan)
    known = value[np.isfinite(value) & ~np.isin(value, _CODES)]
    top = float(np.percentile(known, 99.9)) if known.size else 0.0
    codes = [code for code in _CODES if code < 0 or code > _CODE_BEYOND * top]
    coded = np.isin(value, codes)
    return np.where(coded, np.nan, value), int(coded.sum())


def _without_negatives(value: Floats) -> tuple[Floats, int]:
    known = value[np.isfinite(value)]
    top = float(np.percentile(known, 99.0)) if known.size else 0.0
    wrong = value < -_NIGHT_SHARE * top
    return np.where(wrong, np.nan, np.maximum(value, 0.0)), int(wrong.sum())


def _in_one_year(time_s: Floats, *, ends: bool) -> Floats:
    """Times of a year pieced together, all moved to one ordinary year; 29 February goes."""
    fit = np.isfinite(time_s)
    own_s = np.where(fit, time_s, 0.0) - (1.0 if ends else 0.0)
    days = np.floor(own_s / DAY_S).astype(np.int64).astype("datetime64[D]")
    months = days.astype("datetime64[M]")
    month, day = months.astype(np.int64) % 12, (days - months.astype("datetime64[D]")).astype(np.int64)
    first = ((TYPICAL_YEAR - 1970) * 12 + month).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    fit &= ~((month == 1) & (day == 28))
    moved = (first + day) * DAY_S + own_s - np.floor(own_s / DAY_S) * DAY_S
    return np.where(fit, moved + (1.0 if ends else 0.0), np.nan)


def _unreadable(reading: Reading, time_s: Floats, lines: NDArray[np.int64]) -> tuple[Finding, ...]:
    """What is said of rows without a time, but for what stands under the last row that has one."""
    bad = ~np.isfinite(time_s)
    count, total = int(bad.sum()), time_s.size
    if not total or (count > MOST_UNREADABLE_SHARE * total and not reading.typical):
        key = day_column(reading.columns)
        name = reading.layout.name(reading.columns[key][0])
        many = f"{count:,} of {total:,} rows have no" if total else "No row has a"
        raise InputError(
            key, f"{many} date that can be read, in “{name}”. Is it the right column, and the right order of its parts?"
        )
    if not count or reading.typical:
        return ()
    text = f"{_rows(count)} no date that can be read, the first at line {lines[bad][0]:,}, and left out."
    return (Finding(level="check", code="unreadable_rows", text=text),)


def _ordered(
    reading: Reading, time_s: Floats, value: Floats, findings: tuple[Finding, ...], utc_offset_h: float
) -> tuple[Rows, tuple[Finding, ...]]:
    """Rows in order, each time once; within the day on the house's clock."""
    if (np.diff(time_s) < 0).any():
        order = np.argsort(time_s, kind="stable")
        time_s, value = time_s[order], value[order]
        text = "The rows were not in order of time; they were put in order."
        findings += (Finding(level="note", code="disorder", text=text),)
    again = np.concatenate(([False], np.diff(time_s) == 0))
    if again.any():
        findings += (_repeats(reading, time_s, value, again),)
        time_s, value = _once(time_s, value, again)
    step_s = usual_step_s(time_s)
    if reading.utc_offset_h is not None and (step_s < DAY_S / 2 or (time_s % DAY_S > 0).mean() > 0.5):
        time_s = time_s + (utc_offset_h - reading.utc_offset_h) * 3600.0
        if reading.typical:
            time_s, value = _round_the_year(time_s, value, ends=reading.ends)
    return Rows(time_s=time_s, value=value, step_s=step_s, ends=reading.ends), findings


def _round_the_year(time_s: Floats, value: Floats, *, ends: bool) -> tuple[Floats, Floats]:
    """Rows of a typical year that another clock put before or after it, at its other end."""
    first_s = float(np.datetime64(f"{TYPICAL_YEAR}-01-01", "s").astype(np.int64)) + (1.0 if ends else 0.0)
    turned_s = first_s + np.mod(time_s - first_s, 365 * DAY_S)
    order = np.argsort(turned_s, kind="stable")
    return turned_s[order], value[order]


def _once(time_s: Floats, value: Floats, again: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Of rows at the same time, the first that holds a number."""
    group = np.cumsum(~again) - 1
    known = np.flatnonzero(np.isfinite(value))
    first = np.full(group[-1] + 1, np.nan)
    at, where = np.unique(group[known], return_index=True)
    first[at] = value[known[where]]
    return time_s[~again], first


def _repeats(reading: Reading, time_s: Floats, value: Floats, again: NDArray[np.bool_]) -> Finding:
    """What is said of repeated times; refused where most rows are such, as their time of day was not found."""
    count = int(again.sum())
    if count > 0.5 * time_s.size and "time" not in reading.columns:
        raise InputError(
            "time", f"{count:,} of {time_s.size:,} rows are of the same time as another: which column is their clock?"
        )
    at = np.flatnonzero(again)
    differ = at[np.isfinite(value[at]) & np.isfinite(value[at - 1]) & (value[at] != value[at - 1])]
    first = np.datetime64(int(time_s[(differ if differ.size else at)[0]]), "s").astype("datetime64[m]")
    when = str(first).replace("T", " ").removesuffix(" 00:00")
    if not differ.size:
        text = f"{_rows(count)} the same time and value as another, first {when}, and left out."
        return Finding(level="note", code="duplicates", text=text)
    text = (
        f"{_rows(count)} the same time as another, and {differ.size:,} of them another value, first {when}; "
        "the first of each was taken."
    )
    return Finding(level="check", code="duplicates", text=text)


def _rows(count: int) -> str:
    return "1 row has" if count == 1 else f"{count:,} rows have"


def _values(count: int) -> str:
    return "1 value is" if count == 1 else f"{count:,} values are"
