"""What a dull day gives by the charger's daily counter: the sky it tells, the kWh of a dull day, and how sure that is.

kWh are of all panels, DC before the solar charger. Each day that counts is read as the kc that these panels give it at
on its date, and brought to the middle of one month, so that days of some weeks can be put together. Days on which the
bank was full, snow lay, or that were not dull do not count. Not modelled: shade, and whether the days that were written
down are like those that were not.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache

import numpy as np

from engine.answers.answer import Assumption, Notice, Worked
from engine.answers.measuring import Lasts, Measured, Part, combined, measured, of_limits, of_step, t95
from engine.answers.measuring_changes import lasts, with_dull_day
from engine.answers.measuring_dull_words import dull_assumptions, dull_notices, dull_worked
from engine.errors import InputError, Unreachable
from engine.fields import quantities
from engine.house.household import Household, Supply
from engine.quantities import mean_day_of_year
from engine.sky import climate as climates
from engine.sky.days import WORDS
from engine.sky.log import NOTHING_SHARE
from engine.sky.own_days import dull_day_serves
from engine.sky.site import Site, Sun
from engine.sky.sun import yield_kwh

KINDS = ("dull", "bright", "full", "snow", "part")
"""What a day was: dull all day, which alone counts; with bright hours; the bank full; snow lying; not a whole day."""
SIDE_SHARE = {"panels": 0.0, "charger": 0.02, "sockets": 0.05}
"""How far off what was worked back through charger and inverter may be (judgement)."""
METER_SHARE = 0.02
"""How far off a charger's daily counter is (typical, from memory)."""
USUAL_STEP_KWH = 0.1
KNOWN_DAYS = 4
"""Days that the word’s own span is worth beside those written down, as a scatter known beforehand (judgement)."""
AIM_SHARE = 0.2
"""An error of a dull day that is good enough to plan with (choice)."""
MOST_DAYS, LONGEST_SPAN_DAYS = 8, 200
"""Most days at once, and between the first and the last (choice: one dark season)."""
MOST_MORE_DAYS = 100
BRIGHTER_KC = (WORDS["dull"][2] + WORDS["bright"][0]) / 2.0
"""kc from which a day called dull is nearer to what “bright” means, and does not count (judgement)."""
ABOVE_CLEAR = 1.2
"""Times a clear day of the date that a day is not believed above (judgement)."""
_SKIES = np.linspace(0.0, climates.KC_MAX, 56)


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One day of the counter: what all panels gave on it [kWh], and what kind of day it was."""

    day: date
    kwh: float
    kind: str = "dull"


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRead:
    """A day as it was read: its kc [-] and what it would give in the middle of the month [kWh]; whether it counts.

    Its kind is ``nothing`` where it was called dull and gave next to nothing, ``brighter`` where it gave too much.
    """

    day: date
    kwh: float
    kind: str
    kc: float
    month_kwh: float
    counts: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DullDay:
    """The answer; without days that count only what is taken now.

    Attributes
    ----------
    month : int
        The month that the dull day is one of.
    now_kwh, now_own : float, bool
        A dull day of it as answers take it now [kWh], and whether that is the owner's own.
    kc, low_kc, high_kc : float or None
        The sky that the result and both ends of its interval mean.
    more_days : int or None
        Further dull days until the error is within `AIM_SHARE`; None where no number of days is enough.
    expected : tuple of (int, float)
        Error of the mean, of itself [-], after so many days that count.
    """

    month: int
    now_kwh: float
    now_own: bool
    days: tuple[DayRead, ...]
    result: Measured | None
    kc: float | None
    low_kc: float | None
    high_kc: float | None
    more_days: int | None
    expected: tuple[tuple[int, float], ...]
    lasts: Lasts | None
    notices: tuple[Notice, ...]
    worked: tuple[Worked, ...]
    assumptions: tuple[Assumption, ...]

    @property
    def counted(self) -> tuple[DayRead, ...]:
        """The days that count."""
        return tuple(one for one in self.days if one.counts)

    @property
    def to_use_kwh(self) -> float | None:
        """kWh to be written into the household; None where there are none, or nothing lies within the error."""
        if self.result is None or self.result.low <= 0.0:
            return None
        meaning = quantities(Sun)["dull_day_kwh"]
        kwh = float(f"{self.result.value:.3g}")
        return kwh if meaning.low <= kwh <= meaning.high else None


def dull_day(
    household: Household, supply: Supply | None, at: datetime, days: Sequence[Day] = (), side: str = "panels"
) -> DullDay:
    """Work out a dull day's kWh from days of the counter.

    Parameters
    ----------
    supply : Supply or None
        The one whose lasting is told; None where no bank is joined.
    at : datetime
        Now, local standard time.
    days : sequence of Day
        As read and worked back to before the solar charger.
    side : str
        Where they were read, a key of `SIDE_SHARE`.

    Raises
    ------
    Unreachable
        If no panels are described.
    InputError
        If a day gave more than these panels can, or the days are too far apart; the field is ``kwh_n`` or ``day_n``
        with the place of the day, from 1.
    """
    site, sun = household.site, household.sun
    if not sun.arrays:
        raise Unreachable("There are no panels yet: a day’s kWh are read against what they could give.")
    plain = dataclasses.replace(sun, dull_day_kwh=None, dull_day_month=None)
    _refuse(site, plain, days)
    dull = [one for one in days if one.kind == "dull"]
    month = Counter(one.day.month for one in dull).most_common(1)[0][0] if dull else at.month
    read = tuple(_read(site, plain, one, month) for one in days)
    own = dull_day_serves(site, sun, month)
    now_kwh = _now_kwh(site, sun, plain, month, own=own)
    gave = [one.month_kwh for one in read if one.counts]
    spread = _spread_kwh(gave, _word_spread_kwh(site, plain, month))
    mean_kwh = float(np.mean(gave)) if gave else now_kwh
    result, more = None, None
    expected: tuple[tuple[int, float], ...] = ()
    if mean_kwh > 0.0:
        more = _more_days(mean_kwh, spread, len(gave), side)
        last = max(MOST_DAYS, len(gave) + (more or 0)) + 1
        expected = tuple((n, _error(mean_kwh, spread, n, side)[0] / mean_kwh) for n in range(1, last + 1))
    if gave:
        half, parts = _error(mean_kwh, spread, len(gave), side)
        total = combined(parts)
        result = measured(mean_kwh, parts, now_kwh, "kWh", half / total if total > 0.0 else 0.0)
    means = [None if result is None else _kc(site, plain, month, kwh) for kwh in _ends(result)]
    return DullDay(
        month=month,
        now_kwh=now_kwh,
        now_own=own,
        days=read,
        result=result,
        kc=means[0],
        low_kc=means[1],
        high_kc=means[2],
        more_days=more,
        expected=expected,
        lasts=None
        if result is None or supply is None or result.value <= 0.0
        else lasts(household, supply.bank.id, at, result, lambda kwh: with_dull_day(household, max(kwh, 0.001), month)),
        notices=dull_notices(read, result, month, own),
        worked=() if result is None else dull_worked(read, result, means[0] or 0.0, spread, month),
        assumptions=dull_assumptions(side, SIDE_SHARE[side], METER_SHARE, KNOWN_DAYS),
    )


def _ends(result: Measured | None) -> tuple[float, float, float]:
    return (0.0, 0.0, 0.0) if result is None else (result.value, result.low, result.high)


@lru_cache(maxsize=256)
def _given_kwh(site: Site, sun: Sun, day_of_year: int) -> tuple[float, ...]:
    """What all panels give on a day of the year under each sky of `_SKIES`, never falling [kWh]."""
    given = yield_kwh(site, sun, _SKIES, np.full(_SKIES.size, day_of_year))
    return tuple(np.maximum.accumulate(given).tolist())


def _read(site: Site, sun: Sun, one: Day, month: int) -> DayRead:
    given = _given_kwh(site, sun, one.day.timetuple().tm_yday)
    lit = given[-1] > 0.0 and one.kwh >= NOTHING_SHARE * given[-1]
    kc = float(np.interp(one.kwh, given, _SKIES)) if lit else 0.0
    kind = one.kind
    if kind == "dull" and (not lit or kc >= BRIGHTER_KC):
        kind = "brighter" if lit else "nothing"
    there = float(np.interp(kc, _SKIES, _given_kwh(site, sun, mean_day_of_year(month))))
    return DayRead(day=one.day, kwh=one.kwh, kind=kind, kc=kc, month_kwh=there, counts=kind == "dull")


def _kc(site: Site, sun: Sun, month: int, kwh: float) -> float:
    return float(np.interp(kwh, _given_kwh(site, sun, mean_day_of_year(month)), _SKIES))


def _now_kwh(site: Site, sun: Sun, plain: Sun, month: int, *, own: bool) -> float:
    """A dull day of a month as answers take it: the owner's own by its sky, else that of the word [kWh]."""
    kc = WORDS["dull"][1]
    if own and sun.dull_day_kwh is not None:
        kc = _kc(site, plain, sun.dull_day_month or month, sun.dull_day_kwh)
    return float(np.interp(kc, _SKIES, _given_kwh(site, plain, mean_day_of_year(month))))


