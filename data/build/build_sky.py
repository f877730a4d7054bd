"""Build data/climate/*.toml, data/presets.json and the station totals of the tests.

Needs the extra `build` (pvlib) and, given on the command line because they are not part of Greyspell, the
open daily series of three stations and the list of observed windows:

    python data/build/build_sky.py --hupsel CSV --dunsany CSV --valentia CSV --windows JSON

A series has one row a year: the year, then daily horizontal radiation in units of 10 Wh/m2, empty where
missing. The windows hold, by climate and by name such as 7d_1in5, the station, the end date, the mean kc and,
where the licence is open, the kc of the days (two decimals, against a clear-sky model of their own).
"""

from __future__ import annotations

import argparse
import csv
import datetime
import json
from pathlib import Path

import numpy as np
import pvlib

from engine.quantities import WH_PER_KWH, mean_day_of_year
from engine.sky.climate import KC_MAX
from engine.sky.site import Site
from engine.sky.sun import clear_day_kwh_m2, month_of_day

ROOT = Path(__file__).resolve().parents[2]
DAYS = np.arange(1, 366)
MIDDLES = [mean_day_of_year(month) for month in range(1, 13)]

PLACES = {
    "temperate_maritime": ("Temperate maritime (North Sea coast)", "Hupsel, Netherlands", 52.07, 6.66),
    "oceanic_west": ("Oceanic west coast (Ireland)", "Dunsany, Ireland", 53.52, -6.66),
    "continental": ("Continental (Great Lakes, northern plains)", "Kellogg, Michigan", 42.4, -85.4),
    "subtropical": ("Humid subtropical (south-eastern USA)", "Greensboro, North Carolina", 36.1, -79.95),
    "monsoon": ("Monsoon (inland India)", "Hyderabad, India", 17.5, 78.3),
    "humid_tropics": ("Humid tropics (Philippines)", "Los Baños, Philippines", 14.2, 121.25),
}
STATIONS = {
    "Hupsel NL": ("Hupsel, Netherlands", 52.07, 6.66, "KNMI, CC0 1.0"),
    "Lelystad NL": ("Lelystad, Netherlands", 52.46, 5.52, "KNMI, CC0 1.0"),
    "Dunsany IE": ("Dunsany, Ireland", 53.52, -6.66, "Met Éireann, CC BY 4.0"),
    "Valentia IE": ("Valentia, Ireland", 51.94, -10.24, "Met Éireann, CC BY 4.0"),
    "Malin Head IE": ("Malin Head, Ireland", 55.37, -7.34, "Met Éireann, CC BY 4.0"),
    "Kellogg MI US*": ("Kellogg, Michigan", 42.4, -85.4, ""),
    "Carrington ND US*": ("Carrington, North Dakota", 47.5, -99.1, ""),
    "Gainesville US*": ("Gainesville, Florida", 29.65, -82.35, ""),
    "Hyderabad IN*": ("Hyderabad, India", 17.5, 78.3, ""),
    "Los Banos PH*": ("Los Baños, Philippines", 14.2, 121.25, ""),
}
LONGITUDE = {name: longitude for name, _, longitude, _ in STATIONS.values()}
SHORT = {
    "temperate_maritime": "maritime",
    "oceanic_west": "oceanic",
    "continental": "continental",
    "subtropical": "subtropical",
    "monsoon": "monsoon",
    "humid_tropics": "tropics",
}
LENGTHS = {3: "three days", 7: "week", 14: "two weeks"}
RISKS = {"1in1": "a typical year", "1in5": "1 year in 5", "1in10": "1 year in 10"}

TYPICAL_KWH_M2 = {
    "continental": (1.7, 2.6, 3.6, 4.7, 5.8, 6.4, 6.3, 5.4, 4.1, 2.8, 1.7, 1.4),
    "monsoon": (5.0, 5.8, 6.4, 6.7, 6.6, 5.4, 4.7, 4.6, 5.0, 5.0, 4.8, 4.6),
    "humid_tropics": (4.1, 5.0, 5.9, 6.4, 5.8, 5.1, 4.7, 4.5, 4.7, 4.4, 4.0, 3.7),
}
"""Daily horizontal radiation by month where no open series was at hand: typical, from memory, +-30 %."""

Series = dict[datetime.date, float]


def by_month(values: np.ndarray, months: np.ndarray) -> np.ndarray:
    """Return the sum of `values` in each month, (12,)."""
    return np.bincount(months, weights=values, minlength=13)[1:]


def clear_day(latitude: float, longitude: float, days: np.ndarray) -> np.ndarray:
    """Return the clear day the engine uses [kWh/m2] at a place, in UTC days as the stations keep them."""
    site = Site(latitude_deg=latitude, longitude_deg=longitude, time_zone="UTC")
    return clear_day_kwh_m2(site, days)


