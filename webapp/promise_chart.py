"""What came against what was promised, as a plotly figure: a bar for each range, a dot for what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from webapp.chart_parts import PERCENT_DIGITS, Figure, iso

BAR_PX = 6
WIDEST = 1.15
"""Room above and below the furthest of bars and dots."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scored:
    """One scored answer in points of charge from the likely one: range as shown, and what came."""

    at: datetime
    low: float
    high: float
    came: float
    within: bool


def errors(rows: Sequence[Scored]) -> Figure:
    """Draw ranges as bars and what came as dots round the likely charge, over the time at which it came.

    Parameters
    ----------
    rows : sequence of Scored
        At least one; on the household's clock, naive, the oldest first.
    """
    reach = max(1.0, *(abs(value) for row in rows for value in (row.low, row.high, row.came))) * WIDEST
    return {
        "data": [_bars(rows), *(_dots(rows, within) for within in (True, False))],
        "layout": {
            "xaxis": {"type": "date", "tickformat": "%-d %b", "hoverformat": "%a %-d %b, %H:%M", "nticks": 8},
            "yaxis": {
                "range": [-round(reach, 1), round(reach, 1)],
                "title": {"text": "points from the likely charge", "font": {"color": "--soft"}},
                "zeroline": True,
                "zerolinecolor": "--soft",
            },
            "margin": {"r": 16},
        },
        "narrow": {"xaxis": {"nticks": 4}},
    }


def _bars(rows: Sequence[Scored]) -> Figure:
    """Each range as an upright line, broken from the next."""
    x: list[str | None] = []
    y: list[float | None] = []
    for row in rows:
        x += [iso(row.at), iso(row.at), None]
        y += [round(row.low, PERCENT_DIGITS), round(row.high, PERCENT_DIGITS), None]
    line = {"color": "--soft/.7", "width": BAR_PX}
    return {"type": "scatter", "mode": "lines", "name": "range", "x": x, "y": y, "line": line, "hoverinfo": "skip"}


def _dots(rows: Sequence[Scored], within: bool) -> Figure:
    """What came, those within the range as dots and the others as crosses."""
    shown = [row for row in rows if row.within is within]
    edge = {"color": "--paper", "width": 1.5}
    marker = {"size": 11, "symbol": "circle", "color": "--slate", "line": edge}
    if not within:
        marker = {"size": 13, "symbol": "x", "color": "--lamp", "line": edge}
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "within" if within else "outside",
        "x": [iso(row.at) for row in shown],
        "y": [round(row.came, PERCENT_DIGITS) for row in shown],
        "marker": marker,
        "hovertemplate": "%{y:+.1f} points",
    }
