"""What panels give at one moment, and in a day whose sky is the same at every moment.

A sky is its kc, horizontal radiation over that of a clear sky at the same moment, and the share of it that is diffuse.
Power is W of panels, before the solar charger's losses; times are local standard time. Not modelled: as `sun`, whose
tilt and panels these are; only the diffuse share goes by the moment here, by the day there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine.quantities import HOURS_PER_DAY, WH_PER_KWH, mean_day_of_year
from engine.sky.irradiance import air_mass, erbs_hourly, haurwitz_w_m2
from engine.sky.local import clear_sky_factor
from engine.sky.perez import bright_parts
from engine.sky.position import SOLAR_CONSTANT_W_M2, STEPS_PER_HOUR, direction, incidence_cosine, orbit
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import Light, clear_day_scale, on_plane_w_m2, panels_w, passed_w, yield_kwh

Floats = NDArray[np.float64]

LEAST_SUN_DEG = 5.0
"""Below this height of the sun a reading tells little: haze, hills and the model's own error rule (judgement)."""
_LEAST_UP = 0.01745
"""Sine of one degree: a sun lower than that is taken as standing there."""
_MINUTES = 5
_ANY_YEAR = 2026


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """The sun at one moment: unit vector to it, clear-sky horizontal and extraterrestrial normal radiation."""

    at: datetime
    south: bool
    up: float
    north: float
    east: float
    clear_w_m2: float
    beyond_w_m2: float

    @property
    def height_deg(self) -> float:
        """Height of the sun's middle above a level horizon [deg]."""
        return float(np.degrees(np.arcsin(np.clip(self.up, -1.0, 1.0))))


def moment(site: Site, at: datetime) -> Moment:
    """Return the sun at a moment of local standard time."""
    return _moments(site, at.date(), [(at - datetime(at.year, at.month, at.day)).total_seconds() / 3600.0])[0]


def readable_span(site: Site, day: date) -> tuple[datetime, datetime] | None:
    """Return the first and the last moment of a day at which a reading tells something; None where there is none."""
    every = _moments(site, day, np.arange(0, HOURS_PER_DAY * 60, _MINUTES) / 60.0)
    high = [one.at for one in every if one.height_deg >= LEAST_SUN_DEG]
    return (high[0], high[-1]) if high else None


def expected_w(
    site: Site, sun: Sun, arrays: Sequence[Array], now: Moment, kc: ArrayLike, diffuse: ArrayLike | None = None
) -> Floats:
    """Return what arrays give together under skies of a moment, as their chargers take it [W].

    Parameters
    ----------
    kc : (n,) array_like
        Horizontal radiation over that of a clear sky at this moment [-].
    diffuse : (n,) array_like or None
        Diffuse share of each [-]; None for the usual one at that kc.
    """
    return _given_w(sun, arrays, now, kc, diffuse, _scale(site, sun, now.at.month))


def day_hours_w(site: Site, sun: Sun, day: date, kc: ArrayLike) -> Floats:
    """Return what all panels give in each hour of a day whose sky is the same at every moment, (n, 24) [W].

    Parameters
    ----------
    kc : (n,) array_like
        Horizontal radiation over that of a clear sky [-].
    """
    return _day_hours_w(site, sun, day, kc, _scale(site, sun, day.month))


def _day_hours_w(site: Site, sun: Sun, day: date, kc: ArrayLike, scale: float) -> Floats:
    steps = HOURS_PER_DAY * STEPS_PER_HOUR
    given = np.zeros((np.size(kc), steps))
    for place, now in enumerate(_moments(site, day, (np.arange(steps) + 0.5) / STEPS_PER_HOUR)):
        if now.up > 0.0:
            given[:, place] = _given_w(sun, sun.arrays, now, kc, None, scale)
    return np.asarray(given.reshape(-1, HOURS_PER_DAY, STEPS_PER_HOUR).mean(axis=2))


@lru_cache(maxsize=64)
def _scale(site: Site, sun: Sun, month: int) -> float:
    """The owner's clear day over that of a day which is clear at every moment; 1 where none is typed."""
    if sun.clear_day_kwh is None:
        return 1.0
    scale, doy = clear_day_scale(site, sun, month), mean_day_of_year(sun.clear_day_month or month)
    day = date(_ANY_YEAR, 1, 1) + timedelta(days=doy - 1)
    wanted_kwh = float(yield_kwh(site, sun, [1.0], [doy])[0])
    given_kwh = float(_day_hours_w(site, sun, day, [1.0], scale).sum()) / WH_PER_KWH
    return scale * wanted_kwh / given_kwh if given_kwh > 0.0 else scale