def read_series(path: Path) -> Series:
    """Read one station's file as kWh/m2 by date."""
    found: Series = {}
    with path.open(encoding="utf-8") as text:
        for year, *cells in csv.reader(text):
            first = datetime.date(int(year), 1, 1)
            for offset, cell in enumerate(cells):
                if cell.strip():
                    found[first + datetime.timedelta(offset)] = float(cell) / 100.0
    return found


def ordinal(dates: list[datetime.date]) -> np.ndarray:
    """Return the day of the year of each date."""
    return np.array([date.timetuple().tm_yday for date in dates])


def mean_kc(series: list[tuple[str, Series]]) -> list[float]:
    """Return the mean kc of each month: sum of measured over sum of clear days, the stations' mean."""
    shares = []
    for station, days in series:
        _, latitude, longitude, _ = STATIONS[station]
        dates = list(days)
        months = np.array([date.month for date in dates])
        clear = clear_day(latitude, longitude, ordinal(dates))
        shares.append(by_month(np.array(list(days.values())), months) / by_month(clear, months))
    return np.round(np.mean(shares, axis=0), 3).tolist()


def typical_year_kc() -> list[float]:
    """Return the monthly kc of the typical year 723170 (Greensboro) that pvlib carries."""
    table, place = pvlib.iotools.read_tmy3(
        Path(pvlib.__file__).parent / "data" / "723170TYA.CSV", coerce_year=2021, map_variables=True
    )
    measured = table["ghi"].to_numpy().reshape(365, 24).sum(axis=1) / WH_PER_KWH
    clear = clear_day(place["latitude"], place["longitude"], DAYS)
    months = np.array(month_of_day(DAYS))
    return np.round(by_month(measured, months) / by_month(clear, months), 3).tolist()


def remembered_kc(climate: str) -> list[float]:
    """Return kc of the remembered monthly radiation, to 0.05 because it is no better known."""
    _, _, latitude, longitude = PLACES[climate]
    clear = clear_day(latitude, longitude, np.array(MIDDLES))
    return (np.round(np.array(TYPICAL_KWH_M2[climate]) / clear * 20.0) / 20.0).round(2).tolist()


def kc_source(climate: str, series: dict[str, Series]) -> tuple[str, str]:
    """Return kind and words of a climate's monthly kc."""
    if climate == "temperate_maritime":
        return (
            "measured",
            f"daily radiation at Hupsel {span(series['Hupsel NL'])}; source: KNMI, CC0 1.0; derived by us",
        )
    if climate == "oceanic_west":
        return (
            "measured",
            f"mean of Dunsany {span(series['Dunsany IE'])} and Valentia {span(series['Valentia IE'])} "
            "without 2012; Copyright Met Éireann, source met.ie, CC BY 4.0; derived by us",
        )
    if climate == "subtropical":
        return (
            "published",
            "typical year TMY3 723170 Greensboro (NREL for the US Department of Energy), from pvlib",
        )
    return (
        "typical, from memory",
        "no open series at hand; +-30 %: type your own monthly values if you know them",
    )


def span(series: Series) -> str:
    """Return the first and last year of a series."""
    return f"{min(series).year}-{max(series).year}"


def write_climate(climate: str, kc: list[float], source: tuple[str, str]) -> None:
    """Write one climate's TOML."""
    name, place, latitude, longitude = PLACES[climate]
    text = f'''# Made by data/build/build_sky.py
name = "{name}"
place = "{place}"
latitude_deg = {latitude}
longitude_deg = {longitude}
monthly_kc = {kc}

[source]
kind = "{source[0]}"
text = "{source[1]}"
'''
    (ROOT / "data" / "climate" / f"{climate}.toml").write_text(text, encoding="utf-8")


def observed_days(window: dict[str, object], extra: int) -> list[datetime.date]:
    """Return the dates of a window and of the `extra` days after it."""
    last = datetime.date.fromisoformat(str(window["end"]))
    length = len(window["kc"])  # type: ignore[arg-type]
    return [last + datetime.timedelta(offset) for offset in range(1 - length, 1 + extra)]


