"""The charge volts as plotly figures in plain dicts: what a voltage reaches, and the pack against its inverter.

Volts per cell and percent of tested Ah on the first; volts of the whole pack on the second. Manner and colours as in
`charts`: lines differ by dash and carry their names, what is out of reach is hatched, words before colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from webapp.chart_parts import (
    HATCH,
    PERCENT_GAP,
    PERCENT_TOP,
    STYLES,
    Figure,
    Style,
    end_label,
    hatched_band,
    percent_axis,
    spaced,
)

VOLT_DIGITS = 3
PERCENT_DIGITS = 1
FLAT_WORDS = "voltage cannot tell charge here"
ROW_PX = 54
BAR_SHARE = 0.34
"""Thickness of a bar as a share of its row."""
ABOVE_HATCH = {"shape": "x", "fgcolor": "--stop", "bgcolor": "rgba(0,0,0,0)", "size": 7, "solidity": 0.2}
BELOW_HATCH = {**HATCH, "fgcolor": "--soft", "size": 7, "solidity": 0.2}
LABEL_PX = 36
"""Height of a label of two lines."""
EDGE_SHARE = 0.08
LIMIT = Style(color="--ink", dash="2px,3px", width=1.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """One line of charge reached [%] over the end volts, None where they do not tell it, with names for its end."""

    name: str
    short: str
    shortest: str
    percent: tuple[float | None, ...]
    style: Style


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One series count: pack volts of its ends and of what may be used [V], and the shares in words."""

    words: str
    short_words: str
    empty_v: float
    full_v: float
    low_v: float
    top_v: float


def reached(
    volts: Sequence[float],
    lines: Sequence[Reached],
    setting_v: float,
    setting_percent: float,
    flat: Sequence[tuple[float, float]],
) -> Figure:
    """Draw the charge reached against the end volts, each line named at its end, with the setting marked.

    Parameters
    ----------
    volts : sequence of float
        End volts [V per cell].
    lines : sequence of Reached
        What they reach.
    setting_v, setting_percent : float
        The setting asked about [V per cell] and what it reaches [%].
    flat : sequence of pairs
        Stretches of end volts in which a voltage does not decide the charge; hatched, with the words.
    """
    ends = _ends(volts, [line.short for line in lines], lines)
    marks = [_setting_label(setting_v, volts), *_flat_label(flat, volts)]
    return {
        "data": [
            *(hatched_band(FLAT_WORDS, low, high, PERCENT_TOP) for low, high in flat),
            *(_line(volts, line) for line in lines),
            _setting_line(setting_v),
            _setting_point(setting_v, setting_percent),
        ],
        "layout": {
            "xaxis": {
                "range": [volts[0], volts[-1] + (volts[-1] - volts[0]) * 0.005],
                "title": {"text": "end of the charge, V per cell", "font": {"color": "--soft"}},
                "unifiedhovertitle": {"text": "%{x:.2f} V per cell"},
            },
            "yaxis": percent_axis(),
            "annotations": [*ends, *marks],
            "margin": {"r": 132, "b": 48, "t": 26},
            "height": 380,
        },
        "narrow": {
            "annotations": [*_ends(volts, [line.shortest for line in lines], lines), *marks],
            "margin": {"r": 82, "t": 26},
            "height": 330,
        },
    }


def span(bars: Sequence[Bar], limits: Sequence[tuple[float, str]]) -> Figure:
    """Draw packs of several series counts against the limits of an inverter.

    Parameters
    ----------
    bars : sequence of Bar
        From top to bottom.
    limits : sequence of pairs
        Pack volts [V] and what stands there.
    """
    rows = [len(bars) - place for place in range(len(bars))]
    parts = (
        ("below the cut-off", [(bar.empty_v, bar.low_v) for bar in bars], {"pattern": BELOW_HATCH, "color": "--paper"}),
        ("inside", [(bar.low_v, bar.top_v) for bar in bars], {"color": "--slate"}),
        ("above the setting", [(bar.top_v, bar.full_v) for bar in bars], {"pattern": ABOVE_HATCH, "color": "--paper"}),
    )
    low = min(*(bar.empty_v for bar in bars), *(volts for volts, _ in limits))
    high = max(*(bar.full_v for bar in bars), *(volts for volts, _ in limits))
    room = (high - low) * 0.03
    names = _limit_labels(limits, low, high)
    above = LABEL_PX * (1 + (len(limits) > 2)) + 8
    return {
        "data": [*(_part(name, ends, rows, look) for name, ends, look in parts), *(_limit(v, rows) for v, _ in limits)],
        "layout": {
            "barmode": "overlay",
            "hovermode": "closest",
            "xaxis": {
                "range": [low - room, high + room],
                "title": {"text": "volts of the whole pack", "font": {"color": "--soft"}},
                "showgrid": True,
            },
            "yaxis": {"range": [0.4, len(bars) + 0.95], "tickvals": [], "showgrid": False},
            "annotations": [*names, *_bar_labels(bars, rows, low, short=False)],
            "margin": {"b": 48, "t": above, "l": 8},
            "height": ROW_PX * len(bars) + 48 + above,
        },
        "narrow": {"annotations": [*names, *_bar_labels(bars, rows, low, short=True)]},
    }


