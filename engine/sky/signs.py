"""Signs that a daily series is not what it seems: another unit, place, clock or half of the earth, or no instrument.

Radiation is kWh/m2 a day on the level; kc is that of a day over that of a clear day. Thresholds are judgement unless a
source stands below them. Not modelled: slow drift of a sensor, snow on it, a hill that hides the sun.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from engine.quantities import mean_day_of_year
from engine.sky.climate import KC_MAX
from engine.sky.series import DailySeries, Floats, dates_of
from engine.sky.site import Site
from engine.sky.sun import clear_day_kwh_m2
from engine.sky.world import apart_km
from engine.text.finding import Finding

Flags = NDArray[np.bool_]

ENVELOPE_PERCENTILE = 95.0
"""The days that are clear: in three series of pyranometers it lies at kc 1.08 to 1.09. Measured."""
LEAST_CLEAR_KWH_M2 = 0.05
"""Below this a clear day is nearly night, a pyranometer's error is as large as what it reads, and kc says nothing
(judgement): from 64 degrees of latitude on, part of the winter."""
_ABOVE_AIR_SHARE = 0.01
_LEAST_DAYS = 30
_BRIGHT_KC, _TOO_BRIGHT_KC, _DIM_KC, _TOO_DIM_KC = 1.2, 1.35, 0.75, 0.55
_FLAT_RATIO, _FLOOR_KC = 0.75, 0.25
"""Percentile 0.5 over percentile 5, and percentile 1 of kc: of pyranometers 0.35 to 0.6, and 0.10 to 0.21; of five
series estimated from hours of sunshine four have one of the two above. Measured."""
_LEAST_DAYS_FOR_SHAPE = 300
_ENDLESS_KC, _ENDLESS_DAYS = 0.5, 60
"""The longest such run of three pyranometers is 16 days in 18 to 38 years. Measured; the limit is judgement."""
_STUCK_DAYS = 6
_NO_LIGHT_KC, _DARKEST_KC = 0.005, 0.04
"""The darkest days of three pyranometers in 18 to 38 years have kc 0.043, 0.050 and 0.055, two days at zero apart.
Measured; the limit is judgement."""
_FAR_KM, _TOO_FAR_KM = 100.0, 1000.0
_NOON_H, _WRONG_NOON_H, _PANELS_NOON_H = 1.5, 4.0, 3.0
"""Panels that face east or west have their own noon hours from the sun's."""
_SEASONS_FROM_DEG, _LEAST_MONTHS, _UNLIKE = 15.0, 8, 0.02


def place(series: DailySeries, site: Site) -> list[Finding]:
    """Whether it was measured near the house, where the file says where."""
    if series.latitude_deg is None or series.longitude_deg is None:
        return []
    there = np.array([series.latitude_deg]), np.array([series.longitude_deg])
    km = float(apart_km(site.latitude_deg, site.longitude_deg, *there)[0])
    if km <= _FAR_KM:
        return []
    text = (
        f"The file is of {series.latitude_deg:.2f}° latitude, {series.longitude_deg:.2f}° longitude, "
        f"{km:,.0f} km from your house"
    )
    if km > _TOO_FAR_KM:
        return [finding("stop", "far", f"{text}: its sky is not yours. Up to {_TOO_FAR_KM:,.0f} km is used.")]
    return [finding("check", "far", f"{text}: hills, coast and fog may make another sky there.")]


def noon(series: DailySeries, site: Site) -> list[Finding]:
    """Whether the day's light lies about the sun's own noon at the house."""
    if series.noon_h is None:
        return []
    sun_h = 12.0 - site.longitude_deg / 15.0 + site.utc_offset_h
    late_h = (series.noon_h - sun_h + 12.0) % 24.0 - 12.0
    radiation = series.quantity == "radiation"
    if abs(late_h) <= (_NOON_H if radiation else _PANELS_NOON_H):
        return []
    text = (
        f"The middle of the file’s light lies {abs(late_h):.1f} h {'after' if late_h > 0 else 'before'} noon of the "
        "sun at your house"
    )
    if abs(late_h) > _WRONG_NOON_H:
        return [finding("stop", "clock", f"{text}, so that days are cut in the light: correct the file’s clock.")]
    return [finding("check", "clock", f"{text}: is its clock the one that was chosen?")]


def stuck(series: DailySeries) -> list[Finding]:
    """Whether a value stays the same for days."""
    same = (np.diff(series.values) == 0.0) & (series.values[1:] > 0.0)
    days = longest(same) + 1
    if days < _STUCK_DAYS:
        return []
    text = f"The same value stands {days} days in a row: a sensor that hung, or a gap that was filled."
    return [finding("check", "stuck", text)]


def unlit(values: Floats, clear: Floats) -> Flags:
    """Return which days have so little light that a gap was filled with zeros.

    Not where a dark day may round to it, nor where a clear day is not known.
    """
    distinct = np.unique(values[np.isfinite(values)])
    digit = float(np.diff(distinct).min()) if distinct.size > 1 else 0.0
    return np.asarray((values < _NO_LIGHT_KC * clear) & (_DARKEST_KC * clear > digit / 2.0))


