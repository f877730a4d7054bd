"""Sun that a full bank leaves over, put into hot water: hours, kWh and the degrees a tank gains.

Powers are W, energies kWh of electricity, temperatures degC, hours count from the moment asked about. Only hours at
whose beginning and end the simulated bank is full are used, and only what is left over in them, so that nothing is
taken from the bank. Each day begins with the tank as warm as it is now.
Not modelled: clouds within an hour, water drawn while it heats, layers in the tank, a COP that falls as it warms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from engine.balance.forcing import Forcing
from engine.balance.trajectory import Trajectory
from engine.house.inverter import Inverter
from engine.house.loads import Load
from engine.quantities import HOURS_PER_DAY, WATER_KWH_PER_LITRE_K, WH_PER_KWH

Floats = NDArray[np.float64]

LEAST_W = 10.0
"""A mean power below this is not worth an hour of the list (choice)."""
FULL_POWER_SHARE = 0.99
"""From this share of its power on a heater counts as carried whole (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tank:
    """A tank of hot water: what it holds, how warm it is now, and what heats it."""

    name: str
    litres: float
    now_c: float
    hot_c: float
    cop: float
    heater_w: float
    standing_kwh: float
    side: str = "ac"
    load_id: str = ""
    litres_assumed: bool = False

    @property
    def kwh_per_k(self) -> float:
        """Heat for one degree [kWh/K]."""
        return self.litres * WATER_KWH_PER_LITRE_K


def tank_of(load: Load, litres: float, now_c: float, *, litres_assumed: bool = False) -> Tank:
    """Return the tank that a load of hot water heats."""
    filled = load.filled()
    return Tank(
        name=load.name,
        litres=litres,
        now_c=now_c,
        hot_c=filled["hot_c"],
        cop=filled["cop"],
        heater_w=filled["heater_kw"] * WH_PER_KWH,
        standing_kwh=filled["standing_kwh"],
        side=load.measured,
        load_id=load.id,
        litres_assumed=litres_assumed,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatHour:
    """One hour of surplus for the heater: its interval, mean power [W], and whether it is the heater's whole power."""

    place: int
    start_at: datetime
    hours: float
    power_w: float
    whole: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatDay:
    """One day's surplus for the tank: electricity [kWh], degrees gained, and how warm the tank gets."""

    day: date
    kwh: float
    gained_k: float
    reached_c: float
    hours: tuple[HeatHour, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Surplus:
    """Sun left over in hours when the bank is full, and what of it the tank can take.

    `spare_kwh` is all that is left over in those hours, at the bus; `kwh` what the heater takes at its own side.
    """

    tank: Tank
    spare_kwh: float
    full_hours: float
    kwh: float
    days: tuple[HeatDay, ...]


def surplus(
    run: Trajectory, hours: Forcing, at: datetime, inverter: Inverter, tank: Tank, own_w: Floats | None = None
) -> Surplus:
    """Share out what a full bank leaves over.

    Parameters
    ----------
    run : Trajectory
        The days with everything else in them.
    hours : Forcing
        What it was run with.
    at : datetime
        Its beginning, local standard time.
    own_w : (n,) array, optional
        What the heater takes already in each hour, by its own times [W].
    """
    length_h = np.diff(run.hours)
    full = run.charged[:-1] & run.charged[1:]
    spare_w = np.where(full, run.spare_wh / np.maximum(length_h, 1e-9), 0.0)
    free_w = np.full(spare_w.size, tank.heater_w)
    if own_w is not None:
        free_w = np.maximum(free_w - own_w[: free_w.size], 0.0)
    offered = [
        _offer_w(inverter, tank, float(spare), float(ac_w), float(free))
        for spare, ac_w, free in zip(spare_w, hours.ac_w, free_w, strict=False)
    ]
    moments = [at + timedelta(hours=float(hour)) for hour in run.hours]
    by_day: dict[date, list[HeatHour]] = {}
    for place, power_w in enumerate(offered):
        if power_w >= LEAST_W:
            whole = power_w >= FULL_POWER_SHARE * free_w[place]
            one = HeatHour(
                place=place, start_at=moments[place], hours=float(length_h[place]), power_w=power_w, whole=bool(whole)
            )
            by_day.setdefault(moments[place].date(), []).append(one)
    days = tuple(day for each, found in by_day.items() if (day := _day(each, found, tank)).hours)
    return Surplus(
        tank=tank,
        spare_kwh=float((spare_w * length_h).sum()) / WH_PER_KWH,
        full_hours=float(length_h[full & (spare_w >= LEAST_W)].sum()),
        kwh=sum(day.kwh for day in days),
        days=days,
    )


def _offer_w(inverter: Inverter, tank: Tank, spare_w: float, ac_w: float, free_w: float) -> float:
    """Most the heater may take of what is left over at the bus [W], through the inverter beside its other loads."""
    if spare_w <= 0.0 or free_w <= 0.0:
        return 0.0
    if tank.side != "ac":
        return min(spare_w, free_w)
    room_w = inverter.rated_w - ac_w
    if room_w <= 0.0:
        return 0.0
    square = inverter.k2 / inverter.rated_w
    linear = 1.0 + inverter.k1 + 2.0 * square * ac_w
    carried_w = 2.0 * spare_w / (linear + sqrt(linear * linear + 4.0 * square * spare_w))
    return min(carried_w, room_w, free_w)


def _day(day: date, found: Sequence[HeatHour], tank: Tank) -> HeatDay:
    """Warm the tank hour by hour, less its standing loss, up to its thermostat."""
    warm_c = reached_c = tank.now_c
    loss_kw = tank.standing_kwh / HOURS_PER_DAY
    until = found[0].start_at
    kept: list[HeatHour] = []
    for one in found:
        gap_h = max((one.start_at - until).total_seconds() / 3600.0, 0.0)
        warm_c -= loss_kw * gap_h / tank.kwh_per_k
        wanted_kwh = max((tank.hot_c - warm_c) * tank.kwh_per_k, 0.0) + loss_kw * one.hours
        heat_kwh = min(one.power_w * one.hours * tank.cop / WH_PER_KWH, wanted_kwh if warm_c < tank.hot_c else 0.0)
        power_w = heat_kwh * WH_PER_KWH / tank.cop / one.hours
        if power_w >= LEAST_W:
            kept.append(replace(one, power_w=power_w, whole=one.whole and power_w >= one.power_w - 1e-9))
            warm_c += (heat_kwh - loss_kw * one.hours) / tank.kwh_per_k
        else:
            warm_c -= loss_kw * one.hours / tank.kwh_per_k
        reached_c = max(reached_c, warm_c)
        until = one.start_at + timedelta(hours=one.hours)
    return HeatDay(
        day=day,
        kwh=sum(one.power_w * one.hours for one in kept) / WH_PER_KWH,
        gained_k=reached_c - tank.now_c,
        reached_c=reached_c,
        hours=tuple(kept),
    )
