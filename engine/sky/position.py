"""Where the sun stands, and how much of it arrives above the air.

Angles are degrees, radiation kWh/m2 a day. Days are counted from 1 January = 1 without a year: the sun is
taken at the middle of the four-year cycle of leap years, so day 366 and any later day exist and the
position is within 0.3 degrees of the true one from 2005 to 2045. Not modelled: refraction, hills,
the sun's disc.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine.quantities import HOURS_PER_DAY

Floats = NDArray[np.float64]

SOLAR_CONSTANT_W_M2 = 1367.0
"""World Radiation Centre value used by Duffie and Beckman, Solar Engineering of Thermal Processes, ch. 1."""
STEPS_PER_HOUR = 3
_J2000_OF_DAY_ONE = 9496.5 - 0.12
"""Days from J2000.0 to 0 h UT of 1 January 2026, moved to the middle of the leap-year cycle 2025-2028."""


@dataclass(frozen=True, slots=True)
class Orbit:
    """Declination [rad], equation of time [h] and (mean distance / distance) squared [-] of the sun."""

    declination_rad: Floats
    equation_of_time_h: Floats
    eccentricity: Floats


def orbit(day: ArrayLike) -> Orbit:
    """Return the sun's apparent orbit at a day of the year.

    Parameters
    ----------
    day : array_like
        Day of the year, counted in UT, with fraction: 1.5 is noon of 1 January [d].

    References
    ----------
    The Astronomical Almanac, low-precision formulas for the sun (page C5; given to 0.01 degrees between
    1950 and 2050), as also printed by J. J. Michalsky, Solar Energy 40 (1988) 227-235. From memory; the
    result is held against pvlib's NREL algorithm.
    """
    n = _J2000_OF_DAY_ONE + np.asarray(day, dtype=np.float64) - 1.0
    mean_longitude = np.radians(280.460 + 0.9856474 * n)
    anomaly = np.radians(357.528 + 0.9856003 * n)
    longitude = mean_longitude + np.radians(1.915) * np.sin(anomaly) + np.radians(0.020) * np.sin(2 * anomaly)
    obliquity = np.radians(23.439 - 4e-7 * n)
    ascension = np.arctan2(np.cos(obliquity) * np.sin(longitude), np.cos(longitude))
    ahead = np.mod(mean_longitude - ascension + np.pi, 2 * np.pi) - np.pi
    distance_au = 1.00014 - 0.01671 * np.cos(anomaly) - 0.00014 * np.cos(2 * anomaly)
    return Orbit(
        declination_rad=np.arcsin(np.sin(obliquity) * np.sin(longitude)),
        equation_of_time_h=ahead * 12.0 / np.pi,
        eccentricity=1.0 / distance_au**2,
    )


def sunset_hour_angle_deg(latitude_deg: ArrayLike, declination_deg: ArrayLike) -> Floats:
    """Return the hour angle of sunset [deg]: 0 in the polar night, 180 under the midnight sun.

    References
    ----------
    Duffie and Beckman, Solar Engineering of Thermal Processes, eq. 1.6.10.
    """
    tangents = np.tan(np.radians(latitude_deg)) * np.tan(np.radians(declination_deg))
    return np.asarray(np.degrees(np.arccos(np.clip(-tangents, -1.0, 1.0))), dtype=np.float64)


def extraterrestrial_kwh_m2(
    latitude_deg: ArrayLike,
    declination_deg: ArrayLike,
    eccentricity: ArrayLike,
    solar_constant_w_m2: float = SOLAR_CONSTANT_W_M2,
) -> Floats:
    """Return the daily radiation on a horizontal plane above the air [kWh/m2].

    Parameters
    ----------
    latitude_deg, declination_deg : array_like
        Place and sun [deg].
    eccentricity : array_like
        (Mean distance / distance of the sun) squared [-].

    References
    ----------
    Duffie and Beckman, Solar Engineering of Thermal Processes, eq. 1.10.3.
    """
    phi, delta = np.radians(latitude_deg), np.radians(declination_deg)
    ws = np.radians(sunset_hour_angle_deg(latitude_deg, declination_deg))
    swing = np.cos(phi) * np.cos(delta) * np.sin(ws) + ws * np.sin(phi) * np.sin(delta)
    kwh = HOURS_PER_DAY / np.pi * solar_constant_w_m2 / 1000.0 * np.asarray(eccentricity) * swing
    return np.asarray(np.maximum(kwh, 0.0))


def direction(latitude_deg: float, declination_rad: Floats, hour_angle_rad: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the unit vector to the sun as (up, north, east).

    Parameters
    ----------
    hour_angle_rad : array
        Angle since solar noon, positive in the afternoon [rad].

    References
    ----------
    Duffie and Beckman, Solar Engineering of Thermal Processes, eq. 1.6.5, in vector form.
    """
    sin_phi, cos_phi = np.sin(np.radians(latitude_deg)), np.cos(np.radians(latitude_deg))
    sin_delta, cos_delta = np.sin(declination_rad), np.cos(declination_rad)
    toward = cos_delta * np.cos(hour_angle_rad)
    up = sin_phi * sin_delta + cos_phi * toward
    north = cos_phi * sin_delta - sin_phi * toward
    return up, north, -cos_delta * np.sin(hour_angle_rad)


