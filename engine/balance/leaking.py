"""The depth spectrum of banks that leak: self-discharge is a standing load that grows with the bank.

Two spectra, one without leak and one with that of a bank of a known size, are read on a straight line between them,
cycle by cycle in the order of their depth; so a bank's size decides its own leak. kWh at the battery side. Exact for
the two, and for a bank without self-discharge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.balance.depths import Spectrum

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
_HALVINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Leaking:
    """Two spectra: without leak, and with that of a bank of `leaks_kwh` [kWh, > 0].

    `depth_kwh` (m,) is the size that each cycle just empties with its own leak, deepest first; infinite where leak
    eats any bank.
    """

    tight: Spectrum
    leaky: Spectrum
    leaks_kwh: float
    depth_kwh: Floats

    def dark_spells(self, bank_kwh: Floats) -> Whole:
        """Return how often banks of these sizes [kWh] run empty."""
        return np.searchsorted(-self.depth_kwh, -bank_kwh, side="left")

    def short_kwh(self, bank_kwh: Floats) -> Floats:
        """Return what banks of these sizes fail to give [kWh]."""
        share = bank_kwh / self.leaks_kwh
        tight, leaky = self.tight.short_kwh(bank_kwh), self.leaky.short_kwh(bank_kwh)
        return np.maximum(tight + share * (leaky - tight), 0.0)

    def bank_for_spells(self, spells: int) -> float:
        """Return the smallest bank [kWh] that runs empty at most so many times."""
        return float(self.depth_kwh[spells]) if spells < self.depth_kwh.size else 0.0

    def bank_for_short(self, short_kwh: float) -> float:
        """Return the smallest bank [kWh] that fails to give at most `short_kwh` [kWh]."""
        low, high = 0.0, self.bank_for_spells(0)
        if not np.isfinite(high):
            return high
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            if self.short_kwh(np.array([middle]))[0] > short_kwh:
                low = middle
            else:
                high = middle
        return high


def leaking(tight: Spectrum, leaky: Spectrum, leaks_kwh: float) -> Leaking:
    """Put two spectra together, the second with the leak of a bank of `leaks_kwh` [kWh, > 0]."""
    both = min(tight.depth_kwh.size, leaky.depth_kwh.size)
    without, with_leak = tight.depth_kwh[:both], leaky.depth_kwh[:both]
    depth_kwh = np.sort(own_leak_kwh(without, with_leak, leaks_kwh))[::-1]
    return Leaking(tight=tight, leaky=leaky, leaks_kwh=leaks_kwh, depth_kwh=depth_kwh)


def own_leak_kwh(without: Floats, with_leak: Floats, leaks_kwh: float) -> Floats:
    """Return the sizes that spells just empty with the leak of each size itself [kWh].

    Parameters
    ----------
    without, with_leak : (m,) arrays
        Depths without leak, and with that of a bank of `leaks_kwh` [kWh].
    """
    per_kwh = np.maximum(with_leak - without, 0.0) / leaks_kwh
    sizes = np.full(without.shape, np.inf)
    np.divide(without, 1.0 - per_kwh, out=sizes, where=per_kwh < 1.0)
    return sizes
