"""The nearest sequence that never falls: least squares by pooling adjacent violators.

References
----------
R. E. Barlow, D. J. Bartholomew, J. M. Bremner, H. D. Brunk, Statistical Inference under Order Restrictions
(1972), chapter 1. From memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def rising(values: Array, weights: Array | None = None) -> Array:
    """Return the non-falling sequence with the least weighted squares of change from `values`.

    Parameters
    ----------
    values : (n,) array
    weights : (n,) array or None
        Above 0; None weighs all alike.

    Returns
    -------
    (n,) array

    Examples
    --------
    >>> rising(np.array([1.0, 3.0, 2.0, 4.0])).tolist()
    [1.0, 2.5, 2.5, 4.0]
    """
    if not (values[1:] < values[:-1]).any():  # nothing to pool: so it is nine times in ten while a fit is sought
        return np.array(values, dtype=np.float64)
    means: list[float] = []
    sums: list[float] = []
    counts: list[int] = []
    for value, weight in zip(values, np.ones(len(values)) if weights is None else weights, strict=True):
        means.append(float(value))
        sums.append(float(weight))
        counts.append(1)
        while len(means) > 1 and means[-2] > means[-1]:
            above, heavy, many = means.pop(), sums.pop(), counts.pop()
            means[-1] = (means[-1] * sums[-1] + above * heavy) / (sums[-1] + heavy)
            sums[-1] += heavy
            counts[-1] += many
    return np.repeat(np.array(means), counts)


def distinct(x: Array, y: Array) -> tuple[Array, Array]:
    """Sort points by `x`, take the mean of `y` where `x` is the same, and make `y` rise."""
    places, inverse, counts = np.unique(x, return_inverse=True, return_counts=True)
    means = np.bincount(inverse, weights=y) / counts
    return places, rising(means, counts.astype(np.float64))
