"""From clear sky and cloud to what falls on a tilted plane.

Radiation is W/m2 (means of a step) or kWh/m2 a day; kc is the day's horizontal radiation over that of a clear
day. Not modelled: snow, shade, soiling (part of the system losses), hills on the horizon.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

ALBEDO_SHARE = 0.2
"""Share the ground sends back: grass and bare soil (usual in the literature, e.g. Liu and Jordan 1963)."""


def haurwitz_w_m2(cos_zenith: ArrayLike) -> Floats:
    """Return the clear-sky horizontal radiation [W/m2]; 0 with the sun below the horizon.

    References
    ----------
    B. Haurwitz, Journal of Meteorology 2 (1945) 154-166 and 3 (1946) 123-124, with the exponent 0.059
    as in pvlib (0.057 in the original, from memory).
    """
    height = np.maximum(np.asarray(cos_zenith, dtype=np.float64), 1e-4)
    return np.asarray(1098.0 * height * np.exp(-0.059 / height) * (np.asarray(cos_zenith) > 0.0))


def air_mass(cos_zenith: ArrayLike) -> Floats:
    """Return how many times the air of a sun overhead the light passes [-], at sea level, for the sun above 0.

    References
    ----------
    F. Kasten and A. T. Young, Applied Optics 28 (1989) 4735-4738.

    Examples
    --------
    >>> round(float(air_mass(0.5)), 3)
    1.994
    """
    up = np.asarray(cos_zenith, dtype=np.float64)
    height_deg = np.degrees(np.arcsin(np.clip(up, 0.0, 1.0)))
    return np.asarray(1.0 / (np.maximum(up, 0.0) + 0.50572 * (height_deg + 6.07995) ** -1.6364))


def ineichen_w_m2(cos_zenith: ArrayLike, turbidity: ArrayLike, altitude_m: float, normal_w_m2: ArrayLike) -> Floats:
    """Return the clear-sky horizontal radiation [W/m2]; 0 with the sun below the horizon.

    Parameters
    ----------
    turbidity : array_like
        Linke turbidity [-].
    altitude_m : float
        Of the place above the sea [m].
    normal_w_m2 : array_like
        Radiation above the air, square to the sun [W/m2].

    References
    ----------
    P. Ineichen and R. Perez, Solar Energy 73 (2002) 151-157, as in pvlib without the enhancement of low suns;
    pressure of the standard atmosphere.
    """
    up = np.asarray(cos_zenith, dtype=np.float64)
    pressure = (1.0 - 2.25577e-5 * altitude_m) ** 5.25588
    near, far = np.exp(-altitude_m / 8000.0), np.exp(-altitude_m / 1250.0)
    weakening = (3.92e-5 * altitude_m + 0.0387) * pressure * air_mass(up)
    passed = np.exp(-weakening * (near + far * (np.asarray(turbidity) - 1.0)))
    return np.asarray((5.09e-5 * altitude_m + 0.868) * np.asarray(normal_w_m2) * np.maximum(up, 0.0) * passed)


def erbs_hourly(clearness: ArrayLike) -> Floats:
    """Return the diffuse share of an hour's horizontal radiation [-].

    Parameters
    ----------
    clearness : array_like
        Hour's horizontal radiation over the extraterrestrial one [-].

    References
    ----------
    D. G. Erbs, S. A. Klein and J. A. Duffie, Solar Energy 28 (1982) 293-302.
    """
    k = np.asarray(clearness, dtype=np.float64)
    middle = 0.9511 - 0.1604 * k + 4.388 * k**2 - 16.638 * k**3 + 12.336 * k**4
    return np.where(k <= 0.22, 1.0 - 0.09 * k, np.where(k <= 0.80, middle, 0.165))


def erbs_daily(clearness: ArrayLike, sunset_deg: ArrayLike) -> Floats:
    """Return the diffuse share of a day's horizontal radiation [-].

    Parameters
    ----------
    clearness : array_like
        Day's horizontal radiation over the extraterrestrial one [-].
    sunset_deg : array_like
        Hour angle of sunset [deg]; it tells winter from the other seasons.

    References
    ----------
    Erbs, Klein and Duffie (1982) as printed in Duffie and Beckman, Solar Engineering of Thermal
    Processes, eq. 2.11.1 (coefficients from memory).
    """
    k = np.asarray(clearness, dtype=np.float64)
    winter = 1.0 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4
    winter = np.where(k < 0.715, winter, 0.143)
    other = np.where(k < 0.722, 1.0 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3, 0.175)
    return np.minimum(np.where(np.asarray(sunset_deg) <= 81.4, winter, other), 1.0)
