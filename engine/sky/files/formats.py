"""What a file of sunshine may be: its kind, its columns, their units, and how its rows count.

The unit of the value says what the file holds: radiation on the level [kWh/m2] or yield of the panels [kWh].
Nothing here reads a file, nor loads what does.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

from engine.text.layouts import Layout
from engine.text.meanings import INTERVAL, TIME_MEANINGS, Meaning, by_key
from engine.text.time_units import Doubt, Places

RADIATION_KWH_M2 = {
    "kWh/m2": 1.0,
    "Wh/m2": 1e-3,
    "MJ/m2": 1 / 3.6,
    "kJ/m2": 1 / 3600,
    "J/cm2": 1 / 360,
    "W/m2": 1e-3,
    "kW/m2": 1.0,
}
"""Units of radiation and their factor to kWh/m2; those of power are kW/m2, and last as long as their row."""
YIELD_KWH = {"kWh": 1.0, "Wh": 1e-3, "MWh": 1e3, "W": 1e-3, "kW": 1.0}
"""Units of what panels gave and their factor to kWh, or kW."""
POWERS = ("W/m2", "kW/m2", "W", "kW")


MEANINGS = (
    *TIME_MEANINGS,
    Meaning(key="value", label="Radiation or yield", units=(*RADIATION_KWH_M2, *YIELD_KWH)),
    Meaning(key="value_2", label="Radiation to add to it", units=tuple(RADIATION_KWH_M2)),
    Meaning(key="value_3", label="Radiation to add to both", units=tuple(RADIATION_KWH_M2)),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How a file is read.

    Attributes
    ----------
    kind : str
        ``epw``, ``tmy3``, ``pvgis`` or ``table``.
    columns : dict of str to (int, str)
        Column, from 0, and unit of each of `MEANINGS` that has one.
    totals : str
        One of `TOTALS`.
    utc_offset_h : float or None
        Offset of the file's clock from universal time [h]; None for the house's own standard time.
    zone_written : bool
        Whether each date says its own offset; then the file's clock is universal time.
    ends : bool
        Whether a row's time is the end of what it counts.
    typical : bool
        Whether the year is put together from months of different years.
    latitude_deg, longitude_deg : float or None
        Where it was measured, if the file says so.
    asked : tuple of (str, str)
        What is in doubt: the key of a column, ``totals``, ``utc_offset_h`` or ``decimal``, and the question.
    notes : tuple of str
        What the reader of the result should know of the file.
    """

    kind: str
    layout: Layout
    columns: Places
    totals: str = INTERVAL
    utc_offset_h: float | None = None
    zone_written: bool = False
    ends: bool = False
    typical: bool = False
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    asked: tuple[Doubt, ...] = ()
    notes: tuple[str, ...] = ()
    sample: tuple[tuple[str, ...], ...] = dataclasses.field(default=(), repr=False, compare=False)

    @property
    def unit(self) -> str:
        """Unit of the value; empty while it has no column."""
        return self.columns["value"][1] if "value" in self.columns else ""

    @property
    def quantity(self) -> str:
        """What the value is, by its unit: ``radiation`` or ``yield``."""
        return "yield" if self.unit in YIELD_KWH else "radiation"

    @property
    def doubts(self) -> tuple[str, ...]:
        """What we would ask, in sentences."""
        return tuple(text for _, text in self.asked)


def factor(unit: str) -> float:
    """Return the factor from a unit to kWh/m2 or kWh; of a power, to kW/m2 or kW."""
    return ({**RADIATION_KWH_M2, **YIELD_KWH})[unit]


def meanings_by_key() -> Mapping[str, Meaning]:
    """Return every meaning by its key."""
    return by_key(MEANINGS)
