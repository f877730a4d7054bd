"""From logged runs at a constant current to a cell's curve: one charge, a charge and a discharge, two charges.

The charge at which each voltage is met, times what comes out again of what goes in, is the column without a hold.
Volts per cell, ampere-hours delivered. Not modelled: heat, the rest before a charge.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np

from engine.bench import resistance as resistances
from engine.bench.measured_build import Reading, check_test, finish
from engine.bench.measured_cell import MeasuredCell, is_no_hold
from engine.bench.measured_curve import full_with_head, line_of_charge, line_of_discharge
from engine.bench.resistance import GRID, Held, Line, Resistance
from engine.bench.traces import CurrentStep, Hold, Trace
from engine.cells.chemistry import Chemistry, table
from engine.errors import InputError
from engine.text.finding import Finding

ROUNDS = 4
"""Times the full charge and the resistance are worked out in turn where the charge was not held."""
TAPER_POINTS = 5
"""Points of a hold's taper that pin the top of the curve."""
EFFICIENCY_SPAN = (0.8, 1.0)
"""Ampere-hours out over in that are believed; a little above 1 counts as 1."""
METER_SHARE = 0.02
LEAST_APART = 1.2
"""Least ratio of two currents whose charges tell a resistance (assumed)."""
LEAST_ACROSS_V = 0.15
"""Volts that a charge or a discharge must pass to be read as a curve (assumed: LFP's flat stretch is narrower)."""


def from_charge(
    charge: Trace,
    base: Chemistry,
    label_ah: float | None = None,
    *,
    hold: Hold | None = None,
    step: CurrentStep | None = None,
    coulombic_efficiency: float | None = None,
    v_low: float | None = None,
) -> MeasuredCell:
    """Read one logged constant-current charge.

    Parameters
    ----------
    charge : Trace
        The charge without its hold.
    base : Chemistry
        From which resistance, efficiency and top are borrowed where the log does not show them.
    label_ah : float or None
        Label of the cell [Ah].
    hold : Hold or None
        The hold after it, which gives the full charge and the top of the curve.
    step : CurrentStep or None
        A change of current or the start of a rest, which gives the fast part of the resistance.
    coulombic_efficiency : float or None
        Ampere-hours out over in, where a discharge showed it [-].
    v_low : float or None
        Where the discharge before it ended [V]; None takes the chemistry's.

    Raises
    ------
    InputError
        If the charge has no points or is not of this chemistry.
    """
    _check(charge, base)
    efficiency = _usual_efficiency(base) if coulombic_efficiency is None else coulombic_efficiency

    def resistance_of(line: Line, full_ah: float) -> Resistance:
        return resistances.borrowed(base) if step is None else resistances.from_step(step, full_ah, base)

    reading = _read(charge, hold, efficiency, base, resistance_of)
    method = f"one logged charge at {charge.current_a:.3g} A"
    return finish(_said(reading, charge, method, coulombic_efficiency, v_low), base, label_ah)


def from_charge_and_discharge(
    charge: Trace,
    discharge: Trace,
    base: Chemistry,
    label_ah: float | None = None,
    *,
    hold: Hold | None = None,
    v_low: float | None = None,
) -> MeasuredCell:
    """Read a logged charge and the discharge after it: half the gap between them is the resistance.

    Parameters
    ----------
    charge, discharge : Trace
        The charge from empty without its hold, and the discharge that followed it down to empty.
    base : Chemistry
    label_ah : float or None
        Label of the cell [Ah].
    hold : Hold or None
        The hold between them.
    v_low : float or None
        Where the discharge ended [V]; None takes the chemistry's.

    Raises
    ------
    InputError
        If a run has no points or is not of this chemistry.
    """
    _check(charge, base)
    _check_trace(discharge, "discharge")
    held = _real(hold, charge)
    put_in = (float(np.max(held.ah)) if held else float(charge.ah[-1])) + charge.offset_ah
    drawn = float(discharge.ah[-1]) + discharge.offset_ah
    seen, doubts = _efficiency(drawn / put_in, charge.starts_empty)
    efficiency = _usual_efficiency(base) if seen is None else seen

    def resistance_of(line: Line, full_ah: float) -> Resistance:
        start = put_in * efficiency / full_ah
        return resistances.from_half_gap(line, line_of_discharge(discharge, full_ah, start))

    reading = _read(charge, held, efficiency, base, resistance_of)
    method = f"a logged charge at {charge.current_a:.3g} A and the discharge after it at {discharge.current_a:.3g} A"
    reading = dataclasses.replace(reading, findings=doubts)
    return finish(_said(reading, charge, method, seen, v_low), base, label_ah)


