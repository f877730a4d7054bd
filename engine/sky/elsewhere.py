"""How dull the worst days are at stations that measured for years: the quantiles that the made years are held against.

kc is a day's radiation on the level over that of a clear day. Not modelled: your own place; these are others'.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache

from engine.paths import data_dir
from engine.sky.spells import WINDOW_DAYS


@dataclass(frozen=True, slots=True, kw_only=True)
class StationSpells:
    """Mean kc of the worst N days of 1 year in `risk_years` at a station, by N as in `WINDOW_DAYS`."""

    climate: str
    station: str
    years: int
    risk_years: int
    kc: tuple[float, ...]
    kind: str


@lru_cache(maxsize=1)
def station_spells() -> tuple[StationSpells, ...]:
    """Return every station's spells, in the order of ``data/climate/spell_quantiles.csv``."""
    lines = (data_dir() / "climate" / "spell_quantiles.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return tuple(
        StationSpells(
            climate=row["climate"],
            station=row["station"],
            years=int(row["years"]),
            risk_years=int(row["risk_years"]),
            kc=tuple(float(row[f"days_{days}"]) for days in WINDOW_DAYS),
            kind=row["kind"],
        )
        for row in rows
    )
