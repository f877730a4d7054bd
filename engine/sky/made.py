"""Made years of a place: days in a row whose monthly means are right within 3 % and dull spells like real ones.

From the twelve monthly means alone: each day's clearness follows the day before by a first-order process, and
within a month the days have the usual shares of dull and bright (`mix`). kc is a day's horizontal radiation over
that of a clear day. Not modelled: weather that lasts beyond what the first order gives, a month's mean that differs
from year to year more than by chance, anything measured at the place.

References
----------
V. A. Graham, K. G. T. Hollands and T. E. Unny, A time series model for Kt with application to global synthetic
weather generation, Solar Energy 40 (1988) 83-92; distribution of the days as in `mix`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from functools import lru_cache

import numpy as np

from engine.quantities import mean_day_of_year
from engine.sky.averages import DARKEST_MONTH_KC, mean_kc, own_months
from engine.sky.climate import KC_MAX
from engine.sky.local import sky_name
from engine.sky.mix import kt_of_share
from engine.sky.series import Floats, KcSeries, dates_of, days_of_year
from engine.sky.site import Site, Sun
from engine.sky.spells import SpellTable, spell_table, yield_spells
from engine.sky.sun import above_air_kwh_m2, clear_day_kwh_m2
from engine.sky.world import WORLD
from engine.sky.years import daily_kwh, first_month

YEARS = 30
"""Made years behind an answer (choice: enough for 1 year in 10)."""
DAY_TO_DAY_SHARE = 0.29
"""How much of a day's clearness, as a normal variable, is left the day after: Graham et al. 1988, from memory.

Stations give 0.17 to 0.54; one fixed value came out nearer to their dull spells than each station's own.
"""
NEARLY_SUNLESS_SHARE = 0.1
"""A darkest month's clear day below this share of the year's mean tells dull from bright no more (judgement)."""
_FIRST_YEAR = 2001
_SEED = 1988
_REMEMBERED_DAYS = 40


def made_years(site: Site, sun: Sun, years: int = YEARS) -> KcSeries:
    """Return made days in a row, whole years of dull days, the same ones each time.

    Parameters
    ----------
    years : int
        How many; the first day is that of a year as `years` counts them at the place.

    Returns
    -------
    KcSeries
        kc of each day, up to `KC_MAX`; 0 where the sun does not rise.

    Notes
    -----
    The same draws serve every place, so that a clearer month is clearer on each of its days.
    """
    title = f"{years} years made from {_whose_months(site, sun)}"
    return _made(site, tuple(mean_kc(site, sun, month) for month in range(1, 13)), years, title)


@lru_cache(maxsize=32)
def made_spells(site: Site, sun: Sun) -> SpellTable:
    """Return the dull spells of the made years: by what all panels give, or by kc where there are no panels."""
    series = made_years(site, sun)
    by_kc = spell_table(series, site.latitude_deg)
    if not sun.arrays:
        return by_kc
    by_kwh = yield_spells(site, sun, series)
    return _with_windows_of(by_kwh, by_kc) if _nearly_sunless(site) else by_kwh


def _nearly_sunless(site: Site) -> bool:
    """Whether the darkest month's clear day is so short that all its skies give next to nothing."""
    clear = clear_day_kwh_m2(site, [mean_day_of_year(month) for month in range(1, 13)])
    return bool(clear.min() < NEARLY_SUNLESS_SHARE * clear.mean())


def _with_windows_of(by_kwh: SpellTable, by_kc: SpellTable) -> SpellTable:
    """The spells by what the panels give, each shown by the days that are duller in themselves.

    Where the sun nearly stays down, bright days give as little as dull ones and would be taken for a dull spell of a
    lighter month.
    """
    windows = {(one.days, one.risk_years): one.window for one in by_kc.spells}
    spells = (replace(one, window=windows[one.days, one.risk_years]) for one in by_kwh.spells)
    return replace(by_kwh, spells=tuple(spells))


def made_kwh(site: Site, sun: Sun) -> Floats:
    """Return what all panels give on each day of the made years [kWh], (n,)."""
    return daily_kwh(site, sun, made_years(site, sun))


@lru_cache(maxsize=64)
def _made(site: Site, monthly_kc: tuple[float, ...], years: int, title: str) -> KcSeries:
    month = first_month(site.latitude_deg)
    first, end = date(_FIRST_YEAR, month, 1), date(_FIRST_YEAR + years, month, 1)
    dates = dates_of(first, (end - first).days)
    share = _standing(dates.size)
    months = dates.astype("datetime64[M]").astype(np.int64) % 12 + 1
    kc = np.zeros(dates.size)
    for number, mean in enumerate(monthly_kc, 1):
        mine, clear_kt = months == number, _clear_kt(site, number)
        if clear_kt > 0.0:
            made_of = max(mean, DARKEST_MONTH_KC)
            kc[mine] = kt_of_share(share[mine], made_of * clear_kt, clear_kt) / clear_kt * (mean / made_of)
    dark = clear_day_kwh_m2(site, np.arange(1, 367)) <= 0.0
    kc[dark[days_of_year(dates) - 1]] = 0.0
    return KcSeries(first=first, kc=np.minimum(kc, KC_MAX), basis="made", title=title)


def _whose_months(site: Site, sun: Sun) -> str:
    own = sum(own_months(sun))
    if own == 12:
        return "your own months"
    others = "a rough world table" if site.climate == WORLD else sky_name(site).split(" (")[0]
    mine = "one month" if own == 1 else f"{own} months"
    return f"{mine} of your own and the others of {others}" if own else f"the months of {others}"


def _clear_kt(site: Site, month: int) -> float:
    """Kt of a clear day, the month's average one; 0 where the sun stays down."""
    day = [mean_day_of_year(month)]
    clear, above = float(clear_day_kwh_m2(site, day)[0]), float(above_air_kwh_m2(site, day)[0])
    return clear / above if above > 0.0 else 0.0


def _standing(days: int) -> Floats:
    """Where each day stands among the days of its month, 0 to 1, each leaning on the day before."""
    draws = np.random.default_rng(_SEED).standard_normal(days + _REMEMBERED_DAYS)
    echoes = DAY_TO_DAY_SHARE ** np.arange(_REMEMBERED_DAYS)
    normal = np.convolve(draws, echoes, mode="valid")[:days] * math.sqrt(1.0 - DAY_TO_DAY_SHARE**2)
    return np.array([0.5 + 0.5 * math.erf(value / math.sqrt(2.0)) for value in normal.tolist()])
