"""Time made years: twenty of them hour by hour for one array, their spells, and the memory held."""

from __future__ import annotations

import dataclasses

from benchmarks.timing import most_held_mib, report, tell_at_most
from engine.house.household import Household
from engine.sky.made import made_years
from engine.sky.spells import yield_spells
from engine.sky.years import hours_by_year


def sky_lines(home: Household) -> None:
    """Time twenty made years of one array."""
    site, sun = home.site, dataclasses.replace(home.sun, arrays=home.sun.arrays[:1])
    twenty = made_years(site, sun, 20)

    def hour_by_hour() -> float:
        return sum(float(watts.sum()) for _, arrays in hours_by_year(site, sun, twenty) for watts in arrays.values())

    def spells_anew() -> object:
        fresh = dataclasses.replace(twenty, kc=twenty.kc)
        return yield_spells(site, sun, fresh)

    report("twenty hourly years of one array", hour_by_hour, 500.0)
    report("spells of twenty years by kWh, nothing kept", spells_anew, 150.0)
    tell_at_most("twenty hourly years, most held", most_held_mib(hour_by_hour), "MiB", 150.0)
