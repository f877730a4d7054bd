"""One cell's rested volts and resistance along its charge, put together from what a bench measured.

A measured line gives the rested volts where it reaches (its volts less its current times the resistance), held
points pin them, and the chemistry's own curve, stretched and shifted to join, is borrowed below the lowest
measured volts and, where nothing was held, above the end of the charge. Volts per cell, charge as a share of the
full charge. Not modelled: hysteresis, relaxation.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.bench.isotonic import rising
from engine.bench.resistance import GRID, Held, Line, Resistance, local
from engine.bench.traces import Trace
from engine.cells.chemistry import Chemistry, first_crossing, table
from engine.cells.pchip import pchip
from engine.errors import InputError

Array = NDArray[np.float64]

LINE_POINTS = 400
GUIDE_WEIGHT = 0.5
"""How far the chemistry's own charge leads a table's line between its rows (engineering choice)."""
HEAD_LIMIT = 1.25
"""The most that a borrowed top may add, as a multiple of what was measured."""
_NEAR_SOC = 0.03
_LEAST = 1e-9
_LEAST_STEPS = 2
"""Points of `GRID` that a line must reach: fewer have no slope."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Rested volts and resistance on `GRID`, and the charges between which they are measured, not borrowed."""

    ocv_v: Array
    r_v_per_c: Array
    measured_from_soc: float
    measured_to_soc: float


def line_of_table(volts: Array, ah: Array, full_ah: float, c_rate: float, base: Chemistry) -> Line:
    """Draw a line through charge-end volts (n,) and the ampere-hours they gave (n,), made to rise.

    It goes through every row; between two rows it runs as the chemistry's own charge does there, as far as that
    tells (`GUIDE_WEIGHT`), else evenly.
    """
    fine = np.union1d(np.linspace(volts[0], volts[-1], LINE_POINTS), volts)
    place = _guide(fine, c_rate, base)
    return _strict(pchip(place[np.searchsorted(fine, volts)], rising(ah), place) / full_ah, fine, c_rate)


def _guide(volts: Array, c_rate: float, base: Chemistry) -> Array:
    """The chemistry's own charge at these volts and current, mixed with the volts themselves so that it rises."""
    own = table(base)
    climbing = np.maximum.accumulate(np.array(own.ocv_v) + c_rate * np.array(own.r_slow))
    charge = np.array([first_crossing(climbing, float(v)) for v in volts])
    even = (volts - volts[0]) / (volts[-1] - volts[0])
    place: Array = GUIDE_WEIGHT * charge + (1.0 - GUIDE_WEIGHT) * even
    return place


def line_of_charge(trace: Trace, full_ah: float, efficiency: float) -> Line:
    """Turn a logged charge into a line; `efficiency` is what of the ampere-hours put in comes out again."""
    soc = (trace.ah + trace.offset_ah) * efficiency / full_ah
    return _strict(soc, rising(trace.volts), trace.current_a / full_ah)


def line_of_discharge(trace: Trace, full_ah: float, start_soc: float) -> Line:
    """Turn a logged discharge, from `start_soc` down, into a line by rising charge."""
    soc = start_soc - (trace.ah + trace.offset_ah) / full_ah
    return _strict(soc[::-1], rising(trace.volts[::-1]), trace.current_a / full_ah)


def _strict(soc: Array, volts: Array, c_rate: float) -> Line:
    """Make the charge rise at every point."""
    climbing = np.maximum.accumulate(soc) + _LEAST * np.arange(len(soc))
    return Line(soc=climbing, volts=volts, c_rate=c_rate)


def steepness_v(line: Line) -> Callable[[float], float]:
    """Return volts per unit of charge near a charge, over 6 % of the charge."""

    def slope(soc: float) -> float:
        ends = np.clip([soc - _NEAR_SOC, soc + _NEAR_SOC], line.soc[0], line.soc[-1])
        volts = np.interp(ends, line.soc, line.volts)
        return float((volts[1] - volts[0]) / max(ends[1] - ends[0], _LEAST))

    return slope


