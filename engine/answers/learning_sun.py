"""What the panels really give, from the log's daily yield: clear days, the dullest week, the months.

A meter's yield is at the battery side, after the solar charger; a household's numbers are before it. So the log is
divided by the charger's efficiency, once, and the charger takes the same share again in every answer: a wrong
efficiency does not matter to what reaches the bank. On days that the bank was full the panels were held back: a month
with many of those tells nothing of clear days.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from engine.answers.learning_fulls import Counted
from engine.answers.learning_parts import (
    METER_SHARE,
    SEED,
    Change,
    Effect,
    Evidence,
    Flags,
    Floats,
    Lesson,
    Missing,
    half_width,
    together,
)
from engine.errors import InputError
from engine.sky import climate as climates
from engine.sky import lessons as sky_lessons
from engine.sky.averages import DAYS_IN_MONTH, average_day_kwh
from engine.sky.log import LEAST_DAYS_OF_MONTH, log_of
from engine.sky.own import read_log, taught
from engine.sky.series import DailySeries, dates_of
from engine.sky.site import Sun

CLEAR, DULL, MONTHLY = "clear_day", "dull_day", "monthly_kwh"
TITLES = {
    CLEAR: "A clear day of the panels",
    DULL: "Their dullest week",
    MONTHLY: "What each month gave",
}
CLEAR_TENTH = (0.95, 1.07)
"""What the clearest tenth of days reaches of a clear day at three stations (`engine.sky.lessons.CLEAR_DAYS_SHARE`)."""
HELD_BACK_MONTH_SHARE = 0.1
"""Where the bank was full on more of a month's days, its clear days are not told (choice)."""
LEAST_HOURS = 23
"""Hours of a day that must be known: on a dull day the usual sun of an unknown hour would be a day's worth (choice)."""
LEAST_CLEAR_MONTHS = 9
"""Months from which a clear day is told (choice): what the clearest tenth of days reaches is known of whole years, and
in a winter alone it reaches far less."""
STRETCH = 28
"""Days that are drawn together where a shaded month would rule (choice)."""
_NOTE = "kWh of all panels before the solar charger: the log’s kWh over your charger’s efficiency of {share:g} %."
_HOW = (
    "The log’s daily kWh, read as Sun reads a log. The interval is from drawing its weeks again, and from a meter that "
    "may be wrong by 1 % (typical, from memory)."
)


def sun_lessons(e: Evidence, found: Counted | None) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    """Return what a log tells of the panels by itself; `found` says when the bank was full, where that is known."""
    why = why_not(e)
    series = None if why else series_of(e)
    if series is not None:
        try:
            reading = read_log(series, e.household.site, e.household.sun)
        except InputError as fault:
            why = fault.message
    if series is None or why:
        return (), tuple(Missing(id=one, title=TITLES[one], text=why) for one in (CLEAR, DULL, MONTHLY))
    full = held_days(e, found)
    by_id = {one.id: one for one in reading.lessons}
    lessons = [_dull(e, by_id[DULL])] if DULL in by_id else []
    missing = [] if DULL in by_id else [_absent(DULL, "No seven days in a row are known.")]
    if MONTHLY in by_id:
        lessons.append(_months(e, series, by_id[MONTHLY], full))
    else:
        missing.append(_absent(MONTHLY, f"No month has {LEAST_DAYS_OF_MONTH} days that are known."))
    clear = _clear(e, series, full)
    (lessons if isinstance(clear, Lesson) else missing).insert(0, clear)  # type: ignore[arg-type]
    return tuple(lessons), tuple(missing)


def _absent(which: str, text: str) -> Missing:
    return Missing(id=which, title=TITLES[which], text=text)


def why_not(e: Evidence) -> str:
    """Return why a log tells nothing of the panels; empty where it does."""
    if e.column("yield_w") is None:
        return "It takes the yield of the panels."
    if not e.household.sun.arrays:
        return "Describe your panels on Sun first: a log is read against what they could give."
    if len(e.supply.arrays) < len(e.household.sun.arrays):
        return "The log is of one inverter, but your panels are on several: its kWh are not those of all panels."
    return ""


