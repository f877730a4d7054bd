"""How much a load of each kind takes in a day, and how that is spread over its hours.

Arrays hold the 24 means of the hours 0-1 .. 23-24 of the clock on the wall, summer time in it: people and timers go by
it. `on_standard_clock` turns them into hours of local standard time, in which the engine steps.
The house curve is that of a weekday. Power is W, energy kWh, temperature degC.
A measured load has its own hours (`load_profile`).
Not modelled: weekends, holidays, minutes within an hour, a tank's temperature from hour to hour.

References
----------
German electricity industry (BDEW), standard load profile H0, as given by demandlib 0.2.2 for 2015.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.quantities import DAYS_PER_WEEK, HOURS_PER_DAY, WATER_KWH_PER_LITRE_K, WH_PER_KWH

Hours = NDArray[np.float64]
Values = Mapping[str, float]

WINTER_PEAKS = ((0.897, 8.109, 1.44), (0.894, 12.717, 2.037), (1.356, 19.807, 2.439))
"""Morning, noon and evening of a winter weekday: height over the day's mean [-], time [h], width [h].

Fitted to H0 (`tests/fixtures/make_demandlib_h0.py`), with a base of 0.330 of the mean.
"""
SUMMER_PEAKS = ((0.749, 8.096, 1.636), (0.974, 12.796, 2.366), (1.13, 20.518, 2.646))
"""The same of a summer weekday, with a base of 0.319 of the mean."""


def window_w(power_w: float, start_h: float, run_h: float) -> Hours:
    """Mean power of each hour for a load that runs once a day by the clock.

    Parameters
    ----------
    power_w : float
        Power while it runs [W].
    start_h, run_h : float
        Start [h of the day] and length [h], 0 to 24; past midnight it goes on in the morning.

    Returns
    -------
    (24,) array
        Mean of each hour [W].

    Examples
    --------
    >>> window_w(100.0, start_h=22.5, run_h=2.0)[[0, 21, 22, 23]]
    array([ 50.,   0.,  50., 100.])
    """
    hour = np.arange(2.0 * HOURS_PER_DAY)
    share = np.clip(np.minimum(hour + 1.0, start_h + run_h) - np.maximum(hour, start_h), 0.0, 1.0)
    return np.asarray(power_w * share.reshape(2, HOURS_PER_DAY).sum(axis=0), dtype=np.float64)


def on_standard_clock(clock_w: Hours, ahead_h: float) -> Hours:
    """Turn a day by the clock on the wall into hours of local standard time; the day keeps its energy.

    What would fall before midnight is put at the end of the same day.

    Parameters
    ----------
    clock_w : (24,) array
        Mean of each hour by the clock on the wall [W], even within the hour.
    ahead_h : float
        By how much that clock is ahead of standard time [h].

    Returns
    -------
    (24,) array
        Mean of each hour of standard time [W].

    Examples
    --------
    >>> np.flatnonzero(on_standard_clock(window_w(100.0, start_h=19.0, run_h=2.0), 1.0))
    array([18, 19])
    """
    whole = int(np.floor(ahead_h))
    part = ahead_h - whole
    return np.asarray((1.0 - part) * np.roll(clock_w, -whole) + part * np.roll(clock_w, -whole - 1), dtype=np.float64)


def house_shape(month: int) -> Hours:
    """Spread of a house's energy above its always-on base, summing to 1.

    Parameters
    ----------
    month : int
        1 to 12 as in the north: 1 is mid-winter, 7 mid-summer; between them a cosine (assumed).

    Returns
    -------
    (24,) array
        Share of each hour [-].
    """
    winter = 0.5 + 0.5 * np.cos(2.0 * np.pi * (month - 1) / 12.0)
    peaks = winter * np.array(WINTER_PEAKS) + (1.0 - winter) * np.array(SUMMER_PEAKS)
    height, middle_h, width_h = peaks.T[:, :, np.newaxis]
    away_h = (np.arange(HOURS_PER_DAY) + 0.5 - middle_h + 12.0) % HOURS_PER_DAY - 12.0
    curve = (height * np.exp(-0.5 * (away_h / width_h) ** 2)).sum(axis=0)
    return np.asarray(curve / curve.sum(), dtype=np.float64)


def house_w(v: Values, month: int) -> Hours:
    """Always-on base, and the rest of the day's energy by `house_shape`; (24,) [W]."""
    base_kwh = v["base_w"] * HOURS_PER_DAY / WH_PER_KWH
    above_kwh = v["daily_kwh"] - base_kwh
    if above_kwh < -1e-9:
        highest_w = v["daily_kwh"] * WH_PER_KWH / HOURS_PER_DAY
        raise InputError(
            "values.base_w",
            f"Always-on part of it, {v['base_w']:g} W, takes {base_kwh:.3g} kWh a day, more than the "
            f"{v['daily_kwh']:g} kWh of the whole house; it can be at most {highest_w:.4g} W.",
        )
    return np.asarray(v["base_w"] + max(above_kwh, 0.0) * WH_PER_KWH * house_shape(month), dtype=np.float64)


