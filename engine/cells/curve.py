"""How full a charge-end voltage leaves a cell, with and without a hold, and which voltage to set.

All follows from OCV(s) + c R(s): a charge without a hold stops where that reaches the end voltage
at the charge current, a hold runs on to where it does at the tail current. A chemistry with a
charge-acceptance time (lead-acid) takes at most (1 - s) / tau, so a current c finds its end voltage at
s = 1 - c tau whatever the volts. Volts per cell, currents in C-rate, degC. Not modelled: hysteresis,
the hours a hold takes, a start other than empty.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.cells.chemistry import STEPS, Chemistry, arrays, first_crossing

Array = NDArray[np.float64]

VOLT_STEP = 0.01
"""Spacing of a `UsableCurve` [V]: what chargers can be set to."""
PLAIN_RISE = 0.30
PLAIN_STEPS = 5
"""Where a held curve rises by more than the first within this many steps (0.05 V), voltage cannot stop it."""
NEAR_V = PLAIN_STEPS * VOLT_STEP
"""A share that moves by more than `PLAIN_RISE` within these volts is not told by volts [V]."""
METER_V = 0.01
METER_RISE = 0.10
"""Nor where the charge moves by more than the second within the first to either side: what volts on a charger or a
meter are good to per cell (assumed)."""


def _charging_v(cell: Chemistry, c_rate: float, temperature_c: float) -> Array:
    """Terminal volts on the way up, (STEPS + 1,): the highest met so far, so that a stop is the first."""
    cells = arrays(cell, temperature_c)
    return np.maximum.accumulate(cells.ocv_v + c_rate * cells.r_slow)


def _discharging_v(cell: Chemistry, c_rate: float, temperature_c: float) -> Array:
    """Terminal volts on the way down, (STEPS + 1,): the lowest met so far."""
    cells = arrays(cell, temperature_c)
    volts = cells.ocv_v - c_rate * cells.r_fast
    return np.minimum.accumulate(volts[::-1])[::-1]


def _accepted(cell: Chemistry, c_rate: float) -> float:
    """Highest s at which the cell still takes `c_rate` [-]."""
    return 1.0 if cell.acceptance_tau_h is None else max(0.0, 1.0 - c_rate * cell.acceptance_tau_h)


def soc_without_hold(cell: Chemistry, v_end: float, c_rate: float, temperature_c: float = 25.0) -> float:
    """Return the charge at which a constant current first reaches `v_end`.

    Parameters
    ----------
    cell : Chemistry
    v_end : float
        Charge-end voltage [V per cell].
    c_rate : float
        Charge current [1/h], >= 0.
    temperature_c : float
        Cell temperature [degC].

    Returns
    -------
    float
        State of charge [-]; 0 if the first moment is above `v_end`, 1 if it is never reached.
    """
    return float(_reached(cell, (v_end,), c_rate, temperature_c)[0])


def soc_with_hold(cell: Chemistry, v_end: float, tail_c: float | None = None, temperature_c: float = 25.0) -> float:
    """Return the charge at which a hold at `v_end` has let the current fall to its tail.

    Parameters
    ----------
    cell : Chemistry
    v_end : float
        Held voltage [V per cell].
    tail_c : float or None
        Current that ends the hold [1/h]; None takes the chemistry's.
    temperature_c : float
        Cell temperature [degC].

    Returns
    -------
    float
        State of charge [-]. A charge below the tail current is never held: read it without a hold.
    """
    return soc_without_hold(cell, v_end, cell.tail_c if tail_c is None else tail_c, temperature_c)


def volts_for_soc(cell: Chemistry, soc: float, c_rate: float, hold: bool = False, temperature_c: float = 25.0) -> float:
    """Return the charge-end voltage [V per cell] that stops at `soc`: the inverse of the two above.

    Parameters
    ----------
    cell : Chemistry
    soc : float
        State of charge to stop at [-]; held to 0..1.
    c_rate : float
        Charge current [1/h]; not used with a hold, which ends at the chemistry's tail.
    hold : bool
        Whether the charger holds the voltage.
    temperature_c : float
        Cell temperature [degC].

    Notes
    -----
    On a flat stretch the volts of its lower end are returned. Above the charge that the acceptance
    time allows, the voltage does not decide and the volts of the curve there are returned.
    """
    volts = _charging_v(cell, cell.tail_c if hold else c_rate, temperature_c)
    return float(np.interp(soc, np.arange(STEPS + 1) / STEPS, volts))


def soc_at_cutoff(cell: Chemistry, v_cut: float, c_rate: float, temperature_c: float = 25.0) -> float:
    """Return the charge at which a discharge from full is cut off.

    Parameters
    ----------
    cell : Chemistry
    v_cut : float
        Cut-off under load [V per cell].
    c_rate : float
        Discharge current [1/h], >= 0: here more is more drawn.
    temperature_c : float
        Cell temperature [degC].

    Returns
    -------
    float
        The lowest s that still holds `v_cut` [-]; 0 if all of it does, 1 if not even a full cell.
    """
    return first_crossing(_discharging_v(cell, c_rate, temperature_c), v_cut)


@dataclass(frozen=True, slots=True, kw_only=True)
class UsableCurve:
    """Charge reached against charge-end voltage, for a table or a chart; all (n,) arrays."""

    volts: Array
    soc_no_hold: Array
    uncontrollable: NDArray[np.bool_]
    """Where a held voltage does not decide the charge: say so, instead of drawing a number."""


def usable_curve(cell: Chemistry, c_rate: float, temperature_c: float = 25.0) -> UsableCurve:
    """Tabulate the charge reached from the cell's empty to its highest volts, every 0.01 V.

    Parameters
    ----------
    cell : Chemistry
    c_rate : float
        Charge current [1/h], not below the chemistry's tail.
    temperature_c : float
        Cell temperature [degC].

    Returns
    -------
    UsableCurve
    """
    first, last = round(cell.v_low / VOLT_STEP), round(cell.v_max / VOLT_STEP)
    volts: Array = np.arange(first, last + 1, dtype=np.float64) * VOLT_STEP
    held = _reached(cell, volts, cell.tail_c, temperature_c)
    steep = held[PLAIN_STEPS:] - held[:-PLAIN_STEPS] > PLAIN_RISE
    return UsableCurve(
        volts=volts,
        soc_no_hold=_reached(cell, volts, c_rate, temperature_c),
        uncontrollable=np.convolve(steep, np.ones(PLAIN_STEPS + 1)) > 0,
    )


def controllable(cell: Chemistry, volts: float, temperature_c: float = 25.0) -> bool:
    """Whether a held voltage decides the charge near `volts` [V per cell], by the same mark as `UsableCurve`."""
    near = [volts + (step - PLAIN_STEPS) * VOLT_STEP for step in range(2 * PLAIN_STEPS + 1)]
    held = [soc_with_hold(cell, v, temperature_c=temperature_c) for v in near]
    return all(high - low <= PLAIN_RISE for low, high in zip(held, held[PLAIN_STEPS:], strict=False))


def told(cell: Chemistry, volts: float, c_rate: float, temperature_c: float = 25.0) -> bool:
    """Whether a stop at `volts` [V per cell] with `c_rate` [1/h] still flowing tells the charge: see `METER_RISE`."""
    low, high = _reached(cell, (volts - METER_V, volts + METER_V), c_rate, temperature_c)
    return bool(high - low <= METER_RISE)


def told_apart(cell: Chemistry, soc: Array) -> NDArray[np.bool_]:
    """Where a column (n,) of charges `VOLT_STEP` apart rises by no more than `METER_RISE` over its two neighbours.

    Notes
    -----
    Not judged where a charge-acceptance time decides, whatever the volts: there a column begins with a step.
    """
    if cell.acceptance_tau_h is not None:
        return np.ones(len(soc), dtype=bool)
    padded = np.pad(soc, 1, mode="edge")
    return np.asarray(padded[2:] - padded[:-2] <= METER_RISE)


def _reached(cell: Chemistry, v_ends: Iterable[float], c_rate: float, temperature_c: float) -> Array:
    """`soc_without_hold` for many end voltages."""
    rising, accepted = _charging_v(cell, c_rate, temperature_c), _accepted(cell, c_rate)
    return np.array([min(first_crossing(rising, v_end), accepted) for v_end in v_ends])
