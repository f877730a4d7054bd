"""Pictures of a bench test as plotly figures in plain dicts, in the manner of `charts`.

Volts are per cell, shares in percent of the ampere-hours the test gave. A long log is drawn through fewer points by
its caller, the highest and lowest kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from webapp.chart_parts import (
    HATCH,
    PERCENT_GAP,
    PERCENT_TOP,
    STYLES,
    Figure,
    Style,
    as_text,
    end_label,
    hatched_band,
    percent_axis,
    spaced,
)

VOLT_DIGITS = 4
AH_DIGITS = 4
TIME_DIGITS = 4
AMP_DIGITS = 3
SIGHT_TOP = 8.0
"""Height of the picture of a balancer's sight, in what a board tells apart: steeper ends run out of it."""
ROOM = 1.06
"""The volts axis reaches this far beyond the highest and lowest [-] of its span."""
QUIET_AXIS = {
    "gridcolor": "--rule",
    "zeroline": False,
    "linecolor": "--rule",
    "tickcolor": "--rule",
    "fixedrange": True,
    "automargin": True,
    "tickfont": {"color": "--soft"},
}
"""A second axis, looking as the page's script makes the first."""
LOWER_PANEL = (0.0, 0.3)
UPPER_PANEL = (0.4, 1.0)
THIN = Style(color="--slate", dash="solid", width=1.75)
THIN_CURRENT = Style(color="--plum", dash="solid", width=1.5)
AT_BANK = STYLES[3]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One named line and how it is drawn."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    style: Style


def over_time(volts: Line, amps: Line) -> Figure:
    """Draw volts above amperes over the hours of a log.

    Parameters
    ----------
    volts, amps : Line
        Against hours since the start of the log [h]; volts per cell [V] and current into the cell [A].
    """
    return {
        "data": [
            _line(volts, VOLT_DIGITS, "%{y:.3f} V", x_digits=TIME_DIGITS),
            _line(amps, AMP_DIGITS, "%{y:.3g} A", x_digits=TIME_DIGITS) | {"yaxis": "y2"},
        ],
        "layout": {
            "xaxis": {
                "title": _title("hours since the start"),
                "unifiedhovertitle": {"text": "%{x:.2f} h"},
                "anchor": "y2",
            },
            "yaxis": {"title": _title("V per cell"), "domain": list(UPPER_PANEL)},
            "yaxis2": QUIET_AXIS | {"title": _title("A, into the cell"), "domain": list(LOWER_PANEL), "nticks": 4},
            "height": 420,
            "margin": {"b": 48},
        },
        "narrow": {"height": 360},
    }


def over_ah(lines: Sequence[Line]) -> Figure:
    """Draw volts against ampere-hours, each line named at its end.

    Parameters
    ----------
    lines : sequence of Line
        Against ampere-hours put in or drawn [Ah].
    """
    low, high = _span([volts for line in lines for volts in line.y])
    right = max(max(line.x) for line in lines)
    places = spaced([line.y[-1] for line in lines], (high - low) * PERCENT_GAP / 100.0, low, high)
    return {
        "data": [_line(line, VOLT_DIGITS, "%{y:.3f} V") for line in lines],
        "layout": {
            "xaxis": {
                "title": _title("Ah put in, or drawn"),
                "unifiedhovertitle": {"text": "%{x:.4g} Ah"},
                "range": [0, right],
            },
            "yaxis": {"title": _title("V per cell"), "range": [low, high]},
            "annotations": [
                end_label(line.x[-1], line.y[-1], place, line.name, line.style)
                for line, place in zip(lines, places, strict=True)
            ],
            "margin": {"r": 104, "b": 48},
            "height": 360,
        },
        "narrow": {"margin": {"r": 92}, "height": 300},
    }


def usable(
    lines: Sequence[Line], band: tuple[Line, Line] | None, points: Line | None, unsure: tuple[float, float] | None
) -> Figure:
    """Draw the share of a full charge against the volts at which charging ends.

    Parameters
    ----------
    lines : sequence of Line
        Against charge-end volts per cell [V]; shares in percent.
    band : pair of Line or None
        The lower and upper edge of what is uncertain.
    points : Line or None
        Where the bench itself measured.
    unsure : (low, high) or None
        Volts between which a held voltage does not decide the charge; hatched.
    """
    left, right = min(min(line.x) for line in lines), max(max(line.x) for line in lines)
    places = spaced([line.y[-1] for line in lines], PERCENT_GAP, 0.0, 100.0)
    flat = [] if unsure is None else [hatched_band("voltage cannot tell", *unsure, PERCENT_TOP)]
    data = [*flat, *([] if band is None else _band(*band))]
    data += [_line(line, 1, "%{y:.1f} %") for line in lines]
    if points is not None:
        marker = {"color": "--paper", "size": 8, "line": {"color": "--ink", "width": 1.5}}
        data.append(_line(points, 1, "%{y:.1f} %") | {"mode": "markers", "marker": marker})
    return {
        "data": data,
        "layout": {
            "xaxis": {
                "title": _title("charge ends at, V per cell"),
                "range": [left, right],
                "unifiedhovertitle": {"text": "%{x:.2f} V"},
            },
            "yaxis": percent_axis(),
            "annotations": [
                end_label(line.x[-1], line.y[-1], place, line.name, line.style)
                for line, place in zip(lines, places, strict=True)
            ]
            + ([] if unsure is None else [_unsure_label(*unsure)]),
            "margin": {"r": 118, "b": 48},
            "height": 380,
        },
        "narrow": {"margin": {"r": 104}, "height": 310},
    }


