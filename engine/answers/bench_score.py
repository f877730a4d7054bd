"""How good a forecast of a bench test was: each row against its result, inside its bar or not, and the mean miss.

Units are those of each forecast; misses in points are points of capacity.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from engine.answers.bench_forecast import Forecast
from engine.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreRow:
    """One forecast against its result; `miss` is measured less forecast, in the row's unit."""

    key: str
    what: str
    unit: str
    forecast: float
    bar: float
    measured: float
    miss: float
    inside: bool
    miss_points: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How good a forecast was; `mean_miss_points` over the rows that have points, None where none has."""

    rows: tuple[ScoreRow, ...]
    inside_share: float
    mean_miss_points: float | None
    sentence: str


def scored(forecasts: tuple[Forecast, ...], results: Mapping[str, float]) -> Score:
    """Score forecasts against what was measured; see `engine.answers.bench_plan.score`."""
    known = {row.key: row for row in forecasts if row.value is not None}
    for key, value in results.items():
        if key not in known:
            raise InputError("results", f"This plan has no forecast “{key}”; it has: {', '.join(known)}.")
        if not math.isfinite(value):
            raise InputError("results", f"{known[key].what} must be a number [{known[key].unit}]; got {value:g}.")
    if not results:
        raise InputError("results", "Enter at least one measured value; got none.")
    rows = tuple(_scored(row, results[key]) for key, row in known.items() if key in results)
    inside = sum(row.inside for row in rows)
    points = [row.miss_points for row in rows if row.miss_points is not None]
    mean = math.fsum(points) / len(points) if points else None
    share, sentence = inside / len(rows), _sentence(rows, inside, mean)
    return Score(rows=rows, inside_share=share, mean_miss_points=mean, sentence=sentence)


def _scored(row: Forecast, measured: float) -> ScoreRow:
    """One row; a result on the edge of the bar counts as inside."""
    assert row.value is not None
    miss = measured - row.value
    return ScoreRow(
        key=row.key,
        what=row.what,
        unit=row.unit,
        forecast=row.value,
        bar=row.bar,
        measured=measured,
        miss=miss,
        inside=abs(miss) <= row.bar + 1e-9 * max(abs(row.value), abs(measured)),
        miss_points=None if row.points_per_unit is None else abs(miss) * row.points_per_unit,
    )


def _sentence(rows: tuple[ScoreRow, ...], inside: int, mean: float | None) -> str:
    """The score in words."""
    points = "" if mean is None else f"; it was {mean:.1f} points of capacity off on average"
    text = f"{inside} of {len(rows)} results lie inside the forecast’s bar{points}."
    if inside == len(rows):
        return text
    worst = max((row for row in rows if not row.inside), key=lambda row: abs(row.miss) / row.bar)
    return f"{text} Farthest out: {worst.what[0].lower()}{worst.what[1:]}. Trust the test where it was done well."
