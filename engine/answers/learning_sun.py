"""What the panels really give, from the log's daily yield: clear days, the dullest week, the months.

A meter's yield is at the battery side, after the solar charger; a household's numbers are before it. So the log is
divided by the charger's efficiency, once, and the charger takes the same share again in every answer: an efficiency that
is wrong does not matter to what reaches the bank. On days that the bank was full the panels were held back: a month with
many of those tells nothing of clear days.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from engine.answers.learning_fulls import Counted
from engine.answers.learning_parts import (
    METER_SHARE,
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
from engine.sky.series import DailySeries, KcSeries, dates_of, days_of_year
from engine.sky.site import Sun
from engine.sky.sun import yield_kwh

CLEAR, DULL, MONTHLY, PANELS = "clear_day", "dull_day", "monthly_kwh", "panels"
TITLES = {
    CLEAR: "A clear day of the panels",
    DULL: "Their dullest week",
    MONTHLY: "What each month gave",
    PANELS: "Strength of the panels by the sky",
}
CLEAR_TENTH = (0.95, 1.07)
"""What the clearest tenth of days reaches of a clear day at three stations (`engine.sky.lessons.CLEAR_DAYS_SHARE`)."""
HELD_BACK_MONTH_SHARE = 0.1
"""Where the bank was full on more of a month's days, its clear days are not told (choice)."""
LEAST_SKY_DAYS = 30
LEAST_CLEAR_MONTHS = 5
"""Months from which a clear day is told (judgement): in fewer, one that was shaded or dull rules them all."""
_TOGETHER = 28
_SKY_SHARE = 0.03
"""A measured kc and the light model together may be wrong by so much over many days, 95 % (judgement)."""
_NOTE = "kWh of all panels before the solar charger: the log’s kWh over your charger’s efficiency of {share:g} %."
_HOW = (
    "The log’s daily kWh, read as Sun reads a log. The interval is from drawing its weeks again, and from a meter that may "
    "be wrong by 1 % (typical, from memory)."
)


def sun_lessons(
    e: Evidence, found: Counted | None, kc: KcSeries | None
) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    """Return what a log tells of the panels.

    Parameters
    ----------
    found : Counted or None
        When the bank was full, where that is known.
    kc : KcSeries or None
        The sky of the same days, of another source.
    """
    why = _why_not(e)
    series = None if why else _series(e)
    if series is not None:
        try:
            reading = read_log(series, e.household.site, e.household.sun)
        except InputError as fault:
            why = fault.message
    if series is None or why:
        return (), tuple(Missing(id=one, title=TITLES[one], text=why) for one in (CLEAR, DULL, MONTHLY))
    full = _held_days(e, found)
    by_id = {one.id: one for one in reading.lessons}
    lessons = [_dull(e, series, by_id[DULL])] if DULL in by_id else []
    missing = [] if DULL in by_id else [_absent(DULL, "No seven days in a row are known.")]
    if MONTHLY in by_id:
        lessons.append(_months(e, series, by_id[MONTHLY]))
    else:
        missing.append(_absent(MONTHLY, f"No month has {LEAST_DAYS_OF_MONTH} days that are known."))
    clear = _clear(e, series, full)
    (lessons if isinstance(clear, Lesson) else missing).insert(0, clear)  # type: ignore[arg-type]
    if kc is not None:
        panels = _panels(e, series, full, kc)
        (lessons if isinstance(panels, Lesson) else missing).append(panels)  # type: ignore[arg-type]
    return tuple(lessons), tuple(missing)


def _absent(which: str, text: str) -> Missing:
    return Missing(id=which, title=TITLES[which], text=text)


def _why_not(e: Evidence) -> str:
    if e.column("yield_w") is None:
        return "It takes the yield of the panels."
    if not e.household.sun.arrays:
        return "Describe your panels on Sun first: a log is read against what they could give."
    if len(e.supply.arrays) < len(e.household.sun.arrays):
        return "The log is of one inverter, but your panels are on several: its kWh are not those of all panels."
    return ""


def _series(e: Evidence) -> DailySeries:
    kwh = np.maximum(e.hours.daily_kwh("yield_w"), 0.0) / e.household.sun.charger_efficiency
    return DailySeries(quantity="yield", first=e.hours.first, values=kwh)


def _held_days(e: Evidence, found: Counted | None) -> Flags | None:
    """Days on which a full bank may have held the panels back; None where the log does not tell."""
    if found is None:
        return None
    full = np.zeros(e.hours.days, dtype=bool)
    full[found.held_days] = True
    return full


def _half(parts: Floats, value: float) -> float:
    """Half an interval of a mean of days, by chance and by the meter."""
    return together(half_width(parts, lambda one: float(one[0] / one[1]) if one[1] else np.nan), METER_SHARE * value)


def _change(lesson: sky_lessons.Lesson) -> tuple[Change, ...]:
    return (Change(part="sun", id="", fields=dict(lesson.changes)),)


def _effect(e: Evidence, after: Sun) -> Effect:
    site, sun = e.household.site, e.household.sun
    return Effect(
        label="All panels on a mean day of the year, before the charger",
        unit="kWh",
        before=year_day_kwh(e, sun),
        after=year_day_kwh(e, after) if site else 0.0,
    )


def year_day_kwh(e: Evidence, sun: Sun) -> float:
    """Return what all panels give on the mean day of a year [kWh]."""
    kwh = [average_day_kwh(e.household.site, sun, month) for month in range(1, 13)]
    return float(np.average(kwh, weights=DAYS_IN_MONTH))


