"""Where along a charge a balancer can see that one cell holds more than another, and whether it ever starts.

Cells in series carry one current, so a cell that is ahead by a little charge shows it as volts:
d(OCV + c R)/ds times that charge. Millivolts per cell, per 0.01 of charge and per ampere-hour of imbalance;
currents in C-rate, charging positive. What counts as seen follows from the board's resolution. Volts that fall as
the charge rises would make a balancer bleed the emptier cell; that stretch is named too. Not modelled: cells that
differ in resistance (which shows as volts without any imbalance), hysteresis, noise of the board's reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from engine.cells import curve
from engine.cells.chemistry import STEPS, Chemistry, table
from engine.errors import InputError
from engine.fields import Quantity

Array = NDArray[np.float64]

RESOLUTION = Quantity(label="Board tells apart", unit="mV", low=0.1, high=100.0)
RESOLUTION_MV = 5.0
"""What a board tells apart, between cells and from one minute to the next [mV] (typical, from memory)."""
CLEAR_SHARE = 0.01
BLIND_SHARE = 0.025
"""An imbalance of this share of a cell must show as one resolution, or a stretch is not clear (blind); engineering
choice: at 5 mV they are 5 and 2 mV per 0.01."""
HALF_WINDOW = STEPS // 100
"""Slopes are taken over 0.01 of charge to either side: a finer imbalance is of no use to anybody."""
SHORTEST_SHARE = 0.01
"""A stretch shorter than this is counted with the one before it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One part of the charge and what a balancer sees there: clear, faint, blind or backwards; volts while charging."""

    word: str
    low_soc: float
    high_soc: float
    low_v: float
    high_v: float
    least_mv: float
    most_mv: float
    """Lowest and highest millivolts per 0.01 of charge in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """What an imbalance shows as along a charge; arrays (n,) over charge, slopes may be negative."""

    soc: Array
    volts: Array
    mv_per_point: Array
    """Millivolts that 0.01 of a cell's charge shows as."""
    mv_per_ah: Array
    stretches: tuple[Stretch, ...]
    clear_mv: float
    blind_mv: float
    clear_share: float
    """Share of the charge on which a balancer sees clearly [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Whether a balancer's start voltage is met in a charge, at what charge, and for how long before the charge ends.

    `hours` is at constant current only; a hold adds its own hours at the end volts.
    """

    reached: bool
    start_soc: float | None
    end_soc: float
    hours: float


def sight(
    cell: Chemistry,
    c_rate: float,
    ah: float,
    *,
    resolution_mv: float = RESOLUTION_MV,
    temperature_c: float = 25.0,
) -> Sight:
    """Say where along a charge at `c_rate` an imbalance shows in the volts.

    Parameters
    ----------
    cell : Chemistry
    c_rate : float
        Charge current [1/h], >= 0.
    ah : float
        Ampere-hours of one parallel group [Ah], > 0.
    resolution_mv : float
        What the board tells apart [mV].
    temperature_c : float
        Cell temperature [degC].

    Returns
    -------
    Sight

    Raises
    ------
    InputError
        If a number is outside its limits.
    """
    _check_positive("c_rate", "Charge current", c_rate, "C", zero=True)
    _check_positive("ah", "Group capacity", ah, "Ah")
    if (text := RESOLUTION.refuse(resolution_mv)) is not None:
        raise InputError("resolution_mv", text)
    cells = table(cell, temperature_c)
    volts = np.array(cells.ocv_v) + c_rate * np.array(cells.r_slow)
    soc: Array = np.arange(STEPS + 1, dtype=np.float64) / STEPS
    slope = _slope(volts) * 10.0
    clear_mv, blind_mv = resolution_mv * 0.01 / CLEAR_SHARE, resolution_mv * 0.01 / BLIND_SHARE
    words = _merged([_word(mv, clear_mv, blind_mv) for mv in slope.tolist()])
    stretches = _stretches(words, volts, slope)
    return Sight(
        soc=soc,
        volts=volts,
        mv_per_point=slope,
        mv_per_ah=slope * 100.0 / ah,
        stretches=stretches,
        clear_mv=clear_mv,
        blind_mv=blind_mv,
        clear_share=math.fsum(part.high_soc - part.low_soc for part in stretches if part.word == "clear"),
    )


