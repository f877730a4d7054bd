"""Made-up sun records of the small household: years of radiation at its place, and what its panels gave."""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray

from engine.house import household
from engine.sky.series import dates_of, days_of_year
from engine.sky.site import Site
from engine.sky.sun import clear_day_kwh_m2, yield_kwh
from tests.conftest import SMALL_HOUSE
from tests.engine.sky_files import epw, other_years

FIRST = date(2010, 1, 1)


def kc_of_years(years: int, seed: int = 4) -> NDArray[np.float64]:
    """Invented clearness of years from 2010: a fifth of the days clear, dull ones in company."""
    rng = np.random.default_rng(seed)
    days = (date(FIRST.year + years, 1, 1) - FIRST).days
    rank = rng.random(days)
    for n in range(1, days):
        rank[n] = 0.4 * rank[n - 1] + 0.6 * rank[n]
    order = rank.argsort().argsort() / days
    return np.minimum(0.07 + 1.2 * order, 1.0)


def radiation(kc: NDArray[np.float64], latitude_deg: float = 52.1) -> str:
    """A daily file of radiation on the level at the small household's place, in J/cm2, as a weather service writes."""
    house = household.read(SMALL_HOUSE)
    days = dates_of(FIRST, kc.size)
    joule = kc * clear_day_kwh_m2(house.site, days_of_year(days)) * 360.0
    rows = (f"{day};{value:.0f}" for day, value in zip(days, joule, strict=True))
    return "date;global radiation [J/cm2]\n" + "\n".join(rows) + "\n"


def roof_log(kc: NDArray[np.float64], strength: float = 0.8) -> str:
    """A daily log of what the small household's panels gave, weaker than the model by a share."""
    house = household.read(SMALL_HOUSE)
    days = dates_of(FIRST, kc.size)
    kwh = strength * yield_kwh(house.site, house.sun, kc, days_of_year(days))
    rows = (f"{day},{value:.3f}" for day, value in zip(days, kwh, strict=True))
    return "date,yield kWh\n" + "\n".join(rows) + "\n"


def typical_year(kc: NDArray[np.float64], site: Site) -> bytes:
    """An EPW at a site on 52 N, 5 E whose months are of different years, as strong each day as the clearness says."""
    days = np.arange(365)
    kwh_m2 = kc[:365] * clear_day_kwh_m2(site, days + 1)
    middle = np.arange(24) + 0.5
    shape = np.where((middle > 6) & (middle < 18), np.sin(np.pi * (middle - 6.0) / 12.0), 0.0)
    stamps = np.datetime64("2021-01-01", "h") + np.arange(24 * 365)
    w_m2 = np.round(np.outer(kwh_m2 * 1000.0, shape / shape.sum())).astype(int).ravel()
    return epw(other_years(stamps, [2001 + month for month in range(12)]), w_m2.tolist())
