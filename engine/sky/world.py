"""What maps know of any place on earth: how clear its months are, how clean and how thin its air is.

Kt is horizontal radiation over that above the air, turbidity is Linke's, altitude is metres. The maps are read when
they are first asked for. Kt is that of the nearest cell with a value, 3 x 3 degrees and five years of a weather model:
a rough estimate (`ROUGH`); far out at sea it is the mean of all land at that latitude, a guess. Turbidity is the mean
of a quarter of a degree, altitude that of its lowest ground, because houses stand in valleys. Not modelled: a house
high above that (100 m are at most 1 % of a clear day), fog in valleys, smoke, hills on the horizon.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from engine.paths import data_dir
from engine.sources import Source

Floats = NDArray[np.float64]

WORLD = "world"
NAME = "For this place, by a world table"
UNCERTAIN_SHARE = 0.3
"""How far a month's mean of this table may be from the truth (spread of its worst weeks at ten stations; measured)."""
ROUGH = f"a month ±{UNCERTAIN_SHARE * 100:.0f} %, the worst week half to 1.6 times the real one"
"""How far this table may be out, in words; weeks: made ones against three stations (`benchmarks.validate_spells`)."""
KC_SOURCE = Source(
    kind="simulated from published parameters",
    text="mean radiation of MERRA-2 2011-2015 (Gelaro et al. 2017) in the nearest cell of 3 × 3 degrees, divided by "
    f"1.15 as measured against ten stations: a rough estimate, {ROUGH}",
)
CLEAR_SOURCE = Source(
    kind="published",
    text="Ineichen and Perez 2002, with the monthly turbidity map of SoDa and the altitude of the place, as they "
    "come with pvlib, to a quarter of a degree",
)
EARTH_KM = 6371.0
FAR_KM = 400.0
"""More than a cell away the sky is another one (judgement)."""
_CELL_DEG = 0.25
_STEP_M = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """The nearest cell of the table of months: its middle [deg], how far that is [km], and the mean Kt taken [-].

    Beyond `FAR_KM` the Kt are the means of all cells of that latitude.
    """

    latitude_deg: float
    longitude_deg: float
    apart_km: float
    kt: tuple[float, ...]

    @property
    def far(self) -> bool:
        """Whether the place lies too far from any cell with values to take one for its own."""
        return self.apart_km > FAR_KM


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The air above a place: Linke turbidity of the twelve months [-] and altitude [m]."""

    turbidity: tuple[float, ...]
    altitude_m: float


@lru_cache(maxsize=1)
def _months() -> Floats:
    return np.loadtxt(data_dir() / "climate" / "world.csv", delimiter=",", comments=("#", "latitude"))


@lru_cache(maxsize=1)
def _maps() -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    with np.load(data_dir() / "climate" / "clear_air.npz") as maps:
        return maps["turbidity_tenths"], maps["altitude_25_m"]


def apart_km(latitude_deg: float, longitude_deg: float, latitudes_deg: Floats, longitudes_deg: Floats) -> Floats:
    """Return the great-circle distances [km] from one place to others (n,), by the haversine formula."""
    here, there = np.radians(latitude_deg), np.radians(latitudes_deg)
    half = np.sin((there - here) / 2.0) ** 2
    half += np.cos(here) * np.cos(there) * np.sin(np.radians(longitudes_deg - longitude_deg) / 2.0) ** 2
    return np.asarray(2.0 * EARTH_KM * np.arcsin(np.minimum(1.0, np.sqrt(half))))


@lru_cache(maxsize=64)
def nearest(latitude_deg: float, longitude_deg: float) -> Cell:
    """Return the nearest cell that has values.

    Examples
    --------
    >>> cell = nearest(-33.9, 151.2)
    >>> cell.latitude_deg, cell.longitude_deg, round(cell.apart_km)
    (-33.0, 150.0, 150)
    """
    table = _months()
    apart = apart_km(latitude_deg, longitude_deg, table[:, 0], table[:, 1])
    row = int(np.argmin(apart))
    far = apart[row] > FAR_KM
    nearest_row_deg = table[np.argmin(np.abs(table[:, 0] - latitude_deg)), 0]
    kt = table[table[:, 0] == nearest_row_deg, 2:].mean(axis=0) if far else table[row, 2:]
    return Cell(
        latitude_deg=float(table[row, 0]),
        longitude_deg=float(table[row, 1]),
        apart_km=float(apart[row]),
        kt=tuple(kt.tolist()),
    )


@lru_cache(maxsize=64)
def air(latitude_deg: float, longitude_deg: float) -> Air:
    """Return turbidity and altitude of the cell of a quarter of a degree that a place lies in.

    Examples
    --------
    >>> air(39.74, -104.99).altitude_m
    1625.0
    """
    tenths, steps = _maps()
    row = min(int((90.0 - latitude_deg) / _CELL_DEG), tenths.shape[1] - 1)
    column = int((longitude_deg + 180.0) / _CELL_DEG) % tenths.shape[2]
    return Air(
        turbidity=tuple((tenths[:, row, column] / 10.0).tolist()),
        altitude_m=float(steps[row, column]) * _STEP_M,
    )