def balancer_reached(
    cell: Chemistry, start_v: float, end_v: float, hold: bool, c_rate: float, temperature_c: float = 25.0
) -> Reach:
    """Say whether a charge to `end_v` ever lifts a cell to the volts at which its balancer starts.

    Parameters
    ----------
    cell : Chemistry
    start_v : float
        Cell volts at which the balancer starts [V].
    end_v : float
        Charge-end voltage [V per cell].
    hold : bool
        Whether the charger holds it, down to the chemistry's tail current.
    c_rate : float
        Charge current [1/h], > 0.
    temperature_c : float
        Cell temperature [degC].

    Returns
    -------
    Reach
        Of a cell at the mean of its string; a cell ahead of the others starts that much earlier. Without a
        hold a start at the end volts themselves is met for a moment only: `hours` is 0.
    """
    _check_positive("c_rate", "Charge current", c_rate, "C")
    end_soc = curve.soc_without_hold(cell, end_v, c_rate, temperature_c)
    start_soc = curve.soc_without_hold(cell, start_v, c_rate, temperature_c)
    held = max(end_soc, curve.soc_with_hold(cell, end_v, temperature_c=temperature_c)) if hold else end_soc
    if start_v > end_v or not _gets_to(cell, start_v, c_rate, temperature_c):
        return Reach(reached=False, start_soc=None, end_soc=held, hours=0.0)
    return Reach(reached=True, start_soc=start_soc, end_soc=held, hours=(end_soc - start_soc) / c_rate)


def _gets_to(cell: Chemistry, volts: float, c_rate: float, temperature_c: float) -> bool:
    """Whether a full cell stands at `volts` under the charge current; a cell that takes no more climbs to any."""
    cells = table(cell, temperature_c)
    return cell.acceptance_tau_h is not None or cells.ocv_v[-1] + c_rate * cells.r_slow[-1] >= volts


def _check_positive(field: str, label: str, value: float, unit: str, zero: bool = False) -> None:
    if not (math.isfinite(value) and (value > 0.0 or (zero and value == 0.0))):
        raise InputError(field, f"{label} must be a number {'from' if zero else 'above'} 0 {unit}; got {value:g}.")


def _slope(volts: Array) -> Array:
    """dV/ds [V] over `HALF_WINDOW` steps to either side, one-sided at the ends."""
    places = np.arange(STEPS + 1)
    low, high = np.maximum(places - HALF_WINDOW, 0), np.minimum(places + HALF_WINDOW, STEPS)
    slope: Array = (volts[high] - volts[low]) * STEPS / (high - low)
    return slope


def _word(mv: float, clear_mv: float, blind_mv: float) -> str:
    if mv >= clear_mv:
        return "clear"
    if mv >= blind_mv:
        return "faint"
    return "blind" if mv > -blind_mv else "backwards"


def _merged(words: list[str]) -> list[str]:
    """The words of all points, each run shorter than `SHORTEST_SHARE` read as the run before it."""
    merged: list[str] = []
    for word, run in groupby(words):
        length = len(list(run))
        merged += [merged[-1] if merged and length < SHORTEST_SHARE * STEPS else word] * length
    return merged


def _stretches(words: list[str], volts: Array, slope: Array) -> tuple[Stretch, ...]:
    """Runs of one word, end to end from 0 to 1."""
    found, first = [], 0
    for word, run in groupby(words):
        last = min(first + len(list(run)), STEPS)
        inside = slope[first : last + (last == STEPS)]
        found.append(
            Stretch(
                word=word,
                low_soc=first / STEPS,
                high_soc=last / STEPS,
                low_v=float(volts[first]),
                high_v=float(volts[last]),
                least_mv=float(inside.min()),
                most_mv=float(inside.max()),
            )
        )
        first = last
    return tuple(found)
