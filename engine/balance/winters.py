"""Many years of one supply, hour by hour: what its panels give and what its loads draw.

Power is W at the bus, in local standard time. Only whole years are kept, put end to end; a day that is not known is
given the mean clearness of its month, and how many there were is told. Every day has the loads of its month's mean
day, by the clock on the wall that the house has on that day of any year (rules of 2025). Not modelled: days of the
week, loads that differ from one year to the next.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from engine.balance.forcing import drawn_hours
from engine.errors import Unreachable
from engine.house.household import Household, Supply
from engine.house.loads import total
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.series import KcSeries, dates_of, days_of_year
from engine.sky.spells import LEAST_DAYS, filled
from engine.sky.years import hours_by_year, year_of_day

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Winters:
    """Whole years of dull days, end to end.

    Attributes
    ----------
    sun_w : (n,) array
        Of the supply's own panels at the bus, after their charger, before the limit of its current [W].
    drawn_w : (n,) array
        Drawn from the bus by the loads and the inverter [W].
    month : (n / 24,) array
        Month of each day, 0 to 11.
    year : (n / 24,) array
        The year each day is counted to: the one in which its year of dull days begins.
    kind : (n / 24,) array
        Which row of loads each day has: one for each month and each clock on the wall in it.
    ac_w, dc_w : (k, 24) arrays
        Loads at the sockets and at the battery side by kind of day and hour [W].
    sun_limit_w : float
        What the inverter's limit of charging current lets through at nominal volts [W]; infinite without one.
    filled_days : int
        Days that were not known.
    """

    sun_w: Floats
    drawn_w: Floats
    month: Whole
    year: Whole
    kind: Whole
    ac_w: Floats
    dc_w: Floats
    sun_limit_w: float
    filled_days: int
    basis: str
    title: str

    @property
    def years(self) -> Whole:
        """The years, in order."""
        return np.unique(self.year)

    @property
    def load_kwh(self) -> float:
        """What the loads and the inverter draw over all years [kWh at the bus]."""
        return float(self.drawn_w.sum()) / WH_PER_KWH

    @property
    def sun_kwh(self) -> float:
        """What the own panels give over all years [kWh at the bus]."""
        return float(self.limited_sun_w(1.0).sum()) / WH_PER_KWH

    @property
    def sockets_kwh(self) -> float:
        """What the loads use over all years where they are measured [kWh]."""
        by_kind = (self.ac_w + self.dc_w).sum(axis=1)
        return float(by_kind[self.kind].sum()) / WH_PER_KWH

    @property
    def beyond_sun_kwh(self) -> float:
        """What the loads and the inverter draw beyond the sun of the same hour, over all years [kWh at the bus]."""
        return float(np.maximum(self.drawn_w - self.limited_sun_w(1.0), 0.0).sum()) / WH_PER_KWH

    def limited_sun_w(self, times: float) -> Floats:
        """Return what so many times the panels give at the bus [W], (n,)."""
        sun_w = times * self.sun_w
        return sun_w if self.sun_limit_w == inf else np.minimum(sun_w, self.sun_limit_w, out=sun_w)

    def year_of(self, hour: Whole) -> Whole:
        """Return the year an hour, or the end of one, is counted to."""
        return np.asarray(self.year[np.maximum(hour - 1, 0) // HOURS_PER_DAY])

    def loads(self, begin: int, end: int) -> tuple[Floats, Floats]:
        """Return the loads at the sockets and at the battery side from one day to another, not counted in [W]."""
        kinds = self.kind[begin:end]
        return self.ac_w[kinds].ravel(), self.dc_w[kinds].ravel()


def whole_years(series: KcSeries, latitude_deg: float) -> int:
    """Return how many years of a series are whole, so that their winters count."""
    year = year_of_day(dates_of(series.first, series.kc.size), latitude_deg)
    return int(np.unique(year[_whole(np.isfinite(filled(series.kc)), year)]).size)


def winters(household: Household, supply: Supply, series: KcSeries) -> Winters:
    """Work out the hours of a series' whole years for one supply.

    Parameters
    ----------
    series : KcSeries
        Made or measured clearness of days in a row.

    Raises
    ------
    Unreachable
        If no year of the series is whole.
    """
    dates = dates_of(series.first, series.kc.size)
    month = np.asarray(dates.astype("datetime64[M]").astype(np.int64) % 12)
    year = year_of_day(dates, household.site.latitude_deg)
    kc = filled(series.kc)
    kept = _whole(np.isfinite(kc), year)
    if not kept.any():
        raise Unreachable("No year of these days is whole: there is no winter to try a bank on.")
    known = _with_means(kc, month)
    kind, (ac_w, dc_w) = _loads_w(household, supply, month[kept], days_of_year(dates)[kept])
    drawn_w = np.array([drawn_hours(supply.inverter, ac, dc) for ac, dc in zip(ac_w, dc_w, strict=True)])
    amps, bank = supply.inverter.charge_limit_a, supply.bank
    return Winters(
        sun_w=_sun_w(household, supply, replace(series, kc=known), kept),
        drawn_w=drawn_w[kind].ravel(),
        month=month[kept],
        year=year[kept],
        kind=kind,
        ac_w=ac_w,
        dc_w=dc_w,
        sun_limit_w=inf if amps is None else amps * bank.series * bank.cell.v_nominal,
        filled_days=int((~np.isfinite(series.kc))[kept].sum()),
        basis=series.basis,
        title=series.title,
    )


_SIDES = ("ac", "battery")


def _loads_w(household: Household, supply: Supply, month: Whole, day: Whole) -> tuple[Whole, list[Floats]]:
    """The kind of each day, (days,), and the loads of each kind at the sockets and at the battery side, (k, 24) [W].

    `day` is the day of the year, 1 and up.
    """
    ahead_h = np.array(household.site.usual_year_ahead_h)[day - 1]
    kinds, kind = np.unique(np.stack([month, ahead_h], axis=1), axis=0, return_inverse=True)
    return kind.ravel(), [
        np.array([total(supply.loads, int(m) + 1, side, household.south, ahead_h=ahead) for m, ahead in kinds.tolist()])
        for side in _SIDES
    ]


def _whole(known: NDArray[np.bool_], year: Whole) -> NDArray[np.bool_]:
    """Which days are of a year that is whole."""
    numbers, place = np.unique(year, return_inverse=True)
    return np.asarray((np.bincount(place, weights=known, minlength=numbers.size) >= LEAST_DAYS)[place])


def _with_means(kc: Floats, month: Whole) -> Floats:
    """The series with days that are not known given the mean of their month."""
    unknown = ~np.isfinite(kc)
    sums = np.bincount(month, weights=np.where(unknown, 0.0, kc), minlength=12)
    days = np.maximum(np.bincount(month[~unknown], minlength=12), 1)
    return np.where(unknown, (sums / days)[month], kc)


def _sun_w(household: Household, supply: Supply, series: KcSeries, kept: NDArray[np.bool_]) -> Floats:
    mine = [array.id for array in supply.arrays]
    if not mine:
        return np.zeros(int(kept.sum()) * HOURS_PER_DAY)
    sun = replace(household.sun, arrays=tuple(array for array in household.sun.arrays if array.id in mine))
    years = [np.sum([hours[one] for one in mine], axis=0) for _, hours in hours_by_year(household.site, sun, series)]
    hours = np.concatenate(years).reshape(-1, HOURS_PER_DAY)[kept].ravel()
    return np.asarray(hours * household.sun.charger_efficiency)
