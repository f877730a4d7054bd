"""The time of each row: dates and clocks of any spelling to seconds since 1970 on the file's own clock.

A date may stand in one column, or its year, month and day in several. Not modelled: leap seconds.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from engine.errors import InputError
from engine.text.clocks import DAY_S, date_s
from engine.text.delimited import Parser
from engine.text.time_units import (
    CLOCK,
    COMPACT,
    DATES,
    HOUR_FROM_1,
    HOUR_MINUTE,
    MONTH_WORDS,
    OF_YEAR,
    UNIX,
    Places,
)

Floats = NDArray[np.float64]
Words = NDArray[np.object_]

HOUR_S = 3600.0
_MILLI_ABOVE, _YEAR_2200_S = 1e11, 7.258e9
ZONE = re.compile(r"\d:\d\d(?::\d\d)?(?:[.,]\d+)?\s?(Z|[+-]\d\d(?::?\d\d)?)$")
"""A clock with its own offset from universal time behind it."""
_MONTHS = {
    name: n + 1
    for n, names in enumerate(
        ("jan ene", "feb fev", "mar mär mrt maa", "apr abr avr", "may mai mei", "jun", "jul", "aug ago", "sep")
    )
    for name in names.split()
} | {"oct": 10, "okt": 10, "out": 10, "nov": 11, "dec": 12, "dez": 12, "dic": 12, "déc": 12, "fév": 2}
WORDED = re.compile(r"(\d{1,2})[-/. ]+([^\W\d_]{3})[^\W\d_]*\.?[-/., ]+(\d{2,4})\b(.*)")
_PARTS = ("date", "time", "year", "month", "day", "minute")


def parser(key: str, unit: str, *, zone_written: bool = False) -> Parser | None:
    """Return what makes numbers of a column's texts; None where it holds plain numbers."""
    if key == "date":
        return _each_once(_zoned(DATES[unit]) if zone_written and unit in DATES else date_parser(unit))
    return _each_once(_clock) if unit == CLOCK else None


def _each_once(parse: Parser) -> Parser:
    """Read each text once, however often it stands there: days repeat for each hour, clocks for each day."""

    def read(texts: Words) -> Floats:
        which, unique = pd.factorize(texts)
        return np.asarray(parse(np.asarray(unique, dtype=object))[which])

    return read


def date_parser(unit: str) -> Parser:
    """Return what makes seconds since 1970 of dates, with or without a time of day."""
    if unit in (COMPACT, UNIX):
        return compact_s if unit == COMPACT else unix_s
    return worded_s if unit == MONTH_WORDS else (lambda texts: date_s(texts, DATES[unit]))


def day_column(columns: Places) -> str:
    """Return the meaning whose column is to blame where the time of rows cannot be read: what tells the day.

    Examples
    --------
    >>> day_column({"time": (3, CLOCK), "day": (2, ""), "month": (1, ""), "year": (0, "")})
    'year'
    """
    return "date" if "date" in columns else "year"


def time_columns(columns: Places) -> list[str]:
    """Return the meanings that make the time of a row, of those that have a column."""
    return [key for key in _PARTS if key in columns]


def tells_the_day(columns: Places) -> bool:
    """Return whether columns tell the day of a row: in one, or as year and day of it, or year, month and day.

    Examples
    --------
    >>> tells_the_day({"year": (0, ""), "day": (1, OF_YEAR)}), tells_the_day({"day": (1, OF_YEAR), "time": (2, CLOCK)})
    (True, False)
    """
    apart = {"year", "day"} <= columns.keys() and ("month" in columns or columns["day"][1] == OF_YEAR)
    return "date" in columns or apart


def without_day(columns: Places) -> list[InputError]:
    """Return what is to be said of columns that do not tell the day of a row, if anything."""
    text = "Date has no column yet: choose it, or year, month and day apart."
    return [] if tells_the_day(columns) else [InputError("date", text)]


def stamps_s(values: Mapping[str, Floats], columns: Places) -> Floats:
    """Return the time of each row [s since 1970]; NaN where it is none.

    Parameters
    ----------
    values : mapping of str to (n,) array
        Each of `time_columns`, as its parser or its plain numbers gave it.
    """
    whole = values["date"] if "date" in values else _from_parts(values, columns["day"][1])
    if "time" in values:
        whole = whole + _time_s(values["time"], columns["time"][1])
    return whole + 60.0 * _within(values["minute"], 0, 60) if "minute" in values else whole


