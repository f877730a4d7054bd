"""Build data/rest_of_day.json: what the rest of a day brought after an hour of a known sky.

Needs the extra `build` (pvlib), which brings two typical years (NREL for the US Department of Energy), and, given on
the command line because it is not part of Greyspell, the typical year 45 N 8 E that pvlib's source carries (PVGIS,
European Commission):

    python data/build/build_rest_of_day.py --pvgis CSV

Of each hour with the sun above 5 degrees and at least a tenth of the clear day still to come: its kc, and the kc of
all that came after it on that day. Hours of like kc are put together; of what came after, the tenth, the middle and
the ninetieth hundredth are kept.
"""

from __future__ import annotations

import argparse
import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

ROOT = Path(__file__).resolve().parents[2]
YEARS = (("723170TYA.CSV", -5), ("703165TY.csv", -9))
EDGES = (0.0, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2)
MOST_KC = 1.1
LEAST_SUN_DEG = 5.0
LEAST_LEFT_SHARE = 0.1


def main() -> None:
    """Read the three years and write the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--pvgis", type=Path, required=True)
    pairs = np.concatenate([*(after_hours(*tmy3_year(*year)) for year in YEARS), after_hours(*pvgis_year(asked))])
    rows = []
    for low, high in pairwise(EDGES):
        group = pairs[(pairs[:, 0] >= low) & (pairs[:, 0] < high)]
        tenth, middle, ninth = np.quantile(group[:, 1], (0.1, 0.5, 0.9))
        rows.append(
            {
                "kc": round(float(group[:, 0].mean()), 2),
                "hours": len(group),
                "low_kc": round(float(tenth), 2),
                "middle_kc": round(float(middle), 2),
                "high_kc": round(float(ninth), 2),
            }
        )
    content = {
        "kind": "published",
        "source": "typical years of Greensboro and Sand Point (NREL for the US Department of Energy, TMY3) and of "
        "45 N 8 E (PVGIS, European Commission): of hours of like clearness, what came after them on the same day; "
        "partly from satellite and cloud records, hour by hour",
        "rows": rows,
    }
    text = json.dumps(content, ensure_ascii=False).replace('{"kc"', '\n  {"kc"').replace("]}", "\n]}")
    (ROOT / "data" / "rest_of_day.json").write_text(text + "\n", encoding="utf-8")


def tmy3_year(file: str, offset_h: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return horizontal and clear radiation [W/m2] and height of the sun [deg] of each hour, by local days."""
    table, place = pvlib.iotools.read_tmy3(
        Path(pvlib.__file__).parent / "data" / file, coerce_year=2021, map_variables=True
    )
    start = pd.Timestamp("2021-01-01 00:02:30", tz="UTC") - pd.Timedelta(hours=offset_h)
    location = pvlib.location.Location(place["latitude"], place["longitude"], altitude=place["altitude"])
    return by_day(table["ghi"].to_numpy(), location, start)


def pvgis_year(asked: argparse.ArgumentParser) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the same of the PVGIS year: its values stand ten minutes past each hour UTC, here by days of UTC + 1."""
    table = pvlib.iotools.read_pvgis_tmy(asked.parse_args().pvgis, map_variables=True)[0]
    start = pd.Timestamp("2020-12-31 22:42:30", tz="UTC")
    location = pvlib.location.Location(45.0, 8.0, altitude=table.attrs.get("elevation", 250.0))
    return by_day(np.roll(table["ghi"].to_numpy(), 1), location, start)


def by_day(
    ghi: np.ndarray, location: pvlib.location.Location, start: pd.Timestamp
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the hours with their clear sky (Ineichen, pvlib's turbidity map) and sun, each (365, 24)."""
    fine = pd.date_range(start, periods=8760 * 12, freq="5min")
    clear = location.get_clearsky(fine, model="ineichen")["ghi"].to_numpy()
    height = location.get_solarposition(fine)["elevation"].to_numpy()
    means = (values.reshape(-1, 12).mean(axis=1).reshape(365, 24) for values in (clear, height))
    return ghi.reshape(365, 24), *means


def after_hours(ghi: np.ndarray, clear: np.ndarray, height_deg: np.ndarray) -> np.ndarray:
    """Return pairs (n, 2): kc of an hour, and kc of all hours after it on the same day."""
    found = []
    for hour in range(23):
        left = clear[:, hour + 1 :].sum(axis=1)
        use = (height_deg[:, hour] > LEAST_SUN_DEG) & (left > LEAST_LEFT_SHARE * clear.sum(axis=1))
        now = ghi[use, hour] / clear[use, hour]
        after = ghi[use, hour + 1 :].sum(axis=1) / left[use]
        found.append(np.minimum(np.column_stack([now, after]), MOST_KC))
    return np.concatenate(found)


if __name__ == "__main__":
    main()
