"""What drives a trajectory: the sun and the loads of one supply, hour by hour from a moment on.

All in local standard time; the days of the sky are calendar days, the first being that of the start. Loads go by the
clock on the wall: where the house has summer time, the loads of a day lie earlier by what it is ahead at noon.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import ceil

import numpy as np
from numpy.typing import NDArray

from engine.house.household import Household, Supply
from engine.house.inverter import Inverter
from engine.house.loads import total
from engine.quantities import HOURS_PER_DAY
from engine.sky.series import dates_of, days_of_year
from engine.sky.sun import array_hours

Floats = NDArray[np.float64]

_TINY_H = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Forcing:
    """Hourly means [W] of one supply: `sun_w` at the bus after the charger, loads at sockets and battery side.

    `first_h` is the length of the first interval [h], `from_hour` the hour of the day it lies in.
    """

    sun_w: Floats
    ac_w: Floats
    dc_w: Floats
    first_h: float
    from_hour: int

    def lists(self) -> tuple[list[float], list[float], list[float]]:
        """The three series as plain lists, for the scalar step."""
        return self.sun_w.tolist(), self.ac_w.tolist(), self.dc_w.tolist()

    @property
    def lengths_h(self) -> Floats:
        """Length of each interval, (n,) [h]."""
        lengths_h = np.ones(self.sun_w.size)
        lengths_h[:1] = self.first_h
        return lengths_h

    @property
    def edges_h(self) -> Floats:
        """Time from the start at each edge, (n + 1,) [h]."""
        return np.concatenate([[0.0], self.first_h + np.arange(self.sun_w.size)])

    @property
    def length_h(self) -> float:
        """Length of all intervals [h]."""
        return self.first_h + self.sun_w.size - 1.0

    def first(self, count: int) -> Forcing:
        """Return the first intervals."""
        return replace(self, sun_w=self.sun_w[:count], ac_w=self.ac_w[:count], dc_w=self.dc_w[:count])

    def until(self, at_h: float) -> Forcing:
        """Return the intervals up to the one in which a moment lies [h]."""
        return self.first(1 + max(ceil(at_h - self.first_h - _TINY_H), 0))

    def after(self, count: int) -> Forcing:
        """Return what is left after the first intervals."""
        if not count:
            return self
        from_hour = (self.from_hour + count) % HOURS_PER_DAY
        left = {"sun_w": self.sun_w[count:], "ac_w": self.ac_w[count:], "dc_w": self.dc_w[count:]}
        return Forcing(**left, first_h=1.0, from_hour=from_hour)


def sun_hours(household: Household, supply: Supply, start: datetime, kc: Floats) -> Floats:
    """Power of a supply's panels at the bus, after the charger, for whole days from `start`'s midnight.

    Returns
    -------
    (24 n,) array
        Mean W of each hour of the n days of `kc`.
    """
    every = array_hours(household.site, household.sun, kc, days_of_year(dates_of(start.date(), len(kc))))
    mine = [every[array.id] for array in supply.arrays]
    raw_w = np.sum(mine, axis=0) if mine else np.zeros(len(kc) * HOURS_PER_DAY)
    return np.asarray(raw_w * household.sun.charger_efficiency, dtype=np.float64)


def load_hours(household: Household, supply: Supply, start: datetime, days: int) -> tuple[Floats, Floats]:
    """Loads of a supply at the sockets and at the battery side, (24 n,) each [W], for whole days from `start`'s date.

    Each day is of its own date: of its month, of summer time or not, and for a measured load of its day of the week.
    """
    weekly = any(load.profile is not None for load in supply.loads)
    dates = [start + timedelta(days=day) for day in range(days)]
    kinds = [(at.month, at.weekday() if weekly else None, household.site.clock_ahead_h(at.date())) for at in dates]
    shapes = {kind: _day_w(household, supply, *kind) for kind in set(kinds)}
    ac_w = np.concatenate([shapes[kind][0] for kind in kinds]) if kinds else np.zeros(0)
    dc_w = np.concatenate([shapes[kind][1] for kind in kinds]) if kinds else np.zeros(0)
    return ac_w, dc_w


def mean_day_hours(household: Household, supply: Supply, month: int) -> tuple[Floats, Floats]:
    """Loads of a supply at the sockets and at the battery side on the mean day of a month, (24,) each [W].

    The clock on the wall is that of the month's middle.
    """
    return _day_w(household, supply, month, None, household.site.usual_ahead_h(month))


def _day_w(
    household: Household, supply: Supply, month: int, weekday: int | None, ahead_h: float
) -> tuple[Floats, Floats]:
    ac_w, dc_w = (total(supply.loads, month, side, household.south, weekday, ahead_h) for side in ("ac", "battery"))
    return ac_w, dc_w


def forcing(household: Household, supply: Supply, start: datetime, kc: Floats) -> Forcing:
    """Put together sun and loads from `start` (local standard time) to the end of the last day of `kc`."""
    gone_h = start.hour
    sun_w = sun_hours(household, supply, start, kc)
    ac_w, dc_w = load_hours(household, supply, start, len(kc))
    into_h = (start.minute * 60 + start.second) / 3600.0
    return Forcing(sun_w=sun_w[gone_h:], ac_w=ac_w[gone_h:], dc_w=dc_w[gone_h:], first_h=1.0 - into_h, from_hour=gone_h)


def drawn_hours(inverter: Inverter, ac_w: Floats, dc_w: Floats) -> Floats:
    """Power drawn from the bus by both loads and the inverter in each hour [W]; no more than it is rated for."""
    return np.array([inverter.dc_w(min(w, inverter.rated_w)) for w in ac_w.tolist()]) + dc_w


def mean_dc_w(household: Household, supply: Supply, month: int) -> float:
    """Mean power drawn from the bank by the loads of a month, inverter's losses and idle included [W]."""
    ac_w, dc_w = mean_day_hours(household, supply, month)
    return float(drawn_hours(supply.inverter, ac_w, dc_w).mean())