def _word_spread_kwh(site: Site, sun: Sun, month: int) -> float:
    """Standard deviation of days anywhere between the ends of what “dull” may mean, as a rectangle [kWh]."""
    given, (low, _, high) = _given_kwh(site, sun, mean_day_of_year(month)), WORDS["dull"]
    ends = np.interp([low, high], _SKIES, given)
    return of_limits(float(ends[1] - ends[0]) / 2.0)


def _spread_kwh(gave: Sequence[float], known_kwh: float) -> tuple[float, float]:
    """Standard deviation from one dull day to the next [kWh], and its degrees of freedom.

    What is known beforehand and what the days show are pooled by their degrees of freedom (JCGM 100:2008, 4.2.4).
    """
    own = float(np.sum((np.array(gave) - np.mean(gave)) ** 2)) if gave else 0.0
    freedom = KNOWN_DAYS + max(len(gave) - 1, 0)
    return float(((KNOWN_DAYS * known_kwh**2 + own) / freedom) ** 0.5), float(freedom)


def _error(mean_kwh: float, spread: tuple[float, float], days: int, side: str) -> tuple[float, tuple[Part, ...]]:
    """The error of the mean of some days on either side [kWh], and its parts; t by the freedom of their sum (G.4.1)."""
    scatter, _ = spread
    parts = (
        Part(
            label="One dull day is not like the next",
            how=f"scatter {scatter:.3g} kWh ÷ √{days}",
            u=scatter / days**0.5,
        ),
        Part(label="The counter", how=f"{METER_SHARE * 100:g} % either way", u=of_limits(METER_SHARE * mean_kwh)),
        Part(label="Its last digit", how=f"steps of {USUAL_STEP_KWH:g} kWh", u=of_step(USUAL_STEP_KWH) / days**0.5),
        Part(
            label="Worked back to before the charger",
            how=f"{SIDE_SHARE[side] * 100:g} % either way",
            u=of_limits(SIDE_SHARE[side] * mean_kwh),
        ),
    )
    total, by_chance = combined(parts), parts[0].u
    freedom = (KNOWN_DAYS + days - 1) * (total / by_chance) ** 4 if by_chance > 0.0 else float("inf")
    return t95(freedom) * total, parts


