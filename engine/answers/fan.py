"""How the days to come may turn out where nobody said them: these days of the calendar in each of many years.

Days that were said stay as said; the others are those of each year in turn, one run a year. From these the dullest
tenth, the middle and the brightest tenth are taken by the hours each bank lasts. Times are local standard time, hours
from the moment asked about. Not modelled: a forecast, what today's weather says of tomorrow's.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from engine.answers.coming import Coming, coming
from engine.balance.forcing import forcing
from engine.house.household import Household
from engine.quantities import HOURS_PER_DAY
from engine.sky.averages import average_day_kc
from engine.sky.climate import MONTH_NAMES
from engine.sky.days import Sky, extend
from engine.sky.same_days import LEAST_AHEAD_YEARS, same_days
from engine.sky.series import KcSeries, dates_of, days_of_year
from engine.sky.site import Site, Sun
from engine.sky.sun import array_hours

Floats = NDArray[np.float64]
Ended = tuple[float | None, ...]

TENTH = 10
"""One year in so many is left out at either end."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Years:
    """The days to come as each of several years had them, the days that were said being alike in all.

    Attributes
    ----------
    kc, low_kc, high_kc : (years, days) arrays
        Clearness, with the said days as taken and at the ends of what their words may mean.
    basis : str
        ``made`` or ``measured``.
    title : str
        Which days of which years.
    """

    kc: Floats
    low_kc: Floats
    high_kc: Floats
    basis: str
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fan:
    """What stands behind the range of one bank's hours.

    Attributes
    ----------
    years : int
        How many there are.
    tenths : bool
        Whether they are enough to tell a tenth; else the range is that of all of them.
    basis, title : str
        ``made`` or ``measured``, and which days of which years.
    dull_year, bright_year : int
        Rows of the years at the ends of the range.
    """

    years: int
    tenths: bool
    basis: str
    title: str
    dull_year: int
    bright_year: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The charge that the runs of a range stay within over time (n,): at the floor once one has ended [h, -]."""

    times_h: Floats
    low_soc: Floats
    high_soc: Floats


def season_sky(
    household: Household,
    charges: Mapping[str, float],
    said: Sky | None,
    is_said: Sequence[bool],
    series: KcSeries,
    at: datetime,
    days: int,
) -> Sky | None:
    """Return the days to come, those that nobody said being as in the middle one of many years.

    Parameters
    ----------
    household : Household
        With every load on: what is switched off later does not change which year is the middle one.
    said : Sky or None
        The days that were said, from the first day on.
    is_said : sequence of bool
        Which of them were; the others are taken from the years.
    days : int
        Days wanted.

    Returns
    -------
    Sky or None
        With `Years`; None if the series knows no year with all these days.

    Raises
    ------
    Unreachable
        If no bank is joined to an inverter.
    """
    plain = _plain(household, said, at.month, days)
    first, found = coming(household, charges, plain, at)
    rows = same_days(series, first, days)
    if not len(rows):
        return None
    kc, low_kc, high_kc = (_laid(rows, said, ends, is_said) for ends in ("kc", "low_kc", "high_kc"))
    order = _from_worst(found, kc)
    dull, bright = _tenths(len(order))
    title = _title(series, first, days, len(rows))
    count = max((place + 1 for place, yes in enumerate(is_said) if yes), default=0)
    labels = tuple(
        said.labels[place] if said is not None and place < count and is_said[place] else "" for place in range(days)
    )
    middle = f"the middle one of {title}"
    years = Years(kc=kc, low_kc=low_kc, high_kc=high_kc, basis=series.basis, title=title)
    return Sky(
        kc=kc[order[_middle(len(order))]],
        low_kc=low_kc[order[dull]],
        high_kc=high_kc[order[bright]],
        labels=labels,
        basis=said.basis if said is not None and count else f"{series.basis} season",
        title=f"{said.title}, then as in {middle}" if said is not None and count else f"As in {middle}",
        listed_days=(min(said.listed_days, count) or count) if said is not None and count else days,
        month=None if said is None else said.month,
        spell_id="" if said is None else said.spell_id,
        spell_title="" if said is None else said.spell_title,
        years=years,
    )


def fanned(one: Coming, sky: Sky) -> tuple[Coming, Fan | None]:
    """Return a bank's days with its own dull and bright years as the ends of the range, and which years these are.

    Days that were all said stay as they are, without a fan.
    """
    years = sky.years
    if not isinstance(years, Years):
        return one, None
    order = _order(_ended(one, years.kc), years.kc)
    dull, bright = (int(order[place]) for place in _tenths(len(order)))
    ends = [
        _from_midnight(rows[year : year + 1], one)[0] for rows, year in ((years.low_kc, dull), (years.high_kc, bright))
    ]
    skies = (one.given, *(forcing(one.household, one.supply, one.at, kc) for kc in ends))
    fan = Fan(
        years=len(order),
        tenths=len(order) >= LEAST_AHEAD_YEARS,
        basis=years.basis,
        title=years.title,
        dull_year=dull,
        bright_year=bright,
    )
    return dataclasses.replace(one, skies=skies), fan


def band_of(courses: Sequence[tuple[Floats, Floats]], floor_soc: float) -> Band:
    """Return the band that courses of charge fill.

    Parameters
    ----------
    courses : sequence of (hours, soc)
        Charge over time of every run of a range, each up to where it ended or the days are over.
    floor_soc : float
        Charge after an end [-].
    """
    longest = max((hours for hours, _ in courses), key=lambda hours: float(hours[-1]))
    times_h = np.unique(np.round(np.concatenate([longest, *(hours[-1:] for hours, _ in courses)]), 9))
    over = [np.interp(times_h, hours, soc, right=min(floor_soc, float(soc[-1]))) for hours, soc in courses]
    return Band(times_h=times_h, low_soc=np.min(over, axis=0), high_soc=np.max(over, axis=0))


def with_first_day(
    household: Household, charges: Mapping[str, float], sky: Sky, at: datetime, day_kc: tuple[float, float, float]
) -> Sky:
    """Return the days to come with another first day, and the middle one of the years as it is with that day.

    Parameters
    ----------
    day_kc : (low, taken, high)
        Clearness of the first day [-].
    """
    low, taken, high = day_kc
    days = dataclasses.replace(
        sky,
        kc=_begun_with(taken, sky.kc),
        low_kc=_begun_with(low, sky.low_kc),
        high_kc=_begun_with(high, sky.high_kc),
    )
    years = sky.years
    if not isinstance(years, Years):
        return days
    years = dataclasses.replace(
        years,
        kc=_begun_with(taken, years.kc),
        low_kc=_begun_with(low, years.low_kc),
        high_kc=_begun_with(high, years.high_kc),
    )
    order = _from_worst(coming(household, charges, days, at)[1], years.kc)
    dull, bright = _tenths(len(order))
    return dataclasses.replace(
        days,
        kc=years.kc[order[_middle(len(order))]],
        low_kc=years.low_kc[order[dull]],
        high_kc=years.high_kc[order[bright]],
        years=years,
    )


def _begun_with(kc: float, days: Floats) -> Floats:
    """Days (n,) or those of each year (years, n) with another first one."""
    begun = days.copy()
    begun[..., 0] = kc
    return begun


def _from_worst(found: Sequence[Coming], kc: Floats) -> NDArray[np.int64]:
    """Years from the worst one for the bank that lasts shortest in its middle one."""
    runs = [_ended(one, kc) for one in found]
    soonest = min(runs, key=lambda hours: _hours(hours)[_order(hours, kc)[_middle(len(hours))]])
    return _order(soonest, kc)


def _plain(household: Household, said: Sky | None, month: int, days: int) -> Sky:
    """The said days and average ones after them: enough to know where the days begin."""
    average = average_day_kc(household.site, household.sun, month)
    if said is not None:
        return extend(said, average, days)
    kc = np.full(days, average)
    return Sky(kc=kc, labels=("",) * days, basis="", title="", low_kc=kc, high_kc=kc, listed_days=days)


def _laid(rows: Floats, said: Sky | None, ends: str, is_said: Sequence[bool]) -> Floats:
    """The years with what was said in its place."""
    laid = rows.copy()
    if said is not None:
        for place, (yes, kc) in enumerate(zip(is_said, getattr(said, ends).tolist(), strict=True)):
            if yes and place < laid.shape[1]:
                laid[:, place] = kc
    return laid


def _from_midnight(kc: Floats, one: Coming) -> Floats:
    """The days from the midnight before the question on, as those of `one` are."""
    return np.concatenate([kc[:, :1], kc], axis=1) if len(one.kc) > kc.shape[1] else kc


@lru_cache(maxsize=16)
def _arrays_w(site: Site, sun: Sun, at_hour: datetime, kc: bytes, days: int) -> dict[str, Floats]:
    """What each array gives in the hours from `at_hour` on, (years, hours) by the array's id [W]."""
    every = np.frombuffer(kc)
    years = every.size // days
    dates = days_of_year(dates_of(at_hour.date(), days))
    bare = dataclasses.replace(sun, covered_days=0)
    found = {}
    for array_id, watts in array_hours(site, bare, every, np.tile(dates, years)).items():
        hours = watts.reshape(years, -1)
        hours[:, : HOURS_PER_DAY * sun.covered_days] = 0.0
        found[array_id] = hours[:, at_hour.hour :]
    return found


