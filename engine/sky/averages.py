"""How clear a month is on average, what its days give on average, and the sky behind a number of kWh.

kc is the day's horizontal radiation over that of a clear day; kWh are DC, of all arrays, before the solar charger.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine.errors import InputError
from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.mix import day_mix
from engine.sky.site import Site, Sun
from engine.sky.sun import above_air_kwh_m2, clear_day_kwh_m2, clear_day_scale, yield_kwh

Floats = NDArray[np.float64]


def mean_kc(site: Site, sun: Sun, month: int) -> float:
    """Return the mean kc of a month: the owner's, else the climate's."""
    own = sun.monthly_kc
    return (own or climates.monthly_kc(site.climate, south=site.south))[month - 1]


@lru_cache(maxsize=256)
def average_day_kwh(site: Site, sun: Sun, month: int) -> float:
    """Return what all arrays give on the average of a month's dull and bright days [kWh].

    Notes
    -----
    The days are `mix.day_mix` of the month's mean clearness. Against every day of two stations, panels
    tilted by 35 and 75 degrees: within 8 % in each month, where days that are all alike are up to 43 % low.
    """
    day = mean_day_of_year(month)
    clear_kwh_m2 = float(clear_day_kwh_m2(site, [day])[0])
    above_air = above_air_kwh_m2(site, [day])[0]
    if not clear_kwh_m2 > 0.0:
        return 0.0
    kc_per_kt = float(above_air) / clear_kwh_m2
    kc = day_mix(mean_kc(site, sun, month) / kc_per_kt) * kc_per_kt
    return float(yield_kwh(site, sun, kc, np.full(kc.size, day)).mean()) * clear_day_scale(site, sun, month)


@lru_cache(maxsize=256)
def average_day_kc(site: Site, sun: Sun, month: int) -> float:
    """Return the kc at which all arrays give `average_day_kwh`; the mean kc where there are no panels."""
    kwh = average_day_kwh(site, sun, month)
    return kc_for_kwh(site, sun, kwh, month) if kwh > 0.0 else mean_kc(site, sun, month)


@lru_cache(maxsize=256)
def kc_for_kwh(site: Site, sun: Sun, kwh: float, month: int) -> float:
    """Return the lowest kc at which all arrays give `kwh` on the average day of a month.

    Raises
    ------
    InputError
        On the field ``sun.dull_day_kwh`` if no sky gives that much in that month.
    """
    day, scale = mean_day_of_year(month), clear_day_scale(site, sun, month)

    def given(kc: ArrayLike) -> Floats:
        return yield_kwh(site, sun, kc, np.full(np.size(kc), day)) * scale

    grid = np.linspace(0.0, climates.KC_MAX, 45)
    enough = np.flatnonzero(given(grid) >= kwh)
    if not enough.size:
        raise InputError(
            "sun.dull_day_kwh",
            f"Dull day cannot be {kwh:g} kWh: these panels give at most {given(grid).max():.3g} kWh "
            f"on any day in {climates.MONTH_NAMES[month - 1]}.",
        )
    low, high = grid[max(enough[0] - 1, 0)], grid[enough[0]]
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (low, middle) if given(middle)[0] >= kwh else (middle, high)
    return float(high)
