"""Which rows of a bench log charge, discharge or rest, as runs, and which way an unsigned current flows.

State of a row: 1 charging, -1 discharging, 0 at rest, by the median of five currents against 2 % of the test's current.
Runs of fewer than three rows or 30 s are joined to what is around them. Seconds, volts, amperes.
Not modelled: pulses inside a run; they are counted and left where they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from engine.bench.clean import CleanLog, running_median
from engine.bench.records import Array
from engine.errors import InputError
from engine.text.finding import Finding

States = NDArray[np.int8]

_LEAST_A = 1e-9
"""Largest current of a log below which there is none [A] (choice)."""
_ON_SHARE = 0.02
_BLIP_ROWS, _BLIP_S = 3, 30.0
_OFFSET_BAND, _OFFSET_AH_SHARE = 0.1, 0.03
_ONE_SIGN_SHARE = 0.005
_TURN_SHARE = 0.15
"""A voltage has turned once it is this share of its whole range off its last extreme."""
_MOST_RUNS = 2000
_LOOK_ROWS = 4096
_TREND_V, _TREND_SHARE = 0.01, 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Rows `first` up to but not `stop` of one state."""

    first: int
    stop: int
    state: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """A signed current, the test's usual current, what reads as current at rest, and the runs."""

    current_a: Array
    scale_a: float
    offset_a: float
    runs: tuple[Run, ...]
    findings: tuple[Finding, ...]

    @property
    def least_a(self) -> float:
        """Below this no current is taken to flow [A]."""
        return _ON_SHARE * self.scale_a


def flow(log: CleanLog) -> Flow:
    """Return the runs of `log` with the sign of its current checked against the voltage.

    Raises
    ------
    InputError
        If no current flows anywhere in the log, or it starts, stops and turns too often to be a test.
    """
    calm_a = running_median(log.current_a, 5)
    scale_a = _scale(log.current_a, calm_a)
    offset_a = _offset(log, calm_a, scale_a)
    states = _states(calm_a - offset_a, scale_a)
    _refuse_restless(_joined(list(_runs(states)), log.time_s))
    current_a, findings = _signed(log, states)
    if findings:
        calm_a = running_median(current_a, 5)
        offset_a = _offset(replace(log, current_a=current_a), calm_a, scale_a)
        states = _states(calm_a - offset_a, scale_a)
    runs = _joined(list(_runs(states)), log.time_s)
    return Flow(
        current_a=current_a,
        scale_a=scale_a,
        offset_a=offset_a,
        runs=tuple(runs),
        findings=findings,
    )


def _refuse_restless(runs: list[Run]) -> None:
    """Refuse a log of use rather than of a test."""
    if len(runs) > _MOST_RUNS:
        raise InputError(
            "log",
            f"The current starts, stops or turns {len(runs):,} times in this log; a bench test of up to "
            f"{_MOST_RUNS:,} charges, discharges and rests can be read. Give a part of it.",
        )


def _scale(current_a: Array, calm_a: Array) -> float:
    """Return the current of the test [A]: the 95th percentile of what is not rest."""
    top_a = float(np.abs(calm_a).max())
    if top_a < _LEAST_A:
        raise InputError("log", "The current is 0 A throughout the log: there is no charge or discharge to read.")
    size_a = np.abs(current_a)
    return float(np.percentile(size_a[size_a > 0.1 * top_a], 95))


def _offset(log: CleanLog, calm_a: Array, scale_a: float) -> float:
    """Return what the log reads at rest [A], or 0 where its small currents are a slow charge or the end of a hold."""
    small = np.abs(calm_a) < _OFFSET_BAND * scale_a
    if small.sum() < _BLIP_ROWS:
        return 0.0
    low_a, middle_a, high_a = np.percentile(calm_a[small], (25, 50, 75))
    step_s = np.gradient(log.time_s)
    share = abs(float((calm_a * step_s)[small].sum())) / float((np.abs(calm_a) * step_s).sum())
    narrow = high_a - low_a < 0.01 * scale_a
    return float(middle_a) if narrow and share < _OFFSET_AH_SHARE else 0.0


def _states(calm_a: Array, scale_a: float) -> States:
    """Return the state of every row."""
    return (np.sign(calm_a) * (np.abs(calm_a) > _ON_SHARE * scale_a)).astype(np.int8)


def _runs(states: States) -> Iterator[Run]:
    """Yield the runs of equal states."""
    edges = [0, *(np.flatnonzero(np.diff(states)) + 1).tolist(), len(states)]
    for first, stop in pairwise(edges):
        yield Run(first=first, stop=stop, state=int(states[first]))


def _joined(runs: list[Run], time_s: Array) -> list[Run]:
    """Join blips to what is around them: first those of few rows, then those of few seconds."""
    for longest_s in (0.0, _BLIP_S, _BLIP_S):
        kept: list[Run] = []
        for run, after in zip(runs, [*runs[1:], None], strict=True):
            state = _settled(run, kept[-1] if kept else None, after, time_s, longest_s)
            if kept and kept[-1].state == state:
                kept[-1] = replace(kept[-1], stop=run.stop)
            else:
                kept.append(replace(run, state=state))
        runs = kept
    return runs


