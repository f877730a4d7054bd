"""What a use of a sun record reaches: the dull week that Rainy week begins with, and which answers follow it.

kWh are those of all panels, DC before the solar charger. Not told: answers asked with days typed by hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from engine.errors import InputError
from engine.house.household import Household
from engine.quantities import mean_day_of_year
from engine.sky.days import parse_sky
from engine.sky.own_days import dull_day_serves
from engine.sky.site import Site, Sun
from engine.sky.sun import yield_kwh
from webapp.dull_days import OWN_DAY, usual_dull_days, usual_spell

WEEK_DAYS = 7
_FOLLOWS = {
    "clear_day": "Clear days, average days and days by words count by it in every answer.",
    "dull_day": "“Dull” counts by it on Today.",
    "monthly_kwh": "Average days count by it in every answer.",
    "sky": "Average days count by it in every answer.",
    "spells": "Its dull spells can be chosen on Today, Bank size and Rainy week.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """The dull week that Rainy week begins with: what it is, and what all panels give in it [kWh a day]."""

    title: str
    kwh: float


@lru_cache(maxsize=32)
def week_of(site: Site, sun: Sun, month: int) -> Week:
    """Return the dull week that Rainy week begins with, laid on a month."""
    sky = parse_sky(usual_spell(site, sun, WEEK_DAYS), site, sun, month)
    days = np.full(WEEK_DAYS, mean_day_of_year(month))
    return Week(title=sky.title, kwh=float(yield_kwh(site, sun, sky.kc[:WEEK_DAYS], days).mean()))


def reach(house: Household, use_id: str, month: int) -> str:
    """Say which answers follow a use that stands in the household, and what of the owner's own goes before it."""
    before = _goes_before(house.site, house.sun, use_id, month)
    return " ".join((_FOLLOWS[use_id], *before, *_begins(house, use_id, month)))


def _goes_before(site: Site, sun: Sun, use_id: str, month: int) -> tuple[str, ...]:
    """The owner's own kWh that stay as they are."""
    stay = []
    if use_id == "clear_day" and dull_day_serves(site, sun, month):
        stay.append(f"Your own dull day stays at {sun.dull_day_kwh:g} kWh.")
    if sun.monthly_kwh and use_id in ("clear_day", "sky"):
        stay.append("Months whose kWh are your own stay at those.")
    if use_id == "clear_day" and any(spell.log_strength is not None for spell in sun.spells):
        stay.append("Dull spells of your own log stay at what they gave.")
    return tuple(stay)


def _begins(house: Household, use_id: str, month: int) -> tuple[str, ...]:
    """With which days Bank size and Rainy week begin now."""
    if use_id in ("clear_day", "monthly_kwh"):
        return ()
    try:
        week = f"Rainy week begins with “{week_of(house.site, house.sun, month).title}”."
    except InputError:
        return ()
    own_day = usual_dull_days(house, month) == OWN_DAY
    size = f"your own dull day, {house.sun.dull_day_kwh:g} kWh" if own_day else "the worst days of 1 year in 10"
    return (f"Bank size begins with {size}.", week)
