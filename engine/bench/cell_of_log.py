"""Which runs of a log tell most of the cell, and what they say of it together.

Two charges from empty at different currents go before a charge and the discharge after it, and those before a charge
alone. Volts of one cell. Not modelled: cycles that age the cell between them.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.bench.cycles import BenchResult, Cycle, longest
from engine.bench.log_traces import charge_trace, discharge_trace, hold_trace
from engine.bench.measured_cell import MeasuredCell
from engine.bench.measured_log import LEAST_APART, from_charge, from_charge_and_discharge, from_two_charges
from engine.bench.traces import Hold, Trace
from engine.cells.chemistry import Chemistry
from engine.errors import Unreachable

_PART_SHARE = 0.5
"""A charge that put in less than this of the log's largest is passed over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Charge:
    cycle: Cycle
    trace: Trace
    hold: Hold | None


def cell_of(result: BenchResult, base: Chemistry, label_ah: float | None = None) -> tuple[MeasuredCell, Cycle]:
    """Read a cell from the runs of its log that tell most.

    Parameters
    ----------
    result : BenchResult
    base : Chemistry
        From which the rest is borrowed.
    label_ah : float or None
        Label of the cell [Ah].

    Returns
    -------
    tuple of MeasuredCell and Cycle
        The cell, and the cycle whose charge gave its curve.

    Raises
    ------
    Unreachable
        If the log has no charge at a steady current.
    InputError
        If the log is not of this chemistry.
    """
    charges = _charges(result)
    if not charges:
        raise Unreachable(
            "This log has no charge at a steady current that is long enough for a curve, so it tells ampere-hours "
            "alone. Log one charge from empty, at one current, to see how full each voltage leaves the cell."
        )
    best = charges[0]
    other = _at_another_current(charges)
    if other is not None:
        slow, fast = sorted((best, other), key=_current_a)
        seen = next((_believed(one.cycle) for one in (slow, fast) if _believed(one.cycle) is not None), None)
        cell = from_two_charges(
            slow.trace,
            fast.trace,
            base,
            label_ah,
            hold=slow.hold,
            coulombic_efficiency=seen,
            v_low=_empty_v(slow.cycle),
        )
        return cell, slow.cycle
    empty_v = _empty_v(best.cycle)
    try:
        drawn = discharge_trace(result, best.cycle)
    except Unreachable:
        return from_charge(best.trace, base, label_ah, hold=best.hold, v_low=empty_v), best.cycle
    return from_charge_and_discharge(best.trace, drawn, base, label_ah, hold=best.hold, v_low=empty_v), best.cycle


def _charges(result: BenchResult) -> list[_Charge]:
    """The charges that can be read, the most telling first."""
    found = []
    for cycle in result.cycles:
        try:
            trace = charge_trace(result, cycle)
        except Unreachable:
            continue
        found.append(_Charge(cycle=cycle, trace=trace, hold=_hold(result, cycle)))
    largest = max((float(one.trace.ah[-1]) for one in found), default=0.0)
    return sorted((one for one in found if one.trace.ah[-1] >= _PART_SHARE * largest), key=_telling, reverse=True)


def _telling(one: _Charge) -> tuple[bool, bool, bool, float]:
    cycle = one.cycle
    return one.trace.starts_empty, cycle.ends_empty, bool(cycle.charge_complete), float(one.trace.ah[-1])


def _at_another_current(charges: list[_Charge]) -> _Charge | None:
    """The most telling other charge from empty at a clearly different current."""
    best = charges[0]
    others = (one for one in charges[1:] if one.trace.starts_empty and best.trace.starts_empty)
    apart = (
        one for one in others if max(map(_current_a, (one, best))) >= LEAST_APART * min(map(_current_a, (one, best)))
    )
    return next(apart, None)


def _current_a(one: _Charge) -> float:
    return one.trace.current_a


def _believed(cycle: Cycle) -> float | None:
    """What came back of what went in, where the cycle began and ended empty."""
    seen = cycle.coulombic_efficiency
    whole = cycle.starts_empty and cycle.ends_empty and seen is not None
    return min(seen, 1.0) if whole and seen is not None else None


def _empty_v(cycle: Cycle) -> float | None:
    return cycle.discharge_end_v if cycle.ends_empty else None


def _hold(result: BenchResult, cycle: Cycle) -> Hold | None:
    """The hold after a charge, its ampere-hours counted from where the charge's trace begins."""
    held, main = hold_trace(result, cycle), longest(cycle.charge, result.segments, "charge")
    if held is None or main is None:
        return None
    first = result.segments[cycle.charge[0]].first
    before_ah = float(result.ah[main.first - 1]) if main.first else 0.0
    began_ah = float(result.ah[first - 1]) if first else 0.0
    return Hold(volts=held.volts, ah=held.ah - (before_ah - began_ah), current_a=held.current_a)
