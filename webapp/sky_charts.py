"""Today's sun hour by hour: a clear day, the sky of now and then what is likely with its range, and the day
that was assumed.

kW of all panels before the charger; hours of the household's clock. Lines differ by dash and width and carry their
names; the range has dotted edges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from webapp.chart_parts import AFTER, KWH_DIGITS, PERCENT_GAP, STYLES, Figure, Style, spaced

EDGE = Style(color="--lamp", dash="dot", width=1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayLine:
    """A line of the chart and a column of its table."""

    name: str
    kw: tuple[float, ...]
    style: Style


CLEAR, NOW, ASSUMED = STYLES[1], STYLES[0], AFTER


def day(
    hours: Sequence[float],
    lines: Sequence[DayLine],
    ends_kw: Sequence[Sequence[float]],
    now: tuple[float, float] | None,
) -> Figure:
    """Draw the hours of a day.

    Parameters
    ----------
    hours : sequence of float
        Middles of the hours, on the clock.
    lines : sequence of DayLine
        What is drawn over the range.
    ends_kw : sequence of sequences of float
        The low and the high end of the range; empty where there is none.
    now : (hour, kW) or None
        Where the reading stands.
    """
    data = [*_band(hours, ends_kw), *(_line(hours, one) for one in lines)]
    if now is not None:
        marker = {"color": "--lamp", "size": 10, "line": {"color": "--paper", "width": 2}}
        data.append(_trace("now", [now[0]], [now[1]], mode="markers", marker=marker, hoverinfo="skip"))
    ticks = list(range(int(hours[0]), int(hours[-1]) + 2, 2))
    names = [f"{hour % 24:02}:00" for hour in ticks]
    axis = {
        "range": [hours[0] - 0.5, hours[-1] + 0.5],
        "tickvals": ticks,
        "ticktext": names,
        "unifiedhovertitle": {"text": "about %{x:.1f} h"},
    }
    top = 1.15 * max(max(values) for values in (*(one.kw for one in lines), *ends_kw))
    return {
        "data": data,
        "layout": {
            "xaxis": axis,
            "yaxis": {"range": [0, top], "title": {"text": "kW", "font": {"color": "--soft"}}},
            "annotations": _names(hours, lines, top),
        },
        "narrow": {"xaxis": axis | {"tickvals": ticks[::2], "ticktext": names[::2]}},
    }


def _names(hours: Sequence[float], lines: Sequence[DayLine], top: float) -> list[Figure]:
    """The lines' names over the hour in which the first is highest, kept apart."""
    place = max(range(len(hours)), key=lambda index: lines[0].kw[index])
    heights = [one.kw[place] for one in lines]
    apart = spaced(heights, top * PERCENT_GAP / 100.0, 0.0, top)
    return [
        {
            "x": hours[place],
            "y": round(height, KWH_DIGITS),
            "text": one.name,
            "showarrow": False,
            "yanchor": "bottom",
            "yshift": 3,
            "bgcolor": "--paper",
            "borderpad": 1,
            "font": {"color": one.style.color},
        }
        for one, height in zip(lines, apart, strict=True)
    ]


def _band(hours: Sequence[float], ends_kw: Sequence[Sequence[float]]) -> list[Figure]:
    if not ends_kw:
        return []
    low_kw, high_kw = ends_kw
    edge = {"mode": "lines", "line": EDGE.line(), "hoverinfo": "skip"}
    return [
        _trace("low end", hours, low_kw, **edge),
        _trace("high end", hours, high_kw, fill="tonexty", fillcolor="--lamp/.15", **edge),
    ]


def _line(hours: Sequence[float], one: DayLine) -> Figure:
    return _trace(one.name, hours, one.kw, mode="lines", line=one.style.line(), hovertemplate="%{y:.2f} kW")


def _trace(name: str, hours: Sequence[float], kw: Sequence[float], **more: object) -> Figure:
    values = [round(value, KWH_DIGITS) for value in kw]
    return {"type": "scatter", "name": name, "x": list(hours), "y": values, **more}
