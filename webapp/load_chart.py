"""The mean days of a measured load as a plotly figure in plain dicts, in the manner of `charts`."""

from __future__ import annotations

from collections.abc import Sequence

from webapp.chart_parts import HOURS, PERCENT_GAP, STYLES, Figure, Style, end_label, hours_axis, spaced

ROOM = 1.1
WATT_DIGITS = 1
OTHERS = Style(color="--soft", dash="solid", width=0.75)


def mean_days(days: Sequence[tuple[str, Sequence[float]]], named: Sequence[int]) -> Figure:
    """Draw W by the hour.

    Parameters
    ----------
    days : sequence of (str, 24 floats)
        Name and mean power of each hour [W].
    named : sequence of int
        Which of them are drawn strong and named at their end, at most four; the others are thin.
    """
    top = max(max(watts) for _, watts in days) * ROOM or 1.0
    ends = [days[index][1][-1] for index in named]
    places = spaced(ends, top * PERCENT_GAP / 100.0, 0.0, top)
    thin = [_line(name, watts, OTHERS, {"hoverinfo": "skip"}) for i, (name, watts) in enumerate(days) if i not in named]
    shown = {"hovertemplate": "%{y:,.0f} W"}
    strong = [_line(*days[index], style, shown) for index, style in zip(named, STYLES, strict=False)]
    return {
        "data": [*thin, *strong],
        "layout": {
            "xaxis": hours_axis(6),
            "yaxis": {"range": [0, top], "title": {"text": "W", "font": {"color": "--soft"}}},
            "annotations": [
                end_label(HOURS[-1], end, place, days[index][0], style)
                for index, end, place, style in zip(named, ends, places, STYLES, strict=False)
            ],
            "margin": {"r": 96},
        },
    }


def _line(name: str, watts: Sequence[float], style: Style, more: Figure) -> Figure:
    """An hour's mean lasts from its beginning to the next."""
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": list(HOURS),
        "y": [round(one, WATT_DIGITS) for one in (*watts, watts[-1])],
        "line": {**style.line(), "shape": "hv"},
        **more,
    }
