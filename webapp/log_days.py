"""A meter's log by the day: energies, the charge that was shown, and what is missing between; plain numbers.

Days are those of the clock on the wall, summer time in it; a row that is a whole day, as of a file of dates, is that
day's. What flows into and out of the bank is told apart row by row, before anything is put together.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from functools import lru_cache
from weakref import WeakKeyDictionary
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from engine.meter.clock import standard_clock
from engine.meter.hours import HOUR_S, MeterHours, by_hour
from engine.meter.log import QUANTITIES, MeterLog
from engine.text.clocks import DAY_S
from webapp import meter_store
from webapp.log_words import UNITS, WORDS, moment
from webapp.meter_store import MeterFile, Whole
from webapp.render import figures
from webapp.store import Store

Floats = NDArray[np.float64]

ENERGIES = {
    "yield_w": "yield",
    "load_w": "load at the sockets",
    "load_dc_w": "load at the battery side",
    "bank_in_w": "into the bank",
    "bank_out_w": "out of the bank",
    "generator_w": "generator or grid",
}
"""What is told of each day [kWh], in this order."""
_DIGITS = {"W": 3, "A": 3, "V": 4, "%": 3, "°C": 3}
_GAP_S = 1.0
_WHOLE_DAY_S = 23.5 * HOUR_S
"""Less is the row of the day on which the clock on the wall is put on."""
REMEMBERED = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Some rows of a log as they were read, for reading."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogDays:
    """What a log holds.

    Attributes
    ----------
    rows : int
    begin_s, end_s : float
        When its first row begins and its last one ends [s since 1970, universal time].
    step_s : float
        The usual length of a row [s].
    known : tuple of str
        Keys of `engine.meter.log.QUANTITIES` that some row knows.
    gaps : tuple of (float, float)
        Begin and length of each stretch without rows [s].
    dates : tuple of date
    kwh : dict of str to (days,) array
        By the keys of `ENERGIES`; NaN where less than three quarters of a day are known.
    charge : (3, days) array or None
        Least, mean and highest charge of each day, as a share; NaN where the monitor showed none.
    first : Table
    clock : tzinfo
        By which its times are told: that on the wall, or standard time where its rows are whole days.
    """

    rows: int
    begin_s: float
    end_s: float
    step_s: float
    known: tuple[str, ...]
    gaps: tuple[tuple[float, float], ...]
    dates: tuple[date, ...]
    kwh: dict[str, Floats]
    charge: Floats | None
    first: Table
    clock: tzinfo


def days_of(log: MeterLog, utc_offset_h: float, zone: ZoneInfo, first_rows: int) -> LogDays:
    """Return a log by the day.

    Parameters
    ----------
    log : MeterLog
        At least one row.
    utc_offset_h : float
        The house's standard time ahead of universal time [h].
    """
    known = tuple(key for key in QUANTITIES if key in log.values and np.isfinite(log.values[key]).any())
    moved = _on_the_wall(_flows(log, known), utc_offset_h, zone)
    whole_days = np.unique((moved.start_s[_whole_days(log, zone)] + utc_offset_h * HOUR_S) // DAY_S)
    hours = _by_the_wall(by_hour(moved, utc_offset_h), zone, whole_days.astype("datetime64[D]").tolist())
    end_s = log.start_s + log.step_s
    hole_s = log.start_s[1:] - end_s[:-1]
    at = np.flatnonzero(hole_s > _GAP_S)
    return LogDays(
        rows=log.rows,
        begin_s=float(log.start_s[0]),
        end_s=float(end_s[-1]),
        step_s=usual_step_s(log),
        known=known,
        gaps=tuple(zip(end_s[at].tolist(), hole_s[at].tolist(), strict=True)),
        dates=tuple(hours.dates.tolist()),
        kwh={key: hours.daily_kwh(key) for key in ENERGIES if key in hours.values},
        charge=_charge(hours),
        first=first_table(log, zone, first_rows),
        clock=clock_of(log, zone),
    )


def _flows(log: MeterLog, known: Sequence[str]) -> MeterLog:
    """What is put together by the day, with what flows into the bank and out of it told apart."""
    values = {key: log.values[key] for key in known if key in ENERGIES or key == "charge"}
    if "bank_w" in known:
        flow = log.values["bank_w"]
        values |= {"bank_in_w": np.maximum(flow, 0.0), "bank_out_w": np.maximum(-flow, 0.0)}
    # Something of each row is put together in any case: the days are those of the rows.
    return dataclasses.replace(log, values=values or dict(list(log.values.items())[:1]))


def _on_the_wall(log: MeterLog, utc_offset_h: float, zone: ZoneInfo) -> MeterLog:
    """The log with its rows moved by what the clock on the wall is ahead of standard time, but for whole days."""
    days_s = np.arange(log.start_s[0] // DAY_S - 1.0, log.start_s[-1] // DAY_S + 3.0) * DAY_S
    ahead_s = [_ahead_s(at_s, zone) for at_s in days_s.tolist()]
    changed = [n for n in range(1, len(ahead_s)) if ahead_s[n] != ahead_s[n - 1]]
    edges_s = [_changes_at_s(days_s[n - 1], days_s[n], zone) for n in changed]
    offsets_s = np.array([ahead_s[0], *(ahead_s[n] for n in changed)]) - utc_offset_h * HOUR_S
    moved_s = offsets_s[np.searchsorted(edges_s, log.start_s, side="right")]
    own_s = _standard_s(log, zone) - utc_offset_h * HOUR_S
    return dataclasses.replace(log, start_s=log.start_s + np.where(_whole_days(log, zone), own_s, moved_s))


def _whole_days(log: MeterLog, zone: ZoneInfo) -> NDArray[np.bool_]:
    """Which rows are a day each, as a file of dates has them: they lie from midnight to midnight of standard time."""
    return (log.step_s >= _WHOLE_DAY_S) & ((log.start_s + _standard_s(log, zone)) % DAY_S < 1.0)


def _standard_s(log: MeterLog, zone: ZoneInfo) -> float:
    """How far standard time is ahead of universal time [s]."""
    return _ahead_s(0.0, standard_clock(zone, log.start_s))


def clock_of(log: MeterLog, zone: ZoneInfo) -> tzinfo:
    """Return the clock by which times of a log are told: standard time where most of its rows are whole days."""
    return standard_clock(zone, log.start_s) if _whole_days(log, zone).mean() > 0.5 else zone


def _ahead_s(at_s: float, zone: tzinfo) -> float:
    """How far a clock is ahead of universal time [s]."""
    ahead = datetime.fromtimestamp(at_s, zone).utcoffset()
    assert ahead is not None
    return ahead.total_seconds()


def _changes_at_s(before_s: float, after_s: float, zone: ZoneInfo) -> float:
    """The moment between two at which the clock is put on or back [s since 1970]."""
    first = _ahead_s(before_s, zone)
    while after_s - before_s > 1.0:
        middle_s = (before_s + after_s) // 2.0
        before_s, after_s = (middle_s, after_s) if _ahead_s(middle_s, zone) == first else (before_s, middle_s)
    return after_s


def _by_the_wall(hours: MeterHours, zone: ZoneInfo, whole_days: Collection[date]) -> MeterHours:
    """The hours with the one that a clock put back shows twice counted twice, and the one it leaves out as nothing.

    A day that is one row has its energy without.
    """
    values = {key: column.copy() for key, column in hours.values.items()}
    for n, day in enumerate(hours.dates.tolist()):
        for hour, times in () if day in whole_days else _odd_hours(day, zone):
            for key in values.keys() & ENERGIES.keys():
                values[key][n, hour] = times * values[key][n, hour] if times else 0.0
    return dataclasses.replace(hours, values=values)


def _odd_hours(day: date, zone: ZoneInfo) -> list[tuple[int, float]]:
    """Hours of a day by the clock on the wall that come twice or not at all, with how often."""
    midnight, hour_s = datetime(day.year, day.month, day.day, tzinfo=zone), timedelta(hours=1)
    if midnight.utcoffset() == (midnight + timedelta(days=1)).utcoffset():
        return []
    found = []
    for hour in range(24):
        first = midnight.replace(hour=hour).utcoffset() or timedelta()
        again = midnight.replace(hour=hour, fold=1).utcoffset() or timedelta()
        if first != again:
            found.append((hour, 1.0 + (first - again) / hour_s))
    return found


def _charge(hours: MeterHours) -> Floats | None:
    if "charge" not in hours.values:
        return None
    shown = hours.values["charge"]
    seen = np.isfinite(shown)
    some = seen.any(axis=1)
    low = np.where(seen, shown, np.inf).min(axis=1)
    high = np.where(seen, shown, -np.inf).max(axis=1)
    mean = np.where(seen, shown, 0.0).sum(axis=1) / np.maximum(seen.sum(axis=1), 1)
    return np.where(some, np.stack((low, mean, high)), np.nan)


def usual_step_s(log: MeterLog) -> float:
    """Return the usual length of a row [s]: that of the rows in which half of the time lies."""
    step_s = np.sort(log.step_s)
    passed_s = np.cumsum(step_s)
    return float(step_s[np.searchsorted(passed_s, passed_s[-1] / 2.0)])


def first_table(log: MeterLog, zone: ZoneInfo, rows: int) -> Table:
    """Return the first rows of a log, as they are read."""
    keys = [key for key in QUANTITIES if key in log.values]
    header = tuple(f"{WORDS[key][0].upper()}{WORDS[key][1:]}, {UNITS[key]}" for key in keys)
    lines, clock = [], clock_of(log, zone)
    for n in range(min(rows, log.rows)):
        cells = tuple(_written(key, float(log.values[key][n])) for key in keys)
        lines.append((moment(float(log.start_s[n]), clock), cells))
    return Table(header=header, rows=tuple(lines))


def _written(key: str, value: float) -> str:
    if not np.isfinite(value):
        return "–"
    return figures(value * 100.0 if UNITS[key] == "%" else value, _DIGITS[UNITS[key]])


def days_of_file(store: Store, kept: MeterFile, utc_offset_h: float, zone: ZoneInfo, first_rows: int) -> LogDays:
    """Return what one file holds, and remember it.

    Raises
    ------
    InputError
        If nothing is kept of what it says.
    """
    return _of_file(store, kept.id, repr((kept.made_at, kept.choices)), utc_offset_h, zone.key, first_rows)


@lru_cache(maxsize=REMEMBERED)
def _of_file(store: Store, file_id: int, read_so: str, utc_offset_h: float, zone: str, first_rows: int) -> LogDays:
    """Two readings of one file by the same choices are the same days."""
    return days_of(meter_store.rows(store, file_id), utc_offset_h, ZoneInfo(zone), first_rows)


_WHOLES: WeakKeyDictionary[Whole, tuple[tuple[float, str], LogDays]] = WeakKeyDictionary()


def days_of_whole(whole: Whole, utc_offset_h: float, zone: ZoneInfo, first_rows: int) -> LogDays:
    """Return what all files of a household hold together, which are some rows, and remember it as long as they."""
    asked = (utc_offset_h, zone.key)
    found = _WHOLES.get(whole)
    if found is None or found[0] != asked:
        found = _WHOLES[whole] = (asked, days_of(whole.log, utc_offset_h, zone, first_rows))
    return found[1]
