"""Pictures of many winters as plotly figures in plain dicts, in the manner of `charts`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from webapp.chart_parts import KWH_DIGITS, PERCENT_GAP, STYLES, Figure, Style, end_label, spaced

ROOM = 1.08
_SHARE = Style(color="--soft", dash="1px,3px", width=2.0)
LINE_STYLES = (*STYLES, _SHARE)
_BEYOND = 3.0
"""A line is drawn up to so many times the top of the axis, so that it leaves there at its own slope."""
_WASH = 0.06
_NEAR_END = 0.8
"""From this share of the panels on, a name above a point would be cut off at its right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskLine:
    """One line of equal risk: a name, and the bank of each number of panels, None where none is large enough.

    `counted` is whether dark spells are counted, so that the line lies under that of every rarer risk.
    """

    name: str
    counted: bool
    kwp: Sequence[float]
    kwh: Sequence[float | None]


def risk_map(
    lines: Sequence[RiskLine],
    own: tuple[float, float],
    top_kwh: float,
    cheapest: tuple[float, float] | None = None,
) -> Figure:
    """Draw panels against bank with lines of equal risk and the household's own point.

    Parameters
    ----------
    lines : sequence of RiskLine
        The rarest risk first.
    own : (kWp, kWh)
        The household's own panels and bank.
    top_kwh : float
        Top of the axis of banks.
    cheapest : (kWp, kWh), optional
        The cheapest pair for the second line.
    """
    kwp = lines[0].kwp
    ends = [_end(line, top_kwh) for line in lines]
    places = spaced([end[1] for end in ends], top_kwh * PERCENT_GAP / 100.0, 0.0, top_kwh)
    named = [
        end_label(x, y, place, line.name, style)
        for line, (x, y), place, style in zip(lines, ends, places, LINE_STYLES, strict=False)
    ]
    return {
        "data": [
            *_bands([line for line in lines if line.counted], _BEYOND * top_kwh),
            *(_risk_trace(line, style, top_kwh) for line, style in zip(lines, LINE_STYLES, strict=False)),
            _point("yours", own, "diamond", kwp[-1]),
            *([] if cheapest is None else [_point("cheapest", cheapest, "circle-open", kwp[-1])]),
        ],
        "layout": {
            "xaxis": {
                "title": _title("panels, kWp"),
                "range": [0, round(kwp[-1] * 1.01, 2)],
                "unifiedhovertitle": {"text": "%{x:.3g} kWp"},
            },
            "yaxis": {"title": _title("bank, usable kWh"), "range": [0, round(top_kwh, KWH_DIGITS)]},
            "annotations": named,
            "margin": {"r": 150, "b": 48},
            "height": 420,
        },
        "narrow": {"margin": {"r": 112}, "height": 380},
    }


def _point(name: str, place: tuple[float, float], symbol: str, most_kwp: float) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": name,
        "x": [round(place[0], 2)],
        "y": [round(place[1], KWH_DIGITS)],
        "text": [name],
        "textposition": "top left" if place[0] > _NEAR_END * most_kwp else "top center",
        "textfont": {"color": "--ink"},
        "marker": {"color": "--ink", "size": 11, "symbol": symbol},
        "hovertemplate": f"%{{y:.3g}} kWh<extra>{name}</extra>",
    }


def _bands(lines: Sequence[RiskLine], beyond_kwh: float) -> list[Figure]:
    """What lies between two lines, and under the last, as washes: the more often a bank runs empty, the deeper."""
    edges = [[beyond_kwh if y is None else min(y, beyond_kwh) for y in line.kwh] for line in lines]
    edges.append([0.0] * len(lines[0].kwp))
    return [
        _band(lines[0].kwp, upper, lower, _WASH * depth)
        for depth, (upper, lower) in enumerate(pairwise(edges), start=1)
    ]


def _band(kwp: Sequence[float], upper: Sequence[float], lower: Sequence[float], depth: float) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [round(x, 2) for x in (*kwp, *reversed(kwp))],
        "y": [round(y, KWH_DIGITS) for y in (*upper, *reversed(lower))],
        "line": {"width": 0, "color": "--slate"},
        "fill": "toself",
        "fillcolor": f"--slate/{depth:.2f}",
        "hoverinfo": "skip",
    }


def _end(line: RiskLine, top_kwh: float) -> tuple[float, float]:
    """The last point of a line that is drawn."""
    drawn = [(x, y) for x, y in zip(line.kwp, line.kwh, strict=True) if y is not None and y <= top_kwh]
    return drawn[-1] if drawn else (line.kwp[-1], top_kwh)


def _risk_trace(line: RiskLine, style: Style, top_kwh: float) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": line.name,
        "x": [round(x, 2) for x in line.kwp],
        "y": [None if y is None or y > _BEYOND * top_kwh else round(y, KWH_DIGITS) for y in line.kwh],
        "line": style.line(),
        "hovertemplate": "%{y:.3g} kWh",
    }


def needed(names: Sequence[int], needed_kwh: Sequence[float | None], marks: Sequence[tuple[str, float]]) -> Figure:
    """Draw the bank that each winter asks for as a bar, with banks drawn across.

    Parameters
    ----------
    names : sequence of int
        Years or numbers of the winters, in order.
    marks : sequence of (str, float)
        Names of banks and their usable kWh.
    """
    top = ROOM * max(*(kwh for kwh in needed_kwh if kwh is not None), *(kwh for _, kwh in marks)) or 1.0
    places = spaced([kwh for _, kwh in marks], top * PERCENT_GAP / 100.0, 0.0, top)
    last = names[-1]
    return {
        "data": [
            {
                "type": "bar",
                "name": "asked for",
                "x": list(names),
                "y": [None if kwh is None else round(kwh, KWH_DIGITS) for kwh in needed_kwh],
                "marker": {"color": "--slate"},
                "hovertemplate": "%{y:.3g} kWh<extra></extra>",
            },
            *(
                {
                    "type": "scatter",
                    "mode": "lines",
                    "name": name,
                    "x": [names[0] - 0.5, last + 0.5],
                    "y": [round(kwh, KWH_DIGITS)] * 2,
                    "line": style.line(),
                    "hoverinfo": "skip",
                }
                for (name, kwh), style in zip(marks, _MARK_STYLES, strict=False)
            ),
        ],
        "layout": {
            "xaxis": {
                "range": [names[0] - 0.6, last + 0.6],
                "tickformat": "d",
                "nticks": 10,
                "title": _title("winter"),
                "unifiedhovertitle": {"text": "winter %{x}"},
            },
            "yaxis": {"title": _title("usable kWh"), "range": [0, round(top, KWH_DIGITS)]},
            "annotations": [
                end_label(last + 0.5, kwh, place, name, style)
                for (name, kwh), place, style in zip(marks, places, _MARK_STYLES, strict=False)
            ],
            "bargap": 0.3,
            "margin": {"r": 120, "b": 48},
        },
        "narrow": {"xaxis": {"nticks": 5}, "margin": {"r": 112}},
    }


_MARK_STYLES = (
    Style(color="--ink", dash="solid", width=2.0),
    Style(color="--moss", dash="9px,4px", width=2.5),
)


def _title(text: str) -> Figure:
    return {"text": text, "font": {"color": "--soft"}}
