"""The spellings of dates and clocks that columns may be in. Nothing here reads a file, nor loads what does."""

from __future__ import annotations

Doubt = tuple[str, str]
"""The key of what is in doubt, and the question."""
Places = dict[str, tuple[int, str]]
"""By meaning: column, from 0, and unit."""

FARTHEST_H = 14.0
"""Farthest that a clock on Earth is from universal time [h]."""
DATES = {"y-m-d": "ymd", "d.m.y": "dmy", "m/d/y": "mdy"}
COMPACT, MONTH_WORDS, UNIX = "yyyymmdd", "d mon y", "unix time"
"""Dates without signs between (20240131, 20240131:1210), with the month as a word (31-jan-2024), and seconds or
milliseconds of universal time since 1970."""
CLOCK, HOUR, HOUR_FROM_1, HOUR_MINUTE = "h:m", "h", "h from 1", "hhmm"
"""Times of day: 13:00, 13, the 14th hour of the day, 1300."""
OF_MONTH, OF_YEAR = "of the month", "of the year"
MOST = 1e12
"""No value of a file is larger, in any unit (assumed: a meter of watt-hours after a life)."""
