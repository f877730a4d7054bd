"""The days that a car is asked about in: its supply without it, and the readings of the days that a risk asks for.

Loads and sun W, clearness kc, moments local standard time.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from engine.answers.autonomy import LOAD_SPREAD_SHARE
from engine.answers.car_parts import CAREFUL, LIKELY, Car
from engine.answers.car_runs import CarDays
from engine.answers.coming import Coming, coming
from engine.answers.fan import Years
from engine.balance.forcing import Forcing
from engine.errors import Unreachable
from engine.house.household import Household
from engine.sky.days import Sky
from engine.sky.made import made_years
from engine.sky.same_days import same_days

Mask = NDArray[np.bool_]

DULLEST_SHARE = 0.1
"""Of the years, for days that nobody said, where the risk is the careful one (choice)."""


def car_days(
    household: Household,
    car: Car,
    charges: Mapping[str, float],
    sky: Sky,
    at: datetime,
    *,
    risk: str,
    bank_id: str = "",
) -> tuple[date, Coming, CarDays]:
    """Put together the days of a risk for the supply that feeds the car, the car's own times taken out.

    Returns
    -------
    date, Coming, CarDays
        The date of the sky's first day, the days as said, and what a charge has to hold in.

    Raises
    ------
    Unreachable
        If the car is on an inverter without a bank, or no bank is joined at all.
    """
    first, own = _supplied(household, car, charges, sky, at, bank_id)
    unsaid = _unsaid(sky)
    if risk == LIKELY:
        scenarios = [(own, own.given)]
    else:
        skies = [_kept(sky, unsaid), *([_dullest(household, sky, first, unsaid)] if risk == CAREFUL else [])]
        read = [_supplied(household, car, charges, one, at, own.supply.bank.id)[1] for one in skies]
        scenarios = [(one, _darker(one)) for one in read]
    alone = tuple(one.run(hours) for one, hours in scenarios)
    rated_w = own.supply.inverter.rated_w
    return first, own, CarDays(car=car, rated_w=rated_w, scenarios=tuple(scenarios), alone=alone)


def _unsaid(sky: Sky) -> Mask:
    """Which days nobody said: those that differ between the years behind them, else those after the listed ones."""
    if isinstance(sky.years, Years):
        found: Mask = np.ptp(sky.years.kc, axis=0) > 0.0
        return found
    return np.arange(len(sky.kc)) >= sky.listed_days


def _kept(sky: Sky, unsaid: Mask) -> Sky:
    """The sky whose said days keep what their words may mean, and whose other days are as they stand."""
    low_kc, high_kc = (np.where(unsaid, sky.kc, end) for end in (sky.low_kc, sky.high_kc))
    return dataclasses.replace(sky, low_kc=low_kc, high_kc=high_kc)


def _dullest(household: Household, sky: Sky, first: date, unsaid: Mask) -> Sky:
    """The sky with its said days as dark as their words allow, and the others as in the dullest tenth of the years.

    Which year that is, is said by the question's own years, where it has them; else the days are those a tenth of the
    way up among the same days of made years in the order of their light.
    """
    kc = sky.low_kc
    if not isinstance(sky.years, Years) and unsaid.any():
        years = same_days(made_years(household.site, household.sun), first, len(sky.kc))
        if years.size:
            order = np.argsort(years[:, unsaid].sum(axis=1), kind="stable")
            kc = np.where(unsaid, years[order[int(DULLEST_SHARE * len(years))]], sky.low_kc)
    return dataclasses.replace(sky, kc=kc, low_kc=kc, high_kc=kc)


def _supplied(
    household: Household, car: Car, charges: Mapping[str, float], sky: Sky, at: datetime, bank_id: str
) -> tuple[date, Coming]:
    """The date of the first day, and the supply that feeds the car without the car's own times."""
    first, found = coming(household, charges, sky, at)
    load = next((one for one in household.loads if one.id == car.load_id), None)
    if load is None:
        return first, next((one for one in found if one.supply.bank.id == bank_id), found[0])
    inverter = load.inverter or household.first_inverter
    fed = next((one for one in found if one.supply.inverter.id == inverter), None)
    if fed is None:
        raise Unreachable(f"{load.name} is on an inverter without a bank: join a bank to that inverter on Banks.")
    return first, fed.without({load.id})


def _darker(one: Coming) -> Forcing:
    """The reading of the days with the least sun, with heavier loads."""
    heavier = one.varied(LOAD_SPREAD_SHARE)[1::2]
    return min(heavier, key=lambda hours: float(hours.sun_w.sum()))
