"""A stored number as a field shows it, and the sentence that refuses one, in the units of the household."""

from __future__ import annotations

import math

from engine.fields import Quantity, plain
from engine.house.wiring import awg_name
from engine.quantities import HOURS_PER_DAY
from webapp.units import (
    SI,
    chosen,
    figures,
    notation,
    point_text,
    scale_of,
    shown_meaning,
    with_12_hours,
)

MOST_TYPED = 9
"""Digits of a number up to which it may have been typed; one with more was worked out, from another unit say."""
LAST_MINUTE = 24 * 60 - 1
"""Of a day: what lies after it, and is no midnight yet, is written as it."""


def shown_text(value: float | int, meaning: Quantity) -> str:
    """Write a stored number as a field shows it, in the units and with the sign of the household.

    Examples
    --------
    >>> shown_text(0.155, Quantity(label="Reserve", unit="%", low=0, high=1, percent=True))
    '15.5'
    >>> shown_text(12.2222222222, Quantity(label="Cells at", unit="°C", low=-40, high=60))
    '12.2222'
    """
    units = chosen()
    if meaning.clock and units.clock == "12":
        last = LAST_MINUTE if value < HOURS_PER_DAY else LAST_MINUTE + 1
        minutes = min(round(value * 60.0), last)
        return with_12_hours(minutes // 60, minutes % 60)
    if meaning.unit == "mm²" and units.wire == "awg":
        return awg_name(value) or f"{notation(point_text(value), units)} mm²"
    scale = scale_of(meaning.unit, units)
    if scale is not None:
        return notation(point_text(figures(scale.shown(value))), units)
    return notation(_readable(value * meaning.scale), units)


def _readable(number: float) -> str:
    """A number with all its digits, or to six figures where nobody would have typed so many."""
    text = point_text(number)
    typed = len(text.replace(".", "").lstrip("-0")) <= MOST_TYPED
    return text if typed or "." not in text else point_text(float(f"{number:.6g}"))


def refusal(value: object, meaning: Quantity) -> str | None:
    """Return the sentence that refuses a value as stored, or a text that is no number, in the person's units.

    Examples
    --------
    >>> refusal(70.0, Quantity(label="Cells at", unit="°C", low=-40, high=60))
    'Cells at must be a number from -40 to 60 °C; got 70.'
    """
    said = meaning.refuse(value)
    units = chosen()
    if said is None or units == SI:
        return said
    got = said.rpartition("; got ")[2]
    if meaning.clock and units.clock == "12":
        kind = "a whole or half hour" if meaning.halves else "a time"
        return f"{meaning.label} must be {kind} of the day, such as 10:30 pm; got {got}"
    if meaning.unit == "mm²" and units.wire == "awg":
        span = f"{point_text(meaning.low)} to {point_text(meaning.high)} mm²"
        return f"{meaning.label} must be an AWG size such as 4 or 2/0, or from {span} with the unit; got {got}"
    scale = scale_of(meaning.unit, units)
    if scale is None:
        return said
    number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if number:
        got = f"{scale.shown(value):g}."  # type: ignore[arg-type]
    shown = shown_meaning(meaning, units)
    kind = "a whole number" if meaning.whole else "a number"
    return f"{shown.label} must be {kind} from {plain(shown.low)} to {plain(shown.high)} {shown.unit}; got {got}"
