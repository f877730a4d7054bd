"""The year of the panels at a glance: what each month's days give, and what each array brings to it.

kWh are DC, before the solar charger's own losses, scaled to the owner's clear day. A month's days are those of its
average day of the year. Not modelled: days the panels are covered.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.quantities import mean_day_of_year
from engine.sky.averages import DAYS_IN_MONTH, average_day_kwh, mean_kc, mixed_kc
from engine.sky.days import WORDS, owner_dull_day
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import array_kwh, yield_kwh

Floats = NDArray[np.float64]

MONTHS = range(1, 13)


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthYield:
    """What all panels give on a day of a month [kWh]: clear (kc 1), bright, average, dull and dark."""

    month: int
    clear_kwh: float
    bright_kwh: float
    average_kwh: float
    dull_kwh: float
    dark_kwh: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrayYear:
    """What one array brings.

    Attributes
    ----------
    year_kwh : float
        In an average year [kWh].
    best, darkest : tuple of float
        Bright, average and dull day [kWh] of the months that give all panels most and least.
    held_back_kwh : float
        What its solar charger's limit costs in an average year [kWh].
    """

    array: Array
    year_kwh: float
    best: tuple[float, float, float]
    darkest: tuple[float, float, float]
    held_back_kwh: float


def month_yields(site: Site, sun: Sun) -> tuple[MonthYield, ...]:
    """Return the twelve months of the panels, January first.

    Raises
    ------
    InputError
        If the owner's clear day cannot be reached.
    """
    kc = np.array([[1.0, WORDS["bright"][1], dull_kc(site, sun, month), WORDS["dark"][1]] for month in MONTHS])
    days = np.repeat([mean_day_of_year(month) for month in MONTHS], kc.shape[1])
    given = yield_kwh(site, sun, kc.ravel(), days).reshape(kc.shape)
    return tuple(
        MonthYield(
            month=month,
            clear_kwh=float(clear),
            bright_kwh=float(bright),
            average_kwh=average_day_kwh(site, sun, month),
            dull_kwh=float(dull),
            dark_kwh=float(min(dark, dull)),
        )
        for month, (clear, bright, dull, dark) in zip(MONTHS, given, strict=True)
    )


def dull_kc(site: Site, sun: Sun, month: int) -> float:
    """Return the kc of a dull day: the owner's own where these panels can give it, else the middle of the word."""
    try:
        own = owner_dull_day(site, sun, month)
    except InputError:
        own = None
    return WORDS["dull"][1] if own is None else float(own.kc[0])


def array_years(site: Site, sun: Sun, months: tuple[MonthYield, ...]) -> tuple[ArrayYear, ...]:
    """Return what each array brings, in the order of the household; `months` are those of `month_yields`."""
    by_average = sorted(months, key=lambda one: one.average_kwh)
    named = {month.month: _bright_and_dull(site, sun, month.month) for month in (by_average[0], by_average[-1])}
    kept, free = (_average_days(site, sun, limited=limited) for limited in (True, False))
    modelled = np.sum(list(kept.values()), axis=0)
    days = np.array(DAYS_IN_MONTH)
    share = np.array([one.average_kwh for one in months]) / np.where(modelled > 0.0, modelled, 1.0)

    def of_month(array: Array, month: int) -> tuple[float, float, float]:
        bright, dull = named[month][array.id].tolist()
        return bright, float((kept[array.id] * share)[month - 1]), dull

    return tuple(
        ArrayYear(
            array=array,
            year_kwh=float((kept[array.id] * share * days).sum()),
            best=of_month(array, by_average[-1].month),
            darkest=of_month(array, by_average[0].month),
            held_back_kwh=float(((free[array.id] - kept[array.id]) * share * days).sum()),
        )
        for array in sun.arrays
    )


def _average_days(site: Site, sun: Sun, *, limited: bool) -> dict[str, Floats]:
    """Each array's kWh on the average of the modelled days of each month, (12,)."""
    mixes = [mixed_kc(site, month, mean_kc(site, sun, month)) for month in MONTHS]
    days = np.repeat([mean_day_of_year(month) for month in MONTHS], [mix.size for mix in mixes])
    given = array_kwh(site, sun, np.concatenate(mixes), days, limited=limited)
    ends = np.cumsum([mix.size for mix in mixes])[:-1]
    return {
        one: np.array([part.mean() if part.size else 0.0 for part in np.split(kwh, ends)]) for one, kwh in given.items()
    }


def _bright_and_dull(site: Site, sun: Sun, month: int) -> dict[str, Floats]:
    skies = [WORDS["bright"][1], dull_kc(site, sun, month)]
    return array_kwh(site, sun, skies, [mean_day_of_year(month)] * len(skies))
