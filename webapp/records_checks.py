"""What to ask oneself before a sun record is used: what it would put aside, and where it makes the sky brighter."""

from __future__ import annotations

import re

from engine.house.household import Household
from engine.sky import darkest
from engine.sky.averages import mean_kc
from engine.sky.believable import fit_for_spells
from engine.sky.own import Effect
from engine.sky.site import OwnSpell, Sun
from webapp.records_reading import Report
from webapp.render import percent

ALIKE = 1.02
"""A sky brighter by less is called as bright (choice)."""


def brighter_day(sun: Sun, effect: Effect | None) -> str:
    """Say where a dull day out of a log is brighter than the one that stands, both laid on the darkest month."""
    now = sun.dull_day_kwh
    if now is None or effect is None:
        return ""
    before, after = effect.darkest.dull_kwh
    if after <= before:
        return ""
    return f"It is brighter than the dull day that stands, {now:g} kWh, which it would put aside."


def checks_of_radiation(found: Report, house: Household, then: Sun) -> str:
    """Say what is to be thought of before a file of radiation is taken as the sky."""
    return " ".join(part for part in (_brighter_quarter(found, house, then), spells_put_aside(house.sun, then)) if part)


def _brighter_quarter(found: Report, house: Household, then: Sun) -> str:
    """Say where a file that is refused for dull spells makes the darkest quarter brighter than what is assumed now."""
    if fit_for_spells(found.findings):
        return ""
    site = house.site
    before, after = (
        darkest.quarter_kc(site, [mean_kc(site, sun, month) for month in range(1, 13)]) for sun in (house.sun, then)
    )
    if not before or not after or after < ALIKE * before:
        return ""
    return (
        f"From {darkest.named(site)}, its months bring {percent(after)} of the sun of clear days, where "
        f"{percent(before)} are assumed now. This file is not fit for dull spells; used for averages, it makes your "
        "dark season look better than you count on now."
    )


def spells_put_aside(sun: Sun, then: Sun) -> str:
    """Say where dull spells of more years, or of rarer ones, would give way to those of a record."""
    if not sun.spells:
        return ""
    whose = f" of “{sun.sky_file}”" if sun.sky_file else " that stand"
    if not then.spells:
        return f"The dull spells{whose} go, as this file has none to put in their place."
    stand, come = (max(one.years for one in spells) for spells in (sun.spells, then.spells))
    rarest, rarest_then = _rarest(sun.spells), _rarest(then.spells)
    if come >= stand and rarest_then >= rarest:
        return ""
    text = f"Its dull spells, out of {come} years, would put aside those{whose}, out of {stand}."
    if rarest_then < rarest:
        text += f" The worst days of 1 year in {rarest} would no longer come from a file of your own."
    return text


def _rarest(spells: tuple[OwnSpell, ...]) -> int:
    """Once in how many years the rarest of some spells come."""
    risks = (re.search(r"_1in(\d+)$", one.id) for one in spells)
    return max((int(risk[1]) for risk in risks if risk), default=0)