def _more_days(mean_kwh: float, spread: tuple[float, float], days: int, side: str) -> int | None:
    for n in range(max(days, 1), MOST_MORE_DAYS):
        if _error(mean_kwh, spread, n, side)[0] <= AIM_SHARE * mean_kwh:
            return n - days
    return None


def _refuse(site: Site, sun: Sun, days: Sequence[Day]) -> None:
    """Refuse days that these panels cannot have given, days twice, and days of two seasons."""
    for place, one in enumerate(days, 1):
        clear_kwh = _given_kwh(site, sun, one.day.timetuple().tm_yday)[-1]
        if one.kind == "dull" and one.kwh > ABOVE_CLEAR * clear_kwh:
            raise InputError(
                f"kwh_{place}",
                f"{one.kwh:g} kWh on {one.day.day} {climates.MONTH_NAMES[one.day.month - 1]} cannot be a dull day: "
                f"these panels give at most {clear_kwh:.3g} kWh then.",
            )
        if one.day in [other.day for other in days[: place - 1]]:
            raise InputError(f"day_{place}", f"{one.day:%Y-%m-%d} is there twice; each day once.")
    if days:
        span = (max(one.day for one in days) - min(one.day for one in days)).days
        if span > LONGEST_SPAN_DAYS:
            raise InputError(
                "day_1", f"These days lie {span} days apart; take those of one dark season, {LONGEST_SPAN_DAYS} days."
            )
