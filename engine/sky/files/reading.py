"""Files of sunshine, or of what panels gave, read into one number a day of the house's own standard time.

`guess` says how we would read a file and what we would ask; `with_choices` puts in what a person said instead; `read`
reads. Radiation is kWh/m2 on the level, yield kWh. Not modelled: radiation on a tilted plane (refused), summer time
(an hour at night is misplaced), which half of an interval the sun shone in.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.sky.files import table
from engine.sky.files.daily import DAILY_STEP_S, Rows, Totals, day_of, of_days, of_hours
from engine.sky.files.formats import POWERS, Reading, meanings_by_key
from engine.sky.files.known import known
from engine.sky.files.rows import rows_of
from engine.sky.series import DailySeries
from engine.text import delimited
from engine.text.choosing import checked_columns, with_decimal
from engine.text.clocks import DAY_S
from engine.text.finding import Finding
from engine.text.meanings import INTERVAL, TOTALS
from engine.text.plain_text import FIELD
from engine.text.sample import sample_of
from engine.text.time_units import FARTHEST_H, Places
from engine.text.times import without_day

Floats = NDArray[np.float64]

AS_GUESSED = ""
"""For an offset: the one that was guessed."""
_MOST_STEP_S, _FEW_PERCENT = 1.5 * DAY_S, 10.0
_EPOCH = date(1970, 1, 1)


def guess(content: bytes, name: str = "") -> Reading:
    """Return how a file would be read, and what is in doubt.

    Parameters
    ----------
    content : bytes
        The whole file.
    name : str
        What it is called: it may tell radiation from yield where the file does not.

    Raises
    ------
    InputError
        On the field ``file`` if it holds no rows of numbers, or a known format without radiation on the level.

    Examples
    --------
    >>> reading = guess(b"Date;Yield [kWh]\\n30.01.2024;3,25\\n31.01.2024;0,4\\n")
    >>> reading.kind, reading.columns, reading.quantity, reading.doubts
    ('table', {'date': (0, 'd.m.y'), 'value': (1, 'kWh')}, 'yield', ())
    """
    if content.lstrip()[:1] in (b"{", b"["):
        raise InputError(FIELD, "This is JSON: ask for the same series as CSV, and bring that.")
    return known(content) or table.table(sample_of(content, delimited.sniff(content)), name)


def with_choices(
    reading: Reading,
    *,
    columns: Mapping[str, tuple[int, str]] | None = None,
    totals: str | None = None,
    utc_offset_h: float | str | None = AS_GUESSED,
    decimal: str | None = None,
) -> Reading:
    """Return the reading as a person would have it; questions about what they changed are gone.

    Parameters
    ----------
    columns : mapping of str to (int, str), optional
        Column, from 0, and unit of each of `formats.MEANINGS` that has one; what is not named has none.
    totals : str, optional
        One of `formats.TOTALS`.
    utc_offset_h : float or None, optional
        Offset of the file's clock from universal time [h], None for the house's own standard time.
    decimal : str, optional
        ``.`` or ``,``.

    Raises
    ------
    InputError
        Naming the choice that cannot be.
    """
    layout = with_decimal(reading.layout, reading.sample, decimal)
    chosen = reading.columns if columns is None else checked_columns(layout, columns, meanings_by_key())
    counts = totals or reading.totals
    if counts not in TOTALS:
        raise InputError("totals", f"Rows are counted as one of {', '.join(TOTALS)}; got “{counts}”.")
    if counts != INTERVAL and "value" in chosen and chosen["value"][1] in POWERS:
        raise InputError("totals", f"A power does not count up: a total is in kWh or kWh/m2, not {chosen['value'][1]}.")
    offset_h = _offset_h(reading, utc_offset_h)
    settled = {key for key in chosen if reading.columns.get(key) != chosen[key]}
    settled |= {"totals"} if counts != reading.totals else set()
    settled |= {"utc_offset_h"} if offset_h != reading.utc_offset_h else set()
    settled |= {"decimal"} if layout is not reading.layout else set()
    settled |= {"date"} if {"year", "day"} <= chosen.keys() else set()
    return dataclasses.replace(
        reading,
        layout=layout,
        columns=chosen,
        totals=counts,
        utc_offset_h=offset_h,
        zone_written=_still_zoned(reading, chosen, offset_h),
        asked=tuple((key, text) for key, text in reading.asked if key not in settled),
    )


def _still_zoned(reading: Reading, chosen: Places, offset_h: float | None) -> bool:
    """Whether the offsets beside the dates still count: not where somebody chose another clock or column."""
    same = chosen.get("date") == reading.columns.get("date") and offset_h == reading.utc_offset_h
    return reading.zone_written and same


def _offset_h(reading: Reading, wanted: float | str | None) -> float | None:
    if isinstance(wanted, str):
        return reading.utc_offset_h
    if wanted is not None and not -FARTHEST_H <= wanted <= FARTHEST_H:
        raise InputError("utc_offset_h", f"Offset from universal time must be from -14 to 14 hours; got {wanted:g}.")
    return wanted


def preview(content: bytes, reading: Reading, rows: int = 8) -> tuple[tuple[str, ...], ...]:
    """Return the first rows under the header as they are written, one text a column."""
    return delimited.preview(content, reading.layout, rows)


def read(content: bytes, reading: Reading, utc_offset_h: float) -> DailySeries:
    """Read a file, day by day.

    Parameters
    ----------
    utc_offset_h : float
        Offset of the house's standard time from universal time [h]: `Site.utc_offset_h`.

    Raises
    ------
    InputError
        If date or value have no column, too few rows have a date, or rows are further apart than a day.

    Examples
    --------
    >>> content = b"Date;Yield [kWh]\\n30.01.2024;3,25\\n31.01.2024;\\n01.02.2024;0,4\\n"
    >>> series = read(content, guess(content), 1.0)
    >>> series.first.isoformat(), series.values.tolist(), [finding.code for finding in series.findings]
    ('2024-01-30', [3.25, nan, 0.4], ['missing_days'])
    """
    _needed(reading)
    rows, findings = rows_of(content, reading, utc_offset_h)
    _refuse_months(rows)
    daily = rows.step_s >= DAILY_STEP_S
    if not daily:
        return _series(reading, of_hours(rows, reading.totals, power=reading.unit in POWERS), findings, daily=False)
    day = day_of(rows, universal=reading.utc_offset_h is not None)
    value = rows.value * (24.0 if reading.unit in POWERS else 1.0)
    return _series(reading, of_days(day, value, reading.totals), findings + _same_day(day), daily=True)


def _needed(reading: Reading) -> None:
    missing = without_day(reading.columns)
    if "value" not in reading.columns:
        missing.append(InputError("value", "Radiation or yield has no column yet: choose it, and its unit."))
    if missing:
        raise InputError(missing[0].field, missing[0].message, tuple(missing[1:]))


def _refuse_months(rows: Rows) -> None:
    steps = np.diff(rows.time_s)
    if steps.size and float(np.percentile(steps, _FEW_PERCENT)) > _MOST_STEP_S:
        raise InputError(
            "date",
            f"The rows are {rows.step_s / DAY_S:.0f} days apart: one row a day or more is needed. "
            "What panels gave month by month is typed on the Sun page.",
        )


def _same_day(day: NDArray[np.int64]) -> tuple[Finding, ...]:
    """What is said of rows that stand for a day another row stands for."""
    again = np.flatnonzero(np.diff(day, prepend=-1) == 0)
    if not again.size:
        return ()
    many = "1 row stands" if again.size == 1 else f"{again.size:,} rows stand"
    first = _EPOCH + timedelta(days=int(day[again[0]]))
    text = f"{many} for the same day as the row before, first {first.isoformat()}; the first of each day was taken."
    return (Finding(level="check", code="duplicates", text=text),)


def _series(reading: Reading, totals: Totals, findings: tuple[Finding, ...], *, daily: bool) -> DailySeries:
    known_days = np.flatnonzero(np.isfinite(totals.value))
    if not known_days.size:
        raise InputError("value", "The file holds no whole day: each day has holes of hours in its light.")
    start, stop = int(known_days[0]), int(known_days[-1]) + 1
    values = totals.value[start:stop]
    level = "stop" if reading.quantity == "yield" else "check"
    notes = tuple(Finding(level=level, code="as_written", text=text) for text in reading.notes)
    return DailySeries(
        quantity=reading.quantity,
        first=_EPOCH + timedelta(days=totals.first + start),
        values=values,
        typical=reading.typical,
        latitude_deg=reading.latitude_deg,
        longitude_deg=reading.longitude_deg,
        findings=findings + notes + _holes(totals, values, known_days.size),
        noon_h=None if daily else totals.noon_h,
    )


def _holes(totals: Totals, values: Floats, known_days: int) -> tuple[Finding, ...]:
    findings = []
    if totals.partial:
        many = "1 day is" if totals.partial == 1 else f"{totals.partial:,} days are"
        text = f"{many} not whole, with holes of more than two hours in the light, and left out."
        findings.append(Finding(level="note", code="partial_days", text=text))
    missing = values.size - known_days
    if missing:
        first = _EPOCH + timedelta(days=totals.first + int(np.flatnonzero(np.isfinite(totals.value))[0]))
        hole = first + timedelta(days=int(np.flatnonzero(~np.isfinite(values))[0]))
        text = f"{missing:,} of {values.size:,} days are not known, first {hole.isoformat()}."
        findings.append(Finding(level="note", code="missing_days", text=text))
    return tuple(findings)
