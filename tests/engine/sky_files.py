"""Made-up skies with a known sum for each day, and the files that carry them: EPW, TMY3, PVGIS and tables.

The light of a day is a half sine from 6:00 to 18:00 of the house's standard time, as strong as the day's number says;
hours are whole W/m2, so that no file rounds them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Stamps = NDArray[np.datetime64]
Lines = list[str]

EPW_HEAD = (
    "LOCATION,Made up,-,NOWHERE,{source},000000,52.00,5.00,1.0,3.0",
    "DESIGN CONDITIONS,0",
    "TYPICAL/EXTREME PERIODS,0",
    "GROUND TEMPERATURES,0",
    "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
    "COMMENTS 1,made for a test",
    "COMMENTS 2,",
    "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
)
PVGIS_HEAD = ("Latitude (decimal degrees):\t45.000", "Longitude (decimal degrees):\t8.000", "Elevation (m):\t250")


def hours(days: int, first: date = date(2021, 1, 1), seed: int = 7) -> tuple[Stamps, Floats]:
    """Return the start of each hour and its mean radiation [W/m2], whole numbers."""
    rng = np.random.default_rng(seed)
    strength = rng.uniform(50.0, 800.0, days)
    middle = np.arange(24) + 0.5
    shape = np.where((middle > 6) & (middle < 18), np.sin(np.pi * (middle - 6.0) / 12.0), 0.0)
    stamps = np.datetime64(first, "h") + np.arange(24 * days)
    return stamps, np.round(np.outer(strength, shape).ravel())


def day_sums(w_m2: Floats) -> Floats:
    """Return the radiation of each day [kWh/m2]."""
    return w_m2.reshape(-1, 24).sum(axis=1) / 1000.0


def other_years(stamps: Stamps, years: Sequence[int]) -> list[tuple[int, int, int, int]]:
    """Return year, month, day and hour of each stamp, each month's year replaced by the one given for it."""
    parts = [stamp.astype(object) for stamp in stamps.astype("datetime64[s]")]
    return [(years[one.month - 1], one.month, one.day, one.hour) for one in parts]


def epw(times: Iterable[tuple[int, int, int, int]], w_m2: Iterable[object], source: str = "measured") -> bytes:
    """Return an EPW: hours 1 to 24, global horizontal radiation in the 14th column."""
    rows = [
        f"{y},{m},{d},{h + 1},60,?9,5.0,1.0,80,100000,0,0,300,{value},0,0" + ",0" * 19
        for (y, m, d, h), value in zip(times, w_m2, strict=True)
    ]
    return "\n".join((*[line.format(source=source) for line in EPW_HEAD], *rows, "")).encode()


def tmy3(times: Iterable[tuple[int, int, int, int]], w_m2: Iterable[object]) -> bytes:
    """Return a TMY3: hours that end at 1:00 to 24:00."""
    head = '000000,"MADE UP",XX,1.0,52.000,5.000,3\nDate (MM/DD/YYYY),Time (HH:MM),ETR (W/m^2),GHI (W/m^2),GHI source'
    rows = [f"{m:02}/{d:02}/{y},{h + 1:02}:00,0,{value},1" for (y, m, d, h), value in zip(times, w_m2, strict=True)]
    return "\n".join((head, *rows, "")).encode()


def pvgis(stamps: Stamps, parts: dict[str, Iterable[object]], above: Sequence[str] = (), minute: int = 10) -> bytes:
    """Return a PVGIS series: universal time, a footer that explains its columns."""
    when = [f"{str(s)[:10].replace('-', '')}:{str(s)[11:13]}{minute:02}" for s in stamps.astype("datetime64[h]")]
    rows = [",".join(map(str, row)) for row in zip(when, *parts.values(), strict=True)]
    foot = ("", "G(h): Global irradiance on the horizontal plane (W/m2)", "", "PVGIS (c) European Union, 2001-2025")
    return "\n".join((*PVGIS_HEAD, *above, ",".join(("time", *parts)), *rows, *foot, "")).encode()


def table(header: str, first: Iterable[object], *columns: Iterable[object], delimiter: str = ";") -> bytes:
    """Return rows under a header."""
    rows = [delimiter.join(map(str, row)) for row in zip(first, *columns, strict=True)]
    return "\n".join((header, *rows, "")).encode()


def days_from(first: date, days: int) -> list[str]:
    """Return dates in a row as 2021-01-31."""
    return [str(day) for day in np.datetime64(first, "D") + np.arange(days)]
