"""What falls on a tilted plane, by Perez's model of an uneven sky: brighter round the sun and at the horizon.

Radiation is W/m2, means of a step. Not modelled: hills on the horizon, ground that sends back more than grass (snow).

References
----------
A. Driesse, A. R. Jensen and R. Perez, A continuous form of the Perez diffuse sky model for forward and reverse
transposition, Solar Energy 267 (2024) 112093, doi 10.1016/j.solener.2023.112093; after R. Perez, P. Ineichen, R. Seals,
J. Michalsky and R. Stewart, Solar Energy 44 (1990) 271-289. Without their steps from one kind of sky to the next, more
light never gives less for want of a table.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine.sky.irradiance import ALBEDO_SHARE, air_mass

Floats = NDArray[np.float64]

_KNOTS = np.array([0.0, 0.0, 0.0, 0.061, 0.187, 0.333, 0.487, 0.643, 0.778, 0.839, 1.0, 1.0, 1.0])
_COEFFICIENTS = np.array(
    [
        (-0.053, 0.529, -0.028, -0.071, 0.061, -0.019),
        (-0.008, 0.588, -0.062, -0.060, 0.072, -0.022),
        (0.131, 0.770, -0.167, -0.026, 0.106, -0.032),
        (0.328, 0.471, -0.216, 0.069, -0.105, -0.028),
        (0.557, 0.241, -0.300, 0.086, -0.085, -0.012),
        (0.861, -0.323, -0.355, 0.240, -0.467, -0.008),
        (1.212, -1.239, -0.444, 0.305, -0.797, 0.047),
        (1.099, -1.847, -0.365, 0.275, -1.132, 0.124),
        (0.544, 0.157, -0.213, 0.118, -1.455, 0.292),
        (0.544, 0.157, -0.213, 0.118, -1.455, 0.292),
    ]
)
"""Knots and coefficients of the quadratic splines F11, F12, F13, F21, F22, F23 over clearness, as in pvlib's copy of
the paper (published)."""
_KAPPA = 1.041
"""Takes the sun's height out of the clearness, with its distance from the zenith in radians (1990, equation 1)."""
_MOST_AROUND_SUN = 0.9
_CLEARNESS = np.linspace(0.0, 1.0, 513)
_LOWEST = float(np.cos(np.radians(85.0)))
"""Below 5 degrees of height the light round the sun is not made stronger any more."""
_LEAST_HEIGHT = 0.01745
"""Sine of one degree: a sun lower than that is taken as standing there."""


def bright_parts(
    *, global_w_m2: Floats, diffuse_w_m2: Floats, beyond_w_m2: ArrayLike, cos_zenith: Floats
) -> tuple[Floats, Floats]:
    """Return how much of the diffuse light comes from round the sun and from the horizon [-].

    Parameters
    ----------
    global_w_m2, diffuse_w_m2 : array
        On the horizontal [W/m2].
    beyond_w_m2 : array_like
        On a plane facing the sun above the air [W/m2].
    cos_zenith : array
        Of the sun [-].

    Returns
    -------
    (around_sun, at_horizon) : tuple of array
        Perez's F1 (0 to 0.9) and F2 (below 0 where the zenith is brighter); 0 with the sun below the horizon.
    """
    around, horizon = np.zeros_like(global_w_m2), np.zeros_like(global_w_m2)
    lit = (cos_zenith > 0.0) & (diffuse_w_m2 > 0.0)
    up, diffuse = cos_zenith[lit], diffuse_w_m2[lit]
    zenith = np.arccos(np.minimum(up, 1.0))
    normal = (global_w_m2[lit] - diffuse) / np.maximum(up, _LEAST_HEIGHT)
    beam_share = normal / (diffuse + normal)
    clearness = beam_share / (1.0 + _KAPPA * zenith**3 * (1.0 - beam_share))
    brightness = diffuse * air_mass(up) / np.broadcast_to(beyond_w_m2, global_w_m2.shape)[lit]
    f11, f12, f13, f21, f22, f23 = _between(clearness)
    around[lit] = np.clip(f11 + f12 * brightness + f13 * zenith, 0.0, _MOST_AROUND_SUN)
    horizon[lit] = f21 + f22 * brightness + f23 * zenith
    return around, horizon


def _between(clearness: Floats) -> Floats:
    """The six splines at any clearness, (6, n), on straight lines between the places of the table."""
    table = _splines()
    place = clearness * (_CLEARNESS.size - 1)
    below = np.minimum(place.astype(np.intp), _CLEARNESS.size - 2)
    low, high = table.take(below, axis=0), table.take(below + 1, axis=0)
    return np.asarray((low + (place - below)[:, None] * (high - low)).T)


@lru_cache(maxsize=1)
def _splines() -> Floats:
    """The six splines on `_CLEARNESS`, (513, 6), by de Boor's recursion."""
    span = np.clip(np.searchsorted(_KNOTS, _CLEARNESS, side="right") - 1, 2, _COEFFICIENTS.shape[0] - 1)
    parts = [_COEFFICIENTS[span - 2 + j] for j in range(3)]
    for level in (1, 2):
        for j in range(2, level - 1, -1):
            left, right = _KNOTS[span - 2 + j], _KNOTS[span + 1 + j - level]
            share = ((_CLEARNESS - left) / (right - left))[:, None]
            parts[j] = (1.0 - share) * parts[j - 1] + share * parts[j]
    return parts[2]


def perez_w_m2(
    *,
    global_w_m2: Floats,
    diffuse_w_m2: Floats,
    around_sun: Floats,
    at_horizon: Floats,
    cos_zenith: Floats,
    cos_incidence: Floats,
    tilt_deg: float,
    albedo_share: float = ALBEDO_SHARE,
) -> Floats:
    """Return what falls on a tilted plane [W/m2].

    Parameters
    ----------
    global_w_m2, diffuse_w_m2 : array
        On the horizontal [W/m2].
    around_sun, at_horizon : array
        From `bright_parts` [-].
    cos_zenith, cos_incidence : array
        Of the sun, to the horizontal and to the plane [-].
    """
    tilt = np.radians(tilt_deg)
    seen = (1.0 + np.cos(tilt)) / 2.0
    facing = np.maximum(cos_incidence, 0.0)
    beam = (global_w_m2 - diffuse_w_m2) * facing / np.maximum(cos_zenith, _LEAST_HEIGHT)
    parts = (
        (1.0 - around_sun) * seen + around_sun * facing / np.maximum(cos_zenith, _LOWEST) + at_horizon * np.sin(tilt)
    )
    ground = global_w_m2 * albedo_share * (1.0 - seen)
    return np.asarray(beam + diffuse_w_m2 * np.maximum(parts, 0.0) + ground)
