"""What do my panels give through the year, and what did my own numbers change about it?

kWh are DC of all panels, before the solar charger's own losses, panels bare of snow. Not modelled: what
`engine.sky.sun` leaves out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from engine.answers.answer import Assumption, assumptions_of
from engine.house.household import Household
from engine.sky.glance import ArrayYear, MonthYield, array_years, month_yields
from engine.sky.own import Effect, effect
from engine.sky.site import Sun


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelYear:
    """The panels through the year.

    Attributes
    ----------
    months : tuple of MonthYield
        January first.
    best, darkest : MonthYield
        The months whose average day gives most and least.
    arrays : tuple of ArrayYear
        What each array brings.
    effect : Effect or None
        What the owner's own days and months change; None where none is typed.
    """

    months: tuple[MonthYield, ...]
    best: MonthYield
    darkest: MonthYield
    arrays: tuple[ArrayYear, ...]
    effect: Effect | None
    assumptions: tuple[Assumption, ...]

    @property
    def year_kwh(self) -> float:
        """What all panels give in an average year [kWh]."""
        return sum(one.year_kwh for one in self.arrays)


def panel_year(household: Household) -> PanelYear:
    """Return the year of a household's panels; it must have some.

    Raises
    ------
    InputError
        If the owner's clear day is more than these panels and chargers can give in its month.
    """
    site, sun = household.site, household.sun
    months = month_yields(site, sun)
    by_average = sorted(months, key=lambda one: one.average_kwh)
    unowned = without_own_numbers(sun)
    return PanelYear(
        months=months,
        best=by_average[-1],
        darkest=by_average[0],
        arrays=array_years(site, sun, months),
        effect=None if unowned == sun else effect(site, unowned, sun),
        assumptions=assumptions_of(replace(household, loads=(), generators=()), ()),
    )


def without_own_numbers(sun: Sun) -> Sun:
    """Return the sun of a household as if its owner had seen and measured nothing."""
    return replace(sun, clear_day_kwh=None, dull_day_kwh=None, monthly_kwh=None, monthly_kc=None)