def _from_parts(values: Mapping[str, Floats], counted: str) -> Floats:
    """Seconds of dates whose year, month and day stand apart, the day being of the month or of the year."""
    year, day = _within(values["year"], 0, 2199), _within(values["day"], 1, 366 if counted == OF_YEAR else 31)
    year = np.where(year < 100, year + np.where(year < 70, 2000, 1900), year)
    month = np.ones_like(day) if counted == OF_YEAR else _within(values["month"], 1, 12)
    fit = (year >= 1900) & np.isfinite(month) & np.isfinite(day)
    months = (np.where(fit, year, 1970).astype(np.int64) - 1970) * 12 + np.where(fit, month, 1).astype(np.int64) - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return np.where(fit, (first + day - 1) * DAY_S, np.nan)


def _within(value: Floats, low: float, high: float) -> Floats:
    """Numbers that can be what they should; NaN for the others."""
    return np.where((value >= low) & (value <= high), value, np.nan)


def _time_s(time: Floats, unit: str) -> Floats:
    if unit == CLOCK:
        return time
    if unit == HOUR_MINUTE:
        time = _within(time, 0, 2400)
        return time // 100 * HOUR_S + time % 100 * 60.0
    return _within(time - 1.0 if unit == HOUR_FROM_1 else time, 0, 24) * HOUR_S


def compact_s(texts: Words) -> Floats:
    """Return seconds since 1970 of dates without signs between their parts.

    Examples
    --------
    >>> compact_s(np.array(["19700102", "19700102:0010", "1970010201", "197001"], dtype=object)).tolist()
    [86400.0, 87000.0, 90000.0, nan]
    """
    digits = pd.Series(texts, dtype="str").str.replace(r"\D", "", regex=True)
    fit = digits.str.len().isin((8, 10, 12, 14)).to_numpy(dtype=bool)
    number = digits.where(fit, "19700101").str.ljust(14, "0").to_numpy(dtype=object).astype(np.int64)
    of_day = number % 1_000_000
    spelt = {"year": number // 10**10, "month": number // 10**8 % 100, "day": number // 10**6 % 100}
    days = _from_parts({key: part.astype(np.float64) for key, part in spelt.items()}, "")
    seconds = days + of_day // 10_000 * HOUR_S + of_day // 100 % 100 * 60.0 + of_day % 100
    return np.where(fit, seconds, np.nan)


def unix_s(texts: Words) -> Floats:
    """Return seconds since 1970 of such seconds, or milliseconds where that would be after the year 5000.

    Examples
    --------
    >>> unix_s(np.array(["1700000000", "1700000000500", "late"], dtype=object)).tolist()
    [1700000000.0, 1700000000.5, nan]
    """
    number = pd.to_numeric(pd.Series(texts, dtype="str"), errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return _within(np.where(number > _MILLI_ABOVE, number / 1000.0, number), 0.0, _YEAR_2200_S)


def worded_s(texts: Words) -> Floats:
    """Return seconds since 1970 of dates with the month as a word.

    Examples
    --------
    >>> worded_s(np.array(["02-jan-1970", "1 Mai 1970 01:00", "1 Foo 1970"], dtype=object)).tolist()
    [86400.0, 10371600.0, nan]
    """
    return date_s([_in_digits(str(text)) for text in texts], "dmy")


def _in_digits(text: str) -> str:
    found = WORDED.match(text.strip())
    month = _MONTHS.get(found[2].lower()) if found else None
    return f"{found[1]}.{month}.{found[3]} {found[4]}" if found and month else ""


def _clock(texts: Words) -> Floats:
    """Seconds of the day; 24:00 is the day's end."""
    return date_s(["1970-01-01 " + str(text) for text in texts], "ymd")


def _zoned(order: str) -> Parser:
    """What makes universal time of dates that say their own offset; a date without one is none."""

    def parse(texts: Words) -> Floats:
        found = [ZONE.search(str(text).strip()) for text in texts]
        bare = [str(text).strip()[: one.start(1)] if one else "" for text, one in zip(texts, found, strict=True)]
        local_s: Floats = date_s(bare, order)
        return local_s - np.array([_offset_s(one[1]) if one else 0.0 for one in found], dtype=np.float64)

    return parse


def _offset_s(written: str) -> float:
    """Seconds of an offset such as Z, +01:00 or -0330.

    Examples
    --------
    >>> [_offset_s(text) for text in ("Z", "+01:00", "-0330", "+02")]
    [0.0, 3600.0, -12600.0, 7200.0]
    """
    if written == "Z":
        return 0.0
    digits = written[1:].replace(":", "").ljust(4, "0")
    return (-1.0 if written[0] == "-" else 1.0) * (int(digits[:2]) * HOUR_S + int(digits[2:]) * 60.0)
