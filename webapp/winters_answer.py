"""The answers of a question about many winters, kept at hand while a person looks at it from several sides."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from engine.answers.autonomy_days import AutonomyDays, autonomy_days
from engine.answers.lasting import Lasting, lasting
from engine.answers.winters import Fitted, ManyWinters, fitted, many_winters
from engine.house.household import Household, Supply
from engine.sky.series import KcSeries

_REMEMBERED = 4


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


@lru_cache(maxsize=_REMEMBERED)
def fit_of(household: Household, supply: Supply, series: KcSeries, month: int, share: float) -> Fitted:
    """Return a supply on the winters of a series, remembered."""
    return fitted(household, supply, series, month, share)


@lru_cache(maxsize=_REMEMBERED)
def _winters(household: Household, supply: Supply, series: KcSeries, month: int, share: float) -> ManyWinters:
    return many_winters(household, supply, series, month, share)
