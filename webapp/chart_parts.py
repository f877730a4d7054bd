"""What every chart is put together from: line styles, labels that keep apart, axes, hatched limits.

Colours are names of the style sheet; times are clock times of the household.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

Figure = dict[str, Any]

PERCENT_TOP = 101.0
"""Top of an axis of 0 to 100 %: room for a line at 100."""
PERCENT_GAP = 8.0
"""Least distance of two end labels on an axis of 0 to 100 %: one line of text, on the lowest chart."""
KWH_DIGITS = 3
PERCENT_DIGITS = 1
"""As the tables beside the charts print them; a tenth of a percent is less than a pixel."""
HATCH = {"shape": "/", "fgcolor": "--hatch", "bgcolor": "rgba(0,0,0,0)", "size": 8, "solidity": 0.12}


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """How one line is drawn."""

    color: str
    dash: str
    width: float

    def line(self) -> dict[str, str | float]:
        """Return it as plotly's `line`."""
        return {"color": self.color, "dash": self.dash, "width": self.width}


STYLES = (
    Style(color="--slate", dash="solid", width=3.0),
    Style(color="--moss", dash="9px,4px", width=2.5),
    Style(color="--plum", dash="3px,3px", width=2.5),
    Style(color="--lamp", dash="11px,3px,2px,3px", width=1.75),
)
"""Told apart without colour: by dash first, then by width."""
AFTER = Style(color="--soft", dash="1px,3px", width=1.5)
ACROSS = Style(color="--ink", dash="2px,3px", width=1.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A named line over moments: what the chart draws and its table lists."""

    name: str
    times: tuple[datetime, ...]
    percent: tuple[float, ...]


def spaced(values: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places for labels near their values, at least `gap` apart and within `low` to `high`.

    Examples
    --------
    >>> spaced([50.0, 51.0, 90.0], 8.0, 0.0, 100.0)
    [46.5, 54.5, 90.0]
    >>> spaced([99.0, 100.0, 100.0], 8.0, 0.0, 100.0)
    [84.0, 92.0, 100.0]
    """
    order = sorted(range(len(values)), key=lambda index: values[index])
    groups: list[tuple[list[int], float]] = []
    for index in order:
        groups.append(([index], min(max(values[index], low), high)))
        while len(groups) > 1 and _reach(groups[-2], gap)[1] + gap > _reach(groups[-1], gap)[0]:
            (lower, below), (upper, above) = groups[-2:]
            count = len(lower) + len(upper)
            middle = (below * len(lower) + above * len(upper)) / count
            half = gap * (count - 1) / 2.0
            groups[-2:] = [(lower + upper, max(min(middle, high - half), low + half))]
    places = [0.0] * len(values)
    for members, middle in groups:
        start, _ = _reach((members, middle), gap)
        for step, index in enumerate(members):
            places[index] = start + gap * step
    return places


def _reach(group: tuple[list[int], float], gap: float) -> tuple[float, float]:
    half = gap * (len(group[0]) - 1) / 2.0
    return group[1] - half, group[1] + half


def as_text(name: str) -> str:
    """Return a name somebody typed as a chart shows it, letter by letter: plotly draws some HTML in its texts.

    Examples
    --------
    >>> as_text("<b>Z1</b> & co")
    '&lt;b&gt;Z1&lt;/b&gt; &amp; co'
    """
    return html.escape(name, quote=False)


def iso(moment: datetime) -> str:
    """Write a moment as plotly reads it."""
    return moment.isoformat(sep=" ", timespec="seconds")


HOURS = tuple(iso(datetime(2000, 1, 1) + timedelta(hours=hour)) for hour in range(25))
"""The hours of a day from its beginning to its end, as plotly reads them; of which day is shown nowhere."""


def plain_trace(times: Sequence[datetime], percent: Sequence[float], **more: Any) -> Figure:
    """A trace that pointing at the chart does not list."""
    return {
        "type": "scatter",
        "x": [iso(moment) for moment in times],
        "y": [round(value, PERCENT_DIGITS) for value in percent],
        "hoverinfo": "skip",
        **more,
    }


def line_trace(curve: Curve, style: Style) -> Figure:
    """Return a named line that pointing at the chart lists."""
    return {
        "type": "scatter",
        "mode": "lines",
        "name": curve.name,
        "x": [iso(moment) for moment in curve.times],
        "y": [round(value, PERCENT_DIGITS) for value in curve.percent],
        "line": style.line(),
        "hovertemplate": "%{y:.0f} %",
    }


def floor_trace(first: datetime, last: datetime, percent: float) -> Figure:
    """Return what may not be used: hatched from nothing up to `percent`, with a dotted edge."""
    edge = {"color": "--stop", "dash": "dot", "width": 1.5}
    level = [percent, percent]
    return plain_trace([first, last], level, mode="lines", name="floor", fill="tozeroy", fillpattern=HATCH, line=edge)


def hatched_band(name: str, low: float, high: float, top: float) -> Figure:
    """Return a hatched stretch of the x axis up to `top`, with a dotted edge; pointing does not list it."""
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": [low, low, high, high],
        "y": [0, top, top, 0],
        "fill": "tozeroy",
        "fillpattern": HATCH,
        "line": {"color": "--stop", "dash": "dot", "width": 1},
        "hoverinfo": "skip",
    }


