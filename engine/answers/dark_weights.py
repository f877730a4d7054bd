"""How much what was seen speaks for one cause: a prior over its one unknown, and the fit at each value of it.

weight = odds x sum over the unknown of prior x share x fit of the charge shown x fit of all else seen, over the same
sum of every cause. `share` is the part of the points that this cause adds, so that a night which needs no fault is
not counted for one.

Every width here is a judgement, from what home-built banks and their monitors are said to do; none is measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import erf, erfc, exp, inf, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

READING_SOC = 0.025
"""Standard error of the charge shown at the dark against the model: the display, the load and the cells' curve together
(judgement: 2 to 3 points)."""
LEAST_SHARE_SOC = 0.01
"""A cause that adds so many points counts half (judgement)."""
WELL, COULD, HARDLY, CANNOT = "well", "could", "hardly", "cannot"
WELL_TAIL, COULD_TAIL, HARDLY_TAIL = 0.2, 0.05, 1e-4
"""Chance, by the prior, of a value as far out as the needed one, from which a cause fits well, could be, or hardly
(choice)."""
_FAR = 3.0
"""Standard errors from the charge shown beyond which a cause cannot have done it (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Values of a cause's unknown and what each would make of the night; all (n,) arrays.

    Attributes
    ----------
    values : array
        Of the unknown, rising away from what is usual.
    mass : array
        Prior chance of each; they add up to 1 at most.
    low_soc, high_soc : arrays
        Charge in the cells at which it goes dark [-]: under the evening's draws, and under the load of the moment,
        which may have been switched on anywhere between.
    offset_soc, scale : arrays
        The monitor shows offset + scale x charge in the cells [-].
    share : array
        Part of the points that this cause adds [-].
    resistance, capacity, cell_c, hidden_w, short_soc : arrays
        The bank under that value: factors, temperature, unseen draw [W], points short of full when called full.
    """

    values: Floats
    mass: Floats
    low_soc: Floats
    high_soc: Floats
    offset_soc: Floats
    scale: Floats
    share: Floats
    resistance: Floats
    capacity: Floats
    cell_c: Floats
    hidden_w: Floats
    short_soc: Floats

    @property
    def least_shown_soc(self) -> Floats:
        """What the monitor would show at the lowest such charge [-]."""
        return np.clip(self.offset_soc + self.scale * self.low_soc, 0.0, 1.0)

    @property
    def shown_soc(self) -> Floats:
        """What the monitor would show at the highest such charge [-]."""
        return np.clip(self.offset_soc + self.scale * self.high_soc, 0.0, 1.0)

    def true_at(self, place: float, shown_soc: float) -> float:
        """Charge in the cells at the dark where the monitor showed so much [-]."""
        low, high, offset, scale = (self.at(name, place) for name in ("low_soc", "high_soc", "offset_soc", "scale"))
        return min(max((shown_soc - offset) / scale, low), high)

    def at(self, name: str, place: float) -> float:
        """Read a column between its rows; `place` is a row with its fraction."""
        column: Floats = getattr(self, name)
        return float(np.interp(place, np.arange(column.size), column))


def normal(x: float) -> float:
    """Density of the standard normal distribution."""
    return exp(-0.5 * x * x) / sqrt(2.0 * pi)


def above(x: float) -> float:
    """Chance of a standard normal value above x."""
    return 0.5 * erfc(x / sqrt(2.0))


def half_normal(values: Floats, width: float, middle: float = 0.0) -> Floats:
    """Mass of each value under a normal prior that is cut off below 0."""
    steps = np.gradient(values) if values.size > 1 else np.ones(1)
    return _summed(np.exp(-0.5 * ((values - middle) / width) ** 2) * steps)


def log_normal(values: Floats, middle: float, factor: float) -> Floats:
    """Mass of each value under a prior that is normal in the logarithm: two of three lie within `factor` either way."""
    logs = np.log(values)
    return _summed(np.exp(-0.5 * ((logs - log(middle)) / log(factor)) ** 2) * np.gradient(logs))


def _summed(density: Floats) -> Floats:
    total = float(density.sum())
    return density / total if total > 0.0 else density


def fits(grid: Grid, shown_soc: float) -> tuple[Floats, Floats]:
    """How well each stretch of a grid fits the charge shown, and where in it it fits best.

    Returns
    -------
    (fit, place) : two (m,) arrays
        Mean density over the stretch [per share of charge] times the prior of the stretch and its share; the row at
        which it comes nearest. m is n - 1, or 1 where there is one value only.
    """
    if grid.values.size == 1:
        z = (shown_soc - float(grid.shown_soc[0])) / READING_SOC
        return np.array([normal(z) / READING_SOC * float(grid.mass[0] * grid.share[0])]), np.zeros(1)
    low_a, low_b = grid.least_shown_soc[:-1], grid.least_shown_soc[1:]
    high_a, high_b = grid.shown_soc[:-1], grid.shown_soc[1:]
    low, high = np.minimum(low_a, low_b), np.maximum(high_a, high_b)
    width = high - low
    wide = width > 1e-6
    safe = np.where(wide, width, 1.0)
    spread = sqrt(2.0) * READING_SOC
    inside = np.array([erf(x) for x in ((high - shown_soc) / spread).tolist()])
    inside -= np.array([erf(x) for x in ((low - shown_soc) / spread).tolist()])
    flat = np.exp(-0.5 * ((low - shown_soc) / READING_SOC) ** 2) / (sqrt(2.0 * pi) * READING_SOC)
    density = np.where(wide, 0.5 * inside / safe, flat)
    prior = 0.5 * (grid.mass[:-1] * grid.share[:-1] + grid.mass[1:] * grid.share[1:])
    place = np.arange(width.size, dtype=np.float64) + _nearest(shown_soc, (low_a, low_b), (high_a, high_b))
    return density * prior, place


def _nearest(shown_soc: float, low: tuple[Floats, Floats], high: tuple[Floats, Floats]) -> Floats:
    """Part of the way through each stretch at which its span of charges comes nearest to the one shown."""
    by_high, by_low = (
        np.where(b > a + 1e-9, (shown_soc - a) / np.where(b > a + 1e-9, b - a, 1.0), 0.5) for a, b in (high, low)
    )
    return np.clip(np.where(shown_soc > high[0], by_high, np.where(shown_soc < low[1], by_low, 0.5)), 0.0, 1.0)


def needed(grid: Grid, shown_soc: float, usual: float = 0.0) -> float | None:
    """Row with its fraction from which on the monitor may have shown the charge seen; None where none does.

    Parameters
    ----------
    usual : float
        Row of what is usual, which is enough where the charge seen lies within what it may show.
    """
    shown, least = grid.shown_soc, grid.least_shown_soc
    k = int(usual)
    if least[k] - READING_SOC <= shown_soc <= shown[k] + READING_SOC and usual > 0.0:
        return usual
    reached = np.flatnonzero(shown >= shown_soc - 1e-9)
    if not reached.size:
        return None
    k = int(reached[0])
    if k == 0:
        return 0.0
    below, high = float(shown[k - 1]), float(shown[k])
    return k - 1 + (shown_soc - below) / (high - below)


def tail(grid: Grid, place: float) -> float:
    """Chance, by the prior, of a value as far out as that row or farther."""
    k = int(place)
    rest = float(grid.mass[k + 1 :].sum())
    return min(rest + (1.0 - (place - k)) * float(grid.mass[k]), 1.0)


def verdict(chance: float | None, misfit: float = 0.0) -> str:
    """Name how well a cause fits.

    Parameters
    ----------
    chance : float or None
        Of a value as far out as the needed one; None where no value does.
    misfit : float
        Standard errors that stay between what it makes of the night and what was seen.
    """
    if chance is None or chance < HARDLY_TAIL or misfit > _FAR:
        return CANNOT
    if chance < COULD_TAIL or misfit > 2.0:
        return HARDLY
    return COULD if chance < WELL_TAIL or misfit > 1.0 else WELL


def shares_of(log_weights: Sequence[float]) -> tuple[float, ...]:
    """Return each weight over their sum, from their logarithms; all 0 where nothing fits at all."""
    highest = max(log_weights)
    if highest == -inf:
        return (0.0,) * len(log_weights)
    weights = [exp(one - highest) for one in log_weights]
    return tuple(one / sum(weights) for one in weights)
