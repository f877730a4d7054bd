"""A household's daily log beside what its panels, as modelled, give on clear days of the same dates.

kWh of all panels, DC before the solar charger, by day of local time; NaN where a day is not known. Not modelled: a
full bank, which holds the panels back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.quantities import mean_day_of_year
from engine.sky.series import DailySeries, Floats, dates_of, days_of_year
from engine.sky.site import Site, Sun
from engine.sky.sun import yield_kwh
from engine.sky.years import year_of_day

NOTHING_SHARE = 0.005
"""Of a clear day: less is no sky but panels off, covered or unread (choice)."""
LEAST_DAYS_OF_MONTH = 20
"""Days of a month that stand for the whole of it (choice)."""
_TWILIGHT_SHARE = 0.05
"""Clear days below this share of the year's best tell nothing of the panels: the sun hardly rises (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Log:
    """Days of a log (n,): what they gave, and what a modelled clear day gives on that date [kWh].

    `year` is the one a day's dull season belongs to (`years.year_of_day`);
    `clear_by_month_kwh` are the modelled clear days of the twelve months. Both without the owner's own clear day.
    """

    dates: NDArray[np.datetime64]
    year: NDArray[np.int64]
    month: NDArray[np.int64]
    kwh: Floats
    clear_kwh: Floats
    clear_by_month_kwh: tuple[float, ...]

    @property
    def known(self) -> NDArray[np.bool_]:
        """Days with a number."""
        return np.isfinite(self.kwh)

    @property
    def lit(self) -> NDArray[np.bool_]:
        """Days with a number that a sky can give."""
        return self.known & (self.kwh >= NOTHING_SHARE * self.clear_kwh)

    @property
    def clear_share(self) -> Floats:
        """Each day over a clear one [-], (n,); NaN where it tells nothing of the panels."""
        telling = self.lit & (self.clear_kwh >= _TWILIGHT_SHARE * max(self.clear_by_month_kwh))
        return np.where(telling, self.kwh / np.where(telling, self.clear_kwh, 1.0), np.nan)


def log_of(series: DailySeries, site: Site, sun: Sun) -> Log:
    """Return a series of yield as a log of these panels.

    Raises
    ------
    InputError
        On ``arrays`` without panels, on ``log`` if the series is of radiation.
    """
    refuse_no_panels(sun)
    if series.quantity != "yield":
        raise InputError("log", "This file holds sunshine on the level, not the kWh of your panels.")
    modelled = replace(sun, clear_day_kwh=None)
    dates = dates_of(series.first, series.values.size)
    doy = days_of_year(dates)
    clear_kwh = yield_kwh(site, modelled, np.ones(366), np.arange(1, 367))
    middles = [mean_day_of_year(month) for month in range(1, 13)]
    return Log(
        dates=dates,
        year=year_of_day(dates, site.latitude_deg),
        month=dates.astype("datetime64[M]").astype(np.int64) % 12 + 1,
        kwh=series.values,
        clear_kwh=clear_kwh[doy - 1],
        clear_by_month_kwh=tuple(clear_kwh[middle - 1] for middle in middles),
    )


def refuse_no_panels(sun: Sun) -> None:
    """Refuse to read a log without panels to read it by."""
    if not sun.arrays:
        raise InputError("arrays", "Describe your panels on Sun first: a log is read against what they could give.")