def assemble(line: Line, held: tuple[Held, ...], top_v: float, resistance: Resistance, base: Chemistry) -> Curve:
    """Put a curve together from one line and what was held.

    Parameters
    ----------
    line : Line
        Charges without a hold at one current.
    held : tuple of Held
        Held points by rising charge; one at a charge of 1 ends the curve, without it the top is borrowed.
    top_v : float
        Highest measured volts; the full charge is what a hold there gives [V].
    resistance : Resistance
    base : Chemistry
        From which foot and top are borrowed.

    Returns
    -------
    Curve

    Raises
    ------
    InputError
        If the line is too short for a curve.
    """
    r = local(line, held, resistance, steepness_v(line))
    places = np.array([h.soc for h in held])
    pinned = rising(np.array([h.volts - h.c_rate * float(np.interp(h.soc, GRID, r)) for h in held]))
    inside = (line.soc[0] <= GRID) & (line.soc[-1] >= GRID)
    if np.count_nonzero(inside) < _LEAST_STEPS:
        raise InputError(
            "volts",
            f"From the lowest to the highest volts the charge of this test goes from {line.soc[0]:.1%} to "
            f"{line.soc[-1]:.1%} of the full one: too little for a curve. Check the ampere-hours and their unit.",
        )
    volts = np.interp(GRID[inside], line.soc, line.volts)
    rested = _pinned(GRID[inside], rising(volts - line.c_rate * r[inside]), places, pinned)
    r = r.copy()
    # Below the first held point nothing but the line is known, so the curve gives it back exactly.
    alone = GRID[inside] < (places[0] if len(places) else np.inf)
    closes = np.clip((volts - rested) / line.c_rate, 0.0, 4.0 * r[inside])
    r[inside] = np.where(alone, closes, r[inside])
    known_s, known_v = _carried_on(GRID[inside], rested, places, pinned)
    ocv = np.interp(GRID, known_s, known_v)
    below = _foot(ocv, r, float(known_s[0]), base)
    _head(ocv, float(known_s[-1]), top_v, r, base)
    return Curve(
        ocv_v=np.clip(np.maximum.accumulate(ocv), 0.0, 6.0),
        r_v_per_c=np.clip(r, 0.0, 50.0),
        measured_from_soc=below,
        measured_to_soc=float(known_s[-1]),
    )


def _pinned(soc: Array, rested: Array, places: Array, pinned: Array) -> Array:
    """Move a line so that it meets the held points inside it and never passes one; it keeps its shape between."""
    inner = (places >= soc[0]) & (places <= soc[-1])
    if inner.any():
        rested = rested + np.interp(soc, places[inner], pinned[inner] - np.interp(places[inner], soc, rested))
    floor = np.concatenate(([-np.inf], pinned))[np.searchsorted(places, soc, side="right")]
    ceiling = np.concatenate((pinned, [np.inf]))[np.searchsorted(places, soc, side="left")]
    return np.maximum.accumulate(np.clip(rested, floor, ceiling))


def _carried_on(soc: Array, rested: Array, places: Array, pinned: Array) -> tuple[Array, Array]:
    """Add the held points below and above a line."""
    before, after = places < soc[0], places > soc[-1]
    charge = np.concatenate((places[before], soc, places[after]))
    return charge, np.maximum.accumulate(np.concatenate((pinned[before], rested, pinned[after])))


def _foot(ocv: Array, r: Array, start: float, base: Chemistry) -> float:
    """Borrow the chemistry's foot below `start`, squeezed and shifted to join; return where it ends."""
    below = start > GRID
    if not below.any():
        return 0.0
    own = table(base)
    base_v, base_r = np.array(own.ocv_v), np.array(own.r_slow)
    join_v, join_r = float(np.interp(start, GRID, ocv)), float(np.interp(start, GRID, r))
    reached = max(first_crossing(base_v, join_v), 1e-3)
    like = GRID[below] * reached / start
    ocv[below] = np.interp(like, GRID, base_v) - float(np.interp(reached, GRID, base_v)) + join_v
    usual = float(np.interp(reached, GRID, base_r))
    r[below] = join_r * (np.interp(like, GRID, base_r) / usual if usual > 0.0 else 1.0)
    return start


def _head(ocv: Array, end: float, top_v: float, r: Array, base: Chemistry) -> None:
    """Borrow the chemistry's top above `end`, stretched and shifted to join, up to where a hold at `top_v` ends."""
    above = end + 1e-6 < GRID
    if end >= 1.0 - 1e-6 or not above.any():
        return
    base_v = np.array(table(base).ocv_v)
    join_v = float(np.interp(end, GRID, ocv))
    goal_v = max(top_v - base.tail_c * float(r[-1]), join_v)
    from_s, to_s = first_crossing(base_v, join_v), first_crossing(base_v, goal_v)
    part = (GRID[above] - end) / (1.0 - end)
    shape = np.interp(from_s + part * (to_s - from_s), GRID, base_v) - float(np.interp(from_s, GRID, base_v))
    ocv[above] = join_v + (shape * (goal_v - join_v) / shape[-1] if shape[-1] > _LEAST else part * (goal_v - join_v))


def full_with_head(end_ah: float, end_v: float, amps: float, base: Chemistry, r_v_per_c: float) -> float:
    """Ampere-hours a hold at the end volts would have reached, by the chemistry's own top.

    Parameters
    ----------
    end_ah : float
        Delivered after the charge without a hold [Ah].
    end_v : float
        Volts at which it ended [V].
    amps : float
        Its current [A].
    base : Chemistry
    r_v_per_c : float
        Resistance at the end of that charge [V per C].
    """
    base_v = np.array(table(base).ocv_v)
    full_ah = end_ah
    for _ in range(5):
        start = first_crossing(base_v, end_v - amps / full_ah * r_v_per_c)
        end = first_crossing(base_v, end_v - base.tail_c * r_v_per_c)
        full_ah = end_ah * min(max(end / start, 1.0), HEAD_LIMIT) if start > 0.0 else end_ah
    return float(full_ah)