def series_of(e: Evidence) -> DailySeries:
    """Return what the panels gave before the charger on each day that is known throughout [kWh]."""
    hours = e.hours.values["yield_w"]
    whole = np.isfinite(hours).sum(axis=1) >= LEAST_HOURS
    kwh = np.maximum(np.where(whole, e.hours.daily_kwh("yield_w"), np.nan), 0.0) / e.household.sun.charger_efficiency
    return DailySeries(quantity="yield", first=e.hours.first, values=kwh)


def held_days(e: Evidence, found: Counted | None) -> Flags | None:
    """Return the days on which a full bank may have held the panels back; None where the log does not tell."""
    if found is None:
        return None
    full = np.zeros(e.hours.days, dtype=bool)
    full[found.held_days] = True
    return full


def half_of(parts: Floats, value: float) -> float:
    """Return half an interval of a mean of days, by chance and by the meter."""
    return together(half_width(parts, lambda one: float(one[0] / one[1]) if one[1] else np.nan), METER_SHARE * value)


def _change(lesson: sky_lessons.Lesson) -> tuple[Change, ...]:
    return (Change(part="sun", id="", fields=dict(lesson.changes)),)


def effect_of(e: Evidence, after: Sun) -> Effect:
    """Return what a change of the sun means over a year."""
    return Effect(
        label="All panels on a mean day of the year, before the charger",
        unit="kWh",
        before=year_day_kwh(e, e.household.sun),
        after=year_day_kwh(e, after),
    )


def year_day_kwh(e: Evidence, sun: Sun) -> float:
    """Return what all panels give on the mean day of a year [kWh]."""
    kwh = [average_day_kwh(e.household.site, sun, month) for month in range(1, 13)]
    return float(np.average(kwh, weights=DAYS_IN_MONTH))


def said_of(e: Evidence) -> str:
    """Return what the kWh of a lesson of the panels are."""
    return _NOTE.format(share=e.household.sun.charger_efficiency * 100)


def _clear(e: Evidence, series: DailySeries, full: Flags | None) -> Lesson | Missing:
    """A clear day, by the months in which the bank was seldom full."""
    kept = series.values.copy()
    if full is not None:
        month = dates_of(series.first, kept.size).astype("datetime64[M]")
        for one in np.unique(month):
            there = month == one
            if full[there].mean() > HELD_BACK_MONTH_SHARE:
                kept[there] = np.nan
    masked = replace(series, values=kept)
    log = log_of(masked, e.household.site, e.household.sun)
    days_of = [int((np.isfinite(log.clear_share) & (log.month == m)).sum()) for m in range(1, 13)]
    enough = sum(days >= LEAST_DAYS_OF_MONTH for days in days_of) >= LEAST_CLEAR_MONTHS
    of_log = sky_lessons.lessons_of(log, e.household.sun) if enough else ()
    found = next((one for one in of_log if one.id == CLEAR), None)
    if found is None:
        months = sum(days >= LEAST_DAYS_OF_MONTH for days in days_of)
        held = "" if full is None else f" On {int(full.sum())} days a full bank may have held the panels back."
        text = (
            f"It takes {LEAST_CLEAR_MONTHS} months in which the bank was full on few days; the log has {months}.{held} "
            "With a sun record of three years or more that reaches over these days, the sky of each day is known."
        )
        return _absent(CLEAR, text)
    value = float(found.changes["clear_day_kwh"])
    share = log.clear_share
    known = np.flatnonzero(np.isfinite(share))
    strength = float(np.quantile(share[known], 1.0 - sky_lessons.CLEAR_DAYS_SHARE))
    chance = _quantile_half(share) / strength
    below, above = (together(chance, METER_SHARE, abs(1.0 - 1.0 / one)) for one in CLEAR_TENTH[::-1])
    after = taught(e.household.sun, found)
    month_name = climates.MONTH_NAMES[int(found.changes["clear_day_month"]) - 1]
    return Lesson(
        id=CLEAR,
        title=TITLES[CLEAR],
        text=f"A clear day in {month_name} is {value:g} kWh, by the {found.days} clearest days, a tenth of those that "
        "can tell.",
        value=value,
        low=value * (1.0 - below),
        high=value * (1.0 + above),
        unit="kWh",
        days=known.size,
        how=f"{_HOW} The clearest tenth of days reached {CLEAR_TENTH[0]:g} to {CLEAR_TENTH[1]:g} of a clear day at "
        "three stations, which is most of it.",
        caveats=(
            said_of(e),
            "Months in which the bank was full on more than one day in ten are left out: it held the panels back."
            if full is not None
            else "The log does not tell when the bank was full; that holds the panels back, so this may read low.",
        ),
        changes=_change(found),
        now=None if e.household.sun.clear_day_month is None else e.household.sun.clear_day_kwh,
        effect=effect_of(e, after),
    )


