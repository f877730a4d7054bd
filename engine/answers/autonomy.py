"""How long have I got: hours and clock time until a bank reaches its reserve or is cut off.

Times are local standard time, hours from the moment asked about. The range repeats the question with
the loads a tenth lower and higher and each day's light at the two ends of what its word may mean.
A generator is never counted in the hours: the same days with it stand beside them.
Not modelled: short peaks inside an hour, loads that change with the weather.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from engine.answers.answer import Assumption, Lever, Notice, Worked, assumptions_of, clock
from engine.answers.coming import Coming, coming
from engine.answers.generating import WithGenerator, with_generator
from engine.answers.notices import household_notices
from engine.balance.forcing import Forcing, load_hours
from engine.balance.step import Plant
from engine.balance.trajectory import Trajectory
from engine.cells.chemistry import at
from engine.house.bank import c_rate, delivered
from engine.house.household import Household, Supply
from engine.house.loads import daily_kwh
from engine.quantities import HOURS_PER_DAY, WH_PER_KWH
from engine.sky.days import Sky

Floats = NDArray[np.float64]

LOAD_SPREAD_SHARE = 0.1
"""Loads of the range: a tenth under and over (assumed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BankAutonomy:
    """One bank's part of the answer."""

    bank_id: str
    name: str
    start_soc: float
    reserve_soc: float
    hours: float | None
    low_hours: float | None
    high_hours: float | None
    ends_at: datetime | None
    ended_by: str
    usable_now_kwh: float
    sun_kwh: float
    load_kwh_per_day: float
    idle_kwh_per_day: float
    margin_v: float | None
    cell_c: float
    times_h: Floats
    soc: Floats
    worked: tuple[Worked, ...]
    levers: tuple[Lever, ...]
    with_generator: WithGenerator | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Autonomy:
    """The answer: the soonest of the banks, and each of them."""

    at: datetime
    hours_to_reserve: float | None
    low_hours: float | None
    high_hours: float | None
    ends_at: datetime | None
    ended_by: str
    bank_id: str
    horizon_h: float
    sky_basis: str
    sky_title: str
    sky_days: tuple[tuple[date, str, float], ...]
    banks: tuple[BankAutonomy, ...]
    levers: tuple[Lever, ...]
    notices: tuple[Notice, ...]
    assumptions: tuple[Assumption, ...]


def autonomy(household: Household, charges: Mapping[str, float], sky: Sky, at: datetime) -> Autonomy:
    """Work out how long each joined bank lasts from a moment on.

    Parameters
    ----------
    charges : mapping of str to float
        State of charge now by bank id, a share of tested Ah [-]; a bank left out is full.
    sky : Sky
        The days to come; they begin today, or tomorrow once today's sun is over.
    at : datetime
        The moment, local standard time.

    Raises
    ------
    InputError
        If a charge is outside 0..1 or names no joined bank.
    Unreachable
        If no bank is joined to an inverter.
    """
    first, found = coming(household, charges, sky, at)
    banks = tuple(_bank(one) for one in found)
    soonest = min(banks, key=lambda bank: np.inf if bank.hours is None else bank.hours)
    days = tuple(
        (first + timedelta(days=index), sky.labels[index], float(sky.kc[index])) for index in range(sky.listed_days)
    )
    return Autonomy(
        at=at,
        hours_to_reserve=soonest.hours,
        low_hours=soonest.low_hours,
        high_hours=soonest.high_hours,
        ends_at=soonest.ends_at,
        ended_by=soonest.ended_by,
        bank_id=soonest.bank_id,
        horizon_h=float(soonest.times_h[-1]),
        sky_basis=sky.basis,
        sky_title=sky.title,
        sky_days=days,
        banks=banks,
        levers=soonest.levers,
        notices=household_notices(household, at.month),
        assumptions=assumptions_of(household, (one.supply.bank.cell for one in found), sky),
    )


def _bank(one: Coming) -> BankAutonomy:
    household, supply, at, p, start, mean_w = one.household, one.supply, one.at, one.plant, one.start, one.mean_w
    bank = supply.bank
    ended, whole = one.run(until_ended=True), one.run()
    times_h, soc_then = _curve(whole, ended)
    varied = one.varied(LOAD_SPREAD_SHARE)
    low_h, high_h = _ends(one, varied)
    mean_used_w = float(np.mean(sum(load_hours(household, supply, at, 1))))
    reach, _ = delivered(bank, start.soc, p.floor_soc, mean_w) if mean_w > 0.0 else (0.0, 0.0)
    return BankAutonomy(
        bank_id=bank.id,
        name=bank.name,
        start_soc=start.soc,
        reserve_soc=p.floor_soc,
        hours=ended.ended_h,
        low_hours=low_h,
        high_hours=high_h,
        ends_at=clock(at, ended.ended_h),
        ended_by=ended.ended_by,
        usable_now_kwh=reach * mean_used_w / mean_w if mean_w > 0.0 and ended.ended_h != 0.0 else 0.0,
        sun_kwh=ended.totals.sun_kwh,
        load_kwh_per_day=mean_used_w * HOURS_PER_DAY / WH_PER_KWH,
        idle_kwh_per_day=supply.inverter.idle_w * HOURS_PER_DAY / WH_PER_KWH,
        margin_v=_margin_v(p, supply, ended, mean_w),
        cell_c=bank.cell_c,
        times_h=times_h,
        soc=soc_then,
        worked=_worked(p, ended),
        levers=_levers(one, ended.ended_h),
        with_generator=None
        if supply.generator is None
        else with_generator(one, supply.generator, varied, whole.totals.unserved_kwh),
    )


def _ends(one: Coming, varied: Sequence[Forcing]) -> tuple[float | None, float | None]:
    """Soonest and latest hours among the skies with heavier and lighter loads; None where it does not end.

    All skies are tried with both loads: panels that face away from the sun can give more on the duller day.
    """
    found = [one.run(hours, until_ended=True).ended_h for hours in varied]
    ended = [hours for hours in found if hours is not None]
    return min(ended, default=None), None if None in found else max(ended, default=None)


def _curve(whole: Trajectory, ended: Trajectory) -> tuple[Floats, Floats]:
    """Times [h] and charge [-] of the whole run, with the moment it ended as a point of its own."""
    if ended.ended_h is None:
        return whole.hours, whole.soc
    place = int(np.searchsorted(whole.hours, ended.ended_h))
    return np.insert(whole.hours, place, ended.ended_h), np.insert(whole.soc, place, ended.soc[-1])


def _margin_v(p: Plant, supply: Supply, ended: Trajectory, mean_w: float) -> float | None:
    """Pack volts under the mean load at the end, above the cut-off [V]."""
    if ended.ended_h is None:
        return None
    soc = float(ended.soc[-1])
    sagged_v = at(p.cells.ocv_v, soc) - c_rate(supply.bank, mean_w) * at(p.cells.r_fast, soc)
    return (sagged_v - p.cut_v) * p.series


def _worked(p: Plant, ended: Trajectory) -> tuple[Worked, ...]:
    """The hours once more, as a sum and a division that can be followed by hand."""
    totals = ended.totals
    hours = float(ended.hours[-1])
    drawn_kwh = totals.served_kwh + totals.inverter_loss_kwh
    from_bank_kwh = -totals.stored_change_kwh
    lines = [
        Worked(
            label="Taken from the bank",
            how=f"({ended.soc[0] * 100:.4g} % − {ended.soc[-1] * 100:.4g} %) of its tested Ah at its own volts",
            value=from_bank_kwh,
            unit="kWh",
        ),
        Worked(
            label="Sun put in until then",
            how="panels × charger, less what did not fit",
            value=totals.sun_kwh,
            unit="kWh",
        ),
        Worked(
            label="Lost inside the cells",
            how="resistance, charge efficiency, self-discharge",
            value=totals.cell_loss_kwh,
            unit="kWh",
        ),
        Worked(
            label="Drawn by the loads and the inverter",
            how="bank + sun − lost inside the cells",
            value=from_bank_kwh + totals.sun_kwh - totals.cell_loss_kwh,
            unit="kWh",
        ),
        Worked(
            label="Mean draw",
            how="sockets + inverter's losses and idle, over these hours",
            value=drawn_kwh * WH_PER_KWH / hours if hours > 0.0 else 0.0,
            unit="W",
        ),
        Worked(label="Hours", how="drawn ÷ mean draw", value=hours, unit="h"),
    ]
    return tuple(lines)


def _levers(one: Coming, hours: float | None) -> tuple[Lever, ...]:
    """What each change alone would add, the most first; empty where the bank does not run out.

    Each is worked out anew from the changed household, as if it had been typed.
    """
    if hours is None:
        return ()
    household, supply, at = one.household, one.supply, one.at

    def gained_h(changed: Coming) -> float | None:
        ended_h = changed.run(until_ended=True).ended_h
        return None if ended_h is None else ended_h - hours

    found = []
    for load in supply.loads:
        kwh = daily_kwh(load, at.month, household.south)
        if kwh and not load.never_off and (load.can_shed or load.can_wait):
            gained = gained_h(one.without({load.id}))
            found.append(Lever(name=load.name, gained_h=gained, kwh_per_day=kwh, load_id=load.id))
    vital = tuple(load for load in supply.loads if load.never_off)
    if vital and len(vital) < len(supply.loads):
        alone = gained_h(one.with_loads(vital))
        found.append(Lever(name="Everything off but what is never off", gained_h=alone))
    bank = supply.bank
    if bank.reserve_v is None and bank.reserve_soc - 0.1 >= bank.cell.reserve_soc - 1e-9:
        lower = dataclasses.replace(supply, bank=dataclasses.replace(bank, reserve_soc=bank.reserve_soc - 0.1))
        found.append(Lever(name="Reserve 10 points lower", gained_h=gained_h(one.changed(lower))))
    if supply.inverter.idle_w > 0.0:
        quiet = dataclasses.replace(supply, inverter=dataclasses.replace(supply.inverter, idle_w=0.0))
        idle_kwh = supply.inverter.idle_w * HOURS_PER_DAY / WH_PER_KWH
        found.append(
            Lever(
                name="What the inverter’s idle draw costs", gained_h=gained_h(one.changed(quiet)), kwh_per_day=idle_kwh
            )
        )
    return tuple(sorted(found, key=lambda lever: -np.inf if lever.gained_h is None else -lever.gained_h))
