"""The sky of one site: how clear its months are, what its clear day is, and where both are from.

kc is the day's horizontal radiation over that of a clear day of the same date. The clear day is always the place's
own; the months' mean kc are the place's own too, or those of the climate that the householder chose. What the owner
typed or measured goes before all of it (`averages.mean_kc`).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine.quantities import HOURS_PER_DAY, WH_PER_KWH, mean_day_of_year
from engine.sky import climate as climates
from engine.sky import world
from engine.sky.irradiance import haurwitz_w_m2, ineichen_w_m2
from engine.sky.position import SOLAR_CONSTANT_W_M2, extraterrestrial_kwh_m2, lifted, orbit, track
from engine.sky.site import Site
from engine.sources import Source

Floats = NDArray[np.float64]

LEAST_KC, MOST_KC = 0.05, 1.0
"""Ends of a month's mean kc from the table (judgement)."""
LEAST_NOON_DEG = 10.0
"""A month whose noon sun stands lower has no clearness of its own, a quotient of two small numbers; it gets that of the
months beside it (judgement)."""
MOST_FACTOR = 2.0
"""Highest clear day over Haurwitz's: it is met only where the noon sun stands below 2 degrees (judgement)."""
_DAYS = np.arange(1, 367)
_MIDDLES = [mean_day_of_year(month) for month in range(1, 13)]


def monthly_kc(site: Site) -> tuple[float, ...]:
    """Return the mean kc of the twelve months at a site [-], January first."""
    if site.climate == world.WORLD:
        return _world_kc(site.latitude_deg, site.longitude_deg)
    return climates.monthly_kc(site.climate, south=site.south)


def clear_sky_factor(site: Site, days: ArrayLike) -> Floats:
    """Return the clear day of a site over Haurwitz's formula.

    Parameters
    ----------
    days : (n,) array_like
        Days of the year; beyond a year they go round.

    Returns
    -------
    (n,) array
        Ineichen's clear day with the turbidity and altitude of the place over Haurwitz's [-]; 1 in the polar night.
    """
    within = np.mod(np.asarray(days, dtype=np.float64) - 1.0, climates.DAYS_PER_YEAR)
    return np.asarray(_factors(site.latitude_deg, site.longitude_deg)[within.astype(np.int64)])


def sky_name(site: Site) -> str:
    """Return what the sky of a site is called on pages and sheets."""
    return climates.skies()[site.climate]


def sky_source(site: Site) -> Source:
    """Return where the monthly kc of a site are from."""
    if site.climate == world.WORLD:
        return world.KC_SOURCE
    return climates.load(site.climate).source


@lru_cache(maxsize=64)
def _factors(latitude_deg: float, longitude_deg: float) -> Floats:
    """Ineichen's day over Haurwitz's for each day of a leap year (366,)."""
    air = world.air(latitude_deg, longitude_deg)
    up, _, _ = track(latitude_deg, 0.0, 0.0, _DAYS)
    turbidity = np.interp(_DAYS, _MIDDLES, air.turbidity, period=climates.DAYS_PER_YEAR)[:, None]
    beyond = SOLAR_CONSTANT_W_M2 * orbit(_DAYS + 0.5).eccentricity[:, None]
    plain = haurwitz_w_m2(up).sum(axis=1)
    clear = ineichen_w_m2(lifted(up), turbidity, air.altitude_m, beyond).sum(axis=1)
    factors = np.divide(clear, plain, out=np.ones_like(plain), where=plain > 1e-6)
    return np.asarray(np.minimum(factors, MOST_FACTOR))


@lru_cache(maxsize=64)
def _world_kc(latitude_deg: float, longitude_deg: float) -> tuple[float, ...]:
    """Kt of the table as kc on the clear day of the place, on each month's average day."""
    days = np.array(_MIDDLES)
    sun = orbit(days + 0.5)
    above = extraterrestrial_kwh_m2(latitude_deg, np.degrees(sun.declination_rad), sun.eccentricity)
    up, _, _ = track(latitude_deg, 0.0, 0.0, days)
    level_w_m2 = haurwitz_w_m2(up).mean(axis=1) * _factors(latitude_deg, longitude_deg)[days - 1]
    lit = np.flatnonzero(up.max(axis=1) > np.sin(np.radians(LEAST_NOON_DEG)))
    kt = np.array(world.nearest(latitude_deg, longitude_deg).kt)
    kc = kt[lit] * above[lit] / (level_w_m2[lit] * HOURS_PER_DAY / WH_PER_KWH)
    return tuple(np.clip(np.interp(np.arange(12), lit, kc, period=12), LEAST_KC, MOST_KC).tolist())
