"""The year of the panels as a plotly figure in plain dicts, in the manner of `charts`."""

from __future__ import annotations

from collections.abc import Sequence

from webapp.chart_parts import KWH_DIGITS, PERCENT_GAP, STYLES, Figure, end_label, spaced
from webapp.forms import MONTHS

ROOM = 1.1
SYMBOLS = ("circle", "square", "diamond")


def year(lines: Sequence[tuple[str, Sequence[float]]]) -> Figure:
    """Draw kWh a day by month.

    Parameters
    ----------
    lines : sequence of (str, 12 floats)
        Name and kWh a day of up to three kinds of day, January first.
    """
    months = list(range(1, 13))
    top = max(max(kwh) for _, kwh in lines) * ROOM or 1.0
    places = spaced([kwh[-1] for _, kwh in lines], top * PERCENT_GAP / 100.0, 0.0, top)
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "lines+markers",
                "name": name,
                "x": months,
                "y": [round(one, KWH_DIGITS) for one in kwh],
                "line": style.line(),
                "marker": {"size": 6, "symbol": symbol, "color": style.color},
                "hovertemplate": "%{y:.3g} kWh",
            }
            for (name, kwh), style, symbol in zip(lines, STYLES, SYMBOLS, strict=False)
        ],
        "layout": {
            "xaxis": {"tickvals": months, "ticktext": list(MONTHS), "range": [0.7, 12.15]},
            "yaxis": {"range": [0, top], "title": {"text": "kWh a day", "font": {"color": "--soft"}}},
            "annotations": [
                end_label(12, kwh[-1], place, name, style)
                for (name, kwh), place, style in zip(lines, places, STYLES, strict=False)
            ],
            "margin": {"r": 84},
        },
        "narrow": {"xaxis": {"tickvals": months[::2], "ticktext": list(MONTHS[::2]), "range": [0.7, 12.15]}},
    }
