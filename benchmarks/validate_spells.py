"""By hand: are the dull spells of made years those of real ones, where only the twelve monthly means are known?

Usage: python -m benchmarks.validate_spells FOLDER [--csv]
The folder holds the daily series named in `STATIONS`: one row a year (first column the year), one column a day of
the year, in 10 Wh/m2; empty is missing. Prints Markdown tables: the worst N days of a typical year, 1 year in 5 and
1 year in 10, measured and made, by kc and by the kWh of 1 kWp, and how far apart they are. With --csv it prints the
measured ones as they stand in data/climate/spell_quantiles.csv.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from engine.sky.climate import KC_MAX
from engine.sky.made import made_years
from engine.sky.series import KcSeries, dates_of, days_of_year
from engine.sky.site import Array, Site, Sun
from engine.sky.spells import RISK_YEARS, WINDOW_DAYS, SpellTable, spell_table, yield_spells
from engine.sky.sun import clear_day_kwh_m2, month_of_day
from engine.sky.world import WORLD

JUDGED_DAYS = (3, 7, 14)
MANY_YEARS = 600
TILT_DEG = 35.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A series: file, place, the climate it stands for, and years left out because the instrument read low."""

    file: str
    name: str
    latitude_deg: float
    longitude_deg: float
    time_zone: str
    climate: str
    without: tuple[int, ...] = ()

    @property
    def site(self) -> Site:
        """The place as a household's."""
        return Site(
            latitude_deg=self.latitude_deg,
            longitude_deg=self.longitude_deg,
            time_zone=self.time_zone,
            climate=WORLD,
        )


STATIONS = (
    Station(
        file="nl_hupsel.csv",
        name="Hupsel, Netherlands",
        latitude_deg=52.07,
        longitude_deg=6.66,
        time_zone="Europe/Amsterdam",
        climate="temperate_maritime",
    ),
    Station(
        file="ie_dunsany.csv",
        name="Dunsany, Ireland",
        latitude_deg=53.52,
        longitude_deg=-6.66,
        time_zone="Europe/Dublin",
        climate="oceanic_west",
    ),
    Station(
        file="ie_valentia.csv",
        name="Valentia, Ireland",
        latitude_deg=51.94,
        longitude_deg=-10.24,
        time_zone="Europe/Dublin",
        climate="oceanic_west",
        without=(2012,),
    ),
)


def measured(folder: Path, station: Station) -> KcSeries:
    """Read a series as kc, day after day; NaN where missing."""
    rows = list(csv.reader((folder / station.file).read_text(encoding="utf-8").splitlines()))
    years = [_year(int(row[0]), row[1:], station) for row in rows]
    first = date(int(rows[0][0]), 1, 1)
    kwh_m2 = np.concatenate(years)
    clear = clear_day_kwh_m2(station.site, np.arange(1, 367))
    kc = kwh_m2 / clear[days_of_year(dates_of(first, kwh_m2.size)) - 1]
    return KcSeries(first=first, kc=np.clip(kc, 0.0, KC_MAX), basis="measured", title=station.name)


def _year(year: int, cells: list[str], station: Station) -> NDArray[np.float64]:
    days = (date(year + 1, 1, 1) - date(year, 1, 1)).days
    found = [float(cell) / 100.0 if cell else np.nan for cell in (cells + [""] * days)[:days]]
    return np.full(days, np.nan) if year in station.without else np.array(found)


def monthly_means(series: KcSeries) -> tuple[float, ...]:
    """Return the mean kc of the twelve months of a series."""
    months = np.array(month_of_day(days_of_year(dates_of(series.first, series.kc.size))))
    return tuple(float(np.nanmean(series.kc[months == month])) for month in range(1, 13))


def panels(means: tuple[float, ...] | None) -> Sun:
    """Return 1 kWp facing south under the given months, or under those of the world table."""
    roof = Array(id="a", name="A", kwp=1.0, tilt_deg=TILT_DEG, azimuth_deg=180.0)
    return Sun(arrays=(roof,), monthly_kc=means)


def skies(station: Station, real: KcSeries) -> dict[str, KcSeries]:
    """Return the series to compare: measured, made from its means, many such years, made from the world table."""
    site, sun = station.site, panels(monthly_means(real))
    return {
        "measured": real,
        "made": made_years(site, sun),
        f"made, {MANY_YEARS} years": made_years(site, sun, MANY_YEARS),
        "made, means of the world table": made_years(site, panels(None)),
    }


def means_of(table: SpellTable) -> NDArray[np.float64]:
    """Return the mean of each spell, by window and risk."""
    return np.array([spell.mean for spell in table.spells]).reshape(len(WINDOW_DAYS), len(RISK_YEARS))


def show(name: str, years: int, rows: NDArray[np.float64]) -> None:
    """Print one line of a table, typical year / 1 in 5 / 1 in 10 for each window."""
    cells = (" / ".join(f"{value:.2f}" for value in row) for row in rows)
    print(f"| {name} | {years} | {' | '.join(cells)} |")


def judge(title: str, real: list[NDArray[np.float64]], made: list[NDArray[np.float64]]) -> None:
    """Print how far the made spells lie from the real ones over stations and risks."""
    for days in JUDGED_DAYS:
        theirs, ours = (np.array(one)[:, WINDOW_DAYS.index(days), :] for one in (real, made))
        off = ours - theirs
        ratio = ours.sum() / theirs.sum()
        print(f"| {title} | {days} | {np.sqrt((off**2).mean()):.3f} | {off.mean():+.3f} | {ratio:.2f} |")


def print_csv(folder: Path) -> None:
    """Print the measured spells of the stations, a line for each risk."""
    for station in STATIONS:
        table = spell_table(measured(folder, station), station.latitude_deg)
        for risk, column in zip(RISK_YEARS, means_of(table).T, strict=True):
            values = ",".join(f"{value:.3f}" for value in column)
            print(f'{station.climate},"{station.name}",{table.years},{risk},{values},measured')


def main() -> None:
    """Print the tables."""
    folder = Path(sys.argv[1])
    if "--csv" in sys.argv:
        print_csv(folder)
        return
    compare(folder)


def compare(folder: Path) -> None:
    """Print measured and made spells beside each other, and how far apart they are."""
    kept: dict[tuple[str, str], list[NDArray[np.float64]]] = {}
    print(f"| series | years | {' | '.join(f'{days} d' for days in WINDOW_DAYS)} |")
    for station in STATIONS:
        for kind, series in skies(station, measured(folder, station)).items():
            by_kc = spell_table(series, station.latitude_deg)
            by_kwh = yield_spells(station.site, panels(None), series)
            for table in (by_kc, by_kwh):
                kept.setdefault((table.quantity, kind), []).append(means_of(table))
                show(f"{station.name}, {kind}, {table.quantity}", table.years, means_of(table))
    print("| made against measured | N days | rms | mean | ratio |")
    for (quantity, kind), made in kept.items():
        if kind != "measured":
            judge(f"{quantity}, {kind}", kept[quantity, "measured"], made)


if __name__ == "__main__":
    main()
