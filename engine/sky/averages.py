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
from engine.sky import local
from engine.sky.mix import day_mix
from engine.sky.site import Site, Sun
from engine.sky.sun import above_air_kwh_m2, clear_day_kwh_m2, yield_kwh

Floats = NDArray[np.float64]

DAYS_IN_MONTH = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
CLEAREST_MONTH_KC = 1.0
"""A month of nothing but clear days: the most that the owner's own kWh are believed to mean."""
DARKEST_MONTH_KC = 0.1
"""About the darkest month that the distribution of days can have (mean Kt 0.08)."""

_GRID = np.linspace(0.0, climates.KC_MAX, 45)
_PARTS, _ROUNDS = 16, 9
"""Each round cuts a bracket into so many parts: nine bring it below 1e-12."""


def own_months(sun: Sun) -> tuple[bool, ...]:
    """Return of the twelve months, January first, whether their clearness is by the owner's own numbers."""
    kwh = sun.monthly_kwh if sun.monthly_kwh and sun.arrays else (None,) * 12
    return tuple(bool(sun.monthly_kc) or one is not None for one in kwh)


def mean_kc(site: Site, sun: Sun, month: int) -> float:
    """Return the mean kc of a month: by the owner's own kWh of it, else by the owner's kc, else the place's."""
    if _own_day_kwh(sun, month) is not None:
        return _kc_by_own_kwh(site, sun, month)
    return (sun.monthly_kc or local.monthly_kc(site))[month - 1]


@lru_cache(maxsize=256)
def average_day_kwh(site: Site, sun: Sun, month: int) -> float:
    """Return what all arrays give on the average of a month's dull and bright days [kWh].

    Notes
    -----
    The days are `mix.day_mix` of the month's mean clearness. Against every day of two stations, panels
    tilted by 35 and 75 degrees: within 8 % in each month, where days that are all alike are up to 38 % low.
    Where the owner gave the kWh of the month, those, but no more than a month of clear days.
    """
    own = _own_day_kwh(sun, month)
    if own is not None:
        return min(own, mixed_kwh(site, sun, month, CLEAREST_MONTH_KC))
    return mixed_kwh(site, sun, month, mean_kc(site, sun, month))


@lru_cache(maxsize=32)
def darkest_month(site: Site, sun: Sun) -> int:
    """Return the month whose average day gives these panels least; without panels, that of the shortest day."""
    if not sun.arrays:
        return 6 if site.south else 12
    kc = np.array([average_day_kc(site, sun, month) for month in range(1, 13)])
    days = np.array([mean_day_of_year(month) for month in range(1, 13)])
    return int(np.argmin(yield_kwh(site, sun, kc, days))) + 1


@lru_cache(maxsize=512)
def mixed_kwh(site: Site, sun: Sun, month: int, kc: float) -> float:
    """Return what all arrays give on the average of the days of a month whose mean clearness is `kc` [kWh]."""
    days = mixed_kc(site, month, kc)
    return float(yield_kwh(site, sun, days, np.full(days.size, mean_day_of_year(month))).mean()) if days.size else 0.0


def mixed_kc(site: Site, month: int, kc: float) -> Floats:
    """Return the clearness of the days of a month whose mean clearness is `kc`; no days where there is no sun."""
    day = mean_day_of_year(month)
    clear_kwh_m2 = float(clear_day_kwh_m2(site, [day])[0])
    if not clear_kwh_m2 > 0.0:
        return np.zeros(0)
    kc_per_kt = float(above_air_kwh_m2(site, [day])[0]) / clear_kwh_m2
    return day_mix(kc / kc_per_kt, 1.0 / kc_per_kt) * kc_per_kt


def _own_day_kwh(sun: Sun, month: int) -> float | None:
    """A day of the month by the owner's own kWh; None where none is given or there are no panels to give it."""
    own = sun.monthly_kwh[month - 1] if sun.monthly_kwh and sun.arrays else None
    return None if own is None else own / DAYS_IN_MONTH[month - 1]


@lru_cache(maxsize=256)
def _kc_by_own_kwh(site: Site, sun: Sun, month: int) -> float:
    """The mean kc whose days give the owner's kWh of a month, at most the clearest that is believed.

    Below the darkest month all its days are made darker in step; a month without sun has the place's clearness.
    """
    wanted = _own_day_kwh(sun, month) or 0.0
    skies = np.linspace(0.0, climates.KC_MAX, 111)
    given = yield_kwh(site, sun, skies, np.full(skies.size, mean_day_of_year(month)))
    if not given.max() > 0.0:
        return local.monthly_kc(site)[month - 1]
    low, high = 0.0, CLEAREST_MONTH_KC
    for _ in range(40):
        middle = (low + high) / 2.0
        like = max(middle, DARKEST_MONTH_KC)
        days = np.interp(mixed_kc(site, month, like) * middle / like, skies, given)
        low, high = (low, middle) if days.mean() >= wanted else (middle, high)
    return high


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
    most_kwh = _most_kwh(site, sun, month)
    if kwh > most_kwh:
        raise InputError("sun.dull_day_kwh", f"Dull day cannot be {_too_much(kwh, most_kwh, month)}")
    return float(_lowest_kc(site, sun, np.array([kwh]), month)[0])


def kc_of_days(site: Site, sun: Sun, kwh: ArrayLike, month: int) -> Floats:
    """Return the lowest kc at which all arrays give each of several days' kWh on the average day of a month.

    Raises
    ------
    InputError
        On the field ``sky`` if no sky gives one of them in that month.
    """
    wanted = np.atleast_1d(np.asarray(kwh, dtype=np.float64))
    most_kwh = _most_kwh(site, sun, month)
    if wanted.max() > most_kwh:
        raise InputError("sky", f"A day cannot be {_too_much(float(wanted.max()), most_kwh, month)}")
    return _lowest_kc(site, sun, wanted, month)


def _too_much(kwh: float, most_kwh: float, month: int) -> str:
    """Say that no day of a month gives so many kWh, after “… cannot be”."""
    return f"{kwh:g} kWh: these panels give at most {most_kwh:.3g} kWh on any day in {climates.MONTH_NAMES[month - 1]}."


def _given_kwh(site: Site, sun: Sun, kc: Floats, month: int) -> Floats:
    """What all arrays give at each kc on the average day of a month."""
    return yield_kwh(site, sun, kc, np.full(kc.size, mean_day_of_year(month)))


def _most_kwh(site: Site, sun: Sun, month: int) -> float:
    return float(_given_kwh(site, sun, _GRID, month).max())


def _lowest_kc(site: Site, sun: Sun, kwh: Floats, month: int) -> Floats:
    """Search all days at once, each between the first kc of the grid that is enough and the one before it."""
    enough = _given_kwh(site, sun, _GRID, month) >= kwh[:, None]
    first = enough.argmax(axis=1)
    low, high = _GRID[np.maximum(first - 1, 0)], _GRID[first]
    every = np.arange(kwh.size)
    for _ in range(_ROUNDS):
        places = np.linspace(low, high, _PARTS + 1, axis=1)
        enough = _given_kwh(site, sun, places.ravel(), month).reshape(places.shape) >= kwh[:, None]
        enough[:, -1] = True
        first = enough.argmax(axis=1)
        low, high = places[every, np.maximum(first - 1, 0)], places[every, first]
    return np.asarray(high)