def hold_styles() -> tuple[Style, Style, Style]:
    """Return how a held charge is drawn, one that is not, and one that is not at the bench's current."""
    return STYLES[0], STYLES[1], STYLES[2]


def _ends(volts: Sequence[float], names: Sequence[str], lines: Sequence[Reached]) -> list[Figure]:
    """The names at the ends of the lines, the first line's on top where they end alike."""
    last = [next((value for value in reversed(line.percent) if value is not None), 0.0) for line in lines]
    places = spaced(last[::-1], PERCENT_GAP, 0.0, 100.0)[::-1]
    return [
        end_label(volts[-1], end, place, name, line.style)
        for line, end, place, name in zip(lines, last, places, names, strict=True)
    ]


def _line(volts: Sequence[float], line: Reached) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": line.name,
        "x": [round(value, VOLT_DIGITS) for value in volts],
        "y": [None if value is None else round(value, PERCENT_DIGITS) for value in line.percent],
        "line": line.style.line(),
        "hovertemplate": "%{y:.0f} %",
    }


def _flat_label(flat: Sequence[tuple[float, float]], volts: Sequence[float]) -> list[Figure]:
    """The words once beside the bands, to the side that has room; none without a band."""
    if not flat:
        return []
    first, last = flat[0][0], flat[-1][1]
    left = first - volts[0] > volts[-1] - last
    return [
        {
            "x": first if left else last,
            "y": 60,
            "text": "hatched: voltage<br>cannot tell charge",
            "align": "right" if left else "left",
            "showarrow": False,
            "xanchor": "right" if left else "left",
            "yanchor": "middle",
            "xshift": -4 if left else 4,
            "bgcolor": "--paper",
            "borderpad": 1,
            "font": {"color": "--soft"},
        }
    ]


def _setting_line(volts: float) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": "setting",
        "x": [volts, volts],
        "y": [0, PERCENT_TOP],
        "line": {"color": "--lamp", "dash": "2px,3px", "width": 1.5},
        "hoverinfo": "skip",
    }


def _setting_point(volts: float, percent: float) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "reached",
        "x": [volts],
        "y": [round(percent, PERCENT_DIGITS)],
        "marker": {"color": "--lamp", "size": 10, "line": {"color": "--paper", "width": 2}},
        "hoverinfo": "skip",
    }


def _setting_label(setting_v: float, volts: Sequence[float]) -> Figure:
    right = setting_v > volts[0] + (volts[-1] - volts[0]) * 0.75
    left = setting_v < volts[0] + (volts[-1] - volts[0]) * 0.25
    return {
        "x": setting_v,
        "y": 1,
        "yref": "paper",
        "text": f"set: {setting_v:.2f} V",
        "showarrow": False,
        "xanchor": "right" if right else "left" if left else "center",
        "yanchor": "bottom",
        "font": {"color": "--lamp"},
    }


def _part(name: str, ends: Sequence[tuple[float, float]], rows: Sequence[int], look: Figure) -> Figure:
    return {
        "type": "bar",
        "orientation": "h",
        "name": name,
        "y": list(rows),
        "base": [round(low, VOLT_DIGITS) for low, _ in ends],
        "x": [round(max(high - low, 0.0), VOLT_DIGITS) for low, high in ends],
        "width": BAR_SHARE,
        "marker": {**look, "line": {"color": "--soft", "width": 1}},
        "hoverinfo": "skip",
    }


def _limit(volts: float, rows: Sequence[int]) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": "limit",
        "x": [volts, volts],
        "y": [0.4, max(rows) + 0.95],
        "line": LIMIT.line(),
        "hoverinfo": "skip",
    }


def _limit_labels(limits: Sequence[tuple[float, str]], low: float, high: float) -> list[Figure]:
    """The names of the limits above their lines; a third one stands above the others."""
    return [
        {
            "x": volts,
            "y": 1,
            "yref": "paper",
            "text": text,
            "showarrow": False,
            "xanchor": _anchor((volts - low) / (high - low)),
            "yanchor": "bottom",
            "yshift": LABEL_PX * (place > 1),
            "font": {"color": "--ink"},
        }
        for place, (volts, text) in enumerate(limits)
    ]


def _anchor(share: float) -> str:
    """The side of a label that keeps it within the chart."""
    return "left" if share < EDGE_SHARE else "right" if share > 1.0 - EDGE_SHARE else "center"


def _bar_labels(bars: Sequence[Bar], rows: Sequence[int], low: float, *, short: bool) -> list[Figure]:
    return [
        {
            "x": low,
            "y": row + BAR_SHARE / 2.0 + 0.02,
            "text": bar.short_words if short else bar.words,
            "showarrow": False,
            "xanchor": "left",
            "yanchor": "bottom",
            "bgcolor": "--paper",
            "borderpad": 1,
        }
        for bar, row in zip(bars, rows, strict=True)
    ]
