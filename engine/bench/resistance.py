"""How many volts a current adds to a cell, in volts per C, and how well that is known.

Sources, best first: the hold against the charge without one at the same volts, charges at two rates, half the gap
between charge and discharge (hysteresis included: right for charging, too much for sag), a current step or the
first seconds of a rest (minutes only: too little for charging), the chemistry's own curve. How a hold's current
falls is not used: on a simulated NMC cell it gave less than half of what charging sees. Charge is a share of the
full charge, volts per cell, currents in C of it. Not modelled: that resistance depends on current, temperature.

References
----------
Method and its errors: Q(V, I) = F(V - I R) with one R and one rising F, fitted on capacity and not on the volts gap,
which is undefined where the curve is steep or flat. Our own trials against simulated cells.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.bench.isotonic import distinct
from engine.bench.traces import CurrentStep
from engine.cells.chemistry import STEPS, Chemistry, table
from engine.cells.pchip import pchip

Array = NDArray[np.float64]

GRID: Array = np.arange(STEPS + 1, dtype=np.float64) / STEPS
"""Charges at which curves are worked out."""
REPEAT_SHARE = 0.005
"""Random error between two charges of one test, as a share of what was delivered (assumed)."""
VOLTS_ERROR_V = 0.002
"""Error of a volts reading within one test (assumed)."""
SPREAD = {"two rates": 0.15, "half gap": 0.25, "current step": 0.5, "borrowed": 0.5}
"""Standard error of a resistance as a share of itself, by how it was found (assumed)."""
LEAST_SPREAD = 0.1
"""Least standard error of a fitted resistance as a share of itself (assumed)."""
HIGHEST_V_PER_C = 1.5
STEEP_SHARE = 0.5
LOCAL_SOC = (0.05, 0.15)
"""A held point speaks for the resistance up to the first distance in charge, and for none of it from the second."""
FOOT_SOC = 0.15
FOOT_RISE = 1.25
_MIDDLE = (GRID >= 0.2) & (GRID <= 0.9)
_SMOOTH_STEPS = 31


@dataclass(frozen=True, slots=True, kw_only=True)
class Resistance:
    """Volts per C on `GRID`, where they are from, and their standard error [V per C].

    `kind` is one of: two columns, two rates, half gap, current step, borrowed.
    """

    v_per_c: Array
    spread_v_per_c: float
    kind: str
    source: str

    @property
    def middle_v_per_c(self) -> float:
        """The usual value: the median from 20 to 90 % of the charge."""
        return middle(self.v_per_c)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One measured line: charge [-] that rises with the volts, at one current [C]; (n,) arrays."""

    soc: Array
    volts: Array
    c_rate: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One measured end of a hold: charge [-], held volts, the current that ended it [C]."""

    soc: float
    volts: float
    c_rate: float


def middle(v_per_c: Array) -> float:
    """Median of a resistance on `GRID` over the middle of the charge [V per C]."""
    return float(np.median(v_per_c[_MIDDLE]))


def shape_of(base: Chemistry, as_base: bool) -> Array:
    """Return the resistance on `GRID` in multiples of its usual value: the chemistry's, or the same everywhere."""
    if not as_base:
        return np.ones(STEPS + 1)
    slow = np.array(table(base).r_slow)
    usual = middle(slow)
    return slow / usual if usual > 0.0 else np.ones(STEPS + 1)


def borrowed(base: Chemistry) -> Resistance:
    """Take the chemistry's own resistance, for want of a measurement."""
    slow = np.array(table(base).r_slow)
    return Resistance(
        v_per_c=slow,
        spread_v_per_c=SPREAD["borrowed"] * middle(slow),
        kind="borrowed",
        source=f"the resistance of {base.name} in our catalogue, as this test does not show its own",
    )


