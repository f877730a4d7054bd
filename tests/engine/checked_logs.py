"""Logs of a house that is known to the last watt: its own model, run on made days, with one thing changed at a time."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.balance.forcing import drawn_hours, load_hours, sun_hours
from engine.balance.step import State, plant
from engine.balance.trajectory import Trajectory, run
from engine.house.household import Household, read
from engine.meter.log import MeterLog
from engine.sky.series import KcSeries, dates_of, days_of_year
from engine.sky.sun import clear_day_kwh_m2
from tests.conftest import SMALL_HOUSE

Floats = NDArray[np.float64]

FIRST = date(2025, 3, 1)
DAYS = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Truth:
    """A house as it was entered, what its meter wrote, and the days’ sky."""

    house: Household
    log: MeterLog
    sky: KcSeries
    run: Trajectory


def document(kwp: float, strings: int) -> dict[str, Any]:
    """The small house with other panels and another size of bank."""
    found = copy.deepcopy(SMALL_HOUSE)
    found["sun"]["arrays"][0]["kwp"] = kwp
    found["banks"][0]["parallel"] = strings
    return found


def changed(log: MeterLog, **columns: Floats | None) -> MeterLog:
    """The log with other columns; None takes one away."""
    kept = {**log.values, **columns}
    return dataclasses.replace(log, values={key: values for key, values in kept.items() if values is not None})


def rows(house: Household, first: date, values: Mapping[str, Floats]) -> MeterLog:
    """Hours in a row from a midnight of the house’s standard time on."""
    hours = next(iter(values.values())).size
    midnight_s = float((np.datetime64(first, "s") - np.datetime64(0, "s")).astype(np.int64))
    start_s = midnight_s - house.site.utc_offset_h * 3600.0 + 3600.0 * np.arange(hours)
    return MeterLog(start_s=start_s, step_s=np.full(hours, 3600.0), values=dict(values))


@lru_cache(maxsize=8)
def truth(
    *,
    kwp: float = 6.0,
    strings: int = 16,
    days: int = DAYS,
    times: float = 1.0,
    idle_w: float = 0.0,
    capacity: float = 1.0,
    covered: tuple[int, int] = (0, 0),
) -> Truth:
    """Run the house on made days that are as bright in spring as in winter and write what its meter would.

    Parameters
    ----------
    times, idle_w, capacity : float
        What the real house has that the entered one does not: times the yield, watts more at the sockets, times the
        bank.
    covered : tuple of int
        First and last day, not counted, on which the panels give nothing.
    """
    house = read(document(kwp, strings))
    (supply,) = house.supplies()
    clear = clear_day_kwh_m2(house.site, days_of_year(dates_of(FIRST, days)))
    kc = np.clip(np.random.default_rng(7).beta(1.3, 1.2, days), 0.05, 1.0) * np.sqrt(clear[0] / clear)
    start = datetime.combine(FIRST, time.min)
    sun_w = sun_hours(house, supply, start, kc) * times
    sun_w.reshape(-1, 24)[slice(*covered)] = 0.0
    ac_w, dc_w = load_hours(house, supply, start, days)
    real = dataclasses.replace(supply.bank, reserve_soc=0.0, tested_ah=supply.bank.label_ah * capacity)
    ran = run(plant(real, supply.inverter, 500.0), State(0.6), sun_w.tolist(), (ac_w + idle_w).tolist(), dc_w.tolist())
    drawn_w = drawn_hours(supply.inverter, ran.served_wh, np.zeros(ran.served_wh.size))
    values = {
        "yield_w": ran.sun_wh,
        "load_w": ran.served_wh,
        "load_dc_w": drawn_w,
        "bank_w": ran.sun_wh - drawn_w,
        "charge": (ran.soc[1:] + ran.soc[:-1]) / 2.0,
    }
    sky = KcSeries(first=FIRST, kc=kc, basis="measured", title="The very days")
    return Truth(house=house, log=rows(house, FIRST, values), sky=sky, run=ran)
