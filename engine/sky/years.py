"""Years of days in a row: where a year of dull days begins, and what the panels give through it, hour by hour.

North of 25 degrees a year runs from July to June, so that one winter is not cut in two; elsewhere it is the
calendar's. kWh and watts are DC of all panels, before the solar charger; a day that is not known is NaN. Not
modelled: snow.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from datetime import date
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.series import Floats, KcSeries, dates_of, days_of_year
from engine.sky.site import Site, Sun
from engine.sky.sun import array_hours

WINTER_YEARS_FROM_DEG = 25.0
"""Latitude north of which years run from July to June (choice: the dull season is the winter there)."""


def first_month(latitude_deg: float) -> int:
    """Return the month a year of dull days begins with, 7 or 1."""
    return 7 if latitude_deg > WINTER_YEARS_FROM_DEG else 1


def year_of_day(dates: NDArray[np.datetime64], latitude_deg: float) -> NDArray[np.int64]:
    """Return the year each date is counted to: the one in which its year of dull days begins.

    Examples
    --------
    >>> year_of_day(dates_of(date(2024, 6, 30), 2), 52.0).tolist()
    [2023, 2024]
    """
    months = dates.astype("datetime64[M]") - (first_month(latitude_deg) - 1)
    return np.asarray(months.astype("datetime64[Y]").astype(np.int64) + 1970)


def hours_by_year(site: Site, sun: Sun, series: KcSeries) -> Iterator[tuple[date, dict[str, Floats]]]:
    """Yield each year's first day and each array's mean DC power by hour, one year at a time.

    Parameters
    ----------
    series : KcSeries
        Clearness of days in a row; its first and last year may be parts of one.

    Yields
    ------
    (date, dict of str to (n * 24,) array)
        First day of the n days of the year that the series holds, and power before the solar charger by hour of
        local standard time [W], by the array's id; NaN on days that are not known.
    """
    free = dataclasses.replace(sun, covered_days=0)
    dates = dates_of(series.first, series.kc.size)
    of_year = year_of_day(dates, site.latitude_deg)
    doy = days_of_year(dates)
    starts = np.flatnonzero(np.diff(of_year, prepend=of_year[:1] - 1))
    for start, end in zip(starts, [*starts[1:], dates.size], strict=True):
        yield dates[start].item(), array_hours(site, free, series.kc[start:end], doy[start:end])


@lru_cache(maxsize=16)
def daily_kwh(site: Site, sun: Sun, series: KcSeries) -> Floats:
    """Return what all panels give on each day of a series [kWh], (n,), not to be written to; NaN where not known."""
    if not sun.arrays:
        return np.zeros(series.kc.size)
    years = [
        sum(arrays.values(), np.zeros(1)).reshape(-1, HOURS_PER_DAY).sum(axis=1)
        for _, arrays in hours_by_year(site, sun, series)
    ]
    kwh: Floats = np.concatenate(years) / WH_PER_KWH
    kwh.flags.writeable = False
    return kwh
