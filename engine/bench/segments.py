"""A bench log cut into charges, holds, discharges and rests, each with its ampere-hours and watt-hours.

Every row stands for half the interval before it and half the one after it, so that the parts add up to the whole;
where the current starts, stops or turns across a silent interval, only the usual interval is counted. Current into
the cell is positive, and so are its ampere-hours and watt-hours. Not modelled: current nobody logged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.bench.clean import CleanLog, gaps, running_median, usual_step_s
from engine.bench.records import Array
from engine.bench.runs import Flow, Run

_HOLD_ROWS = 3
_HOLD_BAND_SHARE = 0.006
"""How far a held voltage may stray, of itself (engineering choice: chargers overshoot and settle by about 0.2 %)."""
_TAIL_SHARE = 0.9
"""A hold whose current never falls below this share of the charge current is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """Rows `first` up to but not `stop`: one charge, hold, discharge or rest; `lead_ah` came before its first row."""

    kind: str
    first: int
    stop: int
    start_s: float
    hours: float
    ah: float
    lead_ah: float
    wh: float
    mean_a: float
    median_a: float
    start_v: float
    end_v: float
    end_a: float
    mean_temperature_c: float | None = None
    min_temperature_c: float | None = None
    max_temperature_c: float | None = None

    @property
    def rows(self) -> slice:
        """The rows of the log that belong to it."""
        return slice(self.first, self.stop)


@dataclass(frozen=True, slots=True, kw_only=True)
class RowSums:
    """What each row adds [h, Ah, Wh], (n,) arrays: half of the interval on either side."""

    hours: Array
    ah: Array
    wh: Array
    lead_ah: Array
    """The part of `ah` before the row itself."""

    @property
    def running_ah(self) -> Array:
        """Ampere-hours since the first row, at each row."""
        return np.cumsum(self.ah) - (self.ah - self.lead_ah)


def row_sums(log: CleanLog, current: Flow) -> RowSums:
    """Return what each row of a log adds to the whole."""
    step_s = np.diff(log.time_s)
    silent = gaps(log.time_s)
    edges = np.array([run.first - 1 for run in current.runs[1:]], dtype=np.intp)
    cut = np.intersect1d(silent, edges)
    counted_s = step_s.copy()
    counted_s[cut] = np.minimum(step_s[cut], usual_step_s(log.time_s, cut)) if len(cut) else counted_s[cut]
    before_h = np.concatenate(([0.0], counted_s)) / 7200
    after_h = np.concatenate((counted_s, [0.0])) / 7200
    ah = current.current_a * (before_h + after_h)
    return RowSums(hours=before_h + after_h, ah=ah, wh=ah * log.voltage_v, lead_ah=current.current_a * before_h)


def cut(log: CleanLog, current: Flow, sums: RowSums) -> tuple[Segment, ...]:
    """Cut a log into its segments, in order and without a row left over."""
    segments: list[Segment] = []
    for run in current.runs:
        rows = slice(run.first, run.stop)
        held = hold_start(log.voltage_v[rows], current.current_a[rows]) if run.state > 0 else None
        if held is None:
            kind = ("rest", "charge", "discharge")[run.state]
            segments.append(_segment(kind, run, log, current, sums))
            continue
        start = run.first + held
        if held:
            segments.append(_segment("charge", Run(first=run.first, stop=start, state=1), log, current, sums))
        segments.append(_segment("hold", Run(first=start, stop=run.stop, state=1), log, current, sums))
    return tuple(segments)


def hold_start(volts: Array, current_a: Array) -> int | None:
    """Return the row of a charge at which a held voltage begins, or None if none is held.

    Parameters
    ----------
    volts, current_a : (n,) array
        One run of charging [V per cell, A].

    Returns
    -------
    int or None
        The row where the current leaves its plateau for good while the volts stay near their last; 0 if all is held.
    """
    if len(volts) < 2 * _HOLD_ROWS:
        return None
    calm_v, calm_a = running_median(volts, 5), running_median(current_a, 5)
    end_v = float(np.median(volts[-5:]))
    astray = np.flatnonzero(np.abs(calm_v - end_v) > _HOLD_BAND_SHARE * end_v)
    near = max(int(astray[-1]) + 1 - 20, 0) if len(astray) else 0
    plateau_a = float(np.median(calm_a[near : near + 20])) if near else float(calm_a.max())
    if np.median(calm_a[-5:]) > _TAIL_SHARE * plateau_a:
        return None
    start = _leaves(calm_a, near, plateau_a)
    steady = int(astray[-1]) + 1 if len(astray) else 0
    start = max(start, steady) if near or start > max(_HOLD_ROWS, 0.01 * len(volts)) else 0
    return start if len(volts) - start >= _HOLD_ROWS else None


def _leaves(calm_a: Array, near: int, plateau_a: float) -> int:
    """Return the row after the last one on the plateau, judged by the plateau's own noise."""
    rough = int(np.flatnonzero(calm_a >= 0.95 * plateau_a)[-1]) + 1
    before = calm_a[near : max(rough, near + 1)]
    level_a = float(np.median(before))
    noise_a = 1.48 * float(np.median(np.abs(before - level_a)))
    return int(np.flatnonzero(calm_a >= level_a - max(0.01 * level_a, 3.0 * noise_a))[-1]) + 1


def _segment(kind: str, run: Run, log: CleanLog, current: Flow, sums: RowSums) -> Segment:
    """Sum up the rows of one segment."""
    rows = slice(run.first, run.stop)
    volts, amperes = log.voltage_v[rows], current.current_a[rows]
    hours, ah = float(sums.hours[rows].sum()), float(sums.ah[rows].sum())
    mean_c, min_c, max_c = _temperatures(log, rows)
    return Segment(
        kind=kind,
        first=run.first,
        stop=run.stop,
        start_s=float(log.time_s[run.first]),
        hours=hours,
        ah=ah,
        lead_ah=float(sums.lead_ah[run.first]),
        wh=float(sums.wh[rows].sum()),
        mean_a=ah / hours if hours else float(amperes.mean()),
        median_a=float(np.median(amperes)),
        start_v=float(volts[0]),
        end_v=float(np.median(volts)) if kind == "hold" else float(volts[-1]),
        end_a=float(np.median(amperes[-5:])),
        mean_temperature_c=mean_c,
        min_temperature_c=min_c,
        max_temperature_c=max_c,
    )


def _temperatures(log: CleanLog, rows: slice) -> tuple[float | None, float | None, float | None]:
    """Return mean, lowest and highest temperature of some rows [degC], or three None."""
    if log.temperature_c is None:
        return None, None, None
    known = log.temperature_c[rows][np.isfinite(log.temperature_c[rows])]
    return (float(known.mean()), float(known.min()), float(known.max())) if len(known) else (None, None, None)