def _quantile_half(share: Floats) -> float:
    """Half the interval that chance leaves of the clear tenth, by drawing stretches of four weeks again."""
    weeks = [share[k : k + STRETCH] for k in range(0, share.size, STRETCH)]
    weeks = [one[np.isfinite(one)] for one in weeks if np.isfinite(one).any()]
    chance = np.random.default_rng(SEED)
    found = [
        np.quantile(np.concatenate([weeks[k] for k in chance.integers(0, len(weeks), len(weeks))]), 0.9)
        for _ in range(200)
    ]
    return float(1.96 * np.std(found, ddof=1))


def _dull(e: Evidence, found: sky_lessons.Lesson) -> Lesson:
    value = float(found.changes["dull_day_kwh"])
    half = together(METER_SHARE * value, 0.005 * value)
    return Lesson(
        id=DULL,
        title=TITLES[DULL],
        text=found.text,
        value=value,
        low=value - half,
        high=value + half,
        unit="kWh a day",
        days=found.days,
        how=f"{_HOW} It is what these days gave; a duller week may come, and the interval does not say when.",
        caveats=(said_of(e), *((found.check,) if found.check else ())),
        changes=_change(found),
        now=e.household.sun.dull_day_kwh,
        effect=effect_of(e, taught(e.household.sun, found)),
    )


def _taken_in(full: Flags | None) -> str:
    """What the months leave out: that a full bank takes less than the panels could give."""
    days = "" if full is None else f", here on {int(full.sum())} of {full.size} days"
    return (
        f"It is what was taken in, which is less than the panels could give where the bank was full{days}. Used, a "
        f"larger "
        "bank or load is rated too low: use it to see your year as it was, not to plan a larger one."
    )


def _months(e: Evidence, series: DailySeries, found: sky_lessons.Lesson, full: Flags | None) -> Lesson:
    month = dates_of(series.first, series.values.size).astype("datetime64[M]").astype(np.int64) % 12
    kwh = series.values
    known = np.isfinite(kwh)
    kept = [m for m in range(12) if (known & (month == m)).sum() >= LEAST_DAYS_OF_MONTH]
    days_in = np.array(DAYS_IN_MONTH)
    set_kwh = found.changes["monthly_kwh"]
    value = float(sum(set_kwh[m] for m in kept) / days_in[kept].sum())
    over = np.zeros(kwh.size)
    for m in kept:
        there = known & (month == m)
        over[there] = kwh[there] - kwh[there].mean()
    parts = np.stack([over, known & np.isin(month, kept)], axis=1)
    half = half_of(parts, value) if known.any() else float("inf")
    after = taught(e.household.sun, found)
    now = [average_day_kwh(e.household.site, e.household.sun, m + 1) for m in kept]
    others = "" if len(kept) == 12 else f" Only {len(kept)} months have days enough; the others stay as they are."
    return Lesson(
        id=MONTHLY,
        title=TITLES[MONTHLY],
        text=f"The panels gave {value:.3g} kWh on the mean day of the months that are known.{others}",
        value=value,
        low=value - half,
        high=value + half,
        unit="kWh a day",
        days=found.days,
        how=f"{_HOW} Each month is set by itself.",
        caveats=(
            said_of(e),
            _taken_in(full),
        ),
        changes=_change(found),
        now=float(np.average(now, weights=days_in[kept])),
        effect=effect_of(e, after),
    )