def _settled(run: Run, before: Run | None, after: Run | None, time_s: Array, longest_s: float) -> int:
    """Return the state a run shall have: its own, or its neighbours' if it is a blip."""
    beside = [near.state for near in (before, after) if near is not None]
    rows = run.stop - run.first
    lasts_s = float(time_s[run.stop - 1] - time_s[run.first])
    if not beside or (rows >= _BLIP_ROWS and lasts_s >= longest_s):
        return run.state
    if len(beside) == 2 and beside[0] == beside[1]:
        return beside[0]
    if run.state == 0:
        return 0 if rows > 1 else beside[0]
    return 0 if 0 in beside else beside[0]


def _signed(log: CleanLog, states: States) -> tuple[Array, tuple[Finding, ...]]:
    """Return the current with charging positive, by the trend of the voltage, and what was changed."""
    pieces = _pieces(log, states)
    least_v = max(_TREND_V, _TREND_SHARE * float(np.ptp(log.voltage_v)))
    votes = np.array([_vote(log, piece, least_v) for piece in pieces])
    signs = np.array([piece.state for piece in pieces])
    against, agree = -(votes * signs).clip(max=0).sum(), (votes * signs).clip(min=0).sum()
    if not _one_sign(states):
        return (-log.current_a, (_SWAPPED,)) if against > agree else (log.current_a, ())
    if not against:
        return log.current_a, ()
    if not agree:
        return -log.current_a, (_SWAPPED,)
    sign = np.ones(len(states))
    for piece, vote in zip(pieces, votes, strict=True):
        sign[piece.first : piece.stop] = -1.0 if vote < 0 else 1.0
    return np.abs(log.current_a) * sign, (_UNSIGNED,)


_SWAPPED = Finding(
    level="note",
    code="sign_swapped",
    text="The amperes are positive while the voltage falls: discharging was written as positive, and was turned round.",
)
_UNSIGNED = Finding(
    level="note",
    code="current_unsigned",
    text="The amperes carry no sign: rising volts were read as charging and falling volts as discharging.",
)


def _one_sign(states: States) -> bool:
    """Whether current flows one way only, but for a few rows."""
    up, down = int((states > 0).sum()), int((states < 0).sum())
    return min(up, down) <= _ONE_SIGN_SHARE * (up + down)


def _pieces(log: CleanLog, states: States) -> list[Run]:
    """Return the runs with current, cut where an unsigned current may have turned round."""
    runs = _joined(list(_runs(states)), log.time_s)
    flowing = [run for run in runs if run.state]
    if not _one_sign(states):
        return flowing
    least_v = _TURN_SHARE * float(np.ptp(np.percentile(log.voltage_v, (0.5, 99.5))))
    pieces = []
    for run in flowing:
        edges = [run.first, *_turns(log.voltage_v, run, least_v), run.stop]
        pieces += [Run(first=a, stop=b, state=run.state) for a, b in pairwise(edges)]
    return pieces


def _turns(voltage_v: Array, run: Run, least_v: float) -> list[int]:
    """Return the rows at which the voltage of `run` jumps into the other direction."""
    cuts: list[int] = []
    first, rising, length = run.first, 0, _LOOK_ROWS
    while True:
        part = voltage_v[first : min(first + length, run.stop)]
        falls = np.maximum.accumulate(part) - part > least_v
        rises = part - np.minimum.accumulate(part) > least_v
        rising = rising or _first_move(falls, rises)
        turned = falls if rising > 0 else rises
        if rising and turned.any():
            first += _jump(part[: int(turned.argmax()) + 1], rising)
            cuts.append(first)
            rising, length = -rising, _LOOK_ROWS
        elif first + length >= run.stop:
            return cuts
        else:
            length *= 2


def _jump(part: Array, rising: int) -> int:
    """Return the row after the largest step back from the extreme of `part`, whose last row has turned."""
    extreme = int((rising * part).argmax())
    return extreme + int((-rising * np.diff(part[extreme:])).argmax()) + 1


def _first_move(falls: NDArray[np.bool_], rises: NDArray[np.bool_]) -> int:
    """Return 1 if the voltage first rises, -1 if it first falls, 0 if it does neither."""
    if not falls.any() or not rises.any():
        return int(rises.any()) - int(falls.any())
    return 1 if rises.argmax() < falls.argmax() else -1


def _vote(log: CleanLog, piece: Run, least_v: float) -> float:
    """Return volts for charging (above 0) or for discharging; a falling current at steady volts is a hold."""
    volts, size_a = (values[piece.first : piece.stop] for values in (log.voltage_v, np.abs(log.current_a)))
    trend_v = float(np.median(volts[-3:]) - np.median(volts[:3]))
    if abs(trend_v) > least_v:
        return trend_v
    if np.median(size_a[-3:]) < 0.8 * np.median(size_a[:3]):
        return least_v
    return float(volts[0] - log.voltage_v[piece.first - 1]) if piece.first else 0.0
