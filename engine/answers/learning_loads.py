"""What the house really draws: the mean day of each month, hour by hour, and how the days of the week differ.

One measured load takes the place of all loads at the sockets. So the sum is right, and what is lost is said: no load is
left to be switched off or moved by itself. The other way, to take described loads away from the measured sum, was not
taken: their own errors would all land in what is left, which can then fall below nothing.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from engine.answers.learning_parts import (
    LEAST_DAYS,
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
from engine.balance.forcing import drawn_hours, mean_dc_w
from engine.house.household import Household, Supply
from engine.house.load import Load
from engine.house.load_profile import MONTHS, WEEKDAYS, Profile
from engine.house.loads import total
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky import climate as climates
from engine.sky.averages import DAYS_IN_MONTH

Whole = NDArray[np.int64]

LOADS, TITLE = "loads", "What the house draws"
MEASURED = "measured"
LEAST_DAYS_OF_MONTH = 7
"""Days of a month that stand for it (judgement): one of each day of the week."""
LEAST_WEEKS = 4
"""Of each day of the week, from which the week's shares are told (judgement)."""
SCALED_SHARE = 0.2
"""A month that is scaled from its neighbours may be wrong by so much, 95 % (judgement)."""


def load_lessons(e: Evidence) -> tuple[tuple[Lesson, ...], tuple[Missing, ...]]:
    """Return the measured load of a log, or what it takes."""
    key, side = ("load_w", "ac") if e.column("load_w") is not None else ("load_dc_w", "battery")
    if e.column(key) is None:
        text = "It takes the load at the sockets, or what the inverter drew at the battery side, by day and night."
        return (), (Missing(id=LOADS, title=TITLE, text=text),)
    hours = np.maximum(e.hours.values[key], 0.0)
    daily = _whole_days(hours)
    days = int(np.isfinite(daily).sum())
    if days < LEAST_DAYS:
        text = f"The log has {days} whole days of the load; it takes {LEAST_DAYS}."
        return (), (Missing(id=LOADS, title=TITLE, text=text),)
    return (_lesson(e, hours, daily, side),), ()


def _whole_days(hours: Floats) -> Floats:
    """Energy of each day [kWh] of which at most a quarter is not known, (days,)."""
    known = np.isfinite(hours).sum(axis=1)
    mean = np.where(known > 0, np.nansum(hours, axis=1) / np.maximum(known, 1), np.nan)
    return np.where(known >= 0.75 * HOURS_PER_DAY, mean * HOURS_PER_DAY / WH_PER_KWH, np.nan)


def _lesson(e: Evidence, hours: Floats, daily: Floats, side: str) -> Lesson:
    dates = e.hours.dates
    month = dates.astype("datetime64[M]").astype(np.int64) % MONTHS
    weekday = (dates.astype(np.int64) + 3) % WEEKDAYS
    modelled = _described(e, side)
    known, month_w = _months(hours, daily, month, modelled)
    weights = np.array(DAYS_IN_MONTH)
    kwh = float((month_w.sum(axis=1) * weights).sum() / weights.sum()) / WH_PER_KWH
    share = _by_chance(daily, month, known)
    scaled = float((month_w.sum(axis=1) * weights)[~known].sum() / max((month_w.sum(axis=1) * weights).sum(), 1e-9))
    half = kwh * together(share, METER_SHARE, SCALED_SHARE * scaled)
    idle_w = e.supply.inverter.idle_w if side == "battery" else 0.0
    profile = Profile(
        month_w=tuple(tuple(float(round(max(w - idle_w, 0.0), 2)) for w in row) for row in month_w),
        weekday_share=_week(daily, month, weekday),
        days=int(np.isfinite(daily).sum()),
        title=f"Own log, {dates[0]} to {dates[-1]}",
    )
    change = Change(part="loads", id=e.supply.inverter.id, fields={"profile": profile, "measured": side})
    after = with_loads(e.household, change)
    return Lesson(
        id=LOADS,
        title=TITLE,
        text=_text(kwh, half, known, side, profile),
        value=kwh,
        low=kwh - half,
        high=kwh + half,
        unit="kWh a day",
        days=profile.days,
        how="Means of each hour of the day over the days of each month, of days that are known for three quarters or "
        "more. The interval is from drawing the weeks of the log again, and from a meter that may be wrong by 1 % "
        "(typical, from memory).",
        caveats=_caveats(e, known, side),
        changes=(change,),
        now=_mean_kwh(modelled),
        effect=Effect(
            label="Drawn from the bank on a mean day of the year",
            unit="kWh",
            before=_drawn_kwh(e.household, e.supply),
            after=_drawn_kwh(after, dataclasses.replace(e.supply, loads=_of(after, e.supply))),
        ),
    )


def _months(hours: Floats, daily: Floats, month: Whole, modelled: Floats) -> tuple[Flags, Floats]:
    """Which months are known, and the mean day of each, (12, 24) [W]; others are scaled from what the house says."""
    whole = np.isfinite(daily)
    days = np.array([int((whole & (month == m)).sum()) for m in range(MONTHS)])
    known = days >= LEAST_DAYS_OF_MONTH
    if not known.any():
        known = days == days.max()
    found = np.zeros((MONTHS, HOURS_PER_DAY))
    for m in np.flatnonzero(known):
        rows = hours[whole & (month == m)]
        count = np.isfinite(rows).sum(axis=0)
        usual = float(np.nanmean(rows))
        found[m] = np.where(count > 0, np.nansum(rows, axis=0) / np.maximum(count, 1), usual)
    for m in np.flatnonzero(~known):
        found[m] = _scaled(int(m), known, found, modelled)
    return known, found