def _given_w(
    sun: Sun, arrays: Sequence[Array], now: Moment, kc: ArrayLike, diffuse: ArrayLike | None, scale: float
) -> Floats:
    level = np.asarray(kc, dtype=np.float64) * now.clear_w_m2
    share = usual_diffuse_share(now, kc) if diffuse is None else np.asarray(diffuse, dtype=np.float64)
    sky, total = _light(now, level, share), np.zeros(level.shape)
    for array in arrays:
        plane = on_plane_w_m2(sky, tilt_deg(now, array), array.azimuth_deg)
        losses = sun.system_losses if array.losses is None else array.losses
        total += passed_w(array, scale * panels_w(plane, array.kwp, losses))
    return total


def usual_diffuse_share(now: Moment, kc: ArrayLike) -> Floats:
    """Return the diffuse share that is usual at a kc [-].

    Notes
    -----
    Erbs's hourly formula, given the clearness freed from the sun's height: under a low sun a clear sky has a low
    clearness, which the plain formula takes for cloud. Read off planes tilted by 35 and 70 degrees in hours of two
    typical years, kc between 0.6 and 0.9 is out by 0.016 and 0.024 in the middle hour, 0.023 and 0.037 with the plain
    one; below and above that they are alike.

    References
    ----------
    R. Perez, P. Ineichen, R. Seals, A. Zelenka, Solar Energy 45 (1990) 111-114, as in pvlib.
    """
    clearness = np.asarray(kc, dtype=np.float64) * now.clear_w_m2 / (now.beyond_w_m2 * max(now.up, _LEAST_UP))
    freed = clearness / (1.031 * np.exp(-1.4 / (0.9 + 9.4 / air_mass(now.up))) + 0.1)
    return np.asarray(erbs_hourly(np.clip(freed, 0.0, 1.0)))


def _moments(site: Site, day: date, clock_h: ArrayLike) -> list[Moment]:
    """The sun at hours of a day of local standard time."""
    hours, doy = np.asarray(clock_h, dtype=np.float64), day.timetuple().tm_yday
    there = orbit(doy + (hours - site.utc_offset_h) / HOURS_PER_DAY)
    solar_h = hours + site.longitude_deg / 15.0 - site.utc_offset_h + there.equation_of_time_h
    up, north, east = direction(site.latitude_deg, there.declination_rad, (solar_h - 12.0) * np.pi / 12.0)
    clear = haurwitz_w_m2(up) * clear_sky_factor(site, [doy])
    beyond = SOLAR_CONSTANT_W_M2 * there.eccentricity
    midnight = datetime(day.year, day.month, day.day)
    return [
        Moment(
            at=midnight + timedelta(hours=hour),
            south=site.south,
            up=float(up[place]),
            north=float(north[place]),
            east=float(east[place]),
            clear_w_m2=float(clear[place]),
            beyond_w_m2=float(beyond[place]),
        )
        for place, hour in enumerate(hours.tolist())
    ]


def tilt_deg(now: Moment, array: Array) -> float:
    """Return the tilt of an array in the season of a moment [deg]."""
    return array.tilt_in(now.at.month, south=now.south)


def cos_incidence(now: Moment, array: Array) -> float:
    """Return the cosine of the angle between the sun and an array's normal [-], negative behind it."""
    up, north, east = (np.array(part) for part in (now.up, now.north, now.east))
    return float(incidence_cosine(up, north, east, tilt_deg(now, array), array.azimuth_deg))


def _light(now: Moment, level: Floats, diffuse_share: Floats) -> Light:
    """The light of a moment under several skies."""
    diffuse, up = level * diffuse_share, np.full(level.shape, now.up)
    around_sun, at_horizon = bright_parts(
        global_w_m2=level, diffuse_w_m2=diffuse, beyond_w_m2=now.beyond_w_m2, cos_zenith=up
    )
    return Light(
        up=up,
        north=np.full(level.shape, now.north),
        east=np.full(level.shape, now.east),
        global_w_m2=level,
        diffuse_w_m2=diffuse,
        around_sun=around_sun,
        at_horizon=at_horizon,
    )


def sun_up_h(site: Site, began: datetime, ended: datetime) -> float:
    """Return for how many hours between two moments of local standard time the sun stands above a level horizon [h]."""
    step = timedelta(minutes=_MINUTES)
    days = [began.date() + timedelta(days=n) for n in range((ended.date() - began.date()).days + 1)]
    every = np.arange(0, HOURS_PER_DAY * 60, _MINUTES) / 60.0
    up = sum(one.up > 0.0 and began <= one.at + step / 2 < ended for day in days for one in _moments(site, day, every))
    return up * _MINUTES / 60.0