def floor_label(last: datetime, percent: float, name: str) -> Figure:
    """Return the name of the floor, at its right end, inside where there is room."""
    inside = percent >= PERCENT_GAP
    return {
        "x": iso(last),
        "y": percent,
        "text": name,
        "showarrow": False,
        "xanchor": "right",
        "yanchor": "top" if inside else "bottom",
        "yshift": -2 if inside else 2,
        "bgcolor": "--paper",
        "borderpad": 1,
        "font": {"color": "--soft"},
    }


def end_label(x: str | float, y: float, place: float, name: str, style: Style) -> Figure:
    """A name beside the end of its line, with a thin leader where it had to move."""
    return {
        "x": x,
        "y": round(y, KWH_DIGITS),
        "ax": 20,
        "ay": round(place, KWH_DIGITS),
        "ayref": "y",
        "text": name,
        "showarrow": True,
        "arrowhead": 0,
        "arrowwidth": 1,
        "arrowcolor": style.color,
        "standoff": 2,
        "xanchor": "left",
        "yanchor": "middle",
        "font": {"color": style.color},
    }


def percent_axis() -> Figure:
    """Return the axis of charge."""
    return {"range": [0, PERCENT_TOP], "tickvals": [0, 25, 50, 75, 100], "ticktext": ["0 %", "25", "50", "75", "100"]}


def hours_axis(every: int) -> Figure:
    """Return the axis of `HOURS`, with a tick at every so many."""
    return {
        "type": "date",
        "range": [HOURS[0], HOURS[-1]],
        "tickvals": list(HOURS[::every]),
        "tickformat": "%H:%M",
        "hoverformat": "from %H:%M",
    }


def days_axis(first: datetime, last: datetime, every: int = 1) -> Figure:
    """Days named at their noon, with a tick at every midnight."""
    days = [first.date() + timedelta(days=n) for n in range((last.date() - first.date()).days + 1)]
    noons = [(day, datetime.combine(day, datetime.min.time()) + timedelta(hours=12)) for day in days]
    midnights = [iso(noon - timedelta(hours=12)) for _, noon in noons[1:]]
    shown = [(day, noon) for day, noon in noons if first <= noon <= last][::every]
    return {
        "type": "date",
        "range": [iso(first), iso(last)],
        "tickvals": [iso(noon) for _, noon in shown],
        "ticktext": [_short(day) for day, _ in shown],
        "ticks": "",
        "minor": {"tickvals": midnights, "ticks": "outside", "ticklen": 6, "tickcolor": "--soft"},
        "hoverformat": "%a %-d %b, %H:%M",
    }


def _short(day: date) -> str:
    """Name a weekday in three letters."""
    return ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")[day.weekday()]
