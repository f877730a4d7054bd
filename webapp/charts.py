"""Answers as plotly figures in plain dicts: one family, one manner.

A line differs from its neighbours by dash and width and carries its name at its end; colour comes last.
Limits are hatched with a dotted edge. Colours are names of the style sheet, so that a chart follows light,
dark and paper. `static/app.js` adds fonts, grid and margins. Percent and times as people read them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from webapp.chart_parts import (
    ACROSS,
    AFTER,
    KWH_DIGITS,
    PERCENT_GAP,
    STYLES,
    Curve,
    Figure,
    Style,
    days_axis,
    end_label,
    floor_label,
    floor_trace,
    hatched_band,
    iso,
    line_trace,
    percent_axis,
    plain_trace,
    spaced,
)

AFTER_NAME = "if everything stays on"
LEAST_AFTER_SHARE = 0.08
FLAT_POINTS = 2.0
"""A dotted line that stays this close to its highest point [%] counts as flat."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """The row of the curve where the charge meets its limit, and the moments of the range (None: never)."""

    row: int
    label: str
    low: datetime | None
    high: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """What a curve may be in place of what it is, at its moments [%]."""

    times: tuple[datetime, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


def charge(
    curve: Curve,
    floor_percent: float,
    floor_name: str,
    ending: Ending | None,
    beside: Curve | None = None,
    band: Band | None = None,
) -> Figure:
    """Draw the charge of one bank with what may not be used of it as a hatched floor.

    Parameters
    ----------
    curve : Curve
        Charge over time.
    floor_percent : float
        Lowest charge to use [%].
    floor_name : str
        What the floor is.
    ending : Ending or None
        Where the charge meets its limit; None where it does not.
    beside : Curve, optional
        Another course of the charge from the moment at which it parts.
    band : Band, optional
        What the charge may be, as a wash behind its line.
    """
    first, last = curve.times[0], curve.times[-1]
    data = [floor_trace(first, last, floor_percent), *_washed(band)]
    annotations = [floor_label(last, floor_percent, floor_name)]
    cut = len(curve.times) if ending is None else ending.row + 1
    kept = Curve(name=curve.name, times=curve.times[:cut], percent=curve.percent[:cut])
    if ending is not None:
        rest = Curve(name="after that", times=curve.times[cut - 1 :], percent=curve.percent[cut - 1 :])
        at, level = kept.times[-1], kept.percent[-1]
        marker = {"color": "--lamp", "size": 10, "line": {"color": "--paper", "width": 2}}
        end = plain_trace([at], [level], mode="markers", marker=marker, name="ends")
        data += [line_trace(rest, AFTER), *_range(ending, level, last), line_trace(kept, STYLES[0]), end]
        annotations.append(_note(at, level, ending.label, first, last))
        if beside is None:
            annotations += _after_label(rest, first, last)
    else:
        data.append(line_trace(kept, STYLES[0]))
    if beside is not None:
        data.append(line_trace(beside, STYLES[1]))
        annotations.append(_beside_label(beside, first, last))
    return {
        "data": data,
        "layout": {"yaxis": percent_axis(), "xaxis": days_axis(first, last), "annotations": annotations},
        "narrow": {"xaxis": days_axis(first, last, every=2)},
    }


def week(curves: Sequence[Curve], short_names: Sequence[str], styles: Sequence[Style]) -> Figure:
    """Draw the charge of several chemistries over the same days, each named at its end.

    Parameters
    ----------
    curves : sequence of Curve
        Charge over time.
    short_names : sequence of str
        The name at the end of each line.
    styles : sequence of Style
        How each line is drawn.
    """
    first, last = curves[0].times[0], curves[0].times[-1]
    ends = [curve.percent[-1] for curve in curves]
    places = spaced(ends, PERCENT_GAP, 0.0, 100.0)
    annotations = [
        end_label(iso(last), end, place, name, style)
        for end, place, name, style in zip(ends, places, short_names, styles, strict=True)
    ]
    return {
        "data": [line_trace(curve, style) for curve, style in zip(curves, styles, strict=True)],
        "layout": {
            "yaxis": percent_axis(),
            "xaxis": days_axis(first, last),
            "annotations": annotations,
            "margin": {"r": 104},
            "height": 400,
        },
        "narrow": {"xaxis": days_axis(first, last, every=3), "margin": {"r": 98}, "height": 330},
    }


def sizes(
    label_kwh: Sequence[float], usable_kwh: Sequence[float], own_usable_kwh: float, never_refilled_from: int | None
) -> Figure:
    """Draw label and usable size against the days they carry, with the household's own bank across.

    Parameters
    ----------
    label_kwh, usable_kwh : sequences of float
        For 1, 2, ... days [kWh].
    own_usable_kwh : float
        Usable energy of the bank as it stands [kWh].
    never_refilled_from : int or None
        Fewest days whose bank ordinary days do not refill; hatched from there on.
    """
    days = list(range(1, len(label_kwh) + 1))
    top, right = max(*label_kwh, own_usable_kwh) * 1.12, days[-1] + 0.08
    lines = (
        ("label", list(label_kwh), STYLES[0]),
        ("usable", list(usable_kwh), STYLES[1]),
        ("your bank, usable", [own_usable_kwh] * len(days), ACROSS),
    )
    places = spaced([values[-1] for _, values, _ in lines], top * PERCENT_GAP / 100.0, 0.0, top)
    hatched = never_refilled_from is not None and never_refilled_from > days[0]
    data = []
    if never_refilled_from is not None and hatched:
        data = [hatched_band("not refilled", never_refilled_from - 0.5, right, round(top, KWH_DIGITS))]
    limit = [] if never_refilled_from is None else [_unrefilled_label(never_refilled_from if hatched else None)]
    names = ("label", "usable", "your bank")
    return {
        "data": data
        + [
            {
                "type": "scatter",
                "mode": "lines" if index == 2 else "lines+markers",
                "x": days,
                "y": [round(value, KWH_DIGITS) for value in values],
                "name": name,
                "line": style.line(),
                "marker": {"size": 7, "symbol": ("circle", "square", "line-ew")[index], "color": style.color},
                "hovertemplate": "%{y:.3g} kWh",
            }
            for index, (name, values, style) in enumerate(lines)
        ],
        "layout": {
            "xaxis": {
                "tickvals": days,
                "range": [days[0] - 0.2, right],
                "title": {"text": "days in a row", "font": {"color": "--soft"}},
                "unifiedhovertitle": {"text": "days in a row: %{x}"},
            },
            "yaxis": {"range": [0, top], "title": {"text": "kWh", "font": {"color": "--soft"}}},
            "annotations": [
                end_label(days[-1], values[-1], place, name, style)
                for (_, values, style), place, name in zip(lines, places, names, strict=True)
            ]
            + limit,
            "margin": {"r": 96, "b": 48},
        },
        "narrow": {"margin": {"r": 82}},
    }


def _washed(band: Band | None) -> list[Figure]:
    """The band as a wash between two thin edges."""
    if band is None:
        return []
    edge = {"color": "--slate/.65", "width": 0.75}
    low = plain_trace(band.times, band.low, mode="lines", name="low", line=edge)
    high = plain_trace(
        band.times, band.high, mode="lines", name="high", line=edge, fill="tonexty", fillcolor="--slate/.14"
    )
    return [low, high]


def _range(ending: Ending, percent: float, last: datetime) -> list[Figure]:
    """The range as a bar on the limit; open to the right where the better end never meets it."""
    if ending.low is None:
        return []
    right = last if ending.high is None else ending.high
    level = [percent, percent]
    ticks = {"symbol": "line-ns", "size": 15, "line": {"color": "--lamp", "width": [2, 2 if ending.high else 0]}}
    bar = {"color": "--lamp/.7", "width": 7}
    return [
        plain_trace([ending.low, right], level, mode="lines", line=bar, name="range"),
        plain_trace([ending.low, right], level, mode="markers", marker=ticks, name="ends of the range"),
    ]


def _note(moment: datetime, percent: float, text: str, first: datetime, last: datetime) -> Figure:
    """The words at the crossing, to the side that has room."""
    late = moment - first > (last - first) * 0.6
    return {
        "x": iso(moment),
        "y": percent,
        "text": text,
        "showarrow": False,
        "xanchor": "right" if late else "left",
        "yanchor": "bottom",
        "xshift": -4 if late else 4,
        "yshift": 10 if percent >= PERCENT_GAP else 26,
    }


def _after_label(rest: Curve, first: datetime, last: datetime) -> list[Figure]:
    """What the dotted line is, above its last highest point; nothing where it is too short to be seen."""
    if (last - rest.times[0]) < (last - first) * LEAST_AFTER_SHARE:
        return []
    inner = [row for row, time in enumerate(rest.times) if rest.times[0] + (last - rest.times[0]) * 0.25 <= time]
    highest = max(rest.percent[row] for row in inner)
    top = max(row for row in inner if rest.percent[row] >= highest - FLAT_POINTS)
    share = (rest.times[top] - first) / (last - first)
    return [
        {
            "x": iso(rest.times[top]),
            "y": round(rest.percent[top], 1),
            "text": AFTER_NAME,
            "showarrow": False,
            "xanchor": "left" if share < 0.3 else "right" if share > 0.7 else "center",
            "yanchor": "bottom",
            "yshift": 3,
            "bgcolor": "--paper",
            "borderpad": 1,
            "font": {"color": "--soft"},
        }
    ]


def _beside_label(beside: Curve, first: datetime, last: datetime) -> Figure:
    """The name of the other course, below where it parts and before it where there is room."""
    early = beside.times[0] - first < (last - first) * 0.25
    return {
        "x": iso(beside.times[0]),
        "y": round(beside.percent[0], 1),
        "text": beside.name,
        "showarrow": False,
        "xanchor": "left" if early else "right",
        "yanchor": "top",
        "xshift": 4 if early else -4,
        "yshift": -3,
        "bgcolor": "--paper",
        "borderpad": 1,
        "font": {"color": STYLES[1].color},
    }


def _unrefilled_label(first_day: int | None) -> Figure:
    """What the hatching means; None where it would cover all the days."""
    return {
        "x": 0 if first_day is None else first_day - 0.5,
        "xref": "paper" if first_day is None else "x",
        "y": 1,
        "yref": "paper",
        "text": "the panels refill none of these" if first_day is None else "the panels do not refill it",
        "showarrow": False,
        "xanchor": "left",
        "yanchor": "top",
        "yshift": -3,
        "xshift": 6,
        "bgcolor": "--paper",
        "borderpad": 2,
        "font": {"color": "--soft"},
    }