def _said(e: Evidence) -> str:
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
        held = (
            ""
            if full is None or not full.any()
            else f" On {int(full.sum())} days the bank was full, and held them back"
        )
        text = "Too few days show what the panels can give." + (
            f"{held}; months of many such days are left out." if held else ""
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
        how=f"{_HOW} The clearest tenth of days reached {CLEAR_TENTH[0]:g} to {CLEAR_TENTH[1]:g} of a clear day at three "
        "stations, which is most of it.",
        caveats=(
            _said(e),
            "Months in which the bank was full on more than one day in ten are left out: it held the panels back."
            if full is not None
            else "The log does not tell when the bank was full; a full bank holds the panels back, so this may read low.",
        ),
        changes=_change(found),
        now=None if e.household.sun.clear_day_month is None else e.household.sun.clear_day_kwh,
        effect=_effect(e, after),
    )


def _quantile_half(share: Floats) -> float:
    """Half the interval that chance leaves of the clear tenth, by drawing stretches of four weeks again."""
    weeks = [share[k : k + _TOGETHER] for k in range(0, share.size, _TOGETHER)]
    weeks = [one[np.isfinite(one)] for one in weeks if np.isfinite(one).any()]
    chance = np.random.default_rng(9)
    found = [
        np.quantile(np.concatenate([weeks[k] for k in chance.integers(0, len(weeks), len(weeks))]), 0.9)
        for _ in range(200)
    ]
    return float(1.96 * np.std(found, ddof=1))


def _dull(e: Evidence, series: DailySeries, found: sky_lessons.Lesson) -> Lesson:
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
        caveats=(_said(e), *((found.check,) if found.check else ())),
        changes=_change(found),
        now=e.household.sun.dull_day_kwh,
        effect=_effect(e, taught(e.household.sun, found)),
    )


def _months(e: Evidence, series: DailySeries, found: sky_lessons.Lesson) -> Lesson:
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
    half = _half(parts, value) if known.any() else float("inf")
    after = taught(e.household.sun, found)
    now = [average_day_kwh(e.household.site, e.household.sun, m + 1) for m in kept]
    full = "" if len(kept) == 12 else f" Only {len(kept)} months have days enough; the others stay as they are."
    return Lesson(
        id=MONTHLY,
        title=TITLES[MONTHLY],
        text=f"The panels gave {value:.3g} kWh on the mean day of the months that are known.{full}",
        value=value,
        low=value - half,
        high=value + half,
        unit="kWh a day",
        days=found.days,
        how=f"{_HOW} Each month is set by itself.",
        caveats=(
            _said(e),
            "It is what was taken in: on days that the bank was full the panels could have given more. A larger load or "
            "bank would get more than this says.",
        ),
        changes=_change(found),
        now=float(np.average(now, weights=days_in[kept])),
        effect=_effect(e, after),
    )


def _panels(e: Evidence, series: DailySeries, full: Flags | None, kc: KcSeries) -> Lesson | Missing:
    """How strong the panels are, day by day under a sky that is known from elsewhere."""
    offset = (np.datetime64(series.first, "D") - np.datetime64(kc.first, "D")).astype(int)
    index = np.arange(series.values.size) + int(offset)
    inside = (index >= 0) & (index < kc.kc.size)
    sky = np.where(inside, kc.kc[np.clip(index, 0, kc.kc.size - 1)], np.nan)
    site, plain = e.household.site, replace(e.household.sun, clear_day_kwh=None, clear_day_month=None)
    dates = dates_of(series.first, series.values.size)
    fit = np.isfinite(sky) & np.isfinite(series.values) & (~full if full is not None else True)
    if fit.sum() < LEAST_SKY_DAYS:
        return _absent(PANELS, f"{int(fit.sum())} days are known of both sky and panels; it takes {LEAST_SKY_DAYS}.")
    doy = days_of_year(dates)
    model = np.zeros(fit.size)
    model[fit] = yield_kwh(site, plain, sky[fit], doy[fit])
    parts = np.stack([np.where(fit, series.values, 0.0), model], axis=1)
    share = float(parts[:, 0].sum() / parts[:, 1].sum())
    half = together(_half(parts, share), _SKY_SHARE * share)
    log = log_of(series, site, e.household.sun)
    month = int(np.argmax(log.clear_by_month_kwh)) + 1
    clear = log.clear_by_month_kwh[month - 1]
    used = float(f"{share * clear:.3g}")
    fields = {"clear_day_kwh": used, "clear_day_month": month}
    return Lesson(
        id=PANELS,
        title=TITLES[PANELS],
        text=f"Under the skies of “{kc.title}” the panels gave {share:.2f} times what they should: a clear day in "
        f"{climates.MONTH_NAMES[month - 1]} is {used:g} kWh.",
        value=used,
        low=(share - half) * clear,
        high=(share + half) * clear,
        unit="kWh",
        days=int(fit.sum()),
        how="The kWh of all days on which the bank was not full, over what the panels as described would give under the "
        "sky of the same days. The interval is from drawing the weeks again, a meter that may be 1 % wrong, and a sky and "
        "light model that may be 3 % wrong (judgement).",
        caveats=(_said(e),),
        changes=(Change(part="sun", id="", fields=fields),),
        now=None if e.household.sun.clear_day_month is None else e.household.sun.clear_day_kwh,
        effect=_effect(e, replace(e.household.sun, **fields)),  # type: ignore[arg-type]
    )
