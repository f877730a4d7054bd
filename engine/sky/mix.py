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

from engine.sky.climate import KC_MAX

Floats = NDArray[np.float64]

LEAST_KT = 0.05
DARKEST_KC = 0.1
"""The darkest day over a clear one where the sun is so low that `LEAST_KT` would be brighter (choice)."""
_HELD_KT = (LEAST_KT + 0.03, 0.8)
_SHARES = 20
_STEEPEST = 40.0
_MARGIN = 0.04
_FLAT = 1e-6


def highest_kt(mean_kt: float) -> float:
    """Return the clearest day of a month with a mean Kt (Hollands and Huget 1983)."""
    return float(0.6313 + 0.267 * mean_kt - 11.9 * (mean_kt - 0.75) ** 8)


def steepness(mean_kt: float, least_kt: float, most_kt: float) -> float:
    """Return the exponent of Bendt's distribution between two ends whose mean is `mean_kt`, by bisection.

    Examples
    --------
    >>> round(steepness(0.35, 0.05, highest_kt(0.35)), 1), round(steepness(0.6, 0.05, highest_kt(0.6)), 1)
    (-0.9, 4.6)
    """
    low, high = -_STEEPEST / (most_kt - least_kt), _STEEPEST / (most_kt - least_kt)
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _mean_kt(middle, least_kt, most_kt) < mean_kt else (low, middle)
    return high


def kt_of_share(share: Floats, mean_kt: float, clear_kt: float = math.inf) -> Floats:
    """Return the Kt that a share of a month's days stay below.

    Parameters
    ----------
    share : array
        From 0, the dullest day, to 1.
    mean_kt : float
        Mean Kt of the month [-]; held to what the distribution can be made to mean.
    clear_kt : float
        Kt of a clear day of the month [-], above 0, where it is known: no day is clearer than `KC_MAX` of it, nor the
        darkest one brighter than `DARKEST_KC` of it.

    Returns
    -------
    array
        Kt [-], of the shape of `share`.
    """
    least = min(LEAST_KT, DARKEST_KC * clear_kt)
    most = min(highest_kt(min(max(mean_kt, _HELD_KT[0]), _HELD_KT[1])), KC_MAX * clear_kt)
    room = _MARGIN * (most - least)
    wanted = min(max(mean_kt, least + room), most - room)
    g = steepness(wanted, least, most)
    if abs(g) < _FLAT:
        return least + share * (most - least)
    return np.asarray(least + np.log1p(share * math.expm1(g * (most - least))) / g)


def day_mix(mean_kt: float, clear_kt: float = math.inf, n: int = _SHARES) -> Floats:
    """Return the Kt of `n` equally likely days of a month.

    Parameters
    ----------
    mean_kt : float
        Mean Kt of the month [-]; held to what the distribution can be made to mean.
    clear_kt : float
        Kt of a clear day of the month [-], where it is known, as in `kt_of_share`.

    Returns
    -------
    (n,) array
        Rising Kt [-], the middle of each n-th share of the days.
    """
    return kt_of_share((np.arange(n) + 0.5) / n, mean_kt, clear_kt)


def _mean_kt(g: float, least_kt: float, most_kt: float) -> float:
    """Mean of the distribution with density in proportion to exp(g Kt) between its ends."""
    span = most_kt - least_kt
    if abs(g) < _FLAT:
        return least_kt + span / 2.0
    return most_kt - 1.0 / g + span / math.expm1(g * span)
