"""The charge of the bank with and without the car, over what may not be used of it."""

from __future__ import annotations

from datetime import datetime

from webapp.chart_parts import (
    PERCENT_GAP,
    STYLES,
    Curve,
    Figure,
    Style,
    days_axis,
    end_label,
    floor_label,
    floor_trace,
    iso,
    line_trace,
    percent_axis,
    spaced,
)


def charge(without: Curve, with_car: Curve | None, floor_percent: float, floor_name: str) -> Figure:
    """Draw one or two courses of the charge, each named at its end.

    Parameters
    ----------
    floor_percent : float
        Lowest charge to use [%].
    """
    first, last = without.times[0], without.times[-1]
    lines = [(without, STYLES[1]), *([] if with_car is None else [(with_car, STYLES[0])])]
    places = spaced([curve.percent[-1] for curve, _ in lines], PERCENT_GAP, 0.0, 100.0)
    return {
        "data": [floor_trace(first, last, floor_percent), *(line_trace(curve, style) for curve, style in lines)],
        "layout": {
            "yaxis": percent_axis(),
            "xaxis": days_axis(first, last),
            "annotations": [
                floor_label(last, floor_percent, floor_name),
                *(_end(last, curve, place, style) for (curve, style), place in zip(lines, places, strict=True)),
            ],
            "margin": {"r": 116},
        },
        "narrow": {"xaxis": days_axis(first, last, every=3), "margin": {"r": 104}},
    }


def _end(last: datetime, curve: Curve, place: float, style: Style) -> Figure:
    return end_label(iso(last), curve.percent[-1], place, curve.name, style)
