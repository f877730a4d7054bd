"""The charge of a night: what the monitor showed, and what would have been in the cells under the leading causes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from webapp.chart_parts import (
    PERCENT_GAP,
    STYLES,
    Curve,
    Figure,
    end_label,
    floor_label,
    floor_trace,
    iso,
    line_trace,
    percent_axis,
    plain_trace,
    spaced,
)

MOST_TICKS = 6


def night(curves: Sequence[Curve], dark_at: datetime, floor_percent: float, floor_name: str) -> Figure:
    """Draw the monitor's line and those of the causes, each named at its end, with the moment it went dark.

    Parameters
    ----------
    curves : sequence of Curve
        The monitor first; no more than four.
    floor_percent : float
        Charge at which the bank as entered goes dark under the load [%].
    """
    first, last = curves[0].times[0], max(curve.times[-1] for curve in curves)
    highest = max(max(curve.percent) for curve in curves)
    axis = percent_axis() if highest > 50.0 else percent_axis() | _half_axis()
    places = spaced([curve.percent[-1] for curve in curves], PERCENT_GAP, 0.0, 100.0 if highest > 50.0 else 50.0)
    marker = {"color": "--lamp", "size": 10, "line": {"color": "--paper", "width": 2}}
    shown = plain_trace([dark_at], [curves[0].percent[-1]], mode="markers", marker=marker, name="dark")
    return {
        "data": [
            floor_trace(first, last, floor_percent),
            *(line_trace(curve, style) for curve, style in zip(curves, STYLES, strict=False)),
            shown,
        ],
        "layout": {
            "yaxis": axis,
            "xaxis": _hours_axis(first, last),
            "annotations": [
                floor_label(last, floor_percent, floor_name) | {"x": iso(first), "xanchor": "left"},
                *(
                    end_label(iso(last), curve.percent[-1], place, curve.name, style)
                    for curve, place, style in zip(curves, places, STYLES, strict=False)
                ),
            ],
            "margin": {"r": 104},
        },
        "narrow": {"xaxis": _hours_axis(first, last, most=3), "margin": {"r": 98}},
    }


def _half_axis() -> Figure:
    return {"range": [0, 50.5], "tickvals": [0, 10, 20, 30, 40, 50], "ticktext": ["0 %", "10", "20", "30", "40", "50"]}


def _hours_axis(first: datetime, last: datetime, most: int = MOST_TICKS) -> Figure:
    """Whole hours, as many as there is room for."""
    hours = [first.replace(minute=0, second=0, microsecond=0) + timedelta(hours=n) for n in range(1, 26)]
    inside = [hour for hour in hours if first <= hour <= last]
    kept = inside[:: max(1, -(-len(inside) // most))]
    return {
        "type": "date",
        "range": [iso(first), iso(last)],
        "tickvals": [iso(hour) for hour in kept],
        "ticktext": [f"{hour:%H:%M}" for hour in kept],
        "tickangle": 0,
        "hoverformat": "%H:%M",
    }
