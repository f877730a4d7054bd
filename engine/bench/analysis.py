"""What a bench log says about a cell: its charges, holds, discharges and rests, and whether to believe them.

The order: mend the clock, settle the sign of the current, cut into runs, find the holds, add up ampere-hours and
watt-hours, pair charges with discharges, then ask what may be wrong. Volts of one cell (of a pack, divided by its
series cells), current and its ampere-hours into the cell positive, degC. Not modelled: pulses inside a run, current
while the log was silent, several cells in one log.
"""

from __future__ import annotations

import numpy as np

from engine.bench.clean import CleanLog, clean, gaps
from engine.bench.cycles import BenchResult, Cycle, cycles_of
from engine.bench.log_traces import charge_trace, discharge_trace, hold_trace, thinned
from engine.bench.quality import Evidence, questions, unseen
from engine.bench.records import BenchLog
from engine.bench.runs import Flow, flow
from engine.bench.segments import Segment, cut, row_sums
from engine.bench.traces import Hold
from engine.bench.verdict import judged
from engine.errors import InputError
from engine.text.finding import Finding

__all__ = [
    "BenchResult",
    "Cycle",
    "Hold",
    "Segment",
    "analyse",
    "charge_trace",
    "discharge_trace",
    "hold_trace",
    "thinned",
]

_RANK = {"stop": 0, "check": 1, "note": 2}


def analyse(log: BenchLog, label_ah: float | None = None, series: int = 1) -> BenchResult:
    """Read a bench log.

    Parameters
    ----------
    log : BenchLog
    label_ah : float or None
        What the cell's label says [Ah].
    series : int
        Cells in series behind the measured volts, >= 1.

    Returns
    -------
    BenchResult
        Findings worst first.

    Raises
    ------
    InputError
        If `series` or `label_ah` is not above 0, too few rows can be read, or no current flows.
    """
    if series < 1:
        raise InputError("series", f"Cells in series must be 1 or more; got {series}.")
    if label_ah is not None and not label_ah > 0:
        raise InputError("label_ah", f"The label's ampere-hours must be above 0 Ah; got {label_ah:g} Ah.")
    tidy = clean(log, series)
    current = flow(tidy)
    sums = row_sums(tidy, current)
    segments, ah = cut(tidy, current, sums), sums.running_ah
    cycles = cycles_of(segments, tidy.voltage_v, ah)
    cycles, verdicts = judged(cycles, label_ah, _with_gaps(tidy, current, segments, cycles))
    asked = questions(
        Evidence(log=tidy, flow=current, ah=ah, segments=segments, cycles=cycles, label_ah=label_ah, series=series)
    )
    findings: tuple[Finding, ...] = tidy.findings + current.findings + asked + verdicts
    return BenchResult(
        time_h=tidy.time_s / 3600,
        voltage_v=tidy.voltage_v,
        current_a=current.current_a,
        ah=ah,
        temperature_c=tidy.temperature_c,
        segments=segments,
        cycles=cycles,
        findings=tuple(sorted(findings, key=lambda finding: _RANK.get(finding.level, 2))),
        series=series,
        unseen_share=unseen(tidy, current, segments)[0],
    )


def _with_gaps(
    log: CleanLog, current: Flow, segments: tuple[Segment, ...], cycles: tuple[Cycle, ...]
) -> frozenset[int]:
    """Return the numbers of the cycles in which the log was silent while current flowed."""
    silent = gaps(log.time_s)
    live = silent[
        np.maximum(np.abs(current.current_a[silent]), np.abs(current.current_a[silent + 1])) > current.least_a
    ]
    numbers = set()
    for cycle in cycles:
        parts = [segments[k] for k in cycle.charge + cycle.discharge]
        if any(((live >= part.first - 1) & (live < part.stop)).any() for part in parts):
            numbers.add(cycle.number)
    return frozenset(numbers)