def dark_gaps(first: date, gaps: Flags) -> list[Finding]:
    """What is said of the days of `unlit`."""
    days = int(gaps.sum())
    if not days:
        return []
    when = first + timedelta(days=int(np.flatnonzero(gaps)[0]))
    held = "1 day has" if days == 1 else f"{days:,} days have"
    text = (
        f"{held} next to no light, first {when.isoformat()}; the darkest measured have {_DARKEST_KC:.0%} of a clear "
        "day. Gaps filled with zeros? They are taken as not known."
    )
    return [finding("check", "zeros", text)]


def units(kc: Floats, above_air: int, known: int) -> list[Finding]:
    """Whether the values can be radiation on the level in the unit chosen."""
    if above_air > _ABOVE_AIR_SHARE * known:
        text = (
            f"{above_air:,} of {known:,} days hold more than arrives above the air: the unit is not the one chosen, "
            "or it is not radiation on the level."
        )
        return [finding("stop", "above_air", text)]
    found = []
    if above_air:
        text = f"{above_air:,} of {known:,} days hold more than arrives above the air, and are taken as not known."
        found.append(finding("check", "above_air", text))
    usable = kc[np.isfinite(kc)]
    if usable.size < _LEAST_DAYS:
        return found
    return found + _envelope(float(np.percentile(usable, ENVELOPE_PERCENTILE)))


def _envelope(envelope: float) -> list[Finding]:
    bright = f"Its clear days are {envelope:.2f} times a clear day here"
    if envelope > _TOO_BRIGHT_KC:
        return [finding("stop", "too_bright", f"{bright}: another unit, or radiation on tilted panels?")]
    if envelope > _BRIGHT_KC:
        return [
            finding("check", "bright", f"{bright}, and were scaled down to {KC_MAX}: is it radiation on the level?")
        ]
    if envelope > KC_MAX:
        return [finding("note", "scaled", f"{bright}, and were scaled down to {KC_MAX}.")]
    if envelope < _TOO_DIM_KC:
        return [finding("stop", "too_dim", f"{bright}: another unit, or a sensor in the shade?")]
    if envelope < _DIM_KC:
        return [finding("check", "dim", f"{bright}: is the unit right, and was the sensor clean and free of shade?")]
    return []


def season(series: DailySeries, site: Site) -> list[Finding]:
    """Whether bright and dark months are those of the house, by the brighter days of each month."""
    if abs(site.latitude_deg) < _SEASONS_FROM_DEG:
        return []
    month = months_of(series.first, series.values.size)
    known = np.isfinite(series.values)
    of_month = [series.values[known & (month == n)] for n in range(1, 13)]
    bright = np.array([np.percentile(day, 90.0) if day.size else np.nan for day in of_month])
    clear = clear_day_kwh_m2(site, [mean_day_of_year(n) for n in range(1, 13)])
    here, turned = _unlike(bright, clear), _unlike(bright, np.roll(clear, 6))
    if not here > max(_UNLIKE, 3.0 * turned):
        return []
    text = (
        "Its bright months are the dark ones at your house: it is of the other half of the earth, or half a year off."
    )
    return [finding("stop", "wrong_season", f"{text}.")]


def _unlike(bright: Floats, clear: Floats) -> float:
    """How far two courses of the year differ in shape: 0 where one is a multiple of the other, up to 1."""
    both = np.isfinite(bright)
    if both.sum() < _LEAST_MONTHS or not bright[both].any():
        return 0.0
    alike = float(bright[both] @ clear[both]) ** 2
    return 1.0 - alike / float((bright[both] @ bright[both]) * (clear[both] @ clear[both]))


def shape(kc: Floats) -> list[Finding]:
    """Whether dark days are as dark as an instrument sees them."""
    known = kc[np.isfinite(kc)]
    if known.size < _LEAST_DAYS_FOR_SHAPE:
        return []
    least, first, fifth = np.percentile(known, (0.5, 1.0, 5.0))
    found = []
    why = "It looks estimated from hours of sunshine, not measured: such a series has no dark days, and its dull spells"
    if first > _FLOOR_KC:
        text = f"Its darkest days (1 in 100) still have {first:.0%} of a clear day. {why} would be too kind."
        found.append(finding("stop", "floor", text))
    elif fifth > 0.0 and least / fifth > _FLAT_RATIO:
        text = f"Its darkest days are all alike, about {fifth:.0%} of a clear day. {why} would be too kind."
        found.append(finding("stop", "flat", text))
    run = longest(kc < _ENDLESS_KC)
    if run > _ENDLESS_DAYS:
        text = f"It has {run} days in a row below half a clear day: no measured sky does that, so no spell is taken."
        found.append(finding("stop", "endless", text))
    return found


def longest(runs: Flags) -> int:
    """Return the length of the longest run of days that are marked, (n,); 0 where none is."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], runs.astype(np.int64), [0]))))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def months_of(first: date, days: int) -> NDArray[np.int64]:
    """Return the month, 1 to 12, of each of the days that begin with `first`."""
    return np.asarray(dates_of(first, days).astype("datetime64[M]").astype(np.int64) % 12 + 1)


def finding(level: str, code: str, text: str) -> Finding:
    """Return a finding: its level, its code for tests, and its sentence."""
    return Finding(level=level, code=code, text=text)
