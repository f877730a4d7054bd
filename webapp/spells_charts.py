"""Pictures of dull spells as plotly figures in plain dicts, in the manner of `charts`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from webapp.chart_parts import KWH_DIGITS, PERCENT_GAP, STYLES, Figure, Style, end_label, spaced
from webapp.render import fixed
from webapp.words import MONTHS

SHORT_MONTHS = [name[:3] for name in MONTHS]
ROOM = 1.12
Rows = tuple[tuple[str, tuple[str, ...]], ...]
"""Lines of a table: the name of each and its cells."""
SYMBOLS = ("circle", "square", "diamond", "cross")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One named line: what the chart draws and its table lists."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    style: Style


def worst(lines: Sequence[Line], unit: str) -> Figure:
    """Draw how dull the worst days in a row are against how many they are, a line for each risk.

    Parameters
    ----------
    lines : sequence of Line
        Against days in a row; kWh a day, or percent of a clear day's light.
    unit : str
        Of the numbers, for the axis and for pointing.
    """
    ticks = sorted({int(days) for line in lines for days in line.x})
    axis = {
        "tickvals": ticks,
        "range": [0, ticks[-1] + 0.4],
        "title": _title("days in a row"),
        "unifiedhovertitle": {"text": "days in a row: %{x}"},
    }
    return _figure(lines, unit, axis, right=98)


def by_month(lines: Sequence[Line]) -> Figure:
    """Draw kWh a day through the months of a year, each line named at its end.

    Parameters
    ----------
    lines : sequence of Line
        Against months, 1 to 12.
    """
    axis = {"tickvals": list(range(1, 13)), "ticktext": SHORT_MONTHS, "range": [0.8, 12.1]}
    figure = _figure(lines, "kWh", axis, right=112)
    return figure | {"narrow": figure["narrow"] | {"xaxis": {"ticktext": [name[0] for name in SHORT_MONTHS]}}}


def tilts(lines: Sequence[Line]) -> Figure:
    """Draw what each tilt gives against the best one of its kind of day.

    Parameters
    ----------
    lines : sequence of Line
        Against tilt [degrees]; percent of the best position on such a day.
    """
    axis = {
        "tickvals": list(lines[0].x),
        "range": [0, 91],
        "title": _title("tilt, degrees: 0 flat, 90 upright"),
        "unifiedhovertitle": {"text": "tilt %{x}°"},
    }
    return _figure(lines, "%", axis, right=128)


def months(counts: Sequence[int], years: int) -> Figure:
    """Draw in how many years the worst days fell in each month, as bars with their number."""
    return {
        "data": [
            {
                "type": "bar",
                "name": "years",
                "x": list(range(1, 13)),
                "y": list(counts),
                "text": [str(count) if count else "" for count in counts],
                "textposition": "outside",
                "cliponaxis": False,
                "textfont": {"color": "--ink"},
                "marker": {"color": "--slate"},
                "hovertemplate": f"%{{y}} of {years} years<extra></extra>",
            }
        ],
        "layout": {
            "xaxis": {"tickvals": list(range(1, 13)), "ticktext": SHORT_MONTHS, "unifiedhovertitle": {"text": " "}},
            "yaxis": {"title": _title(f"years of {years}"), "range": [0, max(counts) * ROOM + 1], "nticks": 5},
            "bargap": 0.35,
            "height": 320,
        },
        "narrow": {"xaxis": {"ticktext": [name[0] for name in SHORT_MONTHS]}, "height": 280},
    }


def _figure(lines: Sequence[Line], unit: str, x_axis: Figure, right: int) -> Figure:
    top = max(max(line.y) for line in lines) * ROOM or 1.0
    places = spaced([line.y[-1] for line in lines], top * PERCENT_GAP / 100.0, 0.0, top)
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "lines+markers",
                "name": line.name,
                "x": list(line.x),
                "y": [round(value, KWH_DIGITS) for value in line.y],
                "line": line.style.line(),
                "marker": {"size": 6, "symbol": symbol, "color": line.style.color},
                "hovertemplate": f"%{{y:.3g}} {unit}",
            }
            for line, symbol in zip(lines, SYMBOLS, strict=False)
        ],
        "layout": {
            "xaxis": x_axis,
            "yaxis": {"range": [0, round(top, KWH_DIGITS)], "title": _title(unit)},
            "annotations": [
                end_label(line.x[-1], line.y[-1], place, line.name, line.style)
                for line, place in zip(lines, places, strict=True)
            ],
            "margin": {"r": right, "b": 48},
        },
        "narrow": {"margin": {"r": right - 8}},
    }


def _title(text: str) -> Figure:
    return {"text": text, "font": {"color": "--soft"}}


def styled(names: Sequence[str], x: Sequence[float], columns: Sequence[Sequence[float]]) -> list[Line]:
    """Return the lines of some columns over the same x, each in its own style."""
    return [
        Line(name=name, x=x, y=column, style=style) for name, column, style in zip(names, columns, STYLES, strict=False)
    ]


def table_rows(lines: Sequence[Line], name: Callable[[float], str], digits: int) -> Rows:
    """Return the numbers of some lines over the same x as a table prints them, `name` for each x."""
    columns = [[fixed(value, digits) for value in line.y] for line in lines]
    return tuple((name(x), cells) for x, cells in zip(lines[0].x, zip(*columns, strict=True), strict=True))