def cells(names: Sequence[str], ah: Sequence[float], weakest: Sequence[int], rejected: Sequence[int]) -> Figure:
    """Draw the ampere-hours of a list of cells from the weakest up; weakest and rejected differ by their mark.

    Parameters
    ----------
    names : sequence of str
    ah : sequence of float
        Of each cell [Ah].
    weakest, rejected : sequence of int
        Places in the list.
    """
    order = sorted(range(len(ah)), key=lambda place: ah[place])
    low, high = _span(list(ah))
    symbols = ["x" if p in rejected else "diamond" if p in weakest else "circle" for p in order]
    colours = ["--stop" if p in rejected else "--lamp" if p in weakest else "--slate" for p in order]
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "markers",
                "name": "tested",
                "x": list(range(1, len(order) + 1)),
                "y": [round(ah[p], AH_DIGITS) for p in order],
                "text": [as_text(names[p]) for p in order],
                "marker": {"symbol": symbols, "color": colours, "size": 9},
                "hovertemplate": "%{text}: %{y:.4g} Ah<extra></extra>",
            }
        ],
        "layout": {
            "xaxis": {
                "title": _title("cells, the weakest first"),
                "nticks": 8,
                "range": [0.4, len(order) + 0.6],
                "unifiedhovertitle": {"text": " "},
            },
            "yaxis": {"title": _title("Ah"), "range": [low, high]},
            "annotations": [_first_label(names[order[0]], ah[order[0]])],
            "margin": {"b": 48},
            "height": 300,
        },
    }


def sight(seen: Line, told_mv: float) -> Figure:
    """Draw what one percent of charge between two cells shows as, along a charge.

    Parameters
    ----------
    seen : Line
        Millivolts [mV] against charge [%].
    told_mv : float
        What a board tells apart [mV]; a dotted line across, hatched below.
    """
    across = {"color": "--stop", "dash": "dot", "width": 1.5}
    floor = {
        "type": "scatter",
        "mode": "lines",
        "name": "not told apart",
        "x": [0, 100],
        "y": [told_mv, told_mv],
        "fill": "tozeroy",
        "fillpattern": HATCH,
        "line": across,
        "hoverinfo": "skip",
    }
    label = {
        "x": 100,
        "y": told_mv,
        "text": f"boards tell {told_mv:g} mV apart",
        "showarrow": False,
        "xanchor": "right",
        "yanchor": "bottom",
        "bgcolor": "--paper",
        "borderpad": 1,
        "font": {"color": "--soft"},
    }
    return {
        "data": [floor, _line(seen, 1, "%{y:.1f} mV", x_digits=1)],
        "layout": {
            "xaxis": {"title": _title("charge, %"), "range": [0, 100], "unifiedhovertitle": {"text": "%{x:.0f} %"}},
            "yaxis": {"title": _title("mV for 1 %"), "range": [0, SIGHT_TOP * told_mv]},
            "annotations": [label],
            "margin": {"b": 48},
            "height": 280,
        },
    }


def _line(line: Line, digits: int, hover: str, x_digits: int = AH_DIGITS) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": line.name,
        "x": [round(float(x), x_digits) for x in line.x],
        "y": [round(float(y), digits) for y in line.y],
        "line": line.style.line(),
        "hovertemplate": hover,
    }


def _title(text: str) -> dict[str, Any]:
    return {"text": text, "font": {"color": "--soft"}}


def _span(values: Sequence[float]) -> tuple[float, float]:
    """The ends of an axis that shows every value with room above and below."""
    low, high = min(values), max(values)
    middle, half = (low + high) / 2.0, max(high - low, abs(high) * 0.01, 1e-6) / 2.0 * ROOM
    return round(middle - half, VOLT_DIGITS), round(middle + half, VOLT_DIGITS)


def _band(lower: Line, upper: Line) -> list[Figure]:
    """What is uncertain, as a wash between two edges that pointing does not list."""
    edge = {"line": {"width": 0, "color": "--slate"}, "hoverinfo": "skip"}
    wash = {"fill": "tonexty", "fillcolor": "--slate/.14"}
    return [_line(lower, 1, "") | edge, _line(upper, 1, "") | edge | wash]


def _unsure_label(low: float, high: float) -> Figure:
    return {
        "x": (low + high) / 2.0,
        "y": 4,
        "text": "a held voltage<br>cannot stop it here",
        "showarrow": False,
        "xanchor": "center",
        "yanchor": "bottom",
        "bgcolor": "--paper",
        "borderpad": 2,
        "font": {"color": "--soft"},
    }


def _first_label(name: str, ah: float) -> Figure:
    return {
        "x": 1,
        "y": round(ah, AH_DIGITS),
        "text": f"weakest: {as_text(name)}",
        "showarrow": False,
        "xanchor": "left",
        "yanchor": "middle",
        "xshift": 10,
        "font": {"color": "--lamp"},
    }
