"""Words and figures that the pages about sun records share."""

from __future__ import annotations

from datetime import date

from webapp.kept_words import Row, day
from webapp.sky_store import SkyFile

KIND_WORDS = {
    "epw": "A weather year (EPW)",
    "tmy3": "A typical year (TMY3)",
    "pvgis": "A PVGIS file (CSV)",
    "table": "A table of days or hours",
}
QUANTITY_WORDS = {"radiation": "sunshine on the level", "yield": "what the panels gave"}
UNITS = {"radiation": "kWh/m²", "yield": "kWh"}
UNIT_WORDS = {"kWh/m2": "kWh/m²", "Wh/m2": "Wh/m²", "MJ/m2": "MJ/m²", "kJ/m2": "kJ/m²", "J/cm2": "J/cm²"}
UNIT_WORDS |= {"W/m2": "W/m²", "kW/m2": "kW/m²"}


def row(kept: SkyFile, zone: str) -> Row:
    """Return a record as the list shows it."""
    return Row(id=kept.id, name=kept.name, what=KIND_WORDS[kept.kind], day=day(kept.made_at, zone), thing="record")


def on(when: date) -> str:
    """Write a date.

    Examples
    --------
    >>> on(date(2024, 2, 29))
    '29 Feb 2024'
    """
    return f"{when.day} {when:%b %Y}"


def length(days: int) -> str:
    """Write how long a record is.

    Examples
    --------
    >>> length(1), length(93), length(800)
    ('1 day', '93 days', '2.2 years')
    """
    if days < 2 * 365:
        return f"{days} day{'' if days == 1 else 's'}"
    return f"{days / 365.25:.1f} years"
