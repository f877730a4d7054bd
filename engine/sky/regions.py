"""A short list of regions to start from, for those who do not know their latitude.

A region is a point on the map and a clock; it fills a form and is kept nowhere. Angles are degrees. Not modelled:
how far the house is from the middle of its region (a degree of latitude is 111 km).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache

from engine.paths import data_dir


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """The middle of a region and its clock."""

    name: str
    latitude_deg: float
    longitude_deg: float
    time_zone: str


@lru_cache(maxsize=1)
def regions() -> dict[str, tuple[Region, ...]]:
    """Return the regions of each part of the world, in the order of the file."""
    listed = tomllib.loads((data_dir() / "regions.toml").read_text(encoding="utf-8"))
    return {
        part: tuple(
            Region(name=name, latitude_deg=latitude, longitude_deg=longitude, time_zone=zone)
            for name, (latitude, longitude, zone) in places.items()
        )
        for part, places in listed.items()
    }


def region(name: str) -> Region | None:
    """Return a region by its name, or None.

    Examples
    --------
    >>> region("Tasmania").time_zone
    'Australia/Hobart'
    """
    return next((one for part in regions().values() for one in part if one.name == name), None)
