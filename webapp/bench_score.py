"""A kept bench plan against what the test then showed.

The forecast is the one that was kept, not a new one. Shares are of the full charge that the test gave.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from engine.answers.bench_forecast import Forecast
from engine.answers.bench_plan import QUESTIONS
from engine.answers.bench_score import Score
from engine.answers.bench_score import scored as judged
from engine.bench.measured import MeasuredCell, chemistry_of, share_at
from engine.bench.measured_build import BELIEVABLE_SHARE
from engine.cells import catalogue
from engine.cells.sight import sight
from engine.errors import InputError
from engine.sources import Source
from webapp.bench_reading import CellsReport, LogReport, Report
from webapp.bench_store import KeptPlan
from webapp.bench_words import bar_in_unit, in_unit
from webapp.render import NO_BREAK


@dataclass(frozen=True, slots=True, kw_only=True)
class Scored:
    """One kept plan with its score, in words and rows: what, forecast, bar, measured."""

    title: str
    sentence: str
    rows: tuple[tuple[str, str, str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """One kept plan in the list."""

    id: int
    title: str
    what: str


def kept_words(plan: KeptPlan) -> Kept:
    """Say what a kept plan was about."""
    asked = plan.asked
    cell = catalogue.names().get(asked["chemistry"], asked["chemistry"])
    return Kept(
        id=plan.id,
        title=QUESTIONS[asked["question"]],
        what=f"{cell}, {asked['label_ah']:g}{NO_BREAK}Ah, charged at {asked['charge_a']:g}{NO_BREAK}A; "
        f"{plan.forecast['hours']:.0f} hours",
    )


def scored(plan: KeptPlan, report: Report) -> Scored | None:
    """Score one kept plan against a test, or None where it is of other cells by kind or size, or shows none of it."""
    if plan.asked["chemistry"] != report.base.id or not _same_size(plan, report):
        return None
    forecasts = tuple(_forecast(row) for row in plan.forecast["forecasts"])
    found = dict(_found(plan, report, forecasts))
    if not found:
        return None
    try:
        result = judged(forecasts, found)
    except InputError:
        return None
    return Scored(title=QUESTIONS[plan.asked["question"]], sentence=result.sentence, rows=_rows(result))


def _same_size(plan: KeptPlan, report: Report) -> bool:
    """Whether the cells tested may be those the plan was made for, by their ampere-hours."""
    ah = report.grouping.median_ah if isinstance(report, CellsReport) else _drawn_ah(report)
    low, high = BELIEVABLE_SHARE
    return ah is not None and low <= ah / plan.asked["label_ah"] <= high


def _forecast(kept: dict[str, Any]) -> Forecast:
    sources = {name: Source(**kept[name]) for name in ("source", "after_source") if kept[name] is not None}
    return Forecast(**(kept | sources))


def _found(plan: KeptPlan, report: Report, forecasts: tuple[Forecast, ...]) -> Iterator[tuple[str, float]]:
    """What the test showed of each forecast, by its key."""
    for row in forecasts:
        name, _, text = row.key.rpartition("_")
        if row.value is None:
            continue
        if isinstance(report, CellsReport):
            if row.key == "spread_share":
                yield row.key, report.grouping.spread_share
            elif row.key == "full_ah":
                yield row.key, report.grouping.median_ah
        elif row.key == "full_ah" and (drawn := _drawn_ah(report)) is not None:
            yield row.key, drawn
        elif report.cell is not None and row.key not in ("full_ah", "spread_share"):
            yield row.key, _of_cell(report, report.cell, name, float(text), plan.asked)


def _drawn_ah(report: Report) -> float | None:
    if isinstance(report, LogReport) and report.cycle is not None and report.cycle.discharge_ah is not None:
        return report.cycle.discharge_ah
    return None if isinstance(report, CellsReport) or report.cell is None else report.cell.full_ah


def _of_cell(report: Report, cell: MeasuredCell, name: str, at: float, asked: dict[str, Any]) -> float:
    """One number of a measured cell: the forecast's name says which, `at` where."""
    charge_c, tail_c = asked["charge_a"] / cell.full_ah, asked["tail_a"] / cell.full_ah
    if name == "share_no_hold":
        return share_at(cell, at, charge_c)
    if name == "hold_gain":
        return share_at(cell, at, tail_c) - share_at(cell, at, charge_c)
    if name == "volts_for":
        return float(np.interp(at, cell.soc, np.maximum.accumulate(cell.ocv_v + charge_c * cell.r_v_per_c)))
    seen = sight(chemistry_of(cell, report.base, "own", "own"), charge_c, cell.full_ah)
    return float(np.interp(at, seen.soc, seen.mv_per_point))


def _rows(result: Score) -> tuple[tuple[str, str, str, str], ...]:
    return tuple(
        (
            row.what,
            in_unit(row.forecast, row.unit),
            bar_in_unit(row.bar, row.unit),
            in_unit(row.measured, row.unit) + ("" if row.inside else ", outside"),
        )
        for row in result.rows
    )