def _ended(one: Coming, kc: Floats) -> Ended:
    """Hours until load is first short, in each year; None where it never is. Kept: many pages ask the same."""
    whole = np.ascontiguousarray(_from_midnight(kc, one))
    key = (one.household, one.supply, one.start, one.at, whole.tobytes())
    known = _KNOWN.get(key)
    if known is None:
        known = _run_all(one, whole)
        with _WRITING:
            if len(_KNOWN) >= _MOST_KNOWN:
                _KNOWN.pop(next(iter(_KNOWN)))
            _KNOWN[key] = known
    return known


_MOST_KNOWN = 64
_KNOWN: dict[tuple[object, ...], Ended] = {}
_WRITING = Lock()


def _run_all(one: Coming, kc: Floats) -> Ended:
    household = one.household
    hour = one.at.replace(minute=0, second=0, microsecond=0)
    arrays_w = _arrays_w(household.site, household.sun, hour, kc.tobytes(), kc.shape[1])
    mine = [arrays_w[array.id] for array in one.supply.arrays]
    if not mine:
        return (one.run(until_ended=True).ended_h,) * len(kc)
    sun_w = np.sum(mine, axis=0) * household.sun.charger_efficiency
    found: list[float | None] = []
    for place, row in enumerate(sun_w):
        twin = next((n for n in range(place) if found[n] is not None and _alike(sun_w[n], row, found[n])), None)
        lit = dataclasses.replace(one.given, sun_w=row)
        found.append(one.run(lit, until_ended=True).ended_h if twin is None else found[twin])
    return tuple(found)


