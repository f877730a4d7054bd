"""Whether a clear or a dull day that the owner typed is really what answers about a month take.

It is put aside where these panels cannot have given it: in the month it came in, or, typed without its month, in the
month that is asked about. Not modelled: which of several days of the same kWh was meant.
"""

from __future__ import annotations

from engine.errors import InputError
from engine.quantities import mean_day_of_year
from engine.sky.days import owner_dull_day
from engine.sky.site import Site, Sun
from engine.sky.sun import clear_day_scale, yield_kwh

MONTHS = tuple(range(1, 13))


def clear_day_serves(site: Site, sun: Sun, month: int) -> bool:
    """Return whether the owner's clear day says how strong the panels are in a month."""
    if sun.clear_day_kwh is None or not sun.arrays:
        return False
    try:
        clear_day_scale(site, sun, month)
        return sun.clear_day_month is not None or bool(yield_kwh(site, sun, [1.0], [mean_day_of_year(month)])[0] > 0.0)
    except InputError:
        return False


def dull_day_serves(site: Site, sun: Sun, month: int) -> bool:
    """Return whether a dull day in a month is the owner's own, not the usual one."""
    try:
        return owner_dull_day(site, sun, month) is not None
    except InputError:
        return False
