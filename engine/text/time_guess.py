"""Where the time of a row stands in a table, and how it is spelt: a first guess, with questions where it is one."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from engine.text.clocks import DAY_S, dates_s
from engine.text.layouts import is_clock, is_date
from engine.text.sample import Sample
from engine.text.time_units import (
    CLOCK,
    COMPACT,
    DATES,
    HOUR,
    HOUR_FROM_1,
    HOUR_MINUTE,
    MONTH_WORDS,
    OF_MONTH,
    OF_YEAR,
    UNIX,
    Doubt,
    Places,
)
from engine.text.times import WORDED

Floats = NDArray[np.float64]

_COMPACT = re.compile(r"(?:19|20|21)\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])(?:\D?\d\d(?:\d\d)?)?")
_UNIX = re.compile(r"1\d{9}(?:\d{3})?(?:\.\d+)?")
_UNIVERSAL = re.compile(r"\b(utc|gmt)\b", re.IGNORECASE)
_END_OF_DAY = re.compile(r"(?<![\d:])24:00")
_LEAST_SHARE = 0.5
_YEAR, _MONTH = ("year", "yr", "yyyy", "jahr", "jaar"), ("month", "mo", "mm", "monat", "maand", "mon")
_DAY, _DAY_OF_YEAR = ("day", "dy", "dd", "tag", "dag"), ("doy", "yday", "dayofyear", "day of year", "julian")
_HOUR = ("hour", "hr", "hh", "stunde", "std", "uur", "time", "zeit", "uhrzeit", "tijd", "uhr", "clock", "hhmm")
_MINUTE = ("minute", "min", "minuten")


def mostly(words: Sequence[str], fits: Callable[[str], object]) -> bool:
    """Return whether more than half of some words fit."""
    return bool(words) and sum(1 for word in words if fits(word)) > _LEAST_SHARE * len(words)


def time_columns_of(sample: Sample) -> tuple[Places, list[Doubt]]:
    """Columns of the time of a row."""
    parts: dict[str, int] = {}
    for at, name in enumerate(sample.layout.header):
        parts.setdefault(part_of_time(name), at)
    counted = OF_YEAR if "day of year" in parts else OF_MONTH
    day = parts.get("day of year", parts.get("day"))
    columns: Places = {}
    asked: list[Doubt] = []
    if "year" in parts and day is not None and (counted == OF_YEAR or "month" in parts):
        columns = {"year": (parts["year"], ""), "day": (day, counted)}
        columns |= {"month": (parts["month"], "")} if counted == OF_MONTH else {}
    else:
        columns, asked = _date(sample)
    if columns and "date" in columns and any(":" in word for word in sample.words(columns["date"][0])[:20]):
        return columns, asked
    taken = {at for at, _ in columns.values()}
    time = next((at for at in range(sample.layout.columns) if at not in taken and _is_clock(sample, at)), None)
    time = parts.get("hour") if time is None else time
    if columns and time is not None and time not in taken and (unit := _time_unit(sample, time)):
        columns["time"] = (time, unit)
        if unit in (HOUR, HOUR_FROM_1) and "minute" in parts:
            columns["minute"] = (parts["minute"], "")
    return columns, asked


def _is_clock(sample: Sample, at: int) -> bool:
    return mostly(sample.words(at), is_clock)


def _time_unit(sample: Sample, at: int) -> str:
    if _is_clock(sample, at):
        return CLOCK
    hours = sample.values(at)
    hours = hours[np.isfinite(hours)]
    if not hours.size or hours.min() < 0 or hours.max() > 2400:
        return ""
    if hours.max() > 24:
        return HOUR_MINUTE
    return HOUR_FROM_1 if hours.max() == 24 and hours.min() >= 1 else HOUR


def _date(sample: Sample) -> tuple[Places, list[Doubt]]:
    """The first column of dates."""
    for at in range(sample.layout.columns):
        words = sample.words(at)
        if mostly(words, is_date):
            unit, doubt = _order(sample, at)
            return {"date": (at, unit)}, [("date", doubt)] if doubt else []
        if mostly(words, _COMPACT.fullmatch):
            return {"date": (at, COMPACT)}, []
        if mostly(words, WORDED.match):
            return {"date": (at, MONTH_WORDS)}, []
        if mostly(words, _UNIX.fullmatch):
            return {"date": (at, UNIX)}, []
    return {}, [("date", "Which column is the date?")]


def _order(sample: Sample, at: int) -> tuple[str, str]:
    """The order of a date's parts: the one by which all can be read and most follow the day before."""
    first = np.array([row[at] for row in sample.first if row[at]], dtype=object)
    spread = np.array(sample.words(at), dtype=object)
    read = (dates_s(texts, tuple(DATES.values())) for texts in (first, spread))
    scores = {unit: _evenness(*times) for unit, *times in zip(DATES, *read, strict=True)}
    best = max(scores.values())
    rivals = [unit for unit in DATES if scores[unit] == best]
    if len(rivals) == 1:
        return rivals[0], ""
    order = "d.m.y" if "d.m.y" in rivals else rivals[0]
    return order, f"Are the dates, such as {spread[0]}, written as {order}? They are read so."


def _evenness(first_s: Floats, spread_s: Floats) -> tuple[float, float]:
    """Share of dates that can be read, and share of the first days that follow the day before."""
    steps = np.diff(np.floor(first_s[np.isfinite(first_s)] / DAY_S))
    steps = steps[steps != 0]
    follow = float((steps == 1).mean()) if steps.size else 0.0
    return float(np.isfinite(spread_s).mean()), follow


def says_universal(names: Iterable[str]) -> bool:
    """Return whether the name of a column says that its clock keeps universal time.

    Examples
    --------
    >>> says_universal(["date", "time_utc"]), says_universal(["Time (GMT)"]), says_universal(["outcome"])
    (True, True, False)
    """
    return any(_UNIVERSAL.search(name.replace("_", " ")) for name in names)


def part_of_time(name: str) -> str:
    """Return which part of the time a column's name says: year, month, day, day of year, hour, minute, or nothing.

    Examples
    --------
    >>> [part_of_time(name) for name in ("YEAR", "MO", "DOY", "Hour", "Time (HH:MM)", "Daylight")]
    ['year', 'month', 'day of year', 'hour', 'hour', '']
    """
    bare = re.sub(r"[\[(].*", "", name).strip().lower()
    parts = {"year": _YEAR, "month": _MONTH, "day of year": _DAY_OF_YEAR, "day": _DAY, "hour": _HOUR, "minute": _MINUTE}
    return next((part for part, words in parts.items() if bare in words), "")


def ends_its_rows(sample: Sample, columns: Places) -> bool:
    """Return whether the time of a row is its end: some row is of 24:00."""
    at = columns.get("time", columns.get("date", (None, "")))[0]
    return at is not None and any(_END_OF_DAY.search(word) for word in sample.words(at))
