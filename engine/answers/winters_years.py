"""Year by year: how deep the dull spells of each winter draw down, and what years drawn anew would have told.

A cycle is counted to the winter in which it is deepest. Years are drawn with replacement, each a block of its own,
so that the weather inside a winter stays together (a block bootstrap; B. Efron, Ann. Statist. 7 (1979) 1-26, from
memory); the band tells the chance in the years there are, not how well a place's averages are known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.balance.depths import Spectrum
from engine.balance.leaking import Leaking, own_leak_kwh
from engine.balance.winters import Winters
from engine.quantities import HOURS_PER_DAY

Floats = NDArray[np.float64]
Counts = NDArray[np.int16]

RESAMPLES = 400
BAND_PERCENT = (5.0, 95.0)
_SEED = 1979


@dataclass(frozen=True, slots=True, kw_only=True)
class Winter:
    """One year of dull days: the bank it asks for and the month of its deepest point, and how one bank came through.

    `year` is the one in which it begins; `needed_kwh` is the smallest bank that rides it out, its own leak counted,
    None where none does; `month`, 1 to 12, is 0 where nothing was drawn.
    """

    year: int
    needed_kwh: float | None
    month: int
    dark_spells: int
    short_kwh: float


def years_of(hours: Winters, any_size: Leaking, cycles: Spectrum, bank_kwh: float) -> tuple[Winter, ...]:
    """Return each winter, in order.

    Parameters
    ----------
    any_size : Leaking
        Cycles of banks of any size.
    cycles : Spectrum
        Those of the bank of `bank_kwh` [kWh], with its leak.
    """
    tight, leaky = (_deepest_kwh(hours, one) for one in (any_size.tight, any_size.leaky))
    needed_kwh = own_leak_kwh(tight, leaky, any_size.leaks_kwh)
    of = hours.year_of(cycles.lowest_h)
    return tuple(
        _winter(hours, cycles, of == year, int(year), float(needed) if np.isfinite(needed) else None, bank_kwh)
        for year, needed in zip(hours.years, needed_kwh, strict=True)
    )


def _deepest_kwh(hours: Winters, cycles: Spectrum) -> Floats:
    """The deepest cycle of each winter [kWh]."""
    deepest = np.zeros(hours.years.size)
    np.maximum.at(deepest, np.searchsorted(hours.years, hours.year_of(cycles.lowest_h)), cycles.depth_kwh)
    return deepest


def _winter(
    hours: Winters, cycles: Spectrum, mine: NDArray[np.bool_], year: int, needed_kwh: float | None, bank_kwh: float
) -> Winter:
    depths = cycles.depth_kwh[mine]
    day = (int(cycles.lowest_h[mine][0]) - 1) // HOURS_PER_DAY if depths.size else 0
    return Winter(
        year=year,
        needed_kwh=needed_kwh,
        month=int(hours.month[day]) + 1 if depths.size else 0,
        dark_spells=int((depths > bank_kwh).sum()),
        short_kwh=float(np.maximum(depths - bank_kwh, 0.0).sum()),
    )


def drawn_anew(hours: Winters, cycles: Spectrum) -> Counts:
    """Return how often each cycle comes in each set of years drawn anew, (RESAMPLES, m)."""
    years = hours.years
    draws = np.random.default_rng(_SEED).integers(0, years.size, (RESAMPLES, years.size))
    times = np.array([np.bincount(draw, minlength=years.size) for draw in draws], dtype=np.int16)
    return np.take(times, np.searchsorted(years, hours.year_of(cycles.lowest_h)), axis=1)


def band_of_spells(times: Counts, cycles: Spectrum, bank_kwh: float) -> tuple[float, float]:
    """Return the band of dark spells of a bank [kWh] over the years drawn anew."""
    counts = times[:, cycles.depth_kwh > bank_kwh].sum(axis=1)
    low, high = np.percentile(counts, BAND_PERCENT)
    return float(low), float(high)


def band_of_bank(times: Counts, cycles: Spectrum, spells: int) -> tuple[float, float]:
    """Return the band of the smallest bank with at most so many dark spells [kWh]."""
    first_more = [int(np.searchsorted(np.cumsum(one), spells, side="right")) for one in times]
    depth_kwh = np.append(cycles.depth_kwh, 0.0)[first_more]
    low, high = np.percentile(depth_kwh, BAND_PERCENT)
    return float(low), float(high)