def measured_windows(
    windows: dict[str, dict[str, dict[str, object]]],
    series: dict[str, Series],
) -> tuple[dict[tuple[str, str], list[float]], list[dict[str, object]]]:
    """Return kc of window and next days on our own clear day, and the totals the tests compare with.

    Where the station's series is at hand its own kWh are divided by our clear day. Where it is not, the two
    decimals as read are multiplied by the mean ratio found in the windows of the same climate that are.
    """
    found: dict[tuple[str, str], list[float]] = {}
    totals: list[dict[str, object]] = []
    for climate in ("temperate_maritime", "oceanic_west"):
        ratios = []
        for name, window in windows[climate].items():
            station = str(window["station"])
            if station not in series:
                continue
            dates = observed_days(window, 4)
            shown, latitude, longitude, credit = STATIONS[station]
            kwh = np.array([series[station][date] for date in dates])
            kc = kwh / clear_day(latitude, longitude, ordinal(dates))
            days = len(dates) - 4
            read = np.array(window["kc"], dtype=float)
            ratios.append(float(kc[:days].sum() / read.sum()))
            found[climate, name] = np.round(np.minimum(kc, KC_MAX), 3).tolist()
            totals.append(
                {
                    "preset": f"{SHORT[climate]}_{name}",
                    "station": shown,
                    "latitude_deg": latitude,
                    "longitude_deg": longitude,
                    "first_doy": int(ordinal(dates)[0]),
                    "ghi_kwh_m2": round(float(kwh[:days].sum()), 3),
                    "credit": credit,
                }
            )
        ratio = float(np.mean(ratios))
        print(f"{climate}: our kc over the kc read, mean {ratio:.3f}, {min(ratios):.3f} to {max(ratios):.3f}")
        for name, window in windows[climate].items():
            if (climate, name) not in found:
                read = np.array([*window["kc"], *window["next4"]], dtype=float)  # type: ignore[misc]
                found[climate, name] = np.round(np.minimum(read * ratio, KC_MAX), 3).tolist()
    return found, totals


def scaled(shape: list[float], mean: float) -> list[float]:
    """Return `shape` with another mean, no day above KC_MAX."""
    low, high = 0.0, 20.0
    for _ in range(60):
        factor = (low + high) / 2.0
        too_much = np.minimum(np.array(shape) * factor, KC_MAX).mean() > mean
        low, high = (low, factor) if too_much else (factor, high)
    return np.round(np.minimum(np.array(shape) * low, KC_MAX), 3).tolist()


def preset(
    climate: str,
    name: str,
    window: dict[str, object],
    observed: dict[tuple[str, str], list[float]],
    at_hand: bool,
) -> dict[str, object]:
    """Return one entry of presets.json."""
    length, risk = int(name.split("d_", maxsplit=1)[0]), name.split("_")[1]
    station, _, _, credit = STATIONS[str(window["station"])]
    borrowed = (climate, name) not in observed
    if borrowed:
        kc = scaled(observed["temperate_maritime", name][:length], float(window["mean"]))  # type: ignore[arg-type]
        next4: list[float] = []
        kind = "measured elsewhere, derived by us; mean only"
        source = f"mean kc of {station}; order of days from the temperate maritime window of that length and risk"
    else:
        kc, next4 = observed[climate, name][:length], observed[climate, name][length:]
        kind = "measured elsewhere, derived by us"
        how = "station kWh over our clear day" if at_hand else "kc of two decimals, moved to our clear day"
        source = f"daily radiation at {station} ({credit}); {how}"
    last = datetime.date.fromisoformat(str(window["end"]))
    return {
        "id": f"{SHORT[climate]}_{name}",
        "title": f"Worst {LENGTHS[length]} of {RISKS[risk]}",
        "climate": climate,
        "days": length,
        "kc": kc,
        "next4": next4,
        "mean_kc": round(float(np.mean(kc)), 3),
        "month": (last - datetime.timedelta(length // 2)).month,
        "station": station,
        "end": str(last),
        "kind": kind,
        "source": source,
        "shape_borrowed": borrowed,
    }


def main() -> None:
    """Read the series, write the climates, the presets and the totals for the tests."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("--hupsel", "--dunsany", "--valentia", "--windows"):
        asked.add_argument(name, type=Path, required=True)
    given = asked.parse_args()
    series = {
        "Hupsel NL": read_series(given.hupsel),
        "Dunsany IE": read_series(given.dunsany),
        "Valentia IE": {d: kwh for d, kwh in read_series(given.valentia).items() if d.year != 2012},
    }
    windows = json.loads(given.windows.read_text(encoding="utf-8"))
    for climate in PLACES:
        if climate == "temperate_maritime":
            kc = mean_kc([("Hupsel NL", series["Hupsel NL"])])
        elif climate == "oceanic_west":
            kc = mean_kc([(s, series[s]) for s in ("Dunsany IE", "Valentia IE")])
        elif climate == "subtropical":
            kc = typical_year_kc()
        else:
            kc = remembered_kc(climate)
        write_climate(climate, kc, kc_source(climate, series))
    observed, totals = measured_windows(windows, series)
    entries = [
        preset(climate, name, window, observed, str(window["station"]) in series)
        for climate, named in windows.items()
        for name, window in named.items()
    ]
    lines = ",\n".join("  " + json.dumps(entry, ensure_ascii=False) for entry in entries)
    (ROOT / "data" / "presets.json").write_text(f'{{"presets": [\n{lines}\n]}}\n', encoding="utf-8")
    lines = ",\n".join("  " + json.dumps(entry, ensure_ascii=False) for entry in totals)
    fixture = ROOT / "tests" / "fixtures" / "station_windows.json"
    fixture.write_text(f'{{"windows": [\n{lines}\n]}}\n', encoding="utf-8")


if __name__ == "__main__":
    main()
