"""How far the rest of a day may stray from the sky of the moment.

A sky is its kc, horizontal radiation over that of a clear sky. The table holds what came after hours of like kc on the
same day, in eight of ten of them; it knows neither place nor season. Not modelled: a forecast.
"""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import numpy as np

from engine.paths import data_dir
from engine.sources import Source


def rest_range(kc: float) -> tuple[float, float]:
    """Return the kc that the rest of the day stayed within in eight of ten such hours.

    Examples
    --------
    >>> low, high = rest_range(0.3)
    >>> low < 0.3 < high
    True
    """
    rows = _table()["rows"]
    known = [0.0, *(row["kc"] for row in rows)]
    low = float(np.interp(kc, known, [0.0, *(row["low_kc"] for row in rows)]))
    high = float(np.interp(kc, known, [rows[0]["high_kc"], *(row["high_kc"] for row in rows)]))
    return min(low, kc), max(high, kc)


def rest_source() -> Source:
    """Return where the range is from."""
    return Source(kind=_table()["kind"], text=_table()["source"])


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    table: dict[str, Any] = json.loads((data_dir() / "rest_of_day.json").read_text(encoding="utf-8"))
    return table
