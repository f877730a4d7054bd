"""What the panels give on a clear, a mixed or a dull day, hour by hour.

A day is its kc: horizontal radiation over that of a clear day. Clear day: Haurwitz x the factor of place and day;
diffuse share of the day: Erbs; tilt: Perez; panels: PVWatts DC; each array's solar charger starts late and may hold it
back. Watts are DC means of hours of local standard time, before the charger's own losses. Not modelled:
low light and cold cells (each 4-8 % on a dull winter day, in opposite directions), clouds moving within the day, snow
unless days are said to be covered.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine.errors import InputError
from engine.quantities import WH_PER_KWH, mean_day_of_year
from engine.sky import climate as climates
from engine.sky.irradiance import erbs_daily, haurwitz_w_m2
from engine.sky.local import clear_sky_factor
from engine.sky.perez import bright_parts, perez_w_m2
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
from engine.sky.site import Array, Site, Sun

Floats = NDArray[np.float64]

AMBIENT_C = 20.0
"""Air temperature by day, the same all year (assumed)."""
CELL_RISE_C_M2_PER_W = 1.0 / 31.84
"""Cells above air: Faiman's 25 + 6.84 v W/(m2 K) at a wind of 1 m/s (from memory of D. Faiman, 2008)."""
POWER_PER_C = -0.0044
"""Panel power per degC above 25: median of the modules of the CEC table shipped with pvlib (published)."""
START_W_PER_KWP = 10.0
"""Below this a solar charger is taken to stand still (engineering choice); 1 W/kWp higher all counts."""
_REMEMBERED_DAYS = 366
"""Longest list of days whose clear light is kept: a year."""
_STRONGEST = 1e6
"""Times the modelled panels: beyond any roof, so that only chargers or darkness can stop it."""
_MONTH_STARTS = np.array([0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Light:
    """The light of n days, step by step, before it meets a panel; every array is (n, 24 * STEPS_PER_HOUR)."""

    up: Floats
    north: Floats
    east: Floats
    global_w_m2: Floats
    diffuse_w_m2: Floats
    around_sun: Floats
    at_horizon: Floats


def clear_light(site: Site, days: ArrayLike) -> tuple[tuple[Floats, Floats, Floats], Floats]:
    """Return the sun's track and the clear-sky horizontal radiation [W/m2] of each step of `days`."""
    wanted = np.asarray(days, dtype=np.float64)
    if wanted.size <= _REMEMBERED_DAYS:
        return _remembered_clear_light(site, wanted.tobytes())
    return _clear_light(site, wanted)


@lru_cache(maxsize=8)
def _remembered_clear_light(site: Site, days: bytes) -> tuple[tuple[Floats, Floats, Floats], Floats]:
    """The same, kept: years of days ask for the same few lists of days over and over."""
    return _clear_light(site, np.frombuffer(days))


def _clear_light(site: Site, days: Floats) -> tuple[tuple[Floats, Floats, Floats], Floats]:
    sun_track = track(site.latitude_deg, site.longitude_deg, site.utc_offset_h, days)
    clear = haurwitz_w_m2(sun_track[0]) * clear_sky_factor(site, days)[:, None]
    for steps in (*sun_track, clear):
        steps.setflags(write=False)
    return sun_track, clear


def clear_day_kwh_m2(site: Site, days: ArrayLike) -> Floats:
    """Return the horizontal radiation of a clear day [kWh/m2] for each of `days` (n,)."""
    _, clear = clear_light(site, days)
    return np.asarray(clear.sum(axis=1) / (STEPS_PER_HOUR * WH_PER_KWH))


def sunless_months(site: Site) -> tuple[int, ...]:
    """Return the months, 1 to 12, in whose middle the sun does not rise."""
    months = range(1, 13)
    clear = clear_day_kwh_m2(site, [mean_day_of_year(month) for month in months])
    return tuple(month for month, kwh_m2 in zip(months, clear, strict=True) if not kwh_m2 > 0.0)


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
    diffuse = level * diffuse_share
    around_sun, at_horizon = bright_parts(
        global_w_m2=level,
        diffuse_w_m2=diffuse,
        beyond_w_m2=SOLAR_CONSTANT_W_M2 * sun_at_noon.eccentricity[:, None],
        cos_zenith=up,
    )
    return Light(
        up=up,
        north=north,
        east=east,
        global_w_m2=level,
        diffuse_w_m2=diffuse,
        around_sun=around_sun,
        at_horizon=at_horizon,
    )


def on_plane_w_m2(sky: Light, tilt_deg: float, azimuth_deg: float) -> Floats:
    """Return the radiation on a tilted plane [W/m2], (n, 24 * STEPS_PER_HOUR)."""
    return perez_w_m2(
        global_w_m2=sky.global_w_m2,
        diffuse_w_m2=sky.diffuse_w_m2,
        around_sun=sky.around_sun,
        at_horizon=sky.at_horizon,
        cos_zenith=sky.up,
        cos_incidence=incidence_cosine(sky.up, sky.north, sky.east, tilt_deg, azimuth_deg),
        tilt_deg=tilt_deg,
    )


def panels_w(plane_w_m2: Floats, kwp: float, losses: float, ambient_c: float = AMBIENT_C) -> Floats:
    """Return the DC power of panels [W] from what falls on them [W/m2], before any charger.

    Parameters
    ----------
    kwp : float
        Label power [kWp].
    losses : float
        Share lost to dirt, shade, wiring and the like [-].
    ambient_c : float
        Air temperature [degC].

    References
    ----------
    A. P. Dobos, PVWatts Version 5 Manual, NREL/TP-6A20-62641 (2014), doi 10.2172/1158421.
    """
    cell_c = ambient_c + CELL_RISE_C_M2_PER_W * plane_w_m2
    per_kwp = plane_w_m2 * (1.0 + POWER_PER_C * (cell_c - 25.0)) * (1.0 - losses)
    return np.asarray(kwp * np.maximum(per_kwp, 0.0))


def passed_w(array: Array, panel_w: Floats) -> Floats:
    """Return what an array's solar charger takes of its panels' power [W], before the charger's own losses.

    Nothing below its start, all from 1 W/kWp above it, and never more than its limit.
    """
    start_w = START_W_PER_KWP * array.kwp if array.start_w is None else array.start_w
    running = np.clip((panel_w - start_w) / array.kwp, 0.0, 1.0)
    most_w = np.inf if array.charger_limit_w is None else array.charger_limit_w
    return np.asarray(np.minimum(panel_w * running, most_w))


def array_kwh(site: Site, sun: Sun, kc: ArrayLike, days: ArrayLike, *, limited: bool = True) -> dict[str, Floats]:
    """Return each array's daily DC yield [kWh], (n,), by its id; scaled to the owner's clear day, panels uncovered.

    Parameters
    ----------
    kc, days : (n,) array_like
        Clearness and day of the year of each day; they need not follow one another.
    limited : bool
        Whether the solar chargers' limits hold.
    """
    steps = _passed_steps_w(site, sun, kc, days, limited=limited)
    return {one: np.asarray(w.sum(axis=1) / (STEPS_PER_HOUR * WH_PER_KWH)) for one, w in steps.items()}


def yield_kwh(site: Site, sun: Sun, kc: ArrayLike, days: ArrayLike) -> Floats:
    """Return the daily DC yield of all arrays [kWh], (n,); scaled to the owner's clear day, panels uncovered.

    Parameters
    ----------
    kc, days : (n,) array_like
        Clearness and day of the year of each day; they need not follow one another.
    """
    return np.asarray(sum(array_kwh(site, sun, kc, days).values(), np.zeros(np.size(days))))


@lru_cache(maxsize=256)
def clear_day_scale(site: Site, sun: Sun, month: int) -> float:
    """Return the owner's clear day over the modelled one, panels before their chargers [-]; 1 where none is typed.

    A clear day typed without its month is taken as one of the month asked for, and tells nothing of a month without
    sun. Where chargers hold the panels back and the day gave more than modelled, the panels may be much stronger or the
    day a little clearer: they are taken as stronger by no more than the day's kWh show, or dull days would be overrated
    by half.

    Raises
    ------
    InputError
        If there are no panels, the sun gives them nothing in the day’s own month, or their chargers cannot pass so
        much.
    """
    if sun.clear_day_kwh is None:
        return 1.0
    seen = sun.clear_day_month or month
    steps = _panel_steps_w(site, sun, [1.0], [mean_day_of_year(seen)])

    def given_kwh(scale: float) -> float:
        watts = (passed_w(array, scale * steps[array.id]).sum() for array in sun.arrays)
        return float(sum(watts)) / (STEPS_PER_HOUR * WH_PER_KWH)

    most_kwh = given_kwh(_STRONGEST)
    if sun.arrays and sun.clear_day_month is None and not most_kwh > 0.0:
        return 1.0
    if most_kwh < sun.clear_day_kwh:
        raise InputError("sun.clear_day_kwh", _impossible_clear_day(sun, seen, most_kwh))
    low, high = 0.0, 1.0
    while given_kwh(high) < sun.clear_day_kwh:
        low, high = high, 2.0 * high
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (low, middle) if given_kwh(middle) >= sun.clear_day_kwh else (middle, high)
    return high if high <= 1.0 else min(high, sun.clear_day_kwh / given_kwh(1.0))


def _impossible_clear_day(sun: Sun, month: int, most_kwh: float) -> str:
    said, name = f"Clear day cannot be {sun.clear_day_kwh:g} kWh", climates.MONTH_NAMES[month - 1]
    if most_kwh > 0.0:
        return f"{said}: the solar chargers of these panels pass at most {most_kwh:.3g} kWh on a day in {name}."
    return f"{said}: these panels get no sun at this place in {name}."


def _panel_steps_w(site: Site, sun: Sun, kc: ArrayLike, days: ArrayLike) -> dict[str, Floats]:
    """Each array's DC power before its charger, as modelled, step by step."""
    sky, months = light(site, kc, days), month_of_day(days)
    return {
        array.id: panels_w(
            _on_array_w_m2(sky, array, months, south=site.south),
            array.kwp,
            sun.system_losses if array.losses is None else array.losses,
        )
        for array in sun.arrays
    }


def _on_array_w_m2(sky: Light, array: Array, months: list[int], *, south: bool) -> Floats:
    """Radiation on an array that may be set steeper in winter."""
    tilts_deg = np.array([array.tilt_in(month, south=south) for month in months])
    plane = on_plane_w_m2(sky, array.tilt_deg, array.azimuth_deg)
    for tilt_deg in set(tilts_deg.tolist()) - {array.tilt_deg}:
        plane = np.where((tilts_deg == tilt_deg)[:, None], on_plane_w_m2(sky, tilt_deg, array.azimuth_deg), plane)
    return plane


def _passed_steps_w(site: Site, sun: Sun, kc: ArrayLike, days: ArrayLike, *, limited: bool = True) -> dict[str, Floats]:
    """Each array's DC power through its charger, scaled to the owner's clear day, step by step."""
    months = month_of_day(days)
    by_month = {month: clear_day_scale(site, sun, month) for month in set(months)}
    scale = np.array([by_month[month] for month in months])[:, None]
    steps = _panel_steps_w(site, sun, kc, days)
    chargers = sun.arrays if limited else [replace(array, charger_limit_w=None) for array in sun.arrays]
    return {array.id: passed_w(array, scale * steps[array.id]) for array in chargers}


def array_hours(site: Site, sun: Sun, kc: ArrayLike, days: ArrayLike) -> dict[str, Floats]:
    """Return each array's mean DC power by hour, scaled to the owner's clear day, 0 while covered.

    Parameters
    ----------
    kc, days : (n,) array_like
        Clearness [-] and day of the year, 1 to 366, of days that follow one another.

    Returns
    -------
    dict of str to (n * 24,) array
        Power before the solar charger by hour of local standard time [W], by the array's id.
    """
    steps = _passed_steps_w(site, sun, kc, days)
    for watts in steps.values():
        watts[: sun.covered_days] = 0.0
    return {one: _hours(watts) for one, watts in steps.items()}


def month_of_day(days: ArrayLike) -> list[int]:
    """Return the month, 1 to 12, of days of the year; 366 is 31 December."""
    within = np.mod(np.atleast_1d(np.asarray(days, dtype=np.float64)) - 1.0, climates.DAYS_PER_YEAR)
    return [int(month) for month in np.searchsorted(_MONTH_STARTS, within, side="right")]


def _hours(steps_w: Floats) -> Floats:
    return np.asarray(steps_w.reshape(-1, STEPS_PER_HOUR).mean(axis=1))
