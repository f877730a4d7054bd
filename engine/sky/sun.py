"""What the panels give on a clear, a mixed or a dull day, hour by hour.

A day is its kc: horizontal radiation over that of a clear day. Clear day: Haurwitz x the climate's monthly
factor; diffuse share of the day: Erbs; tilt: Hay and Davies; panels: PVWatts DC. Watts are DC means of hours
of local standard time, before the solar charger. Not modelled: low light and cold cells (each 4-8 % on a dull
winter day, in opposite directions), clouds moving within the day, snow unless days are said to be covered.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine.errors import InputError
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH, mean_day_of_year
from engine.sky import climate as climates
from engine.sky.irradiance import erbs_daily, haurwitz_w_m2, hay_davies_w_m2
from engine.sky.position import (
    SOLAR_CONSTANT_W_M2,
    STEPS_PER_HOUR,
    Orbit,
    extraterrestrial_kwh_m2,
    incidence_cosine,
    orbit,
    sunset_hour_angle_deg,
    track,
)
from engine.sky.site import SYSTEM_LOSSES_SHARE, Array, Site, Sun

Floats = NDArray[np.float64]

AMBIENT_C = 20.0
"""Air temperature by day, the same all year (assumed)."""
CELL_RISE_C_M2_PER_W = 1.0 / 31.84
"""Cells above air: Faiman's 25 + 6.84 v W/(m2 K) at a wind of 1 m/s (from memory of D. Faiman, 2008)."""
POWER_PER_C = -0.0044
"""Panel power per degC above 25: median of the modules of the CEC table shipped with pvlib (published)."""
START_W_PER_KWP = 10.0
"""Below this a solar charger is taken to stand still (engineering choice); 1 W/kWp higher all counts."""
_MONTH_STARTS = np.array([0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Light:
    """The light of n days, step by step, before it meets a panel; every array is (n, 24 * STEPS_PER_HOUR)."""

    up: Floats
    north: Floats
    east: Floats
    global_w_m2: Floats
    diffuse_w_m2: Floats
    anisotropy: Floats


def clear_light(site: Site, days: ArrayLike) -> tuple[tuple[Floats, Floats, Floats], Floats]:
    """Return the sun's track and the clear-sky horizontal radiation [W/m2] of each step of `days`."""
    sun_track = track(site.latitude_deg, site.longitude_deg, site.utc_offset_h, days)
    factor = climates.clear_sky_factor(site.climate, days, south=site.south)
    return sun_track, haurwitz_w_m2(sun_track[0]) * factor[:, None]


def clear_day_kwh_m2(site: Site, days: ArrayLike) -> Floats:
    """Return the horizontal radiation of a clear day [kWh/m2] for each of `days` (n,)."""
    _, clear = clear_light(site, days)
    return np.asarray(clear.sum(axis=1) / (STEPS_PER_HOUR * WH_PER_KWH))


def above_air_kwh_m2(site: Site, days: ArrayLike) -> Floats:
    """Return the horizontal radiation above the air [kWh/m2] for each of `days` (n,)."""
    at_noon = _noon(site, days)
    return extraterrestrial_kwh_m2(site.latitude_deg, np.degrees(at_noon.declination_rad), at_noon.eccentricity)


def _noon(site: Site, days: ArrayLike) -> Orbit:
    """The sun's place at local noon of each day."""
    return orbit(np.asarray(days, dtype=np.float64) + 0.5 - site.longitude_deg / 360.0)


def light(site: Site, kc: ArrayLike, days: ArrayLike) -> Light:
    """Return the light of days with a known kc.

    Parameters
    ----------
    kc : (n,) array_like
        Clearness of each day [-]; taken as 0 to `KC_MAX`.
    days : (n,) array_like
        Day of the year of each.
    """
    days = np.asarray(days, dtype=np.float64)
    share = np.clip(np.atleast_1d(np.asarray(kc, dtype=np.float64)), 0.0, climates.KC_MAX)
    (up, north, east), clear = clear_light(site, days)
    sun_at_noon = _noon(site, days)
    day_kwh = share * clear.sum(axis=1) / (STEPS_PER_HOUR * WH_PER_KWH)
    clearness = day_kwh / np.maximum(above_air_kwh_m2(site, days), 1e-6)
    sunset = sunset_hour_angle_deg(site.latitude_deg, np.degrees(sun_at_noon.declination_rad))
    diffuse_share = erbs_daily(np.minimum(clearness, 1.0), sunset)[:, None]
    level = share[:, None] * clear
    normal = level * (1.0 - diffuse_share) / np.maximum(up, 0.01745)
    beyond = SOLAR_CONSTANT_W_M2 * sun_at_noon.eccentricity[:, None]
    return Light(
        up=up,
        north=north,
        east=east,
        global_w_m2=level,
        diffuse_w_m2=level * diffuse_share,
        anisotropy=np.minimum(normal / beyond, 1.0),
    )


def on_plane_w_m2(sky: Light, tilt_deg: float, azimuth_deg: float) -> Floats:
    """Return the radiation on a tilted plane [W/m2], (n, 24 * STEPS_PER_HOUR)."""
    return hay_davies_w_m2(
        global_w_m2=sky.global_w_m2,
        diffuse_w_m2=sky.diffuse_w_m2,
        anisotropy=sky.anisotropy,
        cos_zenith=sky.up,
        cos_incidence=incidence_cosine(sky.up, sky.north, sky.east, tilt_deg, azimuth_deg),
        tilt_deg=tilt_deg,
    )


def panels_w(plane_w_m2: Floats, kwp: float, system_losses: float, ambient_c: float = AMBIENT_C) -> Floats:
    """Return the DC power of panels [W] from what falls on them [W/m2].

    Parameters
    ----------
    kwp : float
        Label power [kWp].
    system_losses : float
        Share lost to dirt, shade, wiring and the like [-].
    ambient_c : float
        Air temperature [degC].

    References
    ----------
    A. P. Dobos, PVWatts Version 5 Manual, NREL/TP-6A20-62641 (2014), doi 10.2172/1158421.
    """
    cell_c = ambient_c + CELL_RISE_C_M2_PER_W * plane_w_m2
    per_kwp = plane_w_m2 * (1.0 + POWER_PER_C * (cell_c - 25.0)) * (1.0 - system_losses)
    running = np.clip(per_kwp - START_W_PER_KWP, 0.0, 1.0)
    return np.asarray(kwp * np.maximum(per_kwp, 0.0) * running)


def yield_w(
    site: Site,
    array: Array,
    kc: ArrayLike,
    first_doy: int,
    system_losses: float = SYSTEM_LOSSES_SHARE,
    ambient_c: float = AMBIENT_C,
) -> Floats:
    """Return the mean DC power of one array in each hour.

    Parameters
    ----------
    kc : (n,) array_like
        Clearness of each day [-].
    first_doy : int
        Day of the year of the first, 1 to 366; the others follow.

    Returns
    -------
    (n * 24,) array
        Power by hour of local standard time [W].
    """
    sky = light(site, kc, _following(first_doy, kc))
    return _hours(panels_w(on_plane_w_m2(sky, array.tilt_deg, array.azimuth_deg), array.kwp, system_losses, ambient_c))


def yield_kwh(site: Site, sun: Sun, kc: ArrayLike, days: ArrayLike) -> Floats:
    """Return the daily DC yield of all arrays [kWh], (n,), before any scaling to a typed clear day.

    Parameters
    ----------
    kc, days : (n,) array_like
        Clearness and day of the year of each day; they need not follow one another.
    """
    sky = light(site, kc, days)
    total = np.zeros(sky.up.shape[0])
    for array in sun.arrays:
        plane = on_plane_w_m2(sky, array.tilt_deg, array.azimuth_deg)
        total += panels_w(plane, array.kwp, sun.system_losses).sum(axis=1)
    return np.asarray(total / (STEPS_PER_HOUR * WH_PER_KWH))


@lru_cache(maxsize=256)
def clear_day_scale(site: Site, sun: Sun, month: int) -> float:
    """Return the owner's clear day over the modelled one [-]; 1 where none is typed.

    A clear day typed without its month is taken as one of the month asked for.

    Raises
    ------
    InputError
        If there are no panels, or the sun gives them nothing in that month.
    """
    if sun.clear_day_kwh is None:
        return 1.0
    seen = sun.clear_day_month or month
    modelled = float(yield_kwh(site, sun, [1.0], [mean_day_of_year(seen)])[0])
    if not modelled > 0.0:
        raise InputError(
            "sun.clear_day_kwh",
            f"Clear day cannot be {sun.clear_day_kwh:g} kWh: these panels get no sun at this place "
            f"in {climates.MONTH_NAMES[seen - 1]}.",
        )
    return sun.clear_day_kwh / modelled


def array_hours(site: Site, sun: Sun, kc: ArrayLike, first_doy: int) -> dict[str, Floats]:
    """Return each array's mean DC power by hour, scaled to the owner's clear day, 0 while covered.

    Parameters
    ----------
    kc : (n,) array_like
        Clearness of each day [-].
    first_doy : int
        Day of the year of the first, 1 to 366.

    Returns
    -------
    dict of str to (n * 24,) array
        Power before the solar charger by hour of local standard time [W], by the array's id.
    """
    days = _following(first_doy, kc)
    sky = light(site, kc, days)
    scale = np.array([clear_day_scale(site, sun, month) for month in month_of_day(days)])
    scale[: sun.covered_days] = 0.0
    hourly_scale = np.repeat(scale, HOURS_PER_DAY)
    return {
        array.id: hourly_scale
        * _hours(panels_w(on_plane_w_m2(sky, array.tilt_deg, array.azimuth_deg), array.kwp, sun.system_losses))
        for array in sun.arrays
    }


def month_of_day(days: ArrayLike) -> list[int]:
    """Return the month, 1 to 12, of days of the year; 366 is 31 December."""
    within = np.mod(np.asarray(days, dtype=np.float64) - 1.0, climates.DAYS_PER_YEAR)
    return [int(month) for month in np.searchsorted(_MONTH_STARTS, within, side="right")]


def _following(first_doy: int, kc: ArrayLike) -> NDArray[np.int64]:
    if not 1 <= first_doy <= 366:
        raise InputError("first_doy", f"The first day must be from 1 to 366; got {first_doy}.")
    return first_doy + np.arange(np.size(kc))


def _hours(steps_w: Floats) -> Floats:
    return np.asarray(steps_w.reshape(-1, STEPS_PER_HOUR).mean(axis=1))