def refusal(line: Line, held: Held, base: Chemistry, as_base: bool) -> str | None:
    """Return why a held point cannot tell the resistance, or None if it can.

    Parameters
    ----------
    line : Line
        The charges without a hold.
    held : Held
        The point to judge.
    base : Chemistry
        Whose resistance tells where the foot is unlike the rest.
    as_base : bool
        Whether the fitted resistance follows the chemistry's along the charge.
    """
    if not line.volts[0] <= held.volts <= line.volts[-1]:
        return f"The hold at {held.volts:g} V has no charge without a hold beside it."
    start = float(np.interp(held.volts, line.volts, line.soc))
    nearby = np.interp([held.volts - 0.02, held.volts + 0.02], line.volts, line.soc)
    span_v = min(held.volts + 0.02, line.volts[-1]) - max(held.volts - 0.02, line.volts[0])
    usual = (line.soc[-1] - line.soc[0]) / (line.volts[-1] - line.volts[0])
    if nearby[1] - nearby[0] < STEEP_SHARE * usual * span_v:
        return (
            f"The hold at {held.volts:g} V lies where the volts run away from the charge: what it adds there says "
            "little about the resistance. Hold at volts in the upper half of the charge instead."
        )
    beyond = np.interp(start, GRID, shape_of(base, True))
    if start < FOOT_SOC and beyond > FOOT_RISE and not as_base:
        return (
            f"The hold at {held.volts:g} V lies on the steep foot of the curve, where the resistance is about "
            f"{beyond:.1f} times its usual value: it says nothing about the rest. Hold at higher volts instead."
        )
    return None


def from_hold(line: Line, anchors: tuple[Held, ...], top: Held | None, shape: Array) -> Resistance:
    """Fit one resistance so that the charges without a hold, moved by it, meet the held ones.

    Parameters
    ----------
    line : Line
        The charges without a hold.
    anchors : tuple of Held
        Held points inside its volts; one or more.
    top : Held or None
        The highest held point, which carries the curve on above the charges without a hold.
    shape : (STEPS + 1,) array
        Resistance along the charge in multiples of the one to be found.
    """

    def misses(volts_per_c: float) -> Array:
        return _misses(volts_per_c, line, anchors, top, shape)

    found = _least(misses)
    slope = np.abs(misses(found + 0.005) - misses(max(found - 0.005, 0.0))) / (0.005 + min(found, 0.005))
    noise = np.hypot(REPEAT_SHARE * np.sqrt(2) * np.array([a.soc for a in anchors]), misses(found))
    spread = float(np.sqrt(np.sum((slope * noise) ** 2)) / max(float(np.sum(slope**2)), 1e-9))
    spread = min(max(spread, LEAST_SPREAD * found), HIGHEST_V_PER_C)
    held = ", ".join(f"{a.volts:g}" for a in anchors[:3]) + (" V and more" if len(anchors) > 3 else " V")
    return Resistance(
        v_per_c=found * shape,
        spread_v_per_c=spread,
        kind="two columns",
        source=f"what a hold added at {held} to the charge without one",
    )


def _misses(volts_per_c: float, line: Line, anchors: tuple[Held, ...], top: Held | None, shape: Array) -> Array:
    """Charge by the moved curve less the measured held charge, at every anchor [-]."""
    soc, volts = line.soc, line.volts - line.c_rate * volts_per_c * np.interp(line.soc, GRID, shape)
    if top is not None and top.soc > soc[-1]:
        lifted = top.volts - top.c_rate * volts_per_c * float(np.interp(top.soc, GRID, shape))
        soc, volts = np.append(soc, top.soc), np.append(volts, max(lifted, float(volts.max()) + 1e-6))
    axis, charge = distinct(volts, soc)
    own = np.array([a.volts - a.c_rate * volts_per_c * float(np.interp(a.soc, GRID, shape)) for a in anchors])
    derived: Array = pchip(axis, charge, own)
    return np.asarray(derived - np.array([a.soc for a in anchors]), dtype=np.float64)


def _least(misses: Callable[[float], Array]) -> float:
    """The resistance with the least squares of `misses`: a coarse search, then finer ones around its best."""
    low, high = 0.0, HIGHEST_V_PER_C
    best = 0.0
    for _ in range(4):
        tries = np.linspace(low, high, 61)
        squares = [float(np.sum(misses(float(r)) ** 2)) for r in tries]
        best = float(tries[int(np.argmin(squares))])
        step = tries[1] - tries[0]
        low, high = max(best - step, 0.0), best + step
    return best


