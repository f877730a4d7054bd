"""Made-up files of a house's own meter, five minutes a row."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

BEGIN = datetime(2024, 1, 15)
STEP = timedelta(minutes=5)
A_DAY = 288


def sun_w(rows: int) -> np.ndarray:
    """What the panels give: the same each day, 3 kW at noon."""
    hour = np.arange(rows) / 12.0 % 24.0
    return np.maximum(0.0, 3000.0 * np.sin(np.pi * (hour - 6.0) / 12.0))


def total_kwh(rows: int, watts: float = 500.0, first: float = 100.0) -> np.ndarray:
    """A counter of the load, which is the same all the time."""
    return first + watts / 12e3 * np.arange(rows)


def meter_csv(days: float, *, begin: datetime = BEGIN, reset: int = 0, sep: str = ",", first: int = 0) -> str:
    """A file with power of the panels, a counter of the load and volts; a reset sets the counter back at that row.

    Rows are those from `first` on of the ones that begin at `begin`.
    """
    rows = round(days * A_DAY)
    counter = total_kwh(first + rows)
    if reset:
        counter[reset:] -= counter[reset]
    columns = (sun_w(first + rows), counter, np.full(first + rows, 51.25))
    times = [begin + STEP * n for n in range(first, first + rows)]
    cells = [[f"{value:.6f}" for value in column[first:]] for column in columns]
    lines = [f"{time:%Y-%m-%d %H:%M}" for time in times]
    if sep == ";":
        cells = [[cell.replace(".", ",") for cell in column] for column in cells]
        lines = [f"{time:%d.%m.%Y %H:%M}" for time in times]
    return table(("Time", "PV [W]", "Load total [kWh]", "Battery [V]"), (lines, *cells), sep)


def table(header: Sequence[str], columns: Sequence[Sequence[str]], sep: str = ",") -> str:
    """A delimited text of some columns."""
    return "\n".join(sep.join(row) for row in (header, *zip(*columns, strict=True))) + "\n"


def on_the_wall(begin: datetime, rows: int, zone: str) -> list[str]:
    """Times of rows from a moment of universal time on, as a clock on the wall shows them."""
    there = ZoneInfo(zone)
    return [f"{(begin + STEP * n).astimezone(there):%Y-%m-%d %H:%M}" for n in range(rows)]
