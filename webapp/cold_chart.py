"""What a bank takes and gives over the temperatures of a shed: shares of its warm self, no charge hatched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from webapp.chart_parts import (
    ACROSS,
    PERCENT_GAP,
    PERCENT_TOP,
    STYLES,
    Figure,
    end_label,
    hatched_band,
    percent_axis,
    spaced,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Over:
    """A named line over temperatures [%]."""

    name: str
    percent: tuple[float, ...]


def temperatures(
    cell_c: Sequence[float], lines: Sequence[Over], now_c: float, charge_min_c: float, no_charge: str
) -> Figure:
    """Draw lines over the cell temperature, each named at its end, with the cells’ own temperature marked.

    Parameters
    ----------
    cell_c : sequence of float
        Temperatures of the points, rising [degC].
    charge_min_c : float
        Below it no charge is allowed, which is hatched [degC].
    no_charge : str
        What the hatching means.
    """
    first, last = cell_c[0], cell_c[-1]
    top = max(PERCENT_TOP, *(max(line.percent) + 1.0 for line in lines))
    places = spaced([line.percent[-1] for line in lines], PERCENT_GAP, 0.0, top)
    hatched = [hatched_band("no charge", first, min(charge_min_c, last), top)] if charge_min_c > first else []
    drawn = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": line.name,
            "x": list(cell_c),
            "y": [round(value, 1) for value in line.percent],
            "line": style.line(),
            "hovertemplate": "%{y:.0f} %",
        }
        for line, style in zip(lines, STYLES, strict=False)
    ]
    now = {
        "type": "scatter",
        "mode": "lines",
        "name": "cells now",
        "x": [now_c, now_c],
        "y": [0, top],
        "line": ACROSS.line(),
        "hoverinfo": "skip",
    }
    shown = first <= now_c <= last
    return {
        "data": [*hatched, *([now] if shown else []), *drawn],
        "layout": {
            "yaxis": percent_axis() | {"range": [0, top]},
            "xaxis": {"range": [first, last], **_ticks(10)},
            "annotations": [
                *([_note(first, no_charge, "left", 4)] if hatched else []),
                *([_note(now_c, "cells now", *_beside(now_c, first, last))] if shown else []),
                *(
                    end_label(last, line.percent[-1], place, line.name, style)
                    for line, place, style in zip(lines, places, STYLES, strict=False)
                ),
            ],
            "margin": {"r": 92},
        },
        "narrow": {"xaxis": {"range": [first, last], **_ticks(20)}, "margin": {"r": 84}},
    }


def _ticks(every: int) -> Figure:
    """Marks of the temperature, the first with its unit."""
    at = list(range(-20, 31, every))
    texts = [f"{celsius:d}".replace("-", "−") for celsius in at]
    return {"tickvals": at, "ticktext": [f"{texts[0]} °C", *texts[1:]], "tickangle": 0, "hoverformat": ".1f"}


def _beside(now_c: float, first: float, last: float) -> tuple[str, int]:
    """Side of its line on which a label has room, and the shift to it."""
    return ("left", 4) if now_c < (first + last) / 2.0 else ("right", -4)


def _note(x: float, text: str, anchor: str, shift: int) -> Figure:
    return {
        "x": x,
        "y": 0,
        "text": text,
        "showarrow": False,
        "xanchor": anchor,
        "xshift": shift,
        "yanchor": "bottom",
        "yshift": 2 if text == "cells now" else 18,
        "bgcolor": "--paper",
        "borderpad": 1,
        "font": {"color": "--soft"},
    }
