"""Why the monitor’s charge and the run of the bank part: less capacity, a draw no meter saw, or a monitor that drifts.

Told from how the charge falls and rises for the same energy. A bank that holds less falls *and* rises faster; a draw
that no meter saw makes it fall faster and rise more slowly; a monitor that counts wrongly does the same until a full
charge sets it right with a leap that no energy explains.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.answers.checking_charge import ChargeDays, ChargeHours
from engine.answers.checking_parts import (
    CAPACITY,
    DRIFT,
    UNKNOWN,
    UNSEEN,
    Flags,
    Floats,
    Likely,
    WorstDay,
    day_of,
    likely,
    percent,
    worst_days,
)
from engine.quantities import HOURS_PER_DAY

LEAST_CHARGE_ERROR = 0.05
"""A day is among the worst from five points of charge on (judgement)."""
AWAY_SOC, LOW_SOC = 0.03, 0.10
"""Hours so near the top, or under so little charge, say nothing of capacity: charge tapers or is cut there
(judgement)."""
STEADY_SOC = 0.0005
"""Nor do hours in which the charge hardly moves [- an hour] (judgement)."""
LEAST_MOVED_SOC = 1.0
"""So much charge must have fallen, and risen, in all: one whole bank (judgement)."""
FADE_SHARE = 0.08
"""A bank likely holds less where its charge falls and rises so much faster than that of the run (judgement: above
what meters and a monitor’s own rounding do)."""
UNSEEN_SHARE = 0.03
"""A draw was likely not seen where it falls faster and rises more slowly, each by so much (judgement)."""
DRIFT_PER_DAY = 0.004
"""And the error grows by so much a day between full charges (judgement: a monitor of 1 % steps shows it in a week)."""
LEAST_DRIFT_DAYS, SAME_SIGN = 5, 0.75
"""On so many days, and with the same sign on so many of those that grow at all (judgement)."""
LEAP_SOC, LEAP_FACTOR = 0.015, 1.1
"""A monitor that comes to full leapt where it rose in two hours by more than the energy explains, with a tenth and a
point and a half to spare (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How fast the monitor’s charge moves for the run’s: falling and rising, and how much of it was looked at [-]."""

    falls: float | None
    rises: float | None
    fallen_soc: float
    risen_soc: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """How the error grows from day to day between full charges [- a day], and how often a full charge made a leap."""

    days: int
    per_day: float
    same_sign: float
    leaps: int
    resets: int


def pace(hours: ChargeHours) -> Pace:
    """Compare the steps of both charges in the hours that say something of capacity."""
    high = min(hours.top_soc, 1.0) - AWAY_SOC
    inside = [(one > LOW_SOC) & (one < high) for one in (hours.monitor, hours.rerun)]
    there = inside[0] & inside[1]
    both = there[:-1] & there[1:] & (hours.run[:-1] == hours.run[1:])
    shown, ran = np.diff(hours.monitor), np.diff(hours.rerun)
    fall, rise = both & (ran < -STEADY_SOC), both & (ran > STEADY_SOC)
    fallen, risen = float(-ran[fall].sum()), float(ran[rise].sum())
    return Pace(
        falls=float(-shown[fall].sum()) / fallen if fallen >= LEAST_MOVED_SOC else None,
        rises=float(shown[rise].sum()) / risen if risen >= LEAST_MOVED_SOC else None,
        fallen_soc=fallen,
        risen_soc=risen,
    )


def growth(hours: ChargeHours, days: ChargeDays) -> Growth:
    """Look how the error grows while the bank is not full, and what a full charge does to it."""
    near = hours.top_soc - AWAY_SOC
    full: Flags = np.asarray(np.fmax(hours.monitor, hours.rerun) >= near)
    whole: Flags = np.asarray(full.reshape(-1, HOURS_PER_DAY).any(axis=1))
    error = days.error
    step = np.diff(error)
    same: Flags = (days.run[:-1] == days.run[1:]) & (days.run[:-1] >= 0) & np.isfinite(step)
    between: Flags = np.asarray(~whole & (np.fmin(days.monitor, days.rerun) > LOW_SOC))
    grown = step[same & between[:-1] & between[1:]]
    per_day = float(np.median(grown)) if grown.size else 0.0
    moved = grown[grown != 0.0]
    before, after = error[:-1], error[1:]
    reset = same & whole[:-1] & (np.abs(before) >= 2.0 * DRIFT_PER_DAY) & (np.abs(after) <= 0.4 * np.abs(before))
    return Growth(
        days=int(grown.size),
        per_day=per_day,
        same_sign=float((np.sign(moved) == np.sign(per_day)).mean()) if moved.size else 0.0,
        leaps=_leaps(hours),
        resets=int(reset.sum()),
    )


def _leaps(hours: ChargeHours) -> int:
    """How often the monitor came to full by more than the energy of the hours explains."""
    into = np.nan_to_num(np.maximum(hours.into_soc, 0.0))
    rose = hours.monitor[2:] - hours.monitor[:-2]
    explained = into[:-2] / 2.0 + into[1:-1] + into[2:] / 2.0
    top = np.nan_to_num(hours.monitor[2:]) >= hours.top_soc - AWAY_SOC
    leapt = top & (np.nan_to_num(rose) > LEAP_FACTOR * explained + LEAP_SOC)
    days = np.flatnonzero(leapt) // HOURS_PER_DAY
    return int(np.unique(days).size)


def bank_cause(pace_: Pace, growth_: Growth, days: int) -> Likely | None:
    """Return what the charge as a whole points to; None where it points to nothing."""
    falls, rises = pace_.falls, pace_.rises
    if falls is not None and rises is not None and min(falls, rises) >= 1.0 + FADE_SHARE:
        why = (
            f"For the same energy the monitor falls {percent(falls - 1.0)} and rises {percent(rises - 1.0)} faster "
            "than the bank as entered; a monitor set to too small a bank does the same."
        )
        return likely(CAPACITY, days, why)
    grows = growth_.days >= LEAST_DRIFT_DAYS and growth_.same_sign >= SAME_SIGN
    if grows and abs(growth_.per_day) >= DRIFT_PER_DAY:
        points = abs(growth_.per_day) * 100.0
        reads = "low" if growth_.per_day < 0.0 else "high"
        if growth_.leaps or (growth_.per_day > 0.0 and growth_.resets):
            why = (
                f"Between full charges it reads {points:.1f} points {reads}er each day, and a full charge sets it "
                f"right{' with a leap' if growth_.leaps else ''}."
            )
            return likely(DRIFT, growth_.days, why)
    if falls is not None and rises is not None and falls >= 1.0 + UNSEEN_SHARE and rises <= 1.0 - UNSEEN_SHARE:
        why = (
            f"The charge falls {percent(falls - 1.0)} faster and rises {percent(1.0 - rises)} more slowly than yield "
            "and draw explain."
        )
        return likely(UNSEEN, days, why)
    return None


def worst_charges(hours: ChargeHours, days: ChargeDays, cause: Likely | None) -> tuple[WorstDay, ...]:
    """Return the days on which monitor and run were furthest apart."""
    error: Floats = days.error
    found = []
    for place in worst_days(error, np.full(error.size, LEAST_CHARGE_ERROR)):
        fits = cause is not None and (cause.code != UNSEEN or error[place] < 0.0)
        since = f"{days.since_days[place]:.0f} days after the run began at the monitor’s charge."
        found.append(
            WorstDay(
                kind="charge",
                day=day_of(hours.dates, place),
                measured=float(days.monitor[place]),
                model=float(days.rerun[place]),
                cause=cause.code if cause is not None and fits else UNKNOWN,
                why=since if not since.startswith("1 days") else since.replace("days", "day", 1),
            )
        )
    return tuple(found)