def _alike(known: Floats, row: Floats, ended_h: float | None) -> bool:
    """Whether two years have the same sun in every hour until one of them ended."""
    last = len(row) if ended_h is None else int(ended_h) + 2
    return bool(np.array_equal(known[:last], row[:last]))


def _hours(ended: Ended) -> Floats:
    return np.array([np.inf if hours is None else hours for hours in ended])


def _order(ended: Ended, kc: Floats) -> NDArray[np.int64]:
    """Years from the one a bank lasts shortest in; of those it lasts alike in, the duller first."""
    return np.lexsort((kc.sum(axis=1), _hours(ended)))


def _middle(years: int) -> int:
    """Place of the middle year, of two the worse."""
    return (years - 1) // 2


def _tenths(years: int) -> tuple[int, int]:
    """Places of the years that end the dullest tenth and begin the brightest; the outermost where they are too few."""
    out = max(years // TENTH, 1) if years >= LEAST_AHEAD_YEARS else 1
    return out - 1, years - out


def _title(series: KcSeries, first: date, days: int, years: int) -> str:
    last = first + timedelta(days=days - 1)
    begin = f"{first.day}" if first.month == last.month else f"{first.day} {MONTH_NAMES[first.month - 1]}"
    whose = "made years of this place" if series.basis == "made" else "measured years of your sun record"
    return f"{years} {whose}, {begin} to {last.day} {MONTH_NAMES[last.month - 1]}"
