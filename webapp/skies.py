"""Years of days an answer may be drawn from: made for the place, or those of one of the household's sun records."""

from __future__ import annotations

from engine.errors import InputError
from engine.house.household import Household
from engine.sky.made import made_years
from engine.sky.series import KcSeries
from webapp import records_reading, sky_store
from webapp.forms import Field
from webapp.store import Store

MADE = "made"
FILE = "file-"


def skies_field(store: Store, household_id: int, label: str = "Winters") -> Field:
    """Return the choice of days: made ones, or those of a sun record."""
    records = sky_store.accepted(store, household_id)
    choices = ((MADE, "Made for this place"), *((f"{FILE}{one.id}", f"Measured: {one.name}") for one in records))
    return Field(name="skies", label=label, kind="choice", choices=choices, default=MADE)


def series_of(store: Store, household_id: int, house: Household, skies: str) -> KcSeries:
    """Return the days asked for.

    Raises
    ------
    InputError
        If a record is not fit for dull spells.
    """
    if not skies.startswith(FILE):
        return made_years(house.site, house.sun)
    kept = sky_store.find(store, household_id, int(skies.removeprefix(FILE)))
    series = records_reading.report(store, kept, house).kc
    if series is None:
        raise InputError(
            "skies", f"“{kept.name}” is not fit for dull spells: Sun records says why. Choose other winters."
        )
    return series
