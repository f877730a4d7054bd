"""What the rest of a day brought after a moment of a known sky.

A sky is its kc, horizontal radiation over that of a clear sky. The table holds what came after hours of like kc on the
same day: the middle of it and what eight of ten stayed within. It knows neither place nor season; under darker skies
than it has, what came after falls with the sky, which is the careful side. Not modelled: a forecast.
"""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import numpy as np

from engine.paths import data_dir
from engine.sources import Source


def rest_of_day(kc: float) -> tuple[float, float, float]:
    """Return the kc of the rest of the day after such an hour: exceeded in nine, five and one of ten.

    Examples
    --------
    >>> low, middle, high = rest_of_day(0.3)
    >>> low < 0.3 < middle < high
    True
    """
    rows = _table()["rows"]
    known = [0.0, *(row["kc"] for row in rows)]
    low, middle = (float(np.interp(kc, known, [0.0, *(row[end] for row in rows)])) for end in ("low_kc", "middle_kc"))
    high = float(np.interp(kc, known, [rows[0]["high_kc"], *(row["high_kc"] for row in rows)]))
    return min(low, kc), middle, max(high, kc)


def rest_source() -> Source:
    """Return where the middle and the range are from."""
    return Source(kind=_table()["kind"], text=_table()["source"])


@lru_cache(maxsize=1)
def _table() -> dict[str, Any]:
    table: dict[str, Any] = json.loads((data_dir() / "rest_of_day.json").read_text(encoding="utf-8"))
    return table
