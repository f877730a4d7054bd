"""Why days of the panels were out: covered, held back by a full bank, shaded at one time of day, or only the weather.

Shade is looked for in the morning’s and the evening’s part of the yield over weeks, since clouds come at any time of
day and trees do not. Days on which the bank was near full while the sun shone are left out whole: of a day all parts
count or none, or the days that differ would look like times of day that do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.answers.checking_parts import (
    ABOVE,
    COVERED,
    FULL,
    SHADE,
    UNKNOWN,
    WEATHER,
    Flags,
    Floats,
    Likely,
    WorstDay,
    day_of,
    known,
    likely,
    percent,
    spans,
    worst_days,
)
from engine.answers.checking_yield import ABOVE_CLEAR, LEAST_CLEAR_KWH, NEAR_ZERO, YieldDays

LEAST_YIELD_SHARE = 0.10
"""A day is among the worst from an error of so much of a clear day on; the model is hardly better (judgement)."""
LIT_SHARE, LIT_WITHIN_DAYS, LONGEST_COVER_DAYS = 0.5, 5, 30
"""Days are likely covered where, within five days before and after them, one gave half of what its month gives on
average, and they are no more than thirty in a row (judgement)."""
LIT_SAME_DAY = 0.08
"""And where the sky is known: the model must give so much of a clear day (judgement)."""
SHADE_DAYS = 21
"""Shade is looked for in so many days about each day (judgement: three weeks of mixed weather even out)."""
LEAST_SHADE_DAYS = 12
"""Of which so many must be lit (judgement)."""
SHADE_LOSS = 0.25
"""A part of the day is likely shaded where it gave so much less than the day’s other parts, each of their own on a
clear day (judgement: clouds do not do that for weeks)."""
LIT_DAY = 0.25
"""Only days that gave so much of a clear day are looked at for shade: on dull days there is none (judgement)."""
MOST_HELD = 2
"""Of the worst days so many may be ones of a full bank, which is no fault; all are counted (choice)."""
PARTS = ("morning", "midday", "afternoon")
SHADED_PARTS = (0, 2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shade:
    """Whether each part of each day is likely shaded, (n, 3), and what it lacks of the other parts’ share (n, 3)."""

    there: Flags
    lacks: Floats


def parts_of_day(clear_hours: Floats) -> Floats:
    """Return which third of a clear day’s kWh each hour belongs to, (n, 24) of 0, 1 and 2; -1 without sun."""
    total = np.maximum(clear_hours.sum(axis=1, keepdims=True), 1e-9)
    middle = (np.cumsum(clear_hours, axis=1) - clear_hours / 2.0) / total
    return np.where(clear_hours > 0.0, np.minimum(np.floor(middle * 3.0), 2.0), -1.0)


def shade(days: YieldDays) -> Shade:
    """Return where one time of day is missing over weeks."""
    part = parts_of_day(days.clear_hours)
    bright = days.measured >= LIT_DAY * days.clear
    if days.near_full is not None:
        bright &= ~(days.near_full & (days.clear_hours > 0.0)).any(axis=1)
    lit = np.isfinite(days.hours) & bright[:, None]
    gave, could = np.zeros((part.shape[0], 3)), np.zeros((part.shape[0], 3))
    for which in range(3):
        mine = lit & (part == which)
        gave[:, which] = np.where(mine, days.hours, 0.0).sum(axis=1)
        could[:, which] = np.where(mine, days.clear_hours, 0.0).sum(axis=1)
    around_gave, around_could = _around(gave), _around(could)
    share = around_gave / np.maximum(around_could, 1e-9)
    others = np.stack([np.delete(share, which, axis=1).min(axis=1) for which in range(3)], axis=1)
    counted = _around(lit.any(axis=1).astype(float)[:, None]) >= LEAST_SHADE_DAYS
    lacks = np.where(counted, 1.0 - share / np.maximum(others, 1e-9), 0.0)
    found = lacks >= SHADE_LOSS
    found[:, 1] = False
    return Shade(there=found, lacks=lacks)


def _around(values: Floats) -> Floats:
    """Sum over `SHADE_DAYS` about each day."""
    total = np.cumsum(np.vstack([np.zeros((1, values.shape[1])), values]), axis=0)
    days, half = np.arange(values.shape[0]), SHADE_DAYS // 2
    summed: Floats = total[np.minimum(days + half + 1, days.size)] - total[np.maximum(days - half, 0)]
    return summed


def covered(days: YieldDays) -> Flags:
    """Return the days on which next to nothing came while days near them were lit, or the sky was."""
    near_zero = days.near_zero
    lit = days.measured >= LIT_SHARE * days.average
    found = near_zero & (days.same_day >= LIT_SAME_DAY * days.clear)
    for begin, end in spans(near_zero):
        before, after = lit[max(begin - LIT_WITHIN_DAYS, 0) : begin], lit[end : end + LIT_WITHIN_DAYS]
        lit_sky = found[begin:end].any()
        unsaid = np.isnan(days.same_day[begin:end]).all() and before.any() and after.any()
        found[begin:end] |= lit_sky or (unsaid and end - begin <= LONGEST_COVER_DAYS)
    return found


def worst_yields(days: YieldDays, out: Flags, shaded: Shade) -> tuple[WorstDay, ...]:
    """Return the worst days of the panels, each with what it likely was."""
    error = days.measured - days.reference
    if days.held is not None:
        held = np.where(days.held, np.nan_to_num(-error, nan=0.0), 0.0)
        more = np.argsort(-held, kind="stable")[MOST_HELD:]
        error[more] = np.where(days.held[more], np.nan, error[more])
    found = []
    for place in worst_days(error, np.maximum(LEAST_YIELD_SHARE * days.clear, LEAST_CLEAR_KWH)):
        code, why = _why(days, place, bool(out[place]), shaded)
        found.append(
            WorstDay(
                kind="yield",
                day=day_of(days.dates, place),
                measured=float(days.measured[place]),
                model=float(days.reference[place]),
                cause=code,
                why=why,
            )
        )
    return tuple(found)


def _why(days: YieldDays, place: int, out: bool, shaded: Shade) -> tuple[str, str]:
    share = days.measured[place] / max(days.clear[place], 1e-9)
    if share > ABOVE_CLEAR:
        return ABOVE, f"{percent(share)} of a clear day."
    if out:
        return COVERED, f"Under {percent(NEAR_ZERO)} of a clear day, between days that were lit."
    lacking = days.measured[place] < days.reference[place]
    if lacking and days.held is not None and days.held[place]:
        return FULL, f"Near full for {_full_hours(days, place)} h of sun, in which the panels gave less than before."
    for which in SHADED_PARTS:
        if lacking and shaded.there[place, which]:
            return SHADE, f"In these weeks the {PARTS[which]} lacks {percent(shaded.lacks[place, which])}."
    if known(days.same_day[place]) is None:
        return WEATHER, "The sky of that day is not known."
    return UNKNOWN, "The sky of that day is known and does not explain it."


def _full_hours(days: YieldDays, place: int) -> int:
    assert days.near_full is not None
    return int((days.near_full[place] & (days.clear_hours[place] > 0.0)).sum())


def yield_causes(days: YieldDays, out: Flags, shaded: Shade) -> tuple[Likely, ...]:
    """Return what the yield as a whole points to."""
    counted, found = np.isfinite(days.measured), []
    if out.any():
        why = f"They gave less than {percent(NEAR_ZERO)} of a clear day between days that were lit."
        found.append(likely(COVERED, int(out.sum()), why))
    if days.held is not None and (days.held & counted).any():
        lost = float(np.nansum(np.where(days.held, np.maximum(days.same_day - days.measured, 0.0), 0.0)))
        kept = f" Against their own sky these days lack {lost:.0f} kWh." if lost >= 1.0 else ""
        why = f"The monitor was near full and the panels gave less from then on.{kept}"
        found.append(likely(FULL, int((days.held & counted).sum()), why))
    for which in SHADED_PARTS:
        there = shaded.there[:, which] & counted
        if there.any():
            lacks = float(shaded.lacks[there, which].mean())
            why = f"The {PARTS[which]} lacks {percent(lacks)} of what the rest of the day promises, for weeks."
            if days.near_full is None and which == 2:
                why += " A full bank does the same, and this log does not have the charge to tell."
            found.append(likely(SHADE, int(there.sum()), why))
    above = (days.measured > ABOVE_CLEAR * days.clear) & (days.clear >= LEAST_CLEAR_KWH)
    if above.any():
        found.append(likely(ABOVE, int(above.sum()), f"They gave more than {percent(ABOVE_CLEAR)} of a clear day."))
    return tuple(found)
