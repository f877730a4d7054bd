"""What the same days of the calendar were like in every year of a series: the spread of what may come.

Clearness kc, one number a day. Not modelled: what today's weather says of tomorrow's.
"""

from __future__ import annotations

from datetime import date

import numpy as np

from engine.sky.series import Floats, KcSeries

LEAST_AHEAD_YEARS = 10
"""Fewer years than this tell no tenth of the cases (choice)."""


def same_days(series: KcSeries, first: date, days: int) -> Floats:
    """Return the days that begin with the calendar day of `first` in each year that knows them all.

    Parameters
    ----------
    first : date
        Day and month to begin with; 29 February stands for 1 March in other years.
    days : int
        Days in a row, at least 1.

    Returns
    -------
    (years, days) array
        Clearness, the earliest year first; no rows where no year knows all the days.

    Examples
    --------
    >>> three_years = KcSeries(first=date(2001, 1, 1), kc=np.arange(1095.0), basis="made", title="")
    >>> same_days(three_years, date(2030, 12, 30), 4)[:, 0]
    array([363., 728.])
    """
    found = []
    last = series.first.year + series.kc.size // 365 + 1
    for year in range(series.first.year, last + 1):
        begin = (_that_day(first, year) - series.first).days
        window = series.kc[begin : begin + days] if begin >= 0 else series.kc[:0]
        if window.size == days and not np.isnan(window).any():
            found.append(window)
    return np.array(found, dtype=np.float64).reshape(-1, days)


def _that_day(day: date, year: int) -> date:
    leap = (day.month, day.day) == (2, 29)
    return date(year, 3, 1) if leap else day.replace(year=year)
