"""Synthetic bench logs with a known truth, and the faults that real ones have.

The cell is OCV(s) plus two resistances of the catalogue's cell: one part at once, the rest of `r_slow` over some
minutes. It is stepped every second (or finer), its ampere-hours added up on the way; a log is some of those rows.
Volts of one cell, amperes, charging positive.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from engine.bench.records import Array, BenchLog
from engine.cells import catalogue

AT_ONCE_V_PER_C = 0.05
SETTLING_S = 300.0


@dataclass(frozen=True)
class Leg:
    """One part of a test: `rest`, `charge`, `hold` or `discharge`, at `amps`, to `end` (seconds, volts or amperes)."""

    kind: str
    amps: float
    end: float


@dataclass(frozen=True)
class Truth:
    """What really happened: kinds, ampere-hours, watt-hours and hours of each leg, in order."""

    kinds: tuple[str, ...]
    ah: tuple[float, ...]
    wh: tuple[float, ...]
    hours: tuple[float, ...]


def rest(seconds: float) -> Leg:
    return Leg("rest", 0.0, seconds)


def full_test(top_v: float = 3.95, low_v: float = 1.5, amps: float = 0.65, tail_a: float = 0.1) -> tuple[Leg, ...]:
    """Charge, hold, rest, discharge, rest."""
    return (
        rest(600),
        Leg("charge", amps, top_v),
        Leg("hold", amps, tail_a),
        rest(1800),
        Leg("discharge", amps, low_v),
        rest(1200),
    )


@lru_cache(maxsize=32)
def run(
    legs: tuple[Leg, ...],
    cell: str = "sodium_layered",
    size_ah: float = 1.3,
    start_soc: float = -0.008,
    efficiency: float = 0.99,
    dt_s: float = 1.0,
    at_once: float = AT_ONCE_V_PER_C,
) -> tuple[BenchLog, Truth]:
    """Step a cell through `legs`; one row a step; `at_once` is the resistance without delay [V per C-rate]."""
    chemistry = catalogue.load(cell)
    grid = np.linspace(-0.1, 1.1, 2401)
    soc, ocv = np.array(chemistry.soc), np.array(chemistry.ocv_v)
    below_v, above_v = (0.1 * (ocv[k + 1] - ocv[k]) / (soc[k + 1] - soc[k]) for k in (0, -2))
    ends_v = np.concatenate(([ocv[0] - below_v], ocv, [ocv[-1] + above_v]))
    ocv_at = np.interp(grid, np.concatenate(([-0.1], soc, [1.1])), ends_v).tolist()
    slow_at = (np.interp(grid, soc, chemistry.r_slow_v_per_c) - at_once).clip(0.0).tolist()
    s, lag_v, rows, sums = start_soc, 0.0, [], []
    settle = 1.0 - np.exp(-dt_s / SETTLING_S)
    held_v = 0.0
    for leg in legs:
        total_ah = total_wh = lasted_s = 0.0
        sign = -1.0 if leg.kind == "discharge" else 1.0
        while True:
            k = (s + 0.1) * 2000
            j = int(k)
            still_v = ocv_at[j] + (k - j) * (ocv_at[j + 1] - ocv_at[j]) + lag_v
            amps = sign * leg.amps
            if leg.kind == "hold":
                amps = min(leg.amps, (held_v - still_v) / at_once * size_ah)
            volts = still_v + amps / size_ah * at_once
            total_ah += amps * dt_s / 3600
            total_wh += amps * volts * dt_s / 3600
            lasted_s += dt_s
            s += amps * dt_s / 3600 / size_ah * (efficiency if amps > 0 else 1.0)
            lag_v += (amps / size_ah * slow_at[j] - lag_v) * settle
            rows.append((volts, amps))
            if _over(leg, volts, amps, lasted_s):
                break
        held_v = volts
        sums.append((total_ah, total_wh, lasted_s / 3600))
    volts_a = np.array(rows)
    time_s = dt_s * np.arange(len(rows), dtype=np.float64)
    ah, wh, hours = zip(*sums, strict=True)
    truth = Truth(kinds=tuple(leg.kind for leg in legs), ah=ah, wh=wh, hours=hours)
    return BenchLog(time_s=time_s, voltage_v=volts_a[:, 0], current_a=volts_a[:, 1]), truth


def _over(leg: Leg, volts: float, amps: float, lasted_s: float) -> bool:
    if leg.kind == "rest":
        return lasted_s >= leg.end
    if leg.kind == "hold":
        return amps <= leg.end
    return volts >= leg.end if leg.kind == "charge" else volts <= leg.end


def picked(log: BenchLog, rows: object) -> BenchLog:
    """Some rows of a log, every column alike."""
    columns = ("time_s", "voltage_v", "current_a", "ah", "wh", "step", "temperature_c")
    chosen = {name: getattr(log, name)[rows] for name in columns if getattr(log, name) is not None}
    return dataclasses.replace(log, **chosen)


def every(log: BenchLog, rows: int) -> BenchLog:
    return picked(log, slice(None, None, rows))


def noisy(log: BenchLog, volts: float = 0.002, share: float = 0.01, seed: int = 1) -> BenchLog:
    """Noise on the volts, and on the amperes as a share of themselves."""
    random = np.random.default_rng(seed)
    return dataclasses.replace(
        log,
        voltage_v=log.voltage_v + random.normal(0, volts, len(log.time_s)),
        current_a=log.current_a * (1 + random.normal(0, share, len(log.time_s))),
    )


def quantised(log: BenchLog, volts: float = 0.01, amps: float = 0.01) -> BenchLog:
    return dataclasses.replace(
        log,
        voltage_v=np.round(log.voltage_v / volts) * volts,
        current_a=np.round(log.current_a / amps) * amps,
    )


def with_drops(log: BenchLog, share: float = 0.01, seed: int = 2) -> BenchLog:
    return picked(log, np.random.default_rng(seed).random(len(log.time_s)) >= share)


def counter(log: BenchLog, factor: float = 1.0) -> Array:
    """A tester's running count of ampere-hours, up on charge and down on discharge."""
    step_h = np.diff(log.time_s, prepend=log.time_s[0]) / 3600
    return factor * np.cumsum(log.current_a * step_h)


def with_counter(log: BenchLog, factor: float = 1.0, reset_at: float | None = None) -> BenchLog:
    """Add a counter, beginning again at a share of the rows if asked."""
    ah = counter(log, factor)
    if reset_at is not None:
        row = int(reset_at * len(ah))
        ah[row:] -= ah[row]
    return dataclasses.replace(log, ah=ah)


def without(log: BenchLog, start_h: float, hours: float) -> BenchLog:
    """Leave a stretch out."""
    time_h = log.time_s / 3600
    return picked(log, (time_h < start_h) | (time_h >= start_h + hours))


def with_clock_reset(log: BenchLog, at: float = 0.4) -> BenchLog:
    row = int(at * len(log.time_s))
    time_s = log.time_s.copy()
    time_s[row:] -= time_s[row]
    return dataclasses.replace(log, time_s=time_s)


def unsigned(log: BenchLog) -> BenchLog:
    return dataclasses.replace(log, current_a=np.abs(log.current_a))


def swapped(log: BenchLog) -> BenchLog:
    return dataclasses.replace(log, current_a=-log.current_a)


def at_temperature(log: BenchLog, degrees: float | Array) -> BenchLog:
    return dataclasses.replace(log, temperature_c=np.broadcast_to(degrees, log.time_s.shape).astype(np.float64))
