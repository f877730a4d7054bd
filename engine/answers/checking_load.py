"""What the house drew against what its loads say: by hour of the day, by day, and what is always on.

The model is the household’s loads in the months of the log, hour by hour on the very hours that are known, of all its
supplies together: at the sockets, and at the battery side with the inverter’s losses and idle draw.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time

import numpy as np
from numpy.typing import NDArray

from engine.answers.checking_parts import (
    IDLE,
    OFF,
    UNKNOWN,
    Errors,
    Floats,
    Likely,
    WorstDay,
    by_day,
    day_of,
    errors,
    likely,
    percent,
    worst_days,
)
from engine.balance.forcing import drawn_hours, load_hours
from engine.house.household import Household
from engine.meter.hours import LEAST_KNOWN, MeterHours
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH

SIDES = {"load_w": "sockets", "load_dc_w": "battery"}
"""Columns of a log that say what the house drew, and the side they are on."""
NIGHT = range(5)
"""Hours in which little is switched on by hand (judgement: midnight to five)."""
LEAST_IDLE_W, LEAST_IDLE_SHARE = 20.0, 0.10
"""A steady draw is likely where every hour of the night is higher by so much, and by that share of the model; below
lies what meters and loads are known to (judgement)."""
IDLE_EXPLAINS = 0.5
"""And where the same draw over 24 hours is so much of what the day has too much (judgement)."""
OFF_SHARE = 0.5
"""The inverter was likely off where a day drew less than so much of what is always on by the loads (judgement)."""
LEAST_LOAD_KWH, LEAST_LOAD_SHARE = 0.3, 0.15
"""A day is among the worst from such an error on (judgement)."""
LONG_ROW_H = 4.0
"""Where rows are so long, no hour of them is known by itself (judgement)."""
CHANGES_A_DAY = 1.2
"""And where the draw changes no more often than so, though it does, beside another meter’s shorter rows (judgement: a
row a day changes it once, and a house’s least load that comes and goes twice)."""
LEAST_CHANGE_W = 0.5
"""Less from one hour to the next is the last digit of a counter (judgement)."""
ALWAYS_ON_HOURS = LEAST_KNOWN * HOURS_PER_DAY
"""Hours of a day that must be known for its lowest to count, as for its kWh."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HourLoad:
    """One hour of the day: means over the days on which it is known [W]."""

    hour: int
    days: int
    measured_w: float | None
    model_w: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadCheck:
    """Measured draw on one side against the loads.

    Attributes
    ----------
    side : str
        ``sockets`` or ``battery``.
    errors : Errors
        Of whole days [kWh].
    always_on_w, model_always_on_w : float or None
        Mean of each day’s lowest hour, measured and modelled [W].
    """

    side: str
    errors: Errors
    hours: tuple[HourLoad, ...]
    always_on_w: float | None
    model_always_on_w: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LoadDays:
    """Measured and modelled hours of one side, (n, 24) [W], and days, (n,) [kWh]; NaN where not known.

    Where the log has rows of many hours (`in_long_rows`) no hour of it is known, only its days.
    """

    side: str
    dates: NDArray[np.datetime64]
    hours: Floats
    model: Floats
    daily: Floats

    @property
    def model_daily(self) -> Floats:
        """What the loads say of each day [kWh]."""
        return np.asarray(self.model.sum(axis=1) / WH_PER_KWH)

    @property
    def off(self) -> NDArray[np.bool_]:
        """Days that drew less than what is always on would alone."""
        always_kwh = self.model.min(axis=1) * HOURS_PER_DAY / WH_PER_KWH
        return np.asarray(self.daily < OFF_SHARE * always_kwh)

    @property
    def night_excess_w(self) -> Floats:
        """By how much the least exceeding hour of each night is above the model [W]; NaN where one is not known."""
        night = slice(NIGHT.start, NIGHT.stop)
        return np.asarray((self.hours[:, night] - self.model[:, night]).min(axis=1))

    @property
    def night_model_w(self) -> Floats:
        """What the loads say of each night [W]."""
        return np.asarray(self.model[:, NIGHT.start : NIGHT.stop].mean(axis=1))


def modelled_loads(household: Household, dates: NDArray[np.datetime64]) -> tuple[Floats, Floats]:
    """Return what the loads of all supplies take at the sockets and at the battery side, (n, 24) each [W]."""
    begin = datetime.combine(day_of(dates, 0), time.min)
    at_sockets, at_battery = np.zeros(dates.size * HOURS_PER_DAY), np.zeros(dates.size * HOURS_PER_DAY)
    for supply in household.supplies():
        ac_w, dc_w = load_hours(household, supply, begin, dates.size)
        at_sockets += ac_w
        at_battery += drawn_hours(supply.inverter, ac_w, dc_w)
    return by_day(at_sockets), by_day(at_battery)