def lifted(up: ArrayLike) -> Floats:
    """Return the sine of the sun's height as the air's refraction shows it, from the sine of the true one.

    References
    ----------
    T. Saemundsson, Sky and Telescope 72 (1986) 70, for 10 degC at sea level.

    Examples
    --------
    >>> round(float(np.degrees(np.arcsin(lifted(np.sin(np.radians(10.0)))))), 2)
    10.09
    """
    height_deg = np.degrees(np.arcsin(np.clip(np.asarray(up, dtype=np.float64), -1.0, 1.0)))
    seen = np.maximum(height_deg, -1.0)
    raised_deg = 1.02 / 60.0 / np.tan(np.radians(seen + 10.3 / (seen + 5.11)))
    return np.asarray(np.sin(np.radians(height_deg + raised_deg)))


def incidence_cosine(up: Floats, north: Floats, east: Floats, tilt_deg: float, azimuth_deg: float) -> Floats:
    """Return the cosine of the angle between the sun and a plane's normal, negative behind the plane.

    Parameters
    ----------
    tilt_deg, azimuth_deg : float
        Tilt from horizontal; direction faced, clockwise from north [deg].
    """
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg)
    level = np.cos(azimuth) * north + np.sin(azimuth) * east
    return np.asarray(np.cos(tilt) * up + np.sin(tilt) * level)


def track(
    latitude_deg: float, longitude_deg: float, utc_offset_h: float, days: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Follow the sun through whole days of local standard time.

    Parameters
    ----------
    days : (n,) array_like of int
        Days of the year.

    Returns
    -------
    (up, north, east) : tuple of (n, 24 * STEPS_PER_HOUR) array
        Unit vector to the sun in the middle of each step.
    """
    steps = HOURS_PER_DAY * STEPS_PER_HOUR
    clock_h = (np.arange(steps) + 0.5) / STEPS_PER_HOUR
    midnights = np.asarray(days, dtype=np.float64)[:, None] - utc_offset_h / HOURS_PER_DAY
    start, end = orbit(midnights), orbit(midnights + 1.0)
    share = clock_h / HOURS_PER_DAY
    declination = start.declination_rad + share * (end.declination_rad - start.declination_rad)
    equation_h = start.equation_of_time_h + share * (end.equation_of_time_h - start.equation_of_time_h)
    solar_h = clock_h + longitude_deg / 15.0 - utc_offset_h + equation_h
    return direction(latitude_deg, declination, (solar_h - 12.0) * np.pi / 12.0)
