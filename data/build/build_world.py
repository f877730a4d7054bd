"""Build data/climate/world.csv and data/climate/clear_air.npz: the sky of any place, as far as maps know it.

Needs the extra `build` (gsee-climate-data and pvlib):

    python data/build/build_world.py

`world.csv` has the mean clearness of each month on a grid of 3 x 3 degrees: MERRA-2's mean radiation over that above
the air, divided by 1.15, because against ten measured stations it is 1.06 to 1.24 times too bright. `clear_air.npz`
has what a clear day hangs on, on a grid of a quarter of a degree from 90 N 180 W: Linke turbidity by month in tenths
(12, 720, 1440), and altitude in steps of 25 m (720, 1440): that of the cell's lowest pixel of land (9 km), because
houses stand in valleys; sea is 0. At sea, out of sight of land, and beyond 78 N and 60 S turbidity is the mean of 3 x 3
degrees: nearly nobody lives there, and it packs to a third.
"""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path

import gsee_climate_data
import h5py
import numpy as np
import pvlib

from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.position import extraterrestrial_kwh_m2, orbit
from engine.sky.sun import month_of_day

CLIMATE = Path(__file__).resolve().parents[1] / "climate"
TOO_BRIGHT = 1.15
"""MERRA-2 over measured: KNMI 1.24, Met Éireann 1.17-1.24, Michigan 1.14, North Dakota 1.09, Florida 1.08, Hyderabad
1.09, Los Baños 1.06; their mean is 1.16. Measured by us in November 2026."""
TOO_DARK_KWH_M2 = 0.3
"""Months whose sky above the air gives less a day have no clearness worth the name; the months beside stand in."""
DAYS = np.arange(1, 366)
MONTHS = np.array(month_of_day(DAYS))
FINE = 12
"""Pixels of pvlib's maps in a degree."""
CELL = 3
"""Pixels of pvlib's maps in a cell of a quarter of a degree."""
SEA_BLOCK = 12
"""Cells of a quarter of a degree in 3 degrees."""
LIVED_IN_ROWS = slice(48, 600)
"""Rows of such cells between 78 N and 60 S."""
NO_ALTITUDE = 255
"""What pvlib's map of altitudes holds at sea; else steps of 28 m from -450 m."""


def above_air_kwh_m2(latitude_deg: float) -> np.ndarray:
    """Return the mean daily radiation above the air of each month [kWh/m2], (12,)."""
    sun = orbit(DAYS + 0.5)
    daily = extraterrestrial_kwh_m2(latitude_deg, np.degrees(sun.declination_rad), sun.eccentricity)
    return np.bincount(MONTHS, weights=daily, minlength=13)[1:] / np.bincount(MONTHS, minlength=13)[1:]


def without_gaps(months: np.ndarray) -> np.ndarray:
    """Return twelve values with the unknown ones between the months beside them."""
    known = np.flatnonzero(np.isfinite(months))
    return np.interp(np.arange(12), known, months[known], period=12)


def clearness() -> list[str]:
    """Return a line for each cell: latitude, longitude, twelve mean Kt."""
    maps = gsee_climate_data.load()
    shares, watts = np.nan_to_num(maps["pk"]), np.nan_to_num(maps["xk"])
    total = shares.sum(axis=-1)
    mean_kwh = (shares * watts).sum(axis=-1) / np.where(total > 0, total, np.nan) * HOURS_PER_DAY / WH_PER_KWH
    lines = []
    for row, latitude in enumerate(maps["lat"]):
        above = above_air_kwh_m2(float(latitude))
        above[above < TOO_DARK_KWH_M2] = np.nan
        for column in np.flatnonzero((total[row] > 0).any(axis=-1)):
            kt = without_gaps(mean_kwh[row, column] / above / TOO_BRIGHT)
            lines.append(",".join([f"{latitude:.0f},{maps['lon'][column]:.0f}", *(f"{k:.2f}" for k in kt)]))
    return lines


def blocks(pixels: np.ndarray, size: int) -> np.ndarray:
    """Return the mean of each square of `size` x `size` along the first two axes."""
    rows, columns, *rest = pixels.shape
    return pixels.reshape(rows // size, size, columns // size, size, *rest).mean(axis=(1, 3), dtype=np.float32)


def pvlib_map(file: str, name: str) -> np.ndarray:
    """Return one of the maps that come with pvlib, a twelfth of a degree from 90 N 180 W."""
    with h5py.File(Path(pvlib.__file__).parent / "data" / file) as found:
        return found[name][:]


def lived_near(land: np.ndarray) -> np.ndarray:
    """Return the cells between 78 N and 60 S that have land in them or in a cell beside them."""
    beside = land | np.roll(land, 1, axis=1) | np.roll(land, -1, axis=1)
    found = np.zeros_like(land)
    found[LIVED_IN_ROWS] = (beside | np.roll(beside, 1, axis=0) | np.roll(beside, -1, axis=0))[LIVED_IN_ROWS]
    return found


def clear_air() -> dict[str, np.ndarray]:
    """Return turbidity in tenths and altitude in steps of 25 m."""
    height = pvlib_map("Altitude.h5", "Altitude")
    land = height != NO_ALTITUDE
    turbidity = blocks(pvlib_map("LinkeTurbidities.h5", "LinkeTurbidity"), CELL) / 2.0
    at_sea = blocks(turbidity, SEA_BLOCK).repeat(SEA_BLOCK, axis=0).repeat(SEA_BLOCK, axis=1)
    kept = lived_near(blocks(land, CELL) > 0)
    metres = np.where(land, height * 28.0 - 450.0, np.inf).reshape(kept.shape[0], CELL, kept.shape[1], CELL)
    lowest = np.where(blocks(land, CELL) > 0, metres.min(axis=(1, 3)), 0.0)
    return {
        "turbidity_tenths": np.round(np.where(kept[..., None], turbidity, at_sea)).astype(np.uint8).transpose(2, 0, 1),
        "altitude_25_m": np.round(np.clip(lowest, 0.0, None) / 25.0).astype(np.uint8),
    }


def main() -> None:
    """Write both files."""
    package = f"gsee-climate-data {version('gsee-climate-data')}"
    head = (
        "# Mean Kt of each month, January first: radiation on the level over that above the air, in 3 x 3 degrees.",
        f"# MERRA-2 2011-2015 (Gelaro et al. 2017) by {package}, divided by {TOO_BRIGHT:g}; see SOURCES.md, NOTICE.md.",
        "# Written by data/build/build_world.py.",
        ",".join(["latitude_deg", "longitude_deg", *(f"kt_{month}" for month in range(1, 13))]),
    )
    (CLIMATE / "world.csv").write_text("\n".join((*head, *clearness())) + "\n", encoding="utf-8")
    np.savez_compressed(CLIMATE / "clear_air.npz", **clear_air())


if __name__ == "__main__":
    main()
