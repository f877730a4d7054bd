"""Charges of a bench log paired with the discharges that follow them, and what came back of what went in.

A cycle is every charge and hold since the last discharge, then every discharge until the next charge. Its ampere-hours
and watt-hours are positive both ways. Volts of one cell, amperes, degC. Not modelled: what the cell held before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from engine.bench.records import Array
from engine.bench.segments import Segment
from engine.text.finding import Finding

_KNEE_SHARE, _KNEE_V, _KNEE_STEEPER = 0.02, 0.02, 1.5
"""A discharge is empty where its last 2 % fell by 20 mV or more, and this much faster than its middle."""
_FOOT_V, _FOOT_STEEPER = 0.1, 3.0
"""A charge began empty where its first 2 % rose by this much, and this much faster than its middle."""
_LOW_SHARE = 0.35
"""A charge that begins in this lowest part of the volts seen may have begun empty."""
_TAIL_REACHED = 0.5
BENCH_C = (-40.0, 60.0)
"""Between these a logged temperature is a cell’s, degC; the limits of a bank’s too."""
_MOST_EXCESS = 0.02
"""More ampere-hours out than in by this share of the log's largest charge cannot have come from this charge alone."""


NOT_THE_CAPACITY = frozenset({"incomplete_discharge", "charge_before_not_complete", "gap", "ah_balance"})
"""Flags of a cycle whose ampere-hours are not, or may not be, what the cell holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """One charge with its hold and the discharge after it; None where the log has no such part.

    `charge` and `discharge` number its segments in the result. `charge_complete` is None for a charge without a hold,
    where only the person at the bench knows; `starts_empty` is whether the cell was empty when it began,
    `excess_ah` what came out beyond what this charge can have put in.
    """

    number: int
    charge: tuple[int, ...]
    discharge: tuple[int, ...]
    charge_ah: float | None
    hold_ah: float | None
    hold_min: float | None
    discharge_ah: float | None
    charge_wh: float | None
    discharge_wh: float | None
    coulombic_efficiency: float | None
    energy_efficiency: float | None
    charge_a: float | None
    charge_end_v: float | None
    tail_a: float | None
    discharge_a: float | None
    discharge_end_v: float | None
    temperature_c: float | None
    charge_complete: bool | None
    starts_empty: bool
    ends_empty: bool
    excess_ah: float = 0.0
    flags: tuple[str, ...] = ()


def fullest(cycles: Sequence[Cycle]) -> Cycle | None:
    """Return the cycle that drew most, of those whose ampere-hours may be the capacity; of all where there is none."""

    def drew(cycle: Cycle) -> tuple[bool, float]:
        return not NOT_THE_CAPACITY & set(cycle.flags), cycle.discharge_ah or 0.0

    return max((one for one in cycles if one.discharge_ah), key=drew, default=max(cycles, key=drew, default=None))


def tested_at_c(cycle: Cycle | None) -> float | None:
    """Return the mean temperature that a log has of a cycle [degC]; None where it has none that a cell can have."""
    seen_c = None if cycle is None else cycle.temperature_c
    return seen_c if seen_c is not None and BENCH_C[0] <= seen_c <= BENCH_C[1] else None


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchResult:
    """A log that was read: its rows, parts, cycles and what was found; arrays are (n,), `ah` runs and is signed.

    `unseen_share` is the largest share of a run's ampere-hours that may have flowed between rows unseen [-].
    """

    time_h: Array
    voltage_v: Array
    current_a: Array
    ah: Array
    temperature_c: Array | None
    segments: tuple[Segment, ...]
    cycles: tuple[Cycle, ...]
    findings: tuple[Finding, ...]
    series: int
    unseen_share: float = 0.0


def cycles_of(segments: tuple[Segment, ...], volts: Array, ah: Array) -> tuple[Cycle, ...]:
    """Pair charges with discharges.

    Parameters
    ----------
    segments : tuple of Segment
    volts : (n,) array
        Cell volts of every row [V].
    ah : (n,) array
        Running ampere-hours of every row [Ah].

    Returns
    -------
    tuple of Cycle
    """
    found = tuple(
        _cycle(number, charge, discharge, segments, volts, ah)
        for number, (charge, discharge) in enumerate(_pairs(segments), start=1)
    )
    lowest_v = min((c.discharge_end_v for c in found if c.discharge_end_v and c.ends_empty), default=None)
    most_ah = max((c.charge_ah or 0.0 for c in found), default=0.0)
    cycles: list[Cycle] = []
    for cycle in found:
        empty = cycle.ends_empty or bool(
            lowest_v and cycle.discharge_end_v and cycle.discharge_end_v <= lowest_v + _KNEE_V
        )
        cycle = replace(cycle, ends_empty=empty, excess_ah=_excess(cycle, most_ah))
        before = cycles[-1] if cycles else None
        cycles.append(replace(cycle, starts_empty=_starts_empty(cycle, before, lowest_v, segments, volts, ah)))
    return tuple(cycles)


def longest(numbers: tuple[int, ...], segments: tuple[Segment, ...], kind: str) -> Segment | None:
    """Return the segment of `kind` that moved most charge, or None."""
    of_kind = [segments[k] for k in numbers if segments[k].kind == kind]
    return max(of_kind, key=lambda segment: abs(segment.ah), default=None)


def _pairs(segments: tuple[Segment, ...]) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Return the numbers of the charging and the discharging segments of each cycle."""
    pairs: list[tuple[list[int], list[int]]] = []
    for number, segment in enumerate(segments):
        if segment.kind == "rest":
            continue
        charging = segment.kind != "discharge"
        if not pairs or (charging and pairs[-1][1]):
            pairs.append(([], []))
        pairs[-1][0 if charging else 1].append(number)
    return [(tuple(charge), tuple(discharge)) for charge, discharge in pairs]


