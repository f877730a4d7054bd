"""What tilt and direction are worth on a dull day against a clear one.

One kWp of panels in each position, on the same day of the year under two skies; kWh are DC before the solar charger.
On a dull day all light comes from the whole sky, so what sees most sky gives most and the direction hardly counts; a
clear day wants the panels turned to the sun. Not modelled: a horizon, shade, light off snow.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.quantities import mean_day_of_year
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import array_kwh

TILTS_DEG = (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0)
NORTH_DEG, EAST_DEG, SOUTH_DEG = 0.0, 90.0, 180.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Facing:
    """Panels of one tilt and direction: what 1 kWp gives on a clear and on a dull day [kWh]."""

    name: str
    tilt_deg: float
    azimuth_deg: float
    clear_kwh_per_kwp: float
    dull_kwh_per_kwp: float


def directions_deg(site: Site) -> tuple[float, float, float]:
    """Return the directions compared [deg clockwise from north]: to the equator, east, to the pole.

    West is as good as east: the days of the model are alike before and after noon.
    """
    return (NORTH_DEG, EAST_DEG, SOUTH_DEG) if site.south else (SOUTH_DEG, EAST_DEG, NORTH_DEG)


def facings(site: Site, sun: Sun, dull_kc: float, month: int) -> tuple[Facing, ...]:
    """Return every tilt toward the equator, east and the pole, on the average day of a month.

    Parameters
    ----------
    sun : Sun
        Only its losses count: what the owner saw is of the panels as they stand.
    dull_kc : float
        Clearness of the dull day [-]; that of the clear one is 1.
    """
    tried = tuple(
        Array(id=f"{azimuth:g}/{tilt:g}", name="", kwp=1.0, tilt_deg=tilt, azimuth_deg=azimuth)
        for azimuth in directions_deg(site)
        for tilt in TILTS_DEG
    )
    return _given(site, Sun(arrays=tried, system_losses=sun.system_losses), dull_kc, month)


def own_facings(site: Site, sun: Sun, dull_kc: float, month: int) -> tuple[Facing, ...]:
    """Return the same of the panels as they stand, without what the owner has seen of them or a charger's limit."""
    return _given(site, Sun(arrays=sun.arrays, system_losses=sun.system_losses), dull_kc, month)


def _given(site: Site, sun: Sun, dull_kc: float, month: int) -> tuple[Facing, ...]:
    day = mean_day_of_year(month)
    kwh = array_kwh(site, sun, [1.0, dull_kc], [day, day], limited=False)
    return tuple(
        Facing(
            name=array.name,
            tilt_deg=array.tilt_in(month, south=site.south),
            azimuth_deg=array.azimuth_deg,
            clear_kwh_per_kwp=float(kwh[array.id][0]) / array.kwp,
            dull_kwh_per_kwp=float(kwh[array.id][1]) / array.kwp,
        )
        for array in sun.arrays
    )
