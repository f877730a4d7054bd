"""Charts of a measurement: how its error falls with waiting or with days, and results with their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from webapp.chart_parts import ACROSS, STYLES, Figure, as_text

ROOM = 1.15
MOST_TIMES = 6.0
"""The axis ends at so many times the aim: errors of a first hour would flatten the rest (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A named number with how far off it may be on either side; no half width for one that nobody measured."""

    name: str
    value: float
    half: float = 0.0


def falling(
    x: Sequence[float], error: Sequence[float], aim: float, unit: str, x_title: str, now: float | None, now_name: str
) -> Figure:
    """Draw how an error falls, with the aim across it and where the readings stand.

    Parameters
    ----------
    x, error : (n,) sequences
        Hours or days, and the error on either side.
    now : float or None
        Where the readings stand on x; None for nowhere yet.
    """
    top = min(max(error), MOST_TIMES * aim) * ROOM
    line = {
        "type": "scatter",
        "mode": "lines",
        "name": "error",
        "x": [round(value, 2) for value in x],
        "y": [round(value, 3) for value in error],
        "line": STYLES[0].line(),
        "hovertemplate": f"± %{{y:.1f}} {unit}",
    }
    marks = [_across([x[0], x[-1]], [aim, aim], "good enough")]
    notes = [_note(x[-1], aim, f"± {aim:g} {unit}", "right", "bottom")]
    if now is not None and x[0] <= now <= x[-1]:
        marks.append(_across([now, now], [0.0, top], now_name))
        left = now > (x[0] + x[-1]) / 2.0
        notes.append(_note(now, top, now_name, "right" if left else "left", "top"))
    axis = {"range": [x[0], x[-1]], "title": {"text": x_title}, "hoverformat": ".0f"}
    return {
        "data": [*marks, line],
        "layout": {
            "yaxis": {"range": [0, top], "title": {"text": f"error, {unit}"}},
            "xaxis": axis,
            "annotations": notes,
            "margin": {"r": 24},
        },
        "narrow": {"xaxis": axis, "margin": {"r": 14}},
    }


def intervals(rows: Sequence[Interval], unit: str) -> Figure:
    """Draw numbers side by side with how far off each may be.

    Parameters
    ----------
    rows : sequence of Interval
        In the order in which they stand.
    """
    names = [as_text(row.name) for row in rows]
    ends = [row.value + row.half for row in rows]
    dots = {
        "type": "scatter",
        "mode": "markers",
        "name": "value",
        "x": names,
        "y": [round(row.value, 3) for row in rows],
        "marker": {"size": 10, "color": STYLES[0].color},
        "error_y": {
            "type": "data",
            "array": [round(row.half, 3) for row in rows],
            "color": STYLES[0].color,
            "thickness": 2.5,
            "width": 8,
        },
        "hovertemplate": f"%{{y:.4~g}} {unit}",
    }
    return {
        "data": [dots],
        "layout": {
            "yaxis": {"range": [0, max(ends) * ROOM], "title": {"text": unit}},
            "xaxis": {"type": "category", "range": [-0.5, len(rows) - 0.5]},
            "margin": {"r": 24},
        },
        "narrow": {"xaxis": {"type": "category", "range": [-0.5, len(rows) - 0.5]}, "margin": {"r": 14}},
    }


def _across(x: list[float], y: list[float], name: str) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": x,
        "y": y,
        "line": ACROSS.line(),
        "hoverinfo": "skip",
    }


def _note(x: float, y: float, text: str, across: str, up: str) -> Figure:
    return {
        "x": x,
        "y": y,
        "text": text,
        "showarrow": False,
        "xanchor": across,
        "yanchor": up,
        "xshift": 4 if across == "left" else -4,
        "bgcolor": "--paper",
        "borderpad": 1,
        "font": {"color": "--soft"},
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A named pair of durations [h]; None where it lasts past the days followed."""

    name: str
    low: float | None
    high: float | None


def spans(rows: Sequence[Span], most_h: float) -> Figure:
    """Draw for each row a line between two durations, the first row on top.

    Parameters
    ----------
    most_h : float
        What stands for durations past the days followed [h].
    """
    drawn = list(reversed(rows))
    ends = [[most_h if end is None else end for end in (row.low, row.high)] for row in drawn]
    lines = [
        {
            "type": "scatter",
            "mode": "lines+markers",
            "name": as_text(row.name),
            "x": [round(end, 1) for end in pair],
            "y": [as_text(row.name)] * 2,
            "line": STYLES[0].line() | {"width": 5},
            "marker": {"size": 11, "color": STYLES[0].color},
            "hovertemplate": "%{x:.0f} h",
        }
        for row, pair in zip(drawn, ends, strict=True)
    ]
    axis = {"range": [0, max(max(pair) for pair in ends) * ROOM or 1.0], "title": {"text": "hours"}}
    layout = {
        "hovermode": "closest",
        "yaxis": {"type": "category", "range": [-0.6, len(rows) - 0.4]},
        "xaxis": axis,
        "margin": {"l": 104, "r": 24},
    }
    return {"data": lines, "layout": layout, "narrow": {"xaxis": axis, "margin": {"l": 104, "r": 14}}}
