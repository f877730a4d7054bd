"""What the panels gave against what the model says: clear, average and dull days, and the very days where known.

Watts and kWh at the battery side: DC of all panels times the solar charger’s efficiency. A clear day is that of the
date; an average and a dull day are those of the month. Covered days are not predicted. A bank that is full holds its
panels back: such days are told where the monitor’s charge is known, and kept apart where the very days are predicted.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from engine.answers.checking_parts import Errors, Flags, Floats, by_day, errors, months_of
from engine.house.household import Household
from engine.meter.hours import MeterHours
from engine.quantities import WH_PER_KWH
from engine.sky.glance import month_yields
from engine.sky.series import KcSeries, days_of_year
from engine.sky.sun import array_hours

ABOVE_CLEAR = 1.10
"""Times a clear day from which a day gave more than these panels can (judgement: thin cloud beside the sun lifts real
days by a few percent)."""
NEAR_ZERO = 0.02
"""Of a clear day: below it next to nothing came (judgement; the darkest real days still bring about 5 %)."""
MOSTLY = 0.5
"""From so many of the days known on, the very days are what the answer is about (judgement)."""
FULL_BELOW_SOC = 0.03
"""The bank is near full so close below where its charge ends (judgement)."""
HELD_SHARE = 0.8
"""The panels were held back where they gave less than so much, in the hours with a full bank, of what the day’s
other hours promised (judgement)."""
HELD_PART = 0.15
"""Least part of a clear day’s kWh that those hours must have to be told (judgement)."""
LEAST_FREE_DAYS = 10
"""Days without a full bank from which they are told in place of all (judgement)."""
BEFORE_PART = 0.05
"""Least part of a clear day’s kWh that the other hours must have to promise anything (judgement)."""
LEAST_CLEAR_KWH = 0.05
"""Of a clear day below this nothing is said of its share: the sun hardly rises (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class YieldMonth:
    """One month of one year: means of its known days [kWh a day]; `errors` are those of the answer’s reference."""

    year: int
    month: int
    days: int
    measured_kwh: float
    clear_kwh: float
    average_kwh: float
    dull_kwh: float
    errors: Errors | None


@dataclass(frozen=True, slots=True, kw_only=True)
class YieldCheck:
    """Measured yield against the model.

    Attributes
    ----------
    reference : str
        ``same day`` where the sky of most days is known, else ``average days``.
    errors : Errors
        Against that reference.
    average : Errors
        Against the average day of each month.
    free : Errors or None
        Against the very days, of those alone on which the bank was never near full while the sun shone; None where
        the very days or the charge are not known.
    held_days : int or None
        Days on which a full bank likely held the panels back; None where the charge is not known.
    above_clear_days, near_zero_days : int
        Days above `ABOVE_CLEAR` and below `NEAR_ZERO` of a clear day.
    """

    reference: str
    errors: Errors
    average: Errors
    free: Errors | None
    held_days: int | None
    above_clear_days: int
    near_zero_days: int
    months: tuple[YieldMonth, ...]

    @property
    def told(self) -> Errors:
        """The errors that say most of the panels: without a full bank where there are days enough, else all."""
        return self.free if self.free is not None and self.free.days >= LEAST_FREE_DAYS else self.errors


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class YieldDays:
    """Measured and predicted days side by side, (n,) [kWh], and hours, (n, 24) [W]; NaN where not known.

    `reference` is the very day where known, else the month’s average day; `held` and `near_full` are None where the
    charge is not known. `free` are the days on which the bank is known not to be near full while the sun shone.
    """

    dates: NDArray[np.datetime64]
    measured: Floats
    clear: Floats
    average: Floats
    dull: Floats
    same_day: Floats
    hours: Floats
    clear_hours: Floats
    held: Flags | None
    near_full: Flags | None
    free: Flags

    @property
    def reference(self) -> Floats:
        """The best prediction there is of each day."""
        return np.where(np.isfinite(self.same_day), self.same_day, self.average)

    @property
    def near_zero(self) -> Flags:
        """Days that gave next to nothing though the sun rose."""
        return (self.measured < NEAR_ZERO * self.clear) & (self.clear >= LEAST_CLEAR_KWH)


def clear_hours(household: Household, dates: NDArray[np.datetime64]) -> Floats:
    """Return what the panels give in each hour of a clear day of each date, (n, 24) [W], at the battery side."""
    days, place = np.unique(days_of_year(dates), return_inverse=True)
    return _hours(household, np.ones(days.size), days)[place]


def yield_days(
    household: Household, hours: MeterHours, kc: KcSeries | None, charge: Floats | None, top_soc: float
) -> YieldDays:
    """Put measured and predicted days side by side.

    Parameters
    ----------
    kc : KcSeries, optional
        The sky of the very days, from a record of radiation.
    charge : (n, 24) array, optional
        Charge of the bank, by the monitor or the run [-].
    top_soc : float
        Charge at which the bank’s charge ends [-].
    """
    dates, eff = hours.dates, household.sun.charger_efficiency
    clear_w = clear_hours(household, dates)
    by_month = month_yields(household.site, household.sun)
    months = months_of(dates) - 1
    full = None if charge is None else charge >= top_soc - FULL_BELOW_SOC
    measured_w = hours.values["yield_w"]
    same_day = _same_days(household, dates, kc)
    return YieldDays(
        dates=dates,
        measured=hours.daily_kwh("yield_w"),
        clear=clear_w.sum(axis=1) / WH_PER_KWH,
        average=np.array([one.average_kwh for one in by_month])[months] * eff,
        dull=np.array([one.dull_kwh for one in by_month])[months] * eff,
        same_day=same_day,
        hours=measured_w,
        clear_hours=clear_w,
        held=None if full is None else _held(measured_w, clear_w, full, same_day),
        near_full=full,
        free=_free(charge, clear_w, top_soc),
    )


def yield_check(days: YieldDays) -> YieldCheck | None:
    """Return the errors of the yield; None where no day of it is known."""
    average, same = errors(days.measured, days.average), errors(days.measured, days.same_day)
    if average is None:
        return None
    whole = same is not None and same.days >= MOSTLY * average.days
    against = days.same_day if whole else days.average
    counted = np.isfinite(days.measured)
    free = errors(np.where(days.free, days.measured, np.nan), days.same_day) if whole else None
    found = same if whole and same is not None else average
    return YieldCheck(
        reference="same day" if whole else "average days",
        errors=found,
        average=average,
        free=free,
        held_days=None if days.held is None else int(days.held[counted].sum()),
        above_clear_days=int(((days.measured > ABOVE_CLEAR * days.clear) & (days.clear >= LEAST_CLEAR_KWH)).sum()),
        near_zero_days=int(days.near_zero.sum()),
        months=_months(days, against),
    )


def _months(days: YieldDays, against: Floats) -> tuple[YieldMonth, ...]:
    ordinal = days.dates.astype("datetime64[M]").astype(np.int64)
    found = []
    for month in np.unique(ordinal[np.isfinite(days.measured)]).tolist():
        there = (ordinal == month) & np.isfinite(days.measured)
        means = (float(one[there].mean()) for one in (days.measured, days.clear, days.average, days.dull))
        measured, clear, average, dull = means
        found.append(
            YieldMonth(
                year=1970 + month // 12,
                month=month % 12 + 1,
                days=int(there.sum()),
                measured_kwh=measured,
                clear_kwh=clear,
                average_kwh=average,
                dull_kwh=dull,
                errors=errors(days.measured[there], against[there]),
            )
        )
    return tuple(found)


def _same_days(household: Household, dates: NDArray[np.datetime64], kc: KcSeries | None) -> Floats:
    """What the panels give on the very days [kWh]; NaN where their sky is not known."""
    found = np.full(dates.size, np.nan)
    if kc is None:
        return found
    place = (dates - np.datetime64(kc.first, "D")).astype(np.int64)
    inside = (place >= 0) & (place < kc.kc.size)
    sky = np.full(dates.size, np.nan)
    sky[inside] = kc.kc[place[inside]]
    there = np.isfinite(sky)
    if there.any():
        found[there] = _hours(household, sky[there], days_of_year(dates)[there]).sum(axis=1) / WH_PER_KWH
    return found


def _hours(household: Household, kc: Floats, days: NDArray[np.int64]) -> Floats:
    bare = dataclasses.replace(household.sun, covered_days=0)
    every = array_hours(household.site, bare, kc, days)
    return by_day(np.sum(list(every.values()), axis=0)) * household.sun.charger_efficiency


def _free(charge: Floats | None, clear_w: Floats, top_soc: float) -> Flags:
    if charge is None:
        return np.zeros(clear_w.shape[0], dtype=bool)
    return np.asarray(((charge < top_soc - FULL_BELOW_SOC) | (clear_w <= 0.0)).all(axis=1))


def _held(measured_w: Floats, clear_w: Floats, full: Flags, same_day: Floats) -> Flags:
    """Whether the panels gave less, in the hours with a full bank, than the other hours of the day promised.

    Where the bank was full from the morning on, the sky of the very day is what promised; where that is not known
    either, nothing is told.
    """
    there = np.isfinite(measured_w) & (clear_w > 0.0)
    lit, dim = there & full, there & ~full
    gave, could = (np.where(lit, one, 0.0).sum(axis=1) for one in (measured_w, clear_w))
    gave_before, could_before = (np.where(dim, one, 0.0).sum(axis=1) for one in (measured_w, clear_w))
    day = np.maximum(np.where(there, clear_w, 0.0).sum(axis=1), 1e-9)
    share, before = gave / np.maximum(could, 1e-9), gave_before / np.maximum(could_before, 1e-9)
    promised = np.where(could_before >= BEFORE_PART * day, before, same_day / day * WH_PER_KWH)
    return np.asarray((could >= HELD_PART * day) & (share < HELD_SHARE * promised))
