"""The darkest quarter of the year, when a bank runs down: how clear a record has it, beside the world table.

It is the three months in a row whose clear days bring least, of those in which the sun rises well. Shares are of what
clear days bring. Not modelled: that one year’s quarter is not that of other years.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from engine.quantities import mean_day_of_year
from engine.sky import local
from engine.sky.climate import MONTH_NAMES
from engine.sky.signs import LEAST_CLEAR_KWH_M2, finding
from engine.sky.site import Site
from engine.sky.sun import clear_day_kwh_m2
from engine.sky.world import WORLD
from engine.text.finding import Finding

_MIDDLES = [mean_day_of_year(month) for month in range(1, 13)]
_UNLIKE_SHARE = 0.4
"""Between a record and the world table (judgement): the table's own months are good to about 30 %."""


@lru_cache(maxsize=64)
def quarter(site: Site) -> tuple[int, int, int]:
    """Return the three darkest months in a row, 1 to 12.

    Examples
    --------
    >>> quarter(Site(latitude_deg=52.1, longitude_deg=5.2, time_zone="Europe/Amsterdam", climate="world"))
    (11, 12, 1)
    """
    clear = clear_day_kwh_m2(site, _MIDDLES)
    lit = np.where(clear >= LEAST_CLEAR_KWH_M2, clear, np.inf)
    first = int(np.argmin(lit + np.roll(lit, -1) + np.roll(lit, -2)))
    return first + 1, (first + 1) % 12 + 1, (first + 2) % 12 + 1


def named(site: Site) -> str:
    """Return what it is called after “From”: “November to January, the darkest quarter”."""
    first, _, last = (MONTH_NAMES[month - 1] for month in quarter(site))
    return f"{first} to {last}, the darkest quarter"


def quarter_kc(site: Site, monthly_kc: Sequence[float | None]) -> float | None:
    """Return how clear it is by the kc of twelve months; None where one of its months is not known."""
    clear = clear_day_kwh_m2(site, _MIDDLES)
    kc = [(monthly_kc[month - 1], float(clear[month - 1])) for month in quarter(site)]
    light = [own * day for own, day in kc if own is not None]
    return sum(light) / sum(day for _, day in kc) if len(light) == len(kc) else None


def by_table(site: Site) -> Site:
    """Return the site under the sky of the world table, whatever climate was chosen."""
    return replace(site, climate=WORLD)


def unlike_table(site: Site, monthly_kc: Sequence[float | None]) -> list[Finding]:
    """Whether a record of radiation has the darkest quarter far clearer or duller than the world table."""
    share, table = quarter_kc(site, monthly_kc), quarter_kc(site, local.monthly_kc(by_table(site)))
    return unlike(site, share, table, "Is the unit right, and is it from a place with your sky?")


def unlike(site: Site, share: float | None, table: float | None, ask: str) -> list[Finding]:
    """Say what a record has of clear days in the darkest quarter, and what the table, where these are far apart."""
    if share is None or not table or abs(share / table - 1.0) <= _UNLIKE_SHARE:
        return []
    text = f"From {named(site)}, it brings {share:.0%} of clear days; the world table says {table:.0%} here. {ask}"
    return [finding("check", "unlike_table", text)]
