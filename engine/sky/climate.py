"""Six kinds of sky: how clear their months are, and the worst spells measured under them.

kc is the day's horizontal radiation over that of a clear day of the same date. Months and spells belong to
the hemisphere of the station; for a house in the other one they are moved by half a year. A house may also take the
months of its own place from a table of the world (`world`). Not modelled: differences within a climate (they are
large: type your own monthly yields where you know them).
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine.errors import InputError
from engine.paths import data_dir
from engine.sky import world
from engine.sources import Source
from engine.text import dates

KC_MAX = 1.1
"""Highest kc used: above it a clear-sky model is wrong rather than the day clearer (judgement)."""
DAYS_PER_YEAR = 365.25
MONTH_NAMES = dates.MONTH_NAMES


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """One kind of sky, by a representative place."""

    id: str
    name: str
    place: str
    latitude_deg: float
    longitude_deg: float
    monthly_kc: tuple[float, ...]
    source: Source

    def months(self, values: Sequence[float], *, south: bool) -> tuple[float, ...]:
        """Return twelve values of this climate as they stand in the hemisphere asked for."""
        turn = 6 if south != (self.latitude_deg < 0) else 0
        return tuple(values[turn:]) + tuple(values[:turn])


@dataclass(frozen=True, slots=True, kw_only=True)
class Preset:
    """One spell of dull days, in the order they came, and the days after it where they are known."""

    id: str
    title: str
    climate: str
    days: int
    kc: tuple[float, ...]
    next4: tuple[float, ...]
    mean_kc: float
    month: int
    station: str
    end: str
    kind: str
    source: str
    shape_borrowed: bool

    def month_at(self, *, south: bool) -> int:
        """Return the month the spell belongs to at a house in that hemisphere (all stations are north)."""
        return (self.month + 5) % 12 + 1 if south else self.month


@lru_cache(maxsize=1)
def _climates() -> dict[str, Climate]:
    found = {}
    for path in sorted((data_dir() / "climate").glob("*.toml")):
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        found[path.stem] = Climate(
            id=path.stem,
            source=Source(**table.pop("source")),
            monthly_kc=tuple(table.pop("monthly_kc")),
            **table,
        )
    return found


def names() -> dict[str, str]:
    """Return every climate's id and name."""
    return {key: climate.name for key, climate in _climates().items()}


def skies() -> dict[str, str]:
    """Return every sky that a site may have, by id and name: that of its own place first, then the climates."""
    return {world.WORLD: world.NAME, **names()}


def load(climate: str) -> Climate:
    """Return a climate by its id.

    Raises
    ------
    InputError
        If there is no such climate; the text lists those there are.
    """
    found = _climates().get(climate)
    if found is None:
        raise InputError("climate", f"Climate “{climate}” is not known; there is: {', '.join(_climates())}.")
    return found


@lru_cache(maxsize=1)
def presets() -> dict[str, Preset]:
    """Return every shipped spell by its id, in the order of the file."""
    listed = json.loads((data_dir() / "presets.json").read_text(encoding="utf-8"))["presets"]
    found = {}
    for entry in listed:
        found[entry["id"]] = Preset(kc=tuple(entry.pop("kc")), next4=tuple(entry.pop("next4")), **entry)
    return found


def monthly_kc(climate: str, *, south: bool) -> tuple[float, ...]:
    """Return the mean kc of the twelve months, January first."""
    here = load(climate)
    return here.months(here.monthly_kc, south=south)


def clear_fraction_from_oktas(oktas: ArrayLike) -> NDArray[np.float64]:
    """Return the share of the clear day's radiation that comes through a cloud cover.

    Parameters
    ----------
    oktas : array_like
        Eighths of the sky covered, 0 to 8.

    Notes
    -----
    0.25 is the mean of all overcast days; rain lasting all day runs lower, which eighths cannot tell.

    References
    ----------
    F. Kasten and G. Czeplak, Solar Energy 24 (1980) 177-189, doi 10.1016/0038-092X(80)90391-6.

    Examples
    --------
    >>> float(clear_fraction_from_oktas(8))
    0.25
    """
    return np.asarray(1.0 - 0.75 * (np.asarray(oktas, dtype=np.float64) / 8.0) ** 3.4)