def from_two_charges(
    one: Trace,
    other: Trace,
    base: Chemistry,
    label_ah: float | None = None,
    *,
    hold: Hold | None = None,
    coulombic_efficiency: float | None = None,
    v_low: float | None = None,
) -> MeasuredCell:
    """Read two logged charges at different currents; the slower gives the curve, the gap the resistance.

    Parameters
    ----------
    one, other : Trace
        Charges from empty without their holds, in any order.
    base : Chemistry
    label_ah : float or None
        Label of the cell [Ah].
    hold : Hold or None
        The hold after the slower one.
    coulombic_efficiency : float or None
        Ampere-hours out over in [-].
    v_low : float or None
        Where the discharges before them ended [V]; None takes the chemistry's.

    Raises
    ------
    InputError
        If a charge has no points, is not of this chemistry, or the currents are too close.
    """
    slow, fast = sorted((one, other), key=lambda trace: trace.current_a)
    _check(slow, base)
    _check(fast, base)
    if fast.current_a < LEAST_APART * slow.current_a:
        raise InputError(
            "current_a",
            f"Two charges tell the resistance only at different currents; got {slow.current_a:.3g} and "
            f"{fast.current_a:.3g} A, and the faster should be at least {LEAST_APART:g} times the slower.",
        )
    efficiency = _usual_efficiency(base) if coulombic_efficiency is None else coulombic_efficiency

    def resistance_of(line: Line, full_ah: float) -> Resistance:
        return resistances.from_two_lines(line_of_charge(fast, full_ah, efficiency), line)

    reading = _read(slow, hold, efficiency, base, resistance_of)
    reading = dataclasses.replace(reading, measured_c=(*reading.measured_c, fast.current_a / reading.full_ah))
    method = f"two logged charges at {slow.current_a:.3g} and {fast.current_a:.3g} A"
    return finish(_said(reading, slow, method, coulombic_efficiency, v_low), base, label_ah)


def _read(
    charge: Trace,
    hold: Hold | None,
    efficiency: float,
    base: Chemistry,
    resistance_of: Callable[[Line, float], Resistance],
) -> Reading:
    """Work out the full charge, which a hold gives or the chemistry's top must, and with it the rest."""
    held = _real(hold, charge)
    end_v, end_ah = float(np.max(charge.volts)), float(charge.ah[-1] + charge.offset_ah) * efficiency
    full_ah = end_ah if held is None else float(np.max(held.ah) + charge.offset_ah) * efficiency
    line = line_of_charge(charge, full_ah, efficiency)
    resistance = resistance_of(line, full_ah)
    for _ in range(ROUNDS if held is None else 0):
        end_r = float(np.interp(line.soc[-1], GRID, resistance.v_per_c))
        full_ah = full_with_head(end_ah, end_v, charge.current_a, base, end_r)
        line = line_of_charge(charge, full_ah, efficiency)
        resistance = resistance_of(line, full_ah)
    points = () if held is None else _taper_points(charge, held, efficiency, full_ah)
    return Reading(
        line=line,
        held=points,
        resistance=resistance,
        full_ah=full_ah,
        top_v=end_v if held is None else held.volts,
        charge_c=charge.current_a / full_ah,
        tail_c=points[-1].c_rate if points else base.tail_c,
        measured_c=(charge.current_a / full_ah,),
        method="",
    )


