"""A smooth curve through measured points that never overshoots them.

Piecewise cubic Hermite interpolation with slopes chosen so that the curve rises only where the
points rise. Values outside the points are held at the end values. Not modelled: derivatives.

References
----------
F. N. Fritsch and R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17
(1980) 238-246; inner slopes as the weighted harmonic mean of F. N. Fritsch and J. Butland,
SIAM J. Sci. Stat. Comput. 5 (1984) 300-304. Both from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def pchip(x: Array, y: Array, at: Array) -> Array:
    """Return the monotone cubic through (`x`, `y`) at the places `at`.

    Parameters
    ----------
    x : (n,) array
        Places of the points, rising; n >= 2.
    y : (n,) array
        Values at `x`.
    at : (m,) array
        Where to read the curve; held at the end values outside `x`.

    Returns
    -------
    (m,) array
    """
    step = np.diff(x)
    rise = np.diff(y) / step
    slope = _slopes(step, rise)
    k = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(step) - 1)
    h = step[k]
    t = np.clip((at - x[k]) / h, 0.0, 1.0)
    bend = (slope[k] + slope[k + 1] - 2 * rise[k]) * t
    return y[k] + h * t * (slope[k] + t * (3 * rise[k] - 2 * slope[k] - slope[k + 1] + bend))


def _slopes(step: Array, rise: Array) -> Array:
    """Slope at every point: zero where the rise changes sign."""
    if len(rise) == 1:
        return np.repeat(rise, 2)
    before, after = rise[:-1], rise[1:]
    w_before, w_after = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
    same = before * after > 0
    flat = np.where(same, 1.0, np.inf)
    inner = (w_before + w_after) / (
        w_before * flat / np.where(same, before, 1.0) + w_after * flat / np.where(same, after, 1.0)
    )
    first = _end_slope(step[0], step[1], rise[0], rise[1])
    last = _end_slope(step[-1], step[-2], rise[-1], rise[-2])
    return np.concatenate(([first], inner, [last]))


def _end_slope(near: float, far: float, rise: float, next_rise: float) -> float:
    """Three-point slope at an end, bounded so that the end piece stays monotone."""
    slope = ((2 * near + far) * rise - near * next_rise) / (near + far)
    if slope * rise <= 0:
        return 0.0
    if rise * next_rise <= 0 and abs(slope) > abs(3 * rise):
        return 3 * rise
    return float(slope)
