"""By hand: is a month's average day, made of dull and bright days, what a station's real days give?

Usage: python -m benchmarks.validate_average_day SERIES.csv LATITUDE LONGITUDE TIME_ZONE
The series holds one row a year (first column the year), one column a day of the year, in 10 Wh/m2; empty is missing.
Prints, by tilt and month, the ratio of both estimates to the mean over every day of the series.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from engine.quantities import mean_day_of_year
from engine.sky.averages import average_day_kwh
from engine.sky.site import Array, Site, Sun
from engine.sky.sun import clear_day_kwh_m2, month_of_day, yield_kwh


def daily_kc(path: Path, site: Site) -> NDArray[np.float64]:
    """Read a series as kc, (years, 366); NaN where missing."""
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    padded = [(row[1:367] + [""] * 366)[:366] for row in rows]
    kwh_m2 = np.array([[float(cell) / 100.0 if cell else np.nan for cell in row] for row in padded])
    return np.clip(kwh_m2 / clear_day_kwh_m2(site, np.arange(1, 367)), 0.0, 1.1)


def main() -> None:
    """Print one line for each tilt and month."""
    path, latitude, longitude, zone = sys.argv[1:5]
    site = Site(latitude_deg=float(latitude), longitude_deg=float(longitude), time_zone=zone)
    kc, days = daily_kc(Path(path), site), np.arange(1, 367)
    months = np.array(month_of_day(days))
    print("tilt month kwh_per_kwp mix/real alike/real")
    for tilt_deg in (0.0, 35.0, 75.0):
        for month in range(1, 13):
            mine = kc[:, months == month]
            there = np.isfinite(mine)
            dates = np.broadcast_to(days[months == month], mine.shape)[there]
            mean = tuple(float(np.mean(mine[there])) for _ in range(12))
            panel = Array(id="a", name="A", kwp=1.0, tilt_deg=tilt_deg, azimuth_deg=180.0)
            sun = Sun(arrays=(panel,), monthly_kc=mean)
            real = float(yield_kwh(site, sun, mine[there], dates).mean())
            alike = float(yield_kwh(site, sun, [mean[0]], [mean_day_of_year(month)])[0])
            mix = average_day_kwh(site, sun, month)
            print(f"{tilt_deg:4.0f} {month:5d} {real:11.2f} {mix / real:8.3f} {alike / real:10.3f}")


if __name__ == "__main__":
    main()
