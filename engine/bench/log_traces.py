"""One charge or discharge of a bench log as volts against ampere-hours, and any log in fewer points.

Volts are smoothed over about five seconds, put into at most 2,000 steps of equal charge and made to rise (or fall)
throughout; the first and the last point are rows of the log. Volts of one cell, amperes, ampere-hours.
Not modelled: the hold, which has a record of its own, and rows whose current strays from the rest of the run.
"""

from __future__ import annotations

import numpy as np

from engine.bench.clean import running_median
from engine.bench.cycles import BenchResult, Cycle, longest
from engine.bench.isotonic import rising
from engine.bench.records import Array
from engine.bench.segments import Segment
from engine.bench.traces import Hold, Trace
from engine.errors import Unreachable

_MOST_POINTS = 2000
_SMOOTH_S = 5.0
_MOST_SMOOTHED = 501
"""Rows that are smoothed over at most, so that no log takes minutes (choice): 5 s of a row a hundredth of a second."""
_SAME_CURRENT = 0.1
_LEAST_POINTS = 5
_SKIPPED_SHARE = 0.02
"""A run that flowed more than this share at another current before its steady part does not start where it began."""


def charge_trace(result: BenchResult, cycle: Cycle) -> Trace:
    """Return the constant-current part of a cycle's charge.

    Parameters
    ----------
    result : BenchResult
    cycle : Cycle
        One of `result.cycles`.

    Returns
    -------
    Trace
        Volts rise. `offset_ah` counts what earlier charges of the same cycle put in and, where the cell did not
        begin empty but its discharge ended so, what came out beyond what went in.

    Raises
    ------
    Unreachable
        If the cycle has no charge at a steady current.
    """
    segment = longest(cycle.charge, result.segments, "charge")
    earlier_ah = sum(
        result.segments[k].ah for k in cycle.charge if segment and result.segments[k].stop <= segment.first
    )
    beyond_ah = 0.0
    if not cycle.starts_empty and cycle.ends_empty and cycle.discharge_ah and cycle.charge_ah:
        beyond_ah = max(0.0, cycle.discharge_ah - cycle.charge_ah)
    return _trace(result, segment, "charge", cycle.starts_empty and not earlier_ah, earlier_ah + beyond_ah)


def discharge_trace(result: BenchResult, cycle: Cycle) -> Trace:
    """Return the constant-current part of a cycle's discharge; volts fall.

    Parameters
    ----------
    result : BenchResult
    cycle : Cycle
        One of `result.cycles`.

    Returns
    -------
    Trace
        `starts_empty` says whether a completed charge came before it.

    Raises
    ------
    Unreachable
        If the cycle has no discharge at a steady current.
    """
    segment = longest(cycle.discharge, result.segments, "discharge")
    before = [result.segments[k] for k in cycle.discharge if segment and result.segments[k].stop <= segment.first]
    lacked_ah = -sum(part.ah for part in before)
    return _trace(result, segment, "discharge", bool(cycle.charge_complete) and not before, lacked_ah)


def hold_trace(result: BenchResult, cycle: Cycle) -> Hold | None:
    """Return the last hold of a cycle's charge, or None if it has none."""
    held = [result.segments[k] for k in cycle.charge if result.segments[k].kind == "hold"]
    if not held:
        return None
    rows, began = held[-1].rows, result.segments[cycle.charge[0]]
    ah = result.ah[rows] - result.ah[began.first] + began.lead_ah
    return Hold(volts=held[-1].end_v, ah=ah, current_a=result.current_a[rows])


def thinned(x: Array, y: Array, points: int) -> tuple[Array, Array]:
    """Return a line in few points that still shows its every peak: the lowest and highest of each stretch of x.

    Parameters
    ----------
    x, y : (n,) array
        The line, in the order of the log; rows that are not finite are left out. x may run back.
    points : int
        Stretches, >= 1.

    Returns
    -------
    tuple of two (m,) arrays
        m <= 2 * points + 2; both ends are kept.

    Examples
    --------
    >>> x, y = thinned(np.arange(1000.0), np.where(np.arange(1000) == 321, 9.0, 1.0), 10)
    >>> len(x) <= 22, y.max(), x[-1]
    (True, np.float64(9.0), np.float64(999.0))
    """
    known = np.isfinite(x) & np.isfinite(y)
    x, y = x[known], y[known]
    if len(x) <= 2 * points + 2:
        return x, y
    path = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(x)))))
    stretch = np.minimum((path / (path[-1] or 1.0) * points).astype(np.intp), points - 1)
    order = np.lexsort((y, stretch))
    edges = np.flatnonzero(np.diff(stretch)) + 1
    lowest, highest = order[np.concatenate(([0], edges))], order[np.concatenate((edges - 1, [len(x) - 1]))]
    kept = np.unique(np.concatenate(([0, len(x) - 1], lowest, highest)))
    return x[kept], y[kept]


def _trace(result: BenchResult, segment: Segment | None, kind: str, starts: bool, offset_ah: float) -> Trace:
    """Smooth, step and straighten one segment."""
    if segment is None:
        raise Unreachable(f"This cycle has no {kind} at a steady current to read a curve from.")
    ah, volts = _steady(result, segment)
    if len(ah) < _LEAST_POINTS:
        raise Unreachable(f"The {kind} of this cycle has only {len(ah)} rows at a steady current: too few for a curve.")
    way = 1.0 if kind == "charge" else -1.0
    skipped_ah = float(ah[0]) if ah[0] > _SKIPPED_SHARE * ah[-1] else 0.0
    ah, volts = _stepped(ah - skipped_ah, volts)
    return Trace(
        ah=ah,
        volts=way * rising(way * volts),
        current_a=abs(segment.median_a),
        starts_empty=starts and not skipped_ah,
        offset_ah=offset_ah + skipped_ah,
    )


def _steady(result: BenchResult, segment: Segment) -> tuple[Array, Array]:
    """Ampere-hours since the segment began, and smoothed volts, of its rows near the median current."""
    rows = segment.rows
    ah = np.abs(result.ah[rows] - result.ah[segment.first] + segment.lead_ah)
    volts = result.voltage_v[rows]
    near = np.abs(running_median(result.current_a[rows], 5) / segment.median_a - 1.0) <= _SAME_CURRENT
    step_s = 3600.0 * segment.hours / (segment.stop - segment.first)
    width = min(2 * int(_SMOOTH_S / step_s / 2) + 1, _MOST_SMOOTHED) if step_s < _SMOOTH_S else 1
    smooth = running_median(volts, width)
    smooth[[0, -1]] = volts[[0, -1]]
    moved = near & (np.diff(ah, prepend=-1.0) > 0)
    return ah[moved], smooth[moved]


def _stepped(ah: Array, volts: Array) -> tuple[Array, Array]:
    """Means over at most 2,000 steps of equal charge, between the first and the last row; starts at 0 Ah."""
    if len(ah) > _MOST_POINTS:
        inner = slice(1, -1)
        step = ((ah[inner] - ah[0]) / (ah[-1] - ah[0]) * (_MOST_POINTS - 3)).astype(np.intp)
        count = np.bincount(step)
        full = count > 0
        mean_ah, mean_v = (np.bincount(step, values[inner])[full] / count[full] for values in (ah, volts))
        ah, volts = (np.concatenate((v[:1], m, v[-1:])) for v, m in ((ah, mean_ah), (volts, mean_v)))
    return (ah, volts) if ah[0] == 0 else (np.concatenate(([0.0], ah)), np.concatenate((volts[:1], volts)))
