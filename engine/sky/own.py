"""What the household's own daily records say of its panels, and what it would change to believe them.

A log of daily kWh (all panels, DC before the solar charger) teaches three things: how strong a clear day is, how
little the dullest week gave, and what each month gave. Each is offered as a change of `Sun`, with the days it rests
on; nothing is changed here. Not modelled: a bank that is full holds its panels back, so days and months with a full
bank read low. That errs on the safe side, and is said.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from engine.errors import InputError
from engine.sky import climate as climates
from engine.sky import darkest
from engine.sky.averages import average_day_kwh
from engine.sky.glance import MonthYield, month_yields
from engine.sky.lessons import LEAST_CLEAR_DAYS, Lesson, findings_of, lessons_of, strength_of
from engine.sky.log import LEAST_DAYS_OF_MONTH, Log, log_of, refuse_no_panels
from engine.sky.series import DailySeries, KcSeries, days_of_year
from engine.sky.site import Site, Sun
from engine.sky.sun import clear_day_scale, yield_kwh
from engine.text.finding import Finding

LEAST_DAYS = 30
"""Days with a value that a log must have to teach anything (judgement)."""
_SKIES = np.linspace(0.0, climates.KC_MAX, 56)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogReading:
    """What a daily log of kWh teaches, and what is to be said about it."""

    days: int
    lessons: tuple[Lesson, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthEffect:
    """What all panels give on a day of a month before and after a change [kWh, DC before the solar charger]."""

    month: int
    clear_kwh: tuple[float, float]
    average_kwh: tuple[float, float]
    dull_kwh: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What a change does in the twelve months, in the one whose average day gives least, and where it does most."""

    months: tuple[MonthEffect, ...]
    darkest: MonthEffect
    most: MonthEffect


def read_log(series: DailySeries, site: Site, sun: Sun) -> LogReading:
    """Return what a daily log of kWh teaches about these panels.

    Raises
    ------
    InputError
        On ``arrays`` without panels, on ``log`` if the series is of radiation or too short.
    """
    log = log_of(series, site, sun)
    days = int(log.known.sum())
    if days < LEAST_DAYS:
        raise InputError(
            "log", f"The log has {days} days with a number; it takes {LEAST_DAYS} to tell the panels from the weather."
        )
    findings = (*findings_of(log), *_unlike_table(log, site, sun))
    return LogReading(days=days, lessons=lessons_of(log, sun), findings=findings)


def _unlike_table(log: Log, site: Site, sun: Sun) -> list[Finding]:
    """Whether its darkest quarter, over its own clear days, is far from what the world table's sky gives."""
    months = darkest.quarter(site)
    there = [log.known & (log.month == month) for month in months]
    clear_kwh = sum(log.clear_by_month_kwh[month - 1] for month in months)
    if not clear_kwh > 0.0 or min(int(days.sum()) for days in there) < LEAST_DAYS_OF_MONTH:
        return []
    gave_kwh = sum(float(log.kwh[days].mean()) for days in there)
    plain = Sun(arrays=sun.arrays, system_losses=sun.system_losses)
    table_kwh = sum(average_day_kwh(darkest.by_table(site), plain, month) for month in months)
    _, strength = strength_of(log)
    ask = "Were the panels covered or held back, or does it count more than the panels?"
    return darkest.unlike(site, gave_kwh / (strength * clear_kwh), table_kwh / clear_kwh, ask)


def taught(sun: Sun, lesson: Lesson) -> Sun:
    """Return the sun of a household that takes a lesson."""
    return replace(sun, **lesson.changes)


def effect(site: Site, before: Sun, after: Sun) -> Effect:
    """Return what the panels give before and after a change of `Sun` (a lesson, or a file's monthly kc).

    Raises
    ------
    InputError
        If there are no panels, or the owner's clear day cannot be reached before or after the change.
    """
    refuse_no_panels(before)
    pairs = zip(month_yields(site, before), month_yields(site, after), strict=True)
    months = tuple(_month_effect(*pair) for pair in pairs)
    return Effect(
        months=months,
        darkest=min(months, key=lambda one: one.average_kwh[1]),
        most=max(months, key=lambda one: max(_moved(one.average_kwh), _moved(one.dull_kwh))),
    )


def _moved(kwh: tuple[float, float]) -> float:
    return abs(kwh[1] - kwh[0])


def _month_effect(before: MonthYield, after: MonthYield) -> MonthEffect:
    return MonthEffect(
        month=before.month,
        clear_kwh=(before.clear_kwh, after.clear_kwh),
        average_kwh=(before.average_kwh, after.average_kwh),
        dull_kwh=(before.dull_kwh, after.dull_kwh),
    )


def as_strong_as(series: DailySeries, site: Site, sun: Sun) -> Sun:
    """Return the sun with the clear day of a log in place of the typed one, or with none where it tells none.

    A log's dull spells are read by these panels, so that they are the same whatever is typed or taken besides.
    """
    log = log_of(series, site, sun)
    days, scale = strength_of(log)
    month = int(np.argmax(log.clear_by_month_kwh)) + 1
    kwh = scale * log.clear_by_month_kwh[month - 1]
    modelled = replace(sun, clear_day_kwh=None, clear_day_month=None)
    if days < LEAST_CLEAR_DAYS or not kwh > 0.0:
        return modelled
    strong = replace(modelled, clear_day_kwh=kwh, clear_day_month=month)
    try:
        clear_day_scale(site, strong, month)
    except InputError:
        return modelled
    return strong


def kc_of_log(series: DailySeries, site: Site, sun: Sun, title: str) -> KcSeries:
    """Return the kc at which these panels give each day of a log of kWh, for its dull spells.

    A day that gave next to nothing is not known; one that gave more than a clear day counts as the clearest.
    """
    log = log_of(series, site, sun)
    doy = days_of_year(log.dates)
    seen = log.lit & (log.clear_kwh > 0.0)
    kc = np.full(log.kwh.size, np.nan)
    for day in np.unique(doy[seen]):
        there = seen & (doy == day)
        given = np.maximum.accumulate(yield_kwh(site, sun, _SKIES, np.full(_SKIES.size, day)))
        kc[there] = np.interp(log.kwh[there], given, _SKIES)
    return KcSeries(first=series.first, kc=kc, basis="measured", title=title)