def _said(reading: Reading, charge: Trace, method: str, efficiency: float | None, v_low: float | None) -> Reading:
    """Add the words, and the doubt about a charge that did not begin empty."""
    held = f", with its hold down to {reading.tail_c * reading.full_ah:.3g} A" if reading.held else ""
    found = reading.findings
    if not charge.starts_empty:
        known = f"{charge.offset_ah:.3g} Ah are counted as already in it" if charge.offset_ah > 0 else "none is known"
        text = f"The charge did not begin with an empty cell; {known}. Shares are off by what is missing there."
        found = (*found, Finding(level="check", code="started_part_full", text=text))
    return dataclasses.replace(reading, method=method + held, efficiency=efficiency, v_low=v_low, findings=found)


def _taper_points(charge: Trace, hold: Hold, efficiency: float, full_ah: float) -> tuple[Held, ...]:
    """A few points of a hold, the last with a charge of 1: by then the current has fallen to theirs."""
    soc = np.minimum(np.maximum.accumulate(hold.ah + charge.offset_ah) * efficiency / full_ah, 1.0)
    last = len(soc) - 1
    picked = np.unique(np.round(np.linspace(last / TAPER_POINTS, last, TAPER_POINTS)).astype(np.intp))
    # A current that wanders up again is noise: the lowest so far is what the cell had come down to.
    fallen = np.minimum.accumulate(hold.current_a) / full_ah
    return tuple(Held(soc=float(soc[k]), volts=hold.volts, c_rate=float(fallen[k])) for k in picked)


def _real(hold: Hold | None, charge: Trace) -> Hold | None:
    """The hold, unless it is missing, too short or ended at the charge current."""
    if hold is None or len(hold.ah) < 3 or is_no_hold(float(np.min(hold.current_a)), charge.current_a):
        return None
    return hold


def _efficiency(seen: float, from_empty: bool) -> tuple[float | None, tuple[Finding, ...]]:
    """Ampere-hours out over in, where it can be believed."""
    low, high = EFFICIENCY_SPAN
    if from_empty and low <= seen <= high + METER_SHARE:
        return min(seen, high), ()
    text = (
        f"The discharge gave {100 * seen:.0f} % of what the charge put in; {100 * low:.0f} to "
        f"{100 * (high + METER_SHARE):.0f} % of a charge from empty is believed. The usual efficiency is used."
    )
    return None, (Finding(level="check", code="efficiency_doubted", text=text),)


def _usual_efficiency(base: Chemistry) -> float:
    """Mean coulombic efficiency of the chemistry [-]."""
    return float(np.mean(table(base).coulombic))


def _check(charge: Trace, base: Chemistry) -> None:
    """Refuse a charge that is no curve or not of this chemistry."""
    _check_trace(charge, "charge")
    check_test(float(np.max(charge.volts)), base)


def _check_trace(trace: Trace, word: str) -> None:
    """Refuse a run with no points, no current or nothing in it."""
    if len(trace.ah) < 5 or not trace.current_a > 0 or not trace.ah[-1] > trace.ah[0]:
        raise InputError(
            "trace",
            f"The {word} has {len(trace.ah)} rows and {trace.ah[-1] if len(trace.ah) else 0:.3g} Ah at "
            f"{trace.current_a:.3g} A: that is too little for a curve, which takes 5 rows or more.",
        )
    across_v = float(np.ptp(trace.volts))
    if across_v < LEAST_ACROSS_V:
        raise InputError(
            "trace",
            f"The volts of the {word} go through {across_v:.2f} V only; a curve takes {LEAST_ACROSS_V:g} V or more. "
            "Log it from empty to full, and check which column holds the volts.",
        )
