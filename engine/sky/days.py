"""Which days are to come: typed words, kWh, a spell measured or made, the owner's own dull day, or no sun at all.

A day is its kc, horizontal radiation over that of a clear day. Words stand for the middle of a range, and
the range is kept. Not modelled: a forecast.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from engine.errors import InputError
from engine.sky import climate as climates
from engine.sky.averages import average_day_kc, kc_for_kwh, kc_of_days
from engine.sky.made import made_spells
from engine.sky.own_spells import own_kc
from engine.sky.site import Site, Sun
from engine.sky.spells import RISK_YEARS, WINDOW_DAYS, spell_title
from engine.text.dates import written_date

Floats = NDArray[np.float64]

WORDS: dict[str, tuple[float, float, float]] = {
    "dark": (0.05, 0.10, 0.17),
    "dull": (0.17, 0.30, 0.50),
    "bright": (0.70, 0.95, 1.05),
}
"""kc of each word: lowest, taken, highest (judgement, from the stations' worst 1-, 3- and 14-day spells)."""
GUESSED = "guessed"
"""Basis of days that nobody has said yet."""
SEASON = "season"
"""Asks for the days as they go at this time of the year; `engine.answers.fan` reads it."""
MAX_DAYS = 366
_MOST_KWH = 100_000.0
_GRAMMAR = (
    "Write the days as dark,dull,bright, as kc:0.1,0.2, as kwh:1.5,0.8 (of all panels), "
    "as oktas:8,8,4 (eighths of the sky covered), as none for no sun, or name a spell"
)
MADE_SPELLS = {f"made_{days}d_1in{risk}": (days, risk) for days in WINDOW_DAYS for risk in RISK_YEARS}
"""Length and risk of each spell that is made for the place, by its id."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sky:
    """Days to come: kc (n,), the word each was typed as, and the ends of what that word may mean.

    `spell_id` and `spell_title` are those of a spell that was named; `month` is the one it came in. `years` is what
    stands behind days that nobody said: an `engine.answers.fan.Years`.
    """

    kc: Floats
    labels: tuple[str, ...]
    basis: str
    title: str
    low_kc: Floats
    high_kc: Floats
    listed_days: int
    month: int | None = None
    spell_id: str = ""
    spell_title: str = ""
    years: object | None = None


@lru_cache(maxsize=64)
def parse_sky(text: str, site: Site, sun: Sun, month: int, days: int = 0) -> Sky:
    """Read what a person asked for as the days to come.

    Parameters
    ----------
    text : str
        ``none``; the id of a spell, measured elsewhere, out of the owner's file (``own_7d_1in10``) or made for the
        place (``made_7d_1in10``); words such as ``dark,dull,bright``; ``kc:.1,.2``; ``kwh:1.5,.8``, what all panels
        give on each day; or ``oktas:8,8,4``, the eighths of the sky covered by cloud.
    month : int
        Month asked about, 1 to 12: it decides the owner's dull day and the average days after the list.
    days : int
        Number of days wanted. A list is never cut; days after its end are average ones of the month.

    Raises
    ------
    InputError
        On the field ``sky``, with the sentence that says what may be written.
    """
    _refuse_too_many(days)
    asked = text.strip()
    if asked == "none":
        return _sky(np.zeros(max(days, 1)), basis="none", title="No sun at all")
    listed = _listed(asked, site, sun, month)
    return extend(listed, average_day_kc(site, sun, month), days)


def _listed(asked: str, site: Site, sun: Sun, month: int) -> Sky:
    if asked in climates.presets():
        return _measured(climates.presets()[asked], site)
    if asked.startswith("own_"):
        return _out_of_file(asked, site, sun, month)
    if asked in MADE_SPELLS:
        return _made(asked, site, sun)
    prefix, colon, _ = asked.partition(":")
    if colon and prefix in ("kc", "kwh", "oktas"):
        return _numbered(prefix, asked, site, sun, month)
    return _worded(asked, site, sun, month)


def extend(sky: Sky, average_kc: float, n_days: int) -> Sky:
    """Return the sky with average days after its own, `n_days` in all; the title says so."""
    more = n_days - len(sky.kc)
    if more <= 0:
        return sky
    title = f"{sky.title}, then {_count(more).lower()} average for the month"

    def filled(kc: Floats) -> Floats:
        return np.append(kc, np.full(more, average_kc))

    return dataclasses.replace(
        sky,
        kc=filled(sky.kc),
        labels=sky.labels + ("",) * more,
        title=title,
        low_kc=filled(sky.low_kc),
        high_kc=filled(sky.high_kc),
    )


def lengthened(sky: Sky, n_days: int) -> Sky:
    """Return the sky with `n_days` listed at least: after its own, days like their mean; the title says so."""
    listed, more = sky.listed_days, n_days - sky.listed_days
    if more <= 0:
        return sky
    how = "repeated" if listed == 1 else "its mean day repeated"

    def filled(kc: Floats) -> Floats:
        return np.concatenate([kc[:listed], np.full(more, np.mean(kc[:listed])), kc[listed:]])

    mean_label = sky.labels[0] if listed == 1 else ""
    return dataclasses.replace(
        sky,
        kc=filled(sky.kc),
        labels=(*sky.labels[:listed], *(mean_label,) * more, *sky.labels[listed:]),
        title=f"{sky.title}, {how} to {_count(n_days)}",
        low_kc=filled(sky.low_kc),
        high_kc=filled(sky.high_kc),
        listed_days=n_days,
    )


def guessed(sky: Sky) -> Sky:
    """Return typed days as those that nobody has said yet: a guess to begin with."""
    return dataclasses.replace(sky, basis=GUESSED, title=sky.title.replace("as typed", "guessed", 1))


@lru_cache(maxsize=64)
def owner_dull_day(site: Site, sun: Sun, month: int, days: int = 1) -> Sky | None:
    """Return days that give the owner's own dull-day kWh, or None where none is typed.

    The kWh are those of the day the owner saw, in its month; without a month, of the month asked about.
    """
    kc = _owner_dull_kc(site, sun, month)
    if kc is None:
        return None
    own = _sky(np.full(days, kc), basis="owner's dull day", title=f"{_count(days)} like your own dull day")
    return dataclasses.replace(own, labels=("dull",) * days)


def equivalent_dark_days(daily_kwh: ArrayLike, mean_daily_kwh: float, window_days: int) -> float:
    """Return how many days without any sun the worst window of a series is worth [days].

    Parameters
    ----------
    daily_kwh : (n,) array_like
        Energy of each day [kWh].
    mean_daily_kwh : float
        Energy of an average day [kWh], above 0.
    window_days : int
        Length of the running sum [days], 1 to n.

    References
    ----------
    NASA POWER, Solar Storage System Design (running sums of daily radiation); the quotient itself is
    from memory of that page.

    Examples
    --------
    >>> equivalent_dark_days([5, 5, 0, 0, 5], 5.0, 3)
    2.0
    """
    series = np.asarray(daily_kwh, dtype=np.float64)
    if not (mean_daily_kwh > 0.0 and 1 <= window_days <= series.size):
        raise InputError("window_days", f"The window must be from 1 to {series.size} days of a mean above 0 kWh.")
    sums = np.convolve(series, np.ones(window_days), mode="valid")
    return float((window_days * mean_daily_kwh - sums.min()) / mean_daily_kwh)


@lru_cache(maxsize=256)
def _owner_dull_kc(site: Site, sun: Sun, month: int) -> float | None:
    if sun.dull_day_kwh is None or not sun.arrays:
        return None
    return kc_for_kwh(site, sun, sun.dull_day_kwh, sun.dull_day_month or month)


def _own_dull_kc_if_any(site: Site, sun: Sun, month: int) -> float | None:
    """The owner's dull day where these panels can give it in its month; a notice says where they cannot."""
    try:
        return _owner_dull_kc(site, sun, month)
    except InputError:
        return None


def _measured(preset: climates.Preset, site: Site) -> Sky:
    kc = np.array(preset.kc + preset.next4)
    after = _and_after(len(preset.next4))
    borrowed = ", shape borrowed" if preset.shape_borrowed else ""
    title = f"{preset.title}{after} ({preset.station}, ended {written_date(preset.end)}{borrowed})"
    return dataclasses.replace(
        _sky(kc, basis="measured elsewhere", title=title),
        listed_days=preset.days,
        month=preset.month_at(south=site.south),
        spell_id=preset.id,
        spell_title=preset.title,
    )


def _out_of_file(asked: str, site: Site, sun: Sun, month: int) -> Sky:
    spell = next((one for one in sun.spells if one.id == asked), None)
    if spell is None:
        has = (
            ", ".join(one.id for one in sun.spells) or "none yet; a file with years enough brings them, on Sun records"
        )
        raise InputError("sky", f"“{asked}” is not a spell of your own file. There is: {has}.")
    kc, after_kc = own_kc(site, sun, spell, month)
    after, ended = _and_after(len(spell.after_kc)), written_date(spell.ended)
    title = f"{spell.title}{after} (your file, {spell.years} years, ended {ended})"
    return dataclasses.replace(
        _sky(kc + after_kc, basis="own file", title=title),
        listed_days=len(spell.kc),
        month=spell.month,
        spell_id=spell.id,
        spell_title=spell.title,
    )


def _made(asked: str, site: Site, sun: Sun) -> Sky:
    table = made_spells(site, sun)
    spell = table.spell(*MADE_SPELLS[asked])
    assert spell is not None
    window, name = spell.window, spell_title(spell.days, spell.risk_years)
    after = _and_after(len(window.after_kc))
    return dataclasses.replace(
        _sky(window.kc + window.after_kc, basis="made", title=f"{name}{after} ({table.title})"),
        listed_days=spell.days,
        month=window.month,
        spell_id=asked,
        spell_title=name,
    )


def _and_after(days: int) -> str:
    return f", and the {days} days after it" if days else ""


def _numbered(prefix: str, asked: str, site: Site, sun: Sun, month: int) -> Sky:
    if prefix == "kc":
        kc = _numbers(asked, "kc:", 0.0, climates.KC_MAX)
        return _sky(kc, basis="typed", title=f"{_count(kc.size)} as typed")
    if prefix == "kwh":
        kc = kc_of_days(site, sun, _numbers(asked, "kwh:", 0.0, _MOST_KWH), month)
        return _sky(kc, basis="typed", title=f"{_count(kc.size)} by the kWh of the panels")
    kc = climates.clear_fraction_from_oktas(_numbers(asked, "oktas:", 0.0, 8.0))
    return _sky(kc, basis="typed", title=f"{_count(kc.size)} by cloud cover")


def _worded(asked: str, site: Site, sun: Sun, month: int) -> Sky:
    words = [word.strip() for word in asked.split(",")]
    _refuse_too_many(len(words))
    strange = [word for word in words if word not in WORDS]
    if strange:
        shown = f"“{strange[0]}” is not a day" if strange[0] else "A day is missing"
        raise InputError("sky", f"{shown}. {_GRAMMAR}.")
    meaning = dict(WORDS)
    own = _own_dull_kc_if_any(site, sun, month) if {"dull", "dark"} & set(words) else None
    if own is not None:
        meaning["dull"] = (own, own, own)
        lowest, taken_dark, highest = WORDS["dark"]
        meaning["dark"] = (min(lowest, own), min(taken_dark, own), min(highest, own))
    low, taken, high = np.array([meaning[word] for word in words]).T
    as_typed = _sky(taken, basis="typed", title=f"{_count(len(words))} as typed")
    return dataclasses.replace(as_typed, labels=tuple(words), low_kc=low, high_kc=high)


def _numbers(asked: str, prefix: str, low: float, high: float) -> Floats:
    try:
        found = [float(part) for part in asked.removeprefix(prefix).split(",")]
    except ValueError:
        raise InputError(
            "sky", f"After {prefix} there must be numbers with commas between them; got “{asked}”."
        ) from None
    _refuse_too_many(len(found))
    outside = [value for value in found if not (math.isfinite(value) and low <= value <= high)]
    if outside:
        raise InputError("sky", f"Each number after {prefix} must be from {low:g} to {high:g}; got {outside[0]:g}.")
    return np.array(found)


def _refuse_too_many(days: int) -> None:
    if days > MAX_DAYS:
        raise InputError("sky", f"The number of days must be at most {MAX_DAYS}; got {days}.")


def _sky(kc: Sequence[float] | Floats, *, basis: str, title: str) -> Sky:
    values = np.asarray(kc, dtype=np.float64)
    n = len(values)
    return Sky(kc=values, labels=("",) * n, basis=basis, title=title, low_kc=values, high_kc=values, listed_days=n)


def _count(days: int) -> str:
    return "One day" if days == 1 else f"{days} days"
