"""The days of a meter's log as lines: kWh, and the charge that the monitor showed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from webapp.chart_parts import (
    KWH_DIGITS,
    PERCENT_DIGITS,
    PERCENT_GAP,
    PERCENT_TOP,
    Figure,
    Style,
    end_label,
    percent_axis,
    spaced,
)
from webapp.log_days import LogDays

Floats = NDArray[np.float64]

DRAWN = {
    "yield_w": ("yield", Style(color="--lamp", dash="solid", width=1.5)),
    "load_w": ("load", Style(color="--slate", dash="solid", width=2.5)),
    "load_dc_w": ("battery side", Style(color="--moss", dash="9px,4px", width=2.0)),
    "generator_w": ("generator", Style(color="--plum", dash="3px,3px", width=2.0)),
}
"""Energies that are drawn, with their short names; those of the bank stand in the table."""
_CHARGE = Style(color="--slate", dash="solid", width=2.5)
_EDGE = Style(color="--slate/.65", dash="solid", width=1.0)
_NARROW_AXIS: Figure = {"nticks": 3, "tickangle": 0, "tickformat": "%b %y"}
SHORT_DAYS = 92
"""A log of at most so many days is ticked by days, a longer one by months (choice)."""
_BY_DAYS: Figure = {"tickformat": "%-d %b"}
ROOM = 1.12


def kwh_figure(days: LogDays, which: slice) -> Figure | None:
    """Draw the kWh of each day; None where no energy of a day is known."""
    lines = [(name, days.kwh[key][which], style) for key, (name, style) in DRAWN.items() if key in days.kwh]
    lines = [one for one in lines if np.isfinite(one[1]).any()]
    if not lines:
        return None
    dates = days.dates[which]
    low = min(0.0, *(float(np.nanmin(values)) for _, values, _ in lines))
    top = max(float(np.nanmax(values)) for _, values, _ in lines) * ROOM or 1.0
    last = [_last(values) for _, values, _ in lines]
    places = spaced([end for _, end in last], (top - low) * PERCENT_GAP / 100.0, low, top)
    return {
        "data": [_line(dates, values, name, style, KWH_DIGITS, "%{y:.3g} kWh") for name, values, style in lines],
        "layout": {
            "xaxis": _axis(dates),
            "yaxis": {"range": [low, top], "title": {"text": "kWh a day", "font": {"color": "--soft"}}},
            "annotations": [
                end_label(str(dates[at]), end, place, name, style)
                for (name, _, style), (at, end), place in zip(lines, last, places, strict=True)
            ],
            "margin": {"r": 128},
        },
        "narrow": {"margin": {"r": 112}, "xaxis": _narrow_axis(dates)},
    }


def charge_figure(days: LogDays, which: slice) -> Figure | None:
    """Draw the charge that the monitor showed: the mean of each day, between its least and its highest."""
    if days.charge is None:
        return None
    low, mean, high = 100.0 * days.charge[:, which]
    dates = days.dates[which]
    top = max(PERCENT_TOP, *high[np.isfinite(high)].tolist(), 0.0)
    hover = "%{y:.0f} %"
    return {
        "data": [
            *(_band(dates[run], low[run].tolist(), high[run].tolist()) for run in _runs(np.isfinite(mean))),
            _line(dates, low, "lowest", _EDGE, PERCENT_DIGITS, hover),
            _line(dates, high, "highest", _EDGE, PERCENT_DIGITS, hover),
            _line(dates, mean, "on average", _CHARGE, PERCENT_DIGITS, hover),
        ],
        "layout": {"xaxis": _axis(dates), "yaxis": percent_axis() | {"range": [0, top]}},
        "narrow": {"xaxis": _narrow_axis(dates)},
    }


def _runs(known: NDArray[np.bool_]) -> list[slice]:
    """Stretches of days that are known, each without a break."""
    edges = np.diff(np.concatenate(([0], known.astype(np.int8), [0])))
    return [slice(int(a), int(b)) for a, b in zip(*(np.flatnonzero(edges == way) for way in (1, -1)), strict=True)]


def _band(dates: Sequence[date], low: list[float], high: list[float]) -> Figure:
    """What lies between the lowest and the highest of days in a row; pointing does not list it."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [str(day) for day in (*dates, *reversed(dates))],
        "y": [round(value, PERCENT_DIGITS) for value in (*low, *reversed(high))],
        "fill": "toself",
        "fillcolor": "--slate/.14",
        "line": {"width": 0},
        "hoverinfo": "skip",
    }


def _line(dates: Sequence[date], values: Floats, name: str, style: Style, digits: int, hover: str) -> Figure:
    """A line over days that breaks off where a day is not known."""
    return {
        "type": "scatter",
        "mode": "lines" if len(dates) > 1 else "lines+markers",
        "name": name,
        "x": [str(day) for day in dates],
        "y": [round(value, digits) if np.isfinite(value) else None for value in values.tolist()],
        "connectgaps": False,
        "hovertemplate": hover,
        "line": style.line(),
    }


def _axis(dates: Sequence[date]) -> Figure:
    ends = [str(dates[0]), str(dates[-1])]
    axis: Figure = {"type": "date", "range": ends, "hoverformat": "%a %-d %b %Y", "nticks": 7}
    return axis | _BY_DAYS if len(dates) <= SHORT_DAYS else axis


def _narrow_axis(dates: Sequence[date]) -> Figure:
    return _NARROW_AXIS | _BY_DAYS if len(dates) <= SHORT_DAYS else _NARROW_AXIS


def _last(values: Floats) -> tuple[int, float]:
    at = int(np.flatnonzero(np.isfinite(values))[-1])
    return at, float(values[at])
