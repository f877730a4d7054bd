"""Pictures of a log beside the model as plotly figures in plain dicts: days, hours of the day, and the charge."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from webapp.chart_parts import (
    HOURS,
    KWH_DIGITS,
    PERCENT_GAP,
    STYLES,
    Figure,
    end_label,
    hours_axis,
    percent_axis,
    spaced,
)
from webapp.forms import MONTHS

ROOM = 1.08
MOST_TICKS, MOST_NARROW_TICKS = 12, 5
Numbers = Sequence[float | None]


def days(dates: Sequence[date], measured: Numbers, band: tuple[Numbers, Numbers], model: tuple[str, Numbers]) -> Figure:
    """Draw each day’s kWh over what the model says: a wash from dull to clear days, and a line.

    Parameters
    ----------
    band : (dull, clear)
        The wash’s edges [kWh].
    model : (str, numbers)
        The line’s name, average days or the very days [kWh].
    """
    low, high = band
    known = [value for one in (measured, high, model[1]) for value in one if value is not None]
    top = max([*known, 0.1]) * ROOM
    edge = {"color": "--lamp/.7", "width": 0.75}
    named = (("measured", measured, STYLES[0]), (model[0], model[1], STYLES[1]))
    return {
        "data": [
            _trace(dates, low, mode="lines", name="dull day", line=edge, hoverinfo="skip"),
            _trace(
                dates,
                high,
                mode="lines",
                name="clear day",
                line=edge,
                fill="tonexty",
                fillcolor="--lamp/.12",
                hovertemplate="%{y:.3g} kWh",
            ),
            _trace(dates, model[1], mode="lines", name=model[0], line=STYLES[1].line(), hovertemplate="%{y:.3g} kWh"),
            _trace(
                dates,
                measured,
                mode="lines+markers",
                name="measured",
                line={"color": STYLES[0].color, "width": 1.0},
                marker={"color": STYLES[0].color, "size": 5},
                hovertemplate="%{y:.3g} kWh",
            ),
        ],
        "layout": {
            "xaxis": _dates_axis(dates, MOST_TICKS),
            "yaxis": {"range": [0, round(top, KWH_DIGITS)], "title": _title("kWh a day")},
            "annotations": [*_ends(dates, named, top), *_top_name(dates, high)],
            "margin": {"r": 92, "l": 52},
        },
        "narrow": {"xaxis": _dates_axis(dates, MOST_NARROW_TICKS), "margin": {"r": 84, "l": 44}},
    }


def hours(measured: Numbers, model: Numbers) -> Figure:
    """Draw the mean of each hour of the day, measured and by the loads [W]."""
    top = max([*(value for one in (measured, model) for value in one if value is not None), 1.0]) * ROOM
    named = (("measured", measured, STYLES[0]), ("the loads", model, STYLES[1]))
    ends = [_last(values) for _, values, _ in named]
    places = spaced([end or 0.0 for end in ends], top * PERCENT_GAP / 100.0, 0.0, top)
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "lines",
                "name": name,
                "x": list(HOURS),
                "y": [None if value is None else round(value, 1) for value in (*values, values[-1])],
                "line": style.line() | {"shape": "hv"},
                "hovertemplate": "%{y:.0f} W",
            }
            for name, values, style in named
        ],
        "layout": {
            "xaxis": hours_axis(3),
            "yaxis": {"range": [0, round(top, 1)], "title": _title("W")},
            "annotations": [
                end_label(HOURS[-1], end, place, name, style)
                for end, place, (name, _, style) in zip(ends, places, named, strict=True)
                if end is not None
            ],
            "margin": {"r": 92, "l": 56},
        },
        "narrow": {"xaxis": hours_axis(6), "margin": {"r": 84, "l": 48}},
    }


def charge(dates: Sequence[date], monitor: Numbers, rerun: Numbers) -> Figure:
    """Draw each day’s lowest charge, by the monitor and by the run [%]."""
    named = (("monitor", monitor, STYLES[0]), ("worked out", rerun, STYLES[1]))
    return {
        "data": [
            _trace(dates, values, mode="lines", name=name, line=style.line(), hovertemplate="%{y:.0f} %")
            for name, values, style in named
        ],
        "layout": {
            "xaxis": _dates_axis(dates, MOST_TICKS),
            "yaxis": percent_axis(),
            "annotations": _ends(dates, named, 100.0),
            "margin": {"r": 104},
        },
        "narrow": {"xaxis": _dates_axis(dates, MOST_NARROW_TICKS), "margin": {"r": 92}},
    }


def _trace(dates: Sequence[date], values: Numbers, **more: object) -> Figure:
    y = [None if value is None else round(value, KWH_DIGITS) for value in values]
    return {"type": "scatter", "x": [day.isoformat() for day in dates], "y": y, "connectgaps": False, **more}


def _ends(dates: Sequence[date], named: Sequence[tuple[str, Numbers, object]], top: float) -> list[Figure]:
    """The name of each line where its last known day is."""
    known = [(name, *_last_at(dates, values), style) for name, values, style in named if _last(values) is not None]
    places = spaced([y for _, _, y, _ in known], top * PERCENT_GAP / 100.0, 0.0, top)
    last = dates[-1].isoformat()
    return [
        end_label(last, y, place, name, style)  # type: ignore[arg-type]
        for (name, _, y, style), place in zip(known, places, strict=True)
    ]


def _top_name(dates: Sequence[date], high: Numbers) -> list[Figure]:
    """What the wash is, at its upper edge in the middle."""
    place = len(dates) // 2
    if high[place] is None:
        return []
    return [
        {
            "x": dates[place].isoformat(),
            "y": round(high[place] or 0.0, KWH_DIGITS),
            "text": "clear day; below it, to a dull one",
            "showarrow": False,
            "yanchor": "bottom",
            "yshift": 2,
            "bgcolor": "--paper",
            "borderpad": 1,
            "font": {"color": "--soft"},
        }
    ]


def _last(values: Numbers) -> float | None:
    return next((value for value in reversed(values) if value is not None), None)


def _last_at(dates: Sequence[date], values: Numbers) -> tuple[date, float]:
    return next((day, value) for day, value in zip(reversed(dates), reversed(values), strict=True) if value is not None)


def _title(text: str) -> Figure:
    return {"text": text, "font": {"color": "--soft"}}


def _dates_axis(dates: Sequence[date], most: int) -> Figure:
    """Marks at the beginnings of months, or of days where there are few; no more than `most`."""
    first, last = dates[0], dates[-1]
    marks = [day for day in dates if day.day == 1]
    if len(marks) < 2:
        marks = list(dates)
    marks = marks[:: -(-len(marks) // most)]
    years = first.year != last.year
    by_day = any(day.day != 1 for day in marks)
    return {
        "type": "date",
        "range": [(first - timedelta(hours=12)).isoformat(), (last + timedelta(days=1)).isoformat()],
        "tickvals": [day.isoformat() for day in marks],
        "ticktext": [_named(day, years=years, by_day=by_day) for day in marks],
        "hoverformat": "%a %-d %b %Y",
    }


def _named(day: date, *, years: bool, by_day: bool) -> str:
    month = MONTHS[day.month - 1]
    return f"{day.day} {month}" if by_day else f"{month} {day.year % 100:02}" if years else month