def local(line: Line, held: tuple[Held, ...], fitted: Resistance, steepness_v: Callable[[float], float]) -> Array:
    """Let the volts gap at every held point move the resistance there, as far as the gap is known.

    Parameters
    ----------
    line : Line
        The charges without a hold.
    held : tuple of Held
        Points at a lower current.
    fitted : Resistance
        The one found from all; half of it counts as the spread of resistance along the charge (assumed).
    steepness_v : callable
        Volts per unit of charge at a charge.

    Returns
    -------
    (STEPS + 1,) array
        Volts per C.
    """
    places, factors = [0.0], [1.0]
    for point in held:
        prior = float(np.interp(point.soc, GRID, fitted.v_per_c))
        if not line.soc[0] <= point.soc <= line.soc[-1] or prior <= 0.0 or point.soc <= places[-1]:
            continue
        gap = float(np.interp(point.soc, line.soc, line.volts)) - point.volts
        apart = line.c_rate - point.c_rate
        error = np.hypot(1.4 * REPEAT_SHARE * point.soc * steepness_v(point.soc), VOLTS_ERROR_V) / apart
        trust = (0.5 * prior) ** 2 / ((0.5 * prior) ** 2 + error**2)
        places.append(point.soc)
        factors.append(1.0 + trust * (min(max(gap / apart, 0.0), 4.0 * prior) / prior - 1.0))
    apart_soc = np.min(np.abs(GRID[:, None] - np.array(places)), axis=1)
    reached = np.clip((LOCAL_SOC[1] - apart_soc) / (LOCAL_SOC[1] - LOCAL_SOC[0]), 0.0, 1.0)
    factor: Array = 1.0 + reached * (np.interp(GRID, places, factors) - 1.0)
    return fitted.v_per_c * factor


def from_two_lines(fast: Line, slow: Line) -> Resistance:
    """Divide the volts between two charges at equal charge by the difference of their currents."""
    return _gap(fast, slow, fast.c_rate - slow.c_rate, "two rates", "charges at two currents")


def from_half_gap(charged: Line, discharged: Line) -> Resistance:
    """Divide the volts between a charge and a discharge at equal charge by the sum of their currents."""
    words = "half the gap between charge and discharge, hysteresis included"
    return _gap(charged, discharged, charged.c_rate + discharged.c_rate, "half gap", words)


def _gap(upper: Line, lower: Line, apart_c: float, kind: str, words: str) -> Resistance:
    """Smoothed gap between two lines, held beyond the charges that both reach."""
    first, last = max(upper.soc[0], lower.soc[0]), min(upper.soc[-1], lower.soc[-1])
    gap = np.interp(GRID, upper.soc, upper.volts) - np.interp(GRID, lower.soc, lower.volts)
    both = (first <= GRID) & (last >= GRID)
    if int(both.sum()) < _SMOOTH_STEPS:
        both = np.ones_like(both)
    inner = np.maximum(gap[both] / apart_c, 0.0)
    reach = _SMOOTH_STEPS // 2
    padded = np.pad(inner, reach, mode="reflect", reflect_type="odd")
    smooth = np.maximum(np.convolve(padded, np.ones(_SMOOTH_STEPS) / _SMOOTH_STEPS, "valid"), 0.0)
    v_per_c = np.interp(GRID, GRID[both], smooth)
    return Resistance(v_per_c=v_per_c, spread_v_per_c=SPREAD[kind] * middle(v_per_c), kind=kind, source=words)


def from_step(step: CurrentStep, full_ah: float, base: Chemistry) -> Resistance:
    """Scale the chemistry's resistance by what a sudden change of current showed of its fast part."""
    cells = table(base)
    seen = step.volts / (step.current_a / full_ah)
    fast = middle(np.array(cells.r_fast))
    factor = seen / fast if fast > 0.0 else 1.0
    slow = np.array(cells.r_slow) * factor
    return Resistance(
        v_per_c=slow,
        spread_v_per_c=SPREAD["current step"] * middle(slow),
        kind="current step",
        source=f"a change of {step.current_a:.3g} A within {step.seconds:.0f} s, which shows the first seconds only, "
        f"carried over to hours as in {base.name}",
    )
