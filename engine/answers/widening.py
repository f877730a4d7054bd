"""A range made wider by a factor, because earlier ranges turned out too narrow.

Charge and hours are widened each about its own middle. Hours are local to the question [h], charge a share of tested
Ah [-]. A range is never made narrower, and what never ends within the days asked about still does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.answers.fan import Band
from engine.errors import InputError

Floats = NDArray[np.float64]

AT_FLOOR = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Range:
    """Soonest and latest hours (None: not within the days) and the band of the charge."""

    low_hours: float | None
    high_hours: float | None
    band: Band


def middle_soc(times_h: Floats, run_h: Floats, run_soc: Floats, hours: float | None, floor_soc: float) -> Floats:
    """Return the likely charge at some times: that of the run, and the floor once it has ended.

    Parameters
    ----------
    times_h : (n,) array
        Times wanted [h].
    run_h, run_soc : (m,) arrays
        The likely run [h, -], with the moment it ended as a point.
    hours : float or None
        When it ended [h].
    """
    soc = np.interp(times_h, run_h, run_soc)
    if hours is None:
        return soc
    return np.where(times_h < hours, soc, min(floor_soc, float(np.interp(hours, run_h, run_soc))))


def widened(
    own: Range, *, run_h: Floats, run_soc: Floats, hours: float | None, floor_soc: float, factor: float
) -> Range:
    """Return a range `factor` times as wide.

    Parameters
    ----------
    own : Range
        As the model gives it.
    run_h, run_soc : (m,) arrays
        The likely run, as far as the days go [h, -].
    hours : float or None
        The likely hours.
    floor_soc : float
        Charge at which it ends [-].
    factor : float
        1 or more.

    Returns
    -------
    Range
        The band is so many times as far from the likely charge, within the floor and full. The high hours are so many
        times as far from the likely ones; the low ones lie where so many times their share of them is left
        (`sooner_h`), or where the wider band is at the floor, if that is sooner. High hours past the days are None. An
        end that the model does not see at all comes only where the wider band meets the floor.

    Raises
    ------
    InputError
        On ``widened`` if the factor is below 1.
    """
    if not factor >= 1.0:
        raise InputError("widened", f"A range is made wider by a factor of 1 or more, got {factor:g}.")
    if factor == 1.0:
        return own
    high_h = _high(own, hours, factor, float(run_h[-1]))
    last_h = float(run_h[-1]) if high_h is None else high_h
    times_h = np.union1d(own.band.times_h, np.append(run_h[run_h < last_h], last_h))
    middle = middle_soc(times_h, run_h, run_soc, hours, floor_soc)
    low, high = (np.interp(times_h, own.band.times_h, soc) for soc in (own.band.low_soc, own.band.high_soc))
    wide_low = middle - factor * np.maximum(middle - low, 0.0)
    wide_high = np.maximum(high, np.minimum(middle + factor * np.maximum(high - middle, 0.0), 1.0))
    if hours is not None:
        later = times_h > hours
        wide_high[later] = np.maximum(wide_high, _stretched(own, hours, factor, times_h))[later]
    low_h = _low(own, hours, factor, times_h, wide_low, floor_soc)
    wide_low = np.maximum(wide_low, np.minimum(low, floor_soc))
    if low_h is not None:
        times_h, wide_low, wide_high = _with_end(times_h, wide_low, wide_high, low_h, floor_soc)
    return Range(low_hours=low_h, high_hours=high_h, band=Band(times_h=times_h, low_soc=wide_low, high_soc=wide_high))


def _high(own: Range, hours: float | None, factor: float, days_h: float) -> float | None:
    if hours is None or own.high_hours is None:
        return None
    found = hours + factor * (own.high_hours - hours)
    return found if found <= days_h else None


def _low(
    own: Range, hours: float | None, factor: float, times_h: Floats, low_soc: Floats, floor_soc: float
) -> float | None:
    """The sooner of the hours scaled and the moment the wider band meets the floor."""
    found = [_meets(times_h, low_soc, floor_soc), own.low_hours]
    if hours is not None and own.low_hours is not None:
        found.append(sooner_h(hours, own.low_hours, factor))
    return min((one for one in found if one is not None), default=None)


def sooner_h(hours: float, low_h: float, factor: float) -> float:
    """Return the low hours of a range `factor` times as wide: by the share of the likely hours they are.

    Hours are charge over draw, so that an error of either is a share of them; so many hours less would be none at all
    while the bank is still full (choice).

    Examples
    --------
    >>> sooner_h(40.0, 20.0, 1.0), sooner_h(40.0, 20.0, 2.0)
    (20.0, 10.0)
    """
    return float(hours * (min(low_h / hours, 1.0) ** factor)) if hours > 0.0 else 0.0


def _meets(times_h: Floats, soc: Floats, floor_soc: float) -> float | None:
    """When a course is first at the floor [h]."""
    under = np.flatnonzero(soc <= floor_soc + AT_FLOOR)
    if not len(under):
        return None
    place = int(under[0])
    if place == 0:
        return float(times_h[0])
    above, below = float(soc[place - 1]) - floor_soc, float(soc[place]) - floor_soc
    share = above / (above - below)
    return float(times_h[place - 1] + share * (times_h[place] - times_h[place - 1]))


def _stretched(own: Range, hours: float, factor: float, times_h: Floats) -> Floats:
    """The high charge after the likely end, drawn out so that it meets the floor at the wider high hours."""
    return np.interp(hours + (times_h - hours) / factor, own.band.times_h, own.band.high_soc)


def _with_end(
    times_h: Floats, low: Floats, high: Floats, low_h: float, floor_soc: float
) -> tuple[Floats, Floats, Floats]:
    """The band with the low end as a moment of its own, at the floor from then on."""
    every_h = np.union1d(times_h, [low_h])
    low, high = np.interp(every_h, times_h, low), np.interp(every_h, times_h, high)
    ended = every_h >= low_h
    low[ended] = np.minimum(low[ended], floor_soc)
    return every_h, low, high
