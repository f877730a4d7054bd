"""A meter's rows by the hour of the house's standard time, each hour with the share of it that is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

import numpy as np
from numpy.typing import NDArray

from engine.meter.log import MeterLog
from engine.text.clocks import DAY_S

Floats = NDArray[np.float64]

HOUR_S = 3600.0
LEAST_KNOWN = 0.75
"""An hour is known where so much of it is; a day where so many hours of it are (judgement)."""
_OVERHANG_S = 60.0
"""A last row that reaches so little over midnight makes no further day (judgement: a clock a moment late)."""
_EPOCH = date(1970, 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeterHours:
    """Means over each hour of days in a row.

    Attributes
    ----------
    first : date
        Day of the first row, in the house's standard time.
    values : mapping of str to (days, 24) array
        Means by the keys of `engine.meter.log.QUANTITIES`; NaN where less than `LEAST_KNOWN` of the hour is known.
    """

    first: date
    values: Mapping[str, Floats]

    @property
    def days(self) -> int:
        """How many days there are, known or not."""
        return next(iter(self.values.values())).shape[0] if self.values else 0

    @property
    def dates(self) -> NDArray[np.datetime64]:
        """The date of each day."""
        return np.datetime64(self.first, "D") + np.arange(self.days)

    def daily_kwh(self, key: str) -> Floats:
        """Return the energy of each day [kWh], NaN where less than `LEAST_KNOWN` of its hours are known.

        What is not known of a day counts as the mean of that hour of day over the ten days around it.
        """
        hours = self.values[key]
        known = np.isfinite(hours).sum(axis=1) >= LEAST_KNOWN * 24
        usual = _usual(hours)
        whole = np.where(np.isfinite(hours), hours, usual)
        return np.where(known, np.nansum(whole, axis=1) / 1000.0, np.nan)


def _usual(hours: Floats, around: int = 5) -> Floats:
    """The mean of each hour of day over the days around each day; zero where none is known."""
    known = np.isfinite(hours)
    total = np.cumsum(np.vstack([np.zeros((1, 24)), np.where(known, hours, 0.0)]), axis=0)
    count = np.cumsum(np.vstack([np.zeros((1, 24)), known]), axis=0)
    days = np.arange(hours.shape[0])
    low, high = np.maximum(days - around, 0), np.minimum(days + around + 1, hours.shape[0])
    usual: Floats = (total[high] - total[low]) / np.maximum(count[high] - count[low], 1)
    return usual


def by_hour(log: MeterLog, utc_offset_h: float) -> MeterHours:
    """Return a log by the hour.

    Parameters
    ----------
    log : MeterLog
        At least one row.
    utc_offset_h : float
        The house's standard time ahead of universal time [h].
    """
    first, days = days_of(log, utc_offset_h)
    begin_s = log.start_s + utc_offset_h * HOUR_S - (first - _EPOCH).days * DAY_S
    values = {key: _means(begin_s, log.step_s, column, days) for key, column in log.values.items()}
    return MeterHours(first=first, values=values)


def days_of(log: MeterLog, utc_offset_h: float) -> tuple[date, int]:
    """Return the first day of a log in the house's standard time, and how many days it reaches over."""
    begin_s = log.start_s[-1] + utc_offset_h * HOUR_S
    end_s = max(begin_s, begin_s + log.step_s[-1] - _OVERHANG_S) + 1e-3
    first_day = int((log.start_s[0] + utc_offset_h * HOUR_S) // DAY_S)
    return _EPOCH + timedelta(days=first_day), ceil(end_s / DAY_S) - first_day


def _means(begin_s: Floats, step_s: Floats, column: Floats, days: int) -> Floats:
    """Means of a column over the hours; a row that reaches over hours is shared out among them."""
    known = np.isfinite(column)
    begin, end = begin_s[known], begin_s[known] + step_s[known]
    edges = np.arange(days * 24 + 1, dtype=np.float64) * HOUR_S
    times = np.concatenate([begin, end])
    order = np.argsort(times, kind="stable")
    weight: Floats = np.repeat([1.0, -1.0], begin.size)[order]
    worth: Floats = np.concatenate([column[known], -column[known]])[order]
    length, total = _running(times[order], weight, edges), _running(times[order], worth, edges)
    seconds, sums = np.diff(length), np.diff(total)
    enough = seconds >= LEAST_KNOWN * HOUR_S
    return np.where(enough, sums / np.maximum(seconds, 1.0), np.nan).reshape(days, 24)


def _running(times: Floats, change: Floats, edges: Floats) -> Floats:
    """What has come together by each edge of a rate that changes by `change` at `times`."""
    rate = np.cumsum(change)
    gathered = np.concatenate([[0.0], np.cumsum(rate[:-1] * np.diff(times))]) if times.size else np.zeros(0)
    if not times.size:
        return np.zeros(edges.size)
    at = np.searchsorted(times, edges, side="right") - 1
    inside = at >= 0
    place = np.maximum(at, 0)
    return np.where(inside, gathered[place] + rate[place] * (edges - times[place]), 0.0)