def _scaled(m: int, known: Flags, found: Floats, modelled: Floats) -> Floats:
    """A month's day from the nearest known months before and after, by what the household's own loads do between."""
    near = [next((m + way * k) % MONTHS for k in range(1, MONTHS) if known[(m + way * k) % MONTHS]) for way in (1, -1)]
    between = found[near].mean(axis=0)
    was, now = modelled[near].sum(axis=1).mean(), modelled[m].sum()
    return np.asarray(between * (min(max(now / was, 0.25), 4.0) if was > 0.0 and now > 0.0 else 1.0))


def _by_chance(daily: Floats, month: Whole, known: Flags) -> float:
    """Half the interval that chance leaves of the mean day, as a share: the spread of weeks within their months."""
    usual = np.array([np.nanmean(daily[month == m]) if known[m] else np.nan for m in range(MONTHS)])[month]
    fit = np.isfinite(daily) & np.isfinite(usual)
    over = np.where(fit, daily / np.where(fit, np.maximum(usual, 1e-9), 1.0), 0.0)
    return half_width(np.stack([over, fit], axis=1), lambda one: float(one[0] / one[1]) if one[1] else float("nan"))


def _week(daily: Floats, month: Whole, weekday: Whole) -> tuple[float, ...]:
    """Shares of the days of the week, their mean 1; all 1 where too few weeks are known."""
    whole = np.isfinite(daily)
    counts = [int((whole & (weekday == day)).sum()) for day in range(WEEKDAYS)]
    if min(counts) < LEAST_WEEKS:
        return (1.0,) * WEEKDAYS
    usual = np.array([np.nanmean(daily[month == m]) if (whole & (month == m)).any() else np.nan for m in range(MONTHS)])
    there = [whole & (weekday == day) for day in range(WEEKDAYS)]
    shares = np.array([float(daily[one].sum() / max(usual[month[one]].sum(), 1e-9)) for one in there])
    return tuple(float(share) for share in shares / shares.mean()) if shares.any() else (1.0,) * WEEKDAYS


def _replaced(supply: Supply) -> tuple[Load, ...]:
    """The loads that a measured one stands for: all that run through the inverter, and what was measured before."""
    return tuple(load for load in supply.loads if load.measured == "ac" or load.kind == MEASURED)


def _described(e: Evidence, side: str) -> Floats:
    """Mean day of each month of the loads that would be replaced, on the side that was measured, (12, 24) [W]."""
    loads = _replaced(e.supply)
    at_sockets, at_battery = (
        np.array(
            [
                total(loads, month, one, e.household.south, ahead_h=e.household.site.usual_ahead_h(month))
                for month in range(1, MONTHS + 1)
            ]
        )
        for one in ("ac", "battery")
    )
    return (
        at_sockets
        if side == "ac"
        else drawn_hours(e.supply.inverter, at_sockets.ravel(), at_battery.ravel()).reshape(-1, HOURS_PER_DAY)
    )


def _mean_kwh(month_w: Floats) -> float:
    weights = np.array(DAYS_IN_MONTH)
    return float((month_w.sum(axis=1) * weights).sum() / weights.sum()) / WH_PER_KWH


def _drawn_kwh(household: Household, supply: Supply) -> float:
    mean_w = np.mean([mean_dc_w(household, supply, month) for month in range(1, MONTHS + 1)])
    return float(mean_w) * HOURS_PER_DAY / WH_PER_KWH


def _of(household: Household, supply: Supply) -> tuple[Load, ...]:
    return next(one.loads for one in household.supplies() if one.inverter.id == supply.inverter.id)


def with_loads(household: Household, change: Change) -> Household:
    """Return a household with one measured load in place of those it stands for."""
    supply = next(one for one in household.supplies() if one.inverter.id == change.id)
    profile, side = change.fields["profile"], change.fields["measured"]
    gone = {load.id for load in _replaced(supply)}
    kept = tuple(load for load in household.loads if load.id not in gone)
    taken = {load.id for load in kept}
    own_id = next(one for one in (MEASURED, *(f"{MEASURED}-{k}" for k in range(2, 300))) if one not in taken)
    load = Load(id=own_id, name="House, measured", kind=MEASURED, measured=side, inverter=change.id, profile=profile)
    return dataclasses.replace(household, loads=(*kept, load))


def _text(kwh: float, half: float, known: Flags, side: str, profile: Profile) -> str:
    where = "at the sockets" if side == "ac" else "at the battery side, the inverter’s own draw in it"
    months = "" if known.all() else f" {int(known.sum())} of the 12 months have days of their own."
    week = max(profile.weekday_share) - min(profile.weekday_share)
    days = f" Its days of the week differ by {week * 100:.0f} % of a mean day." if week > 0.0 else ""
    return f"The house draws {kwh:.2f} kWh a day {where}, give or take {half:.2f} kWh.{months}{days}"


def _caveats(e: Evidence, known: Flags, side: str) -> tuple[str, ...]:
    loads = _replaced(e.supply)
    names = ", ".join(load.name for load in loads)
    said = []
    if loads:
        said.append(f"It takes the place of these loads: {names}.")
    if any(load.can_shed or load.can_wait for load in loads):
        said.append("What could be switched off or moved is then not known apart: Switch off has nothing to offer.")
    if not known.all():
        absent = ", ".join(climates.MONTH_NAMES[m] for m in np.flatnonzero(~known))
        said.append(f"No days of their own: {absent}. They are scaled from the months around by your described loads.")
    if side == "battery":
        said.append(
            f"The inverter’s idle draw of {e.supply.inverter.idle_w:g} W is taken off every hour, since it is counted "
            "by itself: settle the idle draw first, and learn this again after it."
        )
    said.append("Hours in which the house was dark count as they were: what it would have drawn is not known.")
    return tuple(said)