def in_long_rows(hours: Floats, row_s: float) -> bool:
    """Return whether a draw stands in rows so long that nothing is known of its hours, `row_s` being the log’s usual.

    Examples
    --------
    >>> days = np.repeat([[400.0], [390.0]], 24, axis=1)
    >>> in_long_rows(days, 3600.0), in_long_rows(days, 86_400.0), in_long_rows(np.arange(48.0).reshape(2, 24), 3600.0)
    (True, True, False)
    """
    step = np.diff(hours.ravel())
    known_days = np.isfinite(step).sum() / HOURS_PER_DAY
    changes = int((np.abs(np.nan_to_num(step)) > LEAST_CHANGE_W).sum())
    return bool(row_s >= LONG_ROW_H * 3600.0 or 0 < changes <= CHANGES_A_DAY * known_days)


def load_days(household: Household, hours: MeterHours, row_s: float) -> tuple[LoadDays, ...]:
    """Put the draw of each side that the log has beside the loads; its rows are usually `row_s` long [s]."""
    there = [key for key in SIDES if key in hours.values and np.isfinite(hours.values[key]).any()]
    if not there:
        return ()
    models = dict(zip(SIDES, modelled_loads(household, hours.dates), strict=True))
    return tuple(
        LoadDays(
            side=SIDES[key],
            dates=hours.dates,
            hours=np.full((hours.days, HOURS_PER_DAY), np.nan)
            if in_long_rows(hours.values[key], row_s)
            else hours.values[key],
            model=models[key],
            daily=hours.daily_kwh(key),
        )
        for key in there
        if models[key].any()
    )


def load_check(days: LoadDays) -> LoadCheck | None:
    """Return the errors of one side; None where no day is known."""
    found = errors(days.daily, days.model_daily)
    if found is None:
        return None
    there = np.isfinite(days.hours)
    count = there.sum(axis=0)
    means = [np.where(there, one, 0.0).sum(axis=0) / np.maximum(count, 1) for one in (days.hours, days.model)]
    whole = there.sum(axis=1) >= ALWAYS_ON_HOURS
    lowest = [np.where(there, one, np.inf)[whole].min(axis=1) for one in (days.hours, days.model)]
    return LoadCheck(
        side=days.side,
        errors=found,
        hours=tuple(
            HourLoad(
                hour=hour,
                days=int(count[hour]),
                measured_w=float(means[0][hour]) if count[hour] else None,
                model_w=float(means[1][hour]) if count[hour] else None,
            )
            for hour in range(HOURS_PER_DAY)
        ),
        always_on_w=float(lowest[0].mean()) if whole.any() else None,
        model_always_on_w=float(lowest[1].mean()) if whole.any() else None,
    )


def worst_loads(days: LoadDays) -> tuple[WorstDay, ...]:
    """Return the worst days of one side, each with what it likely was."""
    error = days.daily - days.model_daily
    least = np.maximum(LEAST_LOAD_KWH, LEAST_LOAD_SHARE * days.model_daily)
    idle = _idle_days(days)
    found = []
    for place in worst_days(error, least):
        night_kwh = days.night_excess_w[place] * HOURS_PER_DAY / WH_PER_KWH
        if idle[place] and night_kwh >= IDLE_EXPLAINS * error[place]:
            code, why = (
                IDLE,
                f"Every hour of the night was at least {days.night_excess_w[place]:.0f} W above the loads.",
            )
        elif days.off[place]:
            code, why = OFF, "Less was drawn than what is always on takes alone."
        else:
            code, why = UNKNOWN, f"{'More' if error[place] > 0.0 else 'Less'} was drawn than the loads have that day."
        found.append(
            WorstDay(
                kind="load",
                day=day_of(days.dates, place),
                measured=float(days.daily[place]),
                model=float(days.model_daily[place]),
                cause=code,
                why=why,
            )
        )
    return tuple(found)


def load_causes(days: LoadDays) -> tuple[Likely, ...]:
    """Return whether days point to an inverter that was off, and the nights to a draw that the loads do not have."""
    idle, nights = _idle_days(days), np.isfinite(days.night_excess_w)
    found = []
    if days.off.any():
        found.append(likely(OFF, int(days.off.sum()), "Less was drawn than what is always on takes alone."))
    if not idle.any() or idle.sum() < IDLE_EXPLAINS * nights.sum():
        return tuple(found)
    watts = float(days.night_excess_w[idle].mean())
    side = "At the sockets" if days.side == "sockets" else "At the battery side"
    share = percent(float(idle.sum() / nights.sum()))
    why = f"{side} every hour of the night lies at least {watts:.0f} W above the loads, on {share} of the nights known."
    return (*found, likely(IDLE, int(idle.sum()), why))


def _idle_days(days: LoadDays) -> NDArray[np.bool_]:
    least = np.maximum(LEAST_IDLE_W, LEAST_IDLE_SHARE * days.night_model_w)
    return np.asarray(np.nan_to_num(days.night_excess_w, nan=-1.0) >= least)
