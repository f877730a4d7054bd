"""Whether a daily series may be believed, and for what; and how clear its days were.

A series may be fit for averages and unfit for the spells of dull days: a typical year is, and so is radiation that
was estimated from hours of sunshine, which knows no dark days. kc is the day's radiation over that of a clear day.
What is looked for, and from which size on it counts, stands in `signs`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from engine.errors import InputError
from engine.sky.climate import KC_MAX, MONTH_NAMES
from engine.sky.darkest import unlike_table
from engine.sky.series import DailySeries, Floats, KcSeries, dates_of, days_of_year
from engine.sky.signs import (
    ENVELOPE_PERCENTILE,
    LEAST_CLEAR_KWH_M2,
    dark_gaps,
    finding,
    months_of,
    noon,
    place,
    season,
    shape,
    stuck,
    units,
    unlit,
)
from engine.sky.site import Site
from engine.sky.spells import LEAST_DAYS, LEAST_YEARS, filled
from engine.sky.sun import above_air_kwh_m2, clear_day_kwh_m2
from engine.sky.years import first_month, year_of_day
from engine.text.finding import Finding

LEAST_DAYS_OF_ALL, LEAST_DAYS_OF_MONTH = 30, 20
_MISSING_SHARE = 0.2
SPELLS_ONLY = frozenset({"typical_year", "too_few_years", "floor", "flat", "endless"})
"""Codes of the stops that leave averages alone."""
_TYPICAL = (
    "This is a typical year, put together from months of different years: its worst weeks are milder than real ones. "
    "It is used for averages only, not for dull spells."
)
_LEVELS = ("stop", "check", "note")


def kc_series(series: DailySeries, site: Site) -> KcSeries:
    """Return how clear each day was, NaN where it is not known or the sun hardly rises.

    A series whose clear days (95th percentile) are brighter than kc 1.1 is scaled down to that; the title says so.
    Days above what arrives above the air, or with next to no light, are not known.

    Raises
    ------
    InputError
        On the field ``quantity`` if the series is of yield.
    """
    if series.quantity != "radiation":
        raise InputError("quantity", "How clear a day was is told by radiation; this file holds what panels gave.")
    series, _ = without_zeros(series, site)
    kc, _ = _clearness(series, site)
    scale = _scale(kc)
    first, last = series.first.year, series.last.year
    title = f"your file, {first}" + (f" to {last}" if last > first else "")
    if scale < 1.0:
        title += f", scaled by {scale:.2f} to its own clear days"
    return KcSeries(first=series.first, kc=np.minimum(kc * scale, KC_MAX), basis="measured", title=title)


def monthly_kc(series: KcSeries) -> tuple[float | None, ...]:
    """Return the mean kc of the twelve months, January first; None where fewer than 20 days are known."""
    month = months_of(series.first, series.kc.size)
    known = np.isfinite(series.kc)
    of_month = [series.kc[known & (month == n)] for n in range(1, 13)]
    return tuple(float(kc.mean()) if kc.size >= LEAST_DAYS_OF_MONTH else None for kc in of_month)


def without_zeros(series: DailySeries, site: Site) -> tuple[DailySeries, list[Finding]]:
    """Return a series of radiation without gaps that were filled with zeros, and what is said of them."""
    gaps = unlit(series.values, _clear_kwh_m2(series, site))
    return replace(series, values=np.where(gaps, np.nan, series.values)), dark_gaps(series.first, gaps)


def judge(series: DailySeries, site: Site) -> tuple[Finding, ...]:
    """Return what is wrong or doubtful about a series at a site, worst first; empty if nothing is.

    The level ``stop`` refuses a use: which one, `fit_for_averages` and `fit_for_spells` say.
    """
    found = [*place(series, site), *noon(series, site), *stuck(series)]
    if series.quantity == "radiation":
        series, zeros = without_zeros(series, site)
        found += zeros
    known = int(np.isfinite(series.values).sum())
    found += _length(series, known)
    if series.quantity == "radiation":
        kc, above_air = _clearness(series, site)
        found += [*units(kc, above_air, known), *season(series, site)]
        if fit_for_averages(found):
            found += unlike_table(site, monthly_kc(kc_series(series, site)))
        if series.typical:
            found.append(finding("stop", "typical_year", _TYPICAL))
        elif fit_for_averages(found):
            found += [*shape(kc), *_years(series, kc, site)]
    return tuple(sorted(found, key=lambda one: _LEVELS.index(one.level)))


def fit_for_averages(findings: Iterable[Finding]) -> bool:
    """Whether a series with these findings may give monthly means or a calibration."""
    return not any(one.level == "stop" and one.code not in SPELLS_ONLY for one in findings)


def fit_for_spells(findings: Iterable[Finding]) -> bool:
    """Whether a series with these findings may give spells of dull days."""
    return not any(one.level == "stop" for one in findings)


def _day_of_year(series: DailySeries) -> NDArray[np.int64]:
    """Day of the year of each day, from 0."""
    return np.asarray(days_of_year(dates_of(series.first, series.values.size)) - 1)


def _clear_kwh_m2(series: DailySeries, site: Site) -> Floats:
    """Radiation of a clear day on each day of a series; NaN where the sun hardly rises."""
    clear = clear_day_kwh_m2(site, np.arange(1, 367))
    return np.where(clear >= LEAST_CLEAR_KWH_M2, clear, np.nan)[_day_of_year(series)]


def _clearness(series: DailySeries, site: Site) -> tuple[Floats, int]:
    """Radiation over that of a clear day, and how many days were above what arrives above the air."""
    kc = series.values / _clear_kwh_m2(series, site)
    beyond = above_air_kwh_m2(site, np.arange(1, 367))[_day_of_year(series)]
    above_air = np.isfinite(kc) & (series.values > beyond)
    return np.where(above_air, np.nan, kc), int(above_air.sum())


def _scale(kc: Floats) -> float:
    known = kc[np.isfinite(kc)]
    envelope = float(np.percentile(known, ENVELOPE_PERCENTILE)) if known.size else 0.0
    return min(1.0, KC_MAX / envelope) if envelope > 0.0 else 1.0


def _length(series: DailySeries, known: int) -> list[Finding]:
    found = []
    if known < LEAST_DAYS_OF_ALL:
        text = f"{known} days are known; {LEAST_DAYS_OF_ALL} or more are needed to say anything."
        found.append(finding("stop", "too_short", text))
    missing = 1.0 - known / series.values.size
    if missing > _MISSING_SHARE:
        text = f"{missing:.0%} of the days between the first and the last are missing: were the missing ones the dull?"
        found.append(finding("check", "gaps", text))
    return found


def _years(series: DailySeries, kc: Floats, site: Site) -> list[Finding]:
    """Whether it has years enough for dull spells."""
    whole, least, most = _whole_years(series, kc, site), LEAST_YEARS[1], LEAST_YEARS[10]
    start, end = MONTH_NAMES[first_month(site.latitude_deg) - 1], MONTH_NAMES[first_month(site.latitude_deg) - 2]
    held = f"It holds {'1 whole year' if whole == 1 else f'{whole} whole years'} from {start} to {end}"
    if whole < least:
        night = " Days on which the sun hardly rises do not count." if not _sun_all_year(site) else ""
        text = f"{held}: dull spells need {least}, and {most} for the worst of 1 year in 10.{night}"
        return [finding("stop", "too_few_years", text)]
    if whole < most:
        return [finding("note", "few_years", f"{held}; the worst of 1 year in 10 takes {most}.")]
    return []


def _sun_all_year(site: Site) -> bool:
    return bool(clear_day_kwh_m2(site, np.arange(1, 367)).min() >= LEAST_CLEAR_KWH_M2)


def _whole_years(series: DailySeries, kc: Floats, site: Site) -> int:
    years = year_of_day(dates_of(series.first, kc.size), site.latitude_deg)
    _, days = np.unique(years[np.isfinite(filled(kc))], return_counts=True)
    return int((days >= LEAST_DAYS).sum())