def _cycle(
    number: int,
    charge: tuple[int, ...],
    discharge: tuple[int, ...],
    segments: tuple[Segment, ...],
    volts: Array,
    ah: Array,
) -> Cycle:
    """Sum up one cycle; whether it started empty is left for later."""
    put, drawn = [segments[k] for k in charge], [segments[k] for k in discharge]
    held = [segment for segment in put if segment.kind == "hold"]
    main, out = longest(charge, segments, "charge"), longest(discharge, segments, "discharge")
    charge_ah, discharge_ah = _total(put, "ah"), _total(drawn, "ah")
    charge_wh, discharge_wh = _total(put, "wh"), _total(drawn, "wh")
    tail_a = put[-1].end_a if put and put[-1].kind == "hold" else None
    return Cycle(
        number=number,
        charge=charge,
        discharge=discharge,
        charge_ah=charge_ah,
        hold_ah=_total(held, "ah"),
        hold_min=60.0 * sum(segment.hours for segment in held) if held else None,
        discharge_ah=discharge_ah,
        charge_wh=charge_wh,
        discharge_wh=discharge_wh,
        coulombic_efficiency=_ratio(discharge_ah, charge_ah),
        energy_efficiency=_ratio(discharge_wh, charge_wh),
        charge_a=main.median_a if main else None,
        charge_end_v=put[-1].end_v if put else None,
        tail_a=tail_a,
        discharge_a=-out.median_a if out else None,
        discharge_end_v=drawn[-1].end_v if drawn else None,
        temperature_c=_mean_c(put + drawn),
        charge_complete=None if tail_a is None else main is None or tail_a <= _TAIL_REACHED * main.median_a,
        starts_empty=False,
        ends_empty=bool(drawn) and _ends_in_knee(drawn[-1], volts, ah),
    )


def _excess(cycle: Cycle, most_ah: float) -> float:
    """Ampere-hours that came out beyond what the charge can have put in, or 0."""
    over_ah = (cycle.discharge_ah or 0.0) - (cycle.charge_ah or 0.0)
    return over_ah if cycle.charge_ah and over_ah > _MOST_EXCESS * most_ah else 0.0


def _total(parts: list[Segment], name: str) -> float | None:
    """Sum of `ah` or `wh` over segments, positive, or None without any."""
    return abs(sum(getattr(part, name) for part in parts)) if parts else None


def _ratio(out: float | None, put: float | None) -> float | None:
    return out / put if out and put else None


def _mean_c(parts: list[Segment]) -> float | None:
    """Mean temperature by hours."""
    known = [(part.mean_temperature_c, part.hours) for part in parts if part.mean_temperature_c is not None]
    hours = sum(h for _, h in known)
    return sum(c * h for c, h in known) / hours if hours else None


def _ends_in_knee(segment: Segment, volts: Array, ah: Array) -> bool:
    """Whether a discharge fell faster at its end than in its middle."""
    last_v, middle_v = _fall_v(segment, volts, ah, 1.0 - _KNEE_SHARE, 1.0), _fall_v(segment, volts, ah, 0.1, 0.9)
    return last_v >= _KNEE_V and last_v / _KNEE_SHARE >= _KNEE_STEEPER * middle_v / 0.8


def _begins_in_foot(segment: Segment, volts: Array, ah: Array) -> bool:
    """Whether a charge rose steeply at its start."""
    first_v, middle_v = -_fall_v(segment, volts, ah, 0.001, _KNEE_SHARE), -_fall_v(segment, volts, ah, 0.1, 0.9)
    return first_v >= _FOOT_V and first_v / _KNEE_SHARE >= _FOOT_STEEPER * middle_v / 0.8


def _fall_v(segment: Segment, volts: Array, ah: Array, start: float, end: float) -> float:
    """Volts lost between two shares of a segment's ampere-hours."""
    passed = np.abs(ah[segment.rows] - ah[segment.first])
    first_v, last_v = np.interp((start * passed[-1], end * passed[-1]), passed, volts[segment.rows])
    return float(first_v - last_v)


def _starts_empty(
    cycle: Cycle,
    before: Cycle | None,
    lowest_v: float | None,
    segments: tuple[Segment, ...],
    volts: Array,
    ah: Array,
) -> bool:
    """Whether the cell was empty when this cycle's charge began."""
    if not cycle.charge or cycle.excess_ah > 0:
        return False
    if before is not None:
        return before.ends_empty
    first = segments[cycle.charge[0]]
    if first.kind == "charge" and _begins_in_foot(first, volts, ah):
        return True
    top_v = cycle.charge_end_v or first.end_v
    return lowest_v is not None and cycle.ends_empty and first.start_v <= lowest_v + _LOW_SHARE * (top_v - lowest_v)