def steady_w(v: Values, _month: int) -> Hours:
    """The same power in every hour; (24,) [W]."""
    return np.full(HOURS_PER_DAY, v["power_w"])


def by_clock_w(v: Values, _month: int) -> Hours:
    """One window a day; (24,) [W]."""
    return window_w(v["power_w"], v["start_h"], v["run_h"])


def by_run_w(v: Values, _month: int) -> Hours:
    """Energy of its runs on the mean day of a week, spread over the hours in which it may run; (24,) [W].

    From a time to the same time is all day. Not modelled: on which day of the week it runs, and when within its hours.
    """
    hours = (v["end_h"] - v["start_h"]) % HOURS_PER_DAY or float(HOURS_PER_DAY)
    need_kwh = v["run_kwh"] * v["runs"] / DAYS_PER_WEEK
    _refuse_too_long("values.power_w", "A mean day of its runs", need_kwh, v["power_w"] / WH_PER_KWH, hours)
    return window_w(need_kwh * WH_PER_KWH / hours, v["start_h"], hours)


def water_kwh(v: Values) -> float:
    """Electricity a day for hot water [kWh]: as typed, else heat of the water drawn and standing loss, over the COP."""
    if v.get("daily_kwh", 0.0) > 0.0:
        return v["daily_kwh"]
    drawn_kwh = v["litres"] * WATER_KWH_PER_LITRE_K * (v["hot_c"] - v["cold_c"])
    return (drawn_kwh + v["standing_kwh"]) / v["cop"]


def water_w(v: Values, _month: int) -> Hours:
    """From the start at the heater's power until the day's heat is in; evenly without a timer; (24,) [W]."""
    if not v["hot_c"] > v["cold_c"]:
        raise InputError(
            "values.hot_c",
            f"Hot water must be above the cold water's {v['cold_c']:g} °C; got {v['hot_c']:g} °C.",
        )
    hours = v["run_h"] or float(HOURS_PER_DAY)
    need_kwh = water_kwh(v)
    _refuse_too_long("values.heater_kw", "Hot water", need_kwh, v["heater_kw"], hours)
    if hours == HOURS_PER_DAY:
        return np.full(HOURS_PER_DAY, need_kwh * WH_PER_KWH / HOURS_PER_DAY)
    return window_w(v["heater_kw"] * WH_PER_KWH, v["start_h"], need_kwh / v["heater_kw"])


def car_kwh(v: Values) -> float:
    """Electricity a day into the charger for the distance driven [kWh]."""
    return v["distance_km"] * v["kwh_per_100km"] / 100.0 / v["charge_efficiency"]


def car_w(v: Values, _month: int) -> Hours:
    """From the start at the charger's power until the day's energy is in; (24,) [W]."""
    need_kwh = car_kwh(v)
    _refuse_too_long("values.charger_kw", "Charging", need_kwh, v["charger_kw"], float(HOURS_PER_DAY))
    return window_w(v["charger_kw"] * WH_PER_KWH, v["start_h"], need_kwh / v["charger_kw"])


def _refuse_too_long(field: str, what: str, need_kwh: float, power_kw: float, hours: float) -> None:
    if need_kwh > power_kw * hours * (1.0 + 1e-9):
        raise InputError(
            field,
            f"{what} needs {need_kwh:.3g} kWh a day, but {power_kw:g} kW gives only "
            f"{power_kw * hours:.3g} kWh in {hours:g} hours: at least {need_kwh / hours:.3g} kW is needed.",
        )
