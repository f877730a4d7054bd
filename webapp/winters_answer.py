"""The answers of a question about many winters, kept at hand while a person looks at it from several sides.

Answers are small, 0.4 MiB each. A supply on its winters holds every hour of them, 4 MiB for thirty years; another
count of days or a size that is tried needs them again, so two are kept: the one looked at and the one before.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import lru_cache

from engine.answers.autonomy_days import AutonomyDays, autonomy_days
from engine.answers.lasting import Lasting, lasting
from engine.answers.risks import risks
from engine.answers.winters import Fitted, ManyWinters, fitted, many_winters_of
from engine.house.household import Household, Supply
from engine.sky.series import KcSeries

_ANSWERS, _FITS = 4, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The answers of one question."""

    winters: ManyWinters
    autonomy: AutonomyDays
    lasting: Lasting


def told(
    household: Household, supply: Supply, series: KcSeries, month: int, share: float, days: int, age_years: int
) -> Told:
    """Return how often a bank runs empty in the winters of a series, the rule of thumb beside it, and how banks last.

    Raises
    ------
    Unreachable
        As `many_winters`.
    """
    autonomy = autonomy_days(fit_of(household, supply, series, month, share), days)
    winters = _winters(household, supply, series, month, share)
    return Told(winters=winters, autonomy=autonomy, lasting=lasting(household, supply, winters, age_years))


def fit_of(household: Household, supply: Supply, series: KcSeries, month: int, share: float) -> Fitted:
    """Return a supply on the winters of a series, remembered for any share that may go unserved."""
    fit = _fit(household, supply, series, month)
    return dataclasses.replace(fit, allowed=risks(fit.hours.years.size, share))


@lru_cache(maxsize=_FITS)
def _fit(household: Household, supply: Supply, series: KcSeries, month: int) -> Fitted:
    return fitted(household, supply, series, month)


@lru_cache(maxsize=_ANSWERS)
def _winters(household: Household, supply: Supply, series: KcSeries, month: int, share: float) -> ManyWinters:
    return many_winters_of(household, fit_of(household, supply, series, month, share), month)
