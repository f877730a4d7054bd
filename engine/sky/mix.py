"""The days a month's mean clearness is made of: dull and bright ones in their usual shares.

A month is rarely made of average days. Panels that are tilted for winter get most of their energy on the few
clear days, so a month of days that are all average would be rated 20 to 40 % low in a northern winter. Kt is
horizontal radiation over that above the air. Not modelled: the order of the days.

References
----------
P. Bendt, M. Collares-Pereira, A. Rabl, The frequency distribution of daily insolation values, Solar Energy 27
(1981) 1-5; upper end after K. G. T. Hollands and R. G. Huget, Solar Energy 30 (1983) 195-209 (both from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEAST_KT = 0.05
_SHARES = 20
_STEEPEST = 60.0
_FLAT = 1e-6


def highest_kt(mean_kt: float) -> float:
    """Return the clearest day of a month with a mean Kt (Hollands and Huget 1983)."""
    return float(0.6313 + 0.267 * mean_kt - 11.9 * (mean_kt - 0.75) ** 8)


def steepness(mean_kt: float) -> float:
    """Return the exponent of Bendt's distribution whose mean is `mean_kt`, by bisection.

    Examples
    --------
    >>> round(steepness(0.35), 1), round(steepness(0.6), 1)
    (-0.9, 4.6)
    """
    low, high = -_STEEPEST, _STEEPEST
    most = highest_kt(mean_kt)
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _mean_kt(middle, most) < mean_kt else (low, middle)
    return high


def day_mix(mean_kt: float, n: int = _SHARES) -> Floats:
    """Return the Kt of `n` equally likely days of a month.

    Parameters
    ----------
    mean_kt : float
        Mean Kt of the month [-]; held to what the distribution can be made to mean.

    Returns
    -------
    (n,) array
        Rising Kt [-], the middle of each n-th share of the days.
    """
    wanted = min(max(mean_kt, LEAST_KT + 0.03), 0.8)
    g, most = steepness(wanted), highest_kt(wanted)
    share = (np.arange(n) + 0.5) / n
    if abs(g) < _FLAT:
        return LEAST_KT + share * (most - LEAST_KT)
    days = LEAST_KT + np.log1p(share * math.expm1(g * (most - LEAST_KT))) / g
    return np.asarray(days)


def _mean_kt(g: float, most: float) -> float:
    """Mean of the distribution with density in proportion to exp(g Kt) between its ends."""
    span = most - LEAST_KT
    if abs(g) < _FLAT:
        return LEAST_KT + span / 2.0
    return most - 1.0 / g + span / math.expm1(g * span)
