"""How long a hold at the end of a charge takes, and where a hold of so many hours ends.

At held volts the charger gives what the cell takes: I = (V_end - OCV(s)) / R(s), never more than its own
current and, where the chemistry has a charge-acceptance time, never more than (1 - s) / tau. The charge kept
grows by the current times the charge efficiency. Volts per cell, currents in C-rate, hours, degC.
Not modelled: heat, a charger that counts the hold from before its volts are steady, loads during the hold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.cells import curve
from engine.cells.chemistry import STEPS, Chemistry, table

Array = NDArray[np.float64]

REST_C = 0.0005
"""A current so small that the cell counts as at rest at the held volts [1/h] (engineering choice: 0.1 A of 200 Ah)."""
PARTS = 8
"""Parts into which each step of the cell's table is cut while the taper is followed."""
_SAME = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class Taper:
    """A hold from its first moment to its end; (n,) arrays: charge kept [-], current [1/h], hours since its start.

    `put_in_share` is what has gone through the terminals as a share of tested Ah: the gain over the charge efficiency.
    """

    soc: Array
    rate_c: Array
    hours: Array
    put_in_share: Array

    @property
    def gained_soc(self) -> float:
        """Charge kept during the hold [-]."""
        return float(self.soc[-1] - self.soc[0])

    def until(self, hours: float) -> Taper:
        """The same hold ended after some hours [h, >= 0], or by itself if that is sooner."""
        before = self.hours < hours
        end = {name: np.interp(hours, self.hours, getattr(self, name)) for name in _ALONG}
        whole = bool(before.all())
        cut = {n: getattr(self, n) if whole else np.append(getattr(self, n)[before], end[n]) for n in _ALONG}
        return Taper(**cut)


_ALONG = ("soc", "rate_c", "hours", "put_in_share")


def taper(cell: Chemistry, v_end: float, c_rate: float, tail_c: float, temperature_c: float = 25.0) -> Taper:
    """Follow a hold from the moment a constant current has reached `v_end` down to the tail current.

    Parameters
    ----------
    cell : Chemistry
    v_end : float
        Held voltage [V per cell].
    c_rate : float
        Charge current before the hold, and the most the charger gives during it [1/h], > 0.
    tail_c : float
        Current that ends the hold [1/h], > 0.
    temperature_c : float
        Cell temperature [degC].

    Returns
    -------
    Taper
        One point and no hours where there is nothing to hold: a current at or below the tail, no
        resistance, or volts that are never reached.
    """
    start = curve.soc_without_hold(cell, v_end, c_rate, temperature_c)
    end = max(start, curve.soc_with_hold(cell, v_end, tail_c, temperature_c))
    soc = _nodes(start, end)
    rate = np.clip(_taken_c(cell, v_end, soc, temperature_c), min(tail_c, c_rate), c_rate)
    cells = table(cell, temperature_c)
    kept = np.interp((soc[1:] + soc[:-1]) / 2.0, np.arange(STEPS + 1) / STEPS, cells.coulombic)
    put_in = np.diff(soc) / kept
    return Taper(
        soc=soc,
        rate_c=rate,
        hours=_summed(put_in * _mean_inverse(rate[:-1], rate[1:])),
        put_in_share=_summed(put_in),
    )


def soc_after_hold(cell: Chemistry, v_end: float, c_rate: float, hold_h: float, temperature_c: float = 25.0) -> float:
    """Return the charge after `v_end` [V per cell] has been held for `hold_h` [h, >= 0].

    Notes
    -----
    Followed down to `REST_C`; a longer hold adds nothing that is counted.
    """
    return float(taper(cell, v_end, c_rate, REST_C, temperature_c).until(hold_h).soc[-1])


def _summed(parts: Array) -> Array:
    return np.concatenate(([0.0], np.cumsum(parts)))


def _nodes(start: float, end: float) -> Array:
    """The points of charge at which a taper is followed: its ends and fine steps of the table between."""
    fine = STEPS * PARTS
    inner = np.arange(int(start * fine) + 1, int(np.ceil(end * fine))) / fine
    return np.concatenate(([start], inner[(inner > start) & (inner < end)], [end] if end > start else []))


def _taken_c(cell: Chemistry, v_end: float, soc: Array, temperature_c: float) -> Array:
    """Current the cell takes at held volts [1/h]; without resistance all there is below them and none at them."""
    cells, grid = table(cell, temperature_c), np.arange(STEPS + 1) / STEPS
    gap_v = v_end - np.interp(soc, grid, cells.ocv_v)
    r_v = np.interp(soc, grid, cells.r_slow)
    taken = np.divide(gap_v, r_v, out=np.where(gap_v > 0.0, np.inf, 0.0), where=r_v > 0.0)
    return taken if cell.acceptance_tau_h is None else np.minimum(taken, (1.0 - soc) / cell.acceptance_tau_h)


def _mean_inverse(before: Array, after: Array) -> Array:
    """Mean of 1 / c along steps over which the current c goes linearly from `before` to `after`."""
    fall = before - after
    close = np.abs(fall) <= _SAME * before
    safe = np.where(close, 1.0, fall)
    return np.where(close, 2.0 / (before + after), np.log(before / after) / safe)
